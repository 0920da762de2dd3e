//! Records, batches and commands that the tests of the archive share.
#![allow(dead_code, reason = "every test file takes what it needs")]

use std::path::Path;

use slotwise::archive::{Archive, Batch, FaultKind};
use slotwise::log_file::KeptRecord;
use slotwise_core::record::RecordNumber;
use slotwise_core::units::UnixSeconds;

use crate::support::{DEAD, Invented, OPEN_GROUND, REVERSED, SOUND, TESTER, records, slotwise};

pub(crate) const NOW: UnixSeconds = UnixSeconds::new(1_772_500_000);

pub(crate) fn some(count: usize) -> Vec<Vec<u8>> {
    let kinds = [SOUND, REVERSED, OPEN_GROUND, DEAD];
    let tests: Vec<Invented> = kinds.into_iter().cycle().take(count).collect();
    records(&tests)
}

pub(crate) fn kept(records: &[Vec<u8>], from: u32) -> Vec<KeptRecord> {
    (from..)
        .zip(records.iter().skip(from as usize - 1))
        .map(|(number, bytes)| KeptRecord {
            number: RecordNumber::new(number),
            bytes: bytes.clone(),
            at_byte: 0,
        })
        .collect()
}

pub(crate) fn batch(records: Vec<KeptRecord>) -> Batch {
    Batch {
        source: "test".to_owned(),
        tester: TESTER,
        records,
        damages: 0,
        at: NOW,
    }
}

pub(crate) fn faults(archive: &dyn Archive) -> Vec<(u32, FaultKind)> {
    let mut found = Vec::new();
    archive
        .verify(&mut |fault| {
            assert_eq!(fault.tester, TESTER);
            found.push((fault.number.get(), fault.kind));
        })
        .unwrap();
    found
}

/// Every byte of the archive is that of the records, none is missing, none is there twice.
pub(crate) fn assert_holds(archive: &dyn Archive, records: &[Vec<u8>]) {
    assert_eq!(archive.counts().unwrap().records, records.len() as u64);
    for (number, bytes) in (1..).zip(records) {
        let there = archive.bytes(TESTER, RecordNumber::new(number)).unwrap();
        assert_eq!(there.as_ref(), Some(bytes), "record {number}");
    }
}

pub(crate) fn import(db: &Path, logs: &[&Path]) -> assert_cmd::assert::Assert {
    let mut command = slotwise();
    command.args(["archive", "import", "--archive"]).arg(db);
    command.args(logs).assert()
}

pub(crate) fn verify(db: &Path) -> assert_cmd::assert::Assert {
    let mut command = slotwise();
    command.args(["archive", "verify", "--archive"]).arg(db);
    command.assert()
}
