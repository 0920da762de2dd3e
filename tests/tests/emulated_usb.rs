//! Bad hosts and bad cables at the real image, in simulated time: after each of them a normal pull
//! brings every record as it was, and meanwhile no frame of the converter is lost.

use std::fs;
use std::process::Command;

use slotwise_tests::bench::Bench;
use slotwise_tests::emulator::image_or_word;
use slotwise_tests::long_journal::LongJournal;
use slotwise_tests::outside::root;

/// Records of the journal: three requests of the host.
const RECORDS: usize = 150;

/// Kinds of harm that the script does.
const MISHAPS: usize = 13;

#[test]
fn after_every_mishap_of_host_and_cable_a_pull_brings_every_record() {
    let Some(elf) = image_or_word() else { return };
    let folder = tempfile::tempdir().expect("a temporary folder");
    let path = |name: &str| folder.path().join(name);
    let mut bench = Bench::new(31);
    bench.plug("sound");
    bench.board.run_for(15_000);
    let long = LongJournal::grow(bench.board.nor.contents(), RECORDS);
    fs::write(path("nor.bin"), &long.contents).expect("room for the flash's contents");
    let output = Command::new("node")
        .arg(root().join("tests/emulator/usb-mishaps.mjs"))
        .arg("--elf")
        .arg(&elf)
        .arg("--nor")
        .arg(path("nor.bin"))
        .arg("--pulled")
        .arg(path("pulled.bin"))
        .output()
        .expect("the emulator starts");
    let said = String::from_utf8_lossy(&output.stderr);
    let figures: serde_json::Value =
        serde_json::from_slice(&output.stdout).unwrap_or_else(|_| panic!("{said}"));
    println!("{figures:#}");
    assert!(output.status.success(), "{said}");

    // What the first pull brought is the journal, and every later one was compared with it.
    let pulled = fs::read(path("pulled.bin")).expect("it was written");
    let mut expected = Vec::new();
    for (number, bytes) in (1_u32..).zip(&long.records) {
        expected.extend(number.to_le_bytes());
        expected.extend((bytes.len() as u32).to_le_bytes());
        expected.extend(bytes);
    }
    assert!(pulled.starts_with(&expected), "other records came");
    let mishaps = figures["mishaps"].as_array().expect("a list");
    assert_eq!(mishaps.len(), MISHAPS);
    for mishap in mishaps {
        assert_eq!(mishap["isSame"], true, "{mishap}");
        assert!(
            mishap["records"].as_u64() > Some(RECORDS as u64),
            "{mishap}"
        );
    }
    let of = |name: &str| {
        let found = mishaps.iter().find(|mishap| {
            mishap["name"]
                .as_str()
                .is_some_and(|text| text.contains(name))
        });
        found.expect("it was done")
    };
    // The flood was held off at the endpoint, not swallowed.
    assert!(of("whose answers nobody fetches")["bytesHeldOff"].as_u64() > Some(10_000));
    assert_eq!(of("never ends")["bytesLeft"], 0);
    assert_eq!(of("nobody reads")["wentOn"], true);
    assert_eq!(figures["lostFramesOfTheConverter"], 0);
    assert_eq!(figures["watchdogResets"], serde_json::json!([]));
}
