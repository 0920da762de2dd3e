//! How fast the real image hands out a full journal, in simulated time: beside a bare echo firmware on
//! the same emulated chip under the same host. The figures repeat exactly, whatever else the machine
//! does. What comes over the line must be the journal, byte for byte.

use std::fs;
use std::path::Path;
use std::process::Command;

use slotwise_core::record::{Body, decode};
use slotwise_tests::bench::Bench;
use slotwise_tests::emulator::{image_or_word, report};
use slotwise_tests::long_journal::LongJournal;
use slotwise_tests::outside::root;

/// Least share of what the bare echo carries.
const LEAST: f64 = 0.9;

/// Records of the journal: half a megabyte, eight requests of the host.
const RECORDS: usize = 600;

/// Pulls everything by the emulator's own client; gives its figures and what came.
fn pull(elf: &Path, nor: &Path, folder: &Path) -> (serde_json::Value, Vec<Vec<u8>>) {
    let (figures, pulled) = (folder.join("figures.json"), folder.join("pulled.bin"));
    let output = Command::new("node")
        .arg(root().join("tests/emulator/pull-rate.mjs"))
        .arg("--elf")
        .arg(elf)
        .arg("--nor")
        .arg(nor)
        .arg("--pulled")
        .arg(&pulled)
        .output()
        .expect("the emulator starts");
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{said}");
    fs::write(&figures, &output.stdout).expect("room");
    let content = fs::read(pulled).expect("it was written");
    let mut rest = &content[..];
    let mut records = Vec::new();
    while let Some((number, after)) = rest.split_first_chunk::<4>() {
        let (length, after) = after.split_first_chunk::<4>().expect("a length");
        let (bytes, after) = after.split_at(u32::from_le_bytes(*length) as usize);
        records.push(bytes.to_vec());
        assert_eq!(u32::from_le_bytes(*number), records.len() as u32);
        rest = after;
    }
    (report(&figures), records)
}

#[test]
fn a_pull_takes_nine_tenths_of_what_a_bare_echo_carries_and_loses_nothing() {
    let Some(elf) = image_or_word() else { return };
    let folder = tempfile::tempdir().expect("a temporary folder");
    let nor = folder.path().join("nor.bin");
    let mut bench = Bench::new(31);
    bench.plug("sound");
    bench.board.run_for(15_000);
    let long = LongJournal::grow(bench.board.nor.contents(), RECORDS);
    assert_eq!(long.records.len(), RECORDS);
    fs::write(&nor, &long.contents).expect("room for the flash's contents");

    let (figures, records) = pull(&elf, &nor, folder.path());
    println!("{figures:#}");
    assert_eq!(figures["damagedFrames"], 0);
    assert_eq!(figures["lostFramesOfTheConverter"], 0);
    // The image's own start is the last record.
    assert_eq!(records.len(), RECORDS + 1);
    assert!(records[..RECORDS] == long.records, "other bytes came");
    let last = decode(&records[RECORDS]).expect("it decodes");
    assert!(matches!(last.body, Body::Start(_)), "{last:?}");
    let of_echo = figures["ofEcho"].as_f64().expect("a ratio");
    assert!(of_echo >= LEAST, "{of_echo} of what the echo carries");

    let (again, _) = pull(&elf, &nor, folder.path());
    assert_eq!(figures, again, "simulated time repeats");
}
