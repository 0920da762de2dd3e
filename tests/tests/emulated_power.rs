//! The supply of the real image fails at every program and erase of its start's record, at four
//! moments of each, twice in a row, and in the middle of a pull and of a test: by the emulator, in
//! simulated time. What comes over the line after every cut is read and its chain checked.

use std::fs;
use std::path::Path;
use std::process::Command;

use slotwise::chain::{ChainLink, check};
use slotwise::log_file::KeptRecord;
use slotwise_core::record::{Body, RecordNumber};
use slotwise_tests::bench::Bench;
use slotwise_tests::emulator::image_or_word;
use slotwise_tests::long_journal::{FREED, LongJournal};
use slotwise_tests::outside::root;

/// Records of the journal.
const RECORDS: usize = 11;

/// What came after each cut.
fn pulls(file: &Path) -> Vec<Vec<KeptRecord>> {
    fn word(rest: &mut &[u8]) -> Option<usize> {
        let (word, after) = rest.split_first_chunk()?;
        *rest = after;
        Some(u32::from_le_bytes(*word) as usize)
    }
    let content = fs::read(file).expect("it was written");
    let mut rest = &content[..];
    let mut pulls = Vec::new();
    while let Some(count) = word(&mut rest) {
        let mut records = Vec::new();
        for _ in 0..count {
            let number = word(&mut rest).expect("a number");
            let length = word(&mut rest).expect("a length");
            let (bytes, after) = rest.split_at(length);
            rest = after;
            records.push(KeptRecord {
                number: RecordNumber::new(number as u32),
                bytes: bytes.to_vec(),
                at_byte: 0,
            });
        }
        pulls.push(records);
    }
    pulls
}

#[test]
fn no_record_is_lost_and_the_chain_holds_wherever_the_supply_fails() {
    let Some(elf) = image_or_word() else { return };
    let folder = tempfile::tempdir().expect("a temporary folder");
    let path = |name: &str| folder.path().join(name);
    let mut bench = Bench::new(31);
    bench.plug("sound");
    bench.board.run_for(15_000);
    // One where the next record finds room, one where a sector is erased and begun for it.
    let plain = LongJournal::grow(bench.board.nor.contents(), RECORDS);
    let at_end = LongJournal::at_a_sector_s_end(plain.contents.clone());
    fs::write(path("plain.bin"), &plain.contents).expect("room");
    fs::write(path("end.bin"), &at_end.contents).expect("room");
    let output = Command::new("node")
        .arg(root().join("tests/emulator/power-cuts.mjs"))
        .arg("--elf")
        .arg(&elf)
        .arg("--nor")
        .arg(path("plain.bin"))
        .arg("--nor")
        .arg(path("end.bin"))
        .arg("--pulled")
        .arg(path("pulled.bin"))
        .output()
        .expect("the emulator starts");
    let said = String::from_utf8_lossy(&output.stderr);
    let figures: serde_json::Value =
        serde_json::from_slice(&output.stdout).unwrap_or_else(|_| panic!("{said}"));
    println!("{figures:#}");
    assert!(output.status.success(), "{said}");
    assert_eq!(figures["lost"], 0);
    // Two programs of a record that finds room; erase, two heads and two programs of one that
    // does not: four moments of each, and what comes after those.
    assert!(figures["cuts"].as_u64() >= Some(4 * (2 + 5)), "{figures}");

    let pulls = pulls(&path("pulled.bin"));
    assert_eq!(figures["starts"].as_u64(), Some(pulls.len() as u64));
    for records in &pulls {
        let first = records.first().expect("a record").number.get();
        let expected = if first == 1 {
            &plain.records[..]
        } else {
            assert_eq!(first, FREED + 1);
            &at_end.records[..]
        };
        let there: Vec<&Vec<u8>> = records.iter().map(|record| &record.bytes).collect();
        assert!(there.len() > expected.len(), "the last start is kept");
        assert!(there.iter().zip(expected).all(|(one, other)| *one == other));
        for checked in check(records) {
            assert!(
                matches!(
                    checked.link,
                    ChainLink::First | ChainLink::Begins | ChainLink::Follows
                ),
                "{checked:?}"
            );
            let record = checked.record.as_ref().expect("it decodes");
            if record.number.get() as usize > RECORDS {
                assert!(matches!(record.body, Body::Start(_) | Body::Boot(_)));
            }
        }
    }
}
