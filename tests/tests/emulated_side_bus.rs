//! Clock chip and display under the real image in the emulator: the same picture as on the virtual
//! board, true times over a watchdog reset, and a bus that is held low or has nothing on it.

use std::fs;
use std::path::Path;
use std::process::Command;

use slotwise_core::record::{Body, BootCause, Record, decode};
use slotwise_core::sample::Frame;
use slotwise_core::units::UnixSeconds;
use slotwise_firmware::journal::Journal;
use slotwise_firmware::nor::SpiNor;
use slotwise_tests::emulator::{image_or_word, report};
use slotwise_tests::outside::root;
use slotwise_tests::tester_picture::of_report;
use slotwise_virtual::board::{NOR_BYTES, VirtualBoard, demo_identity, workshop_flash};
use slotwise_virtual::chips::nor::VirtualNor;
use slotwise_virtual::chips::side_bus::{SideParts, VirtualDisplay, VirtualRtc, WIDTH};
use slotwise_virtual::clock::SimClock;
use slotwise_virtual::frames_file::write_source;
use slotwise_virtual::front_end::{FrameSource, FrontEnd, PhasorSource, Stretch};
use slotwise_virtual::house::find;
use slotwise_virtual::serial::line;
use slotwise_virtual::tester::{Specimen, Tolerance};

/// 2026-11-25T18:52:07Z.
const NOW: u64 = 1_795_632_727;

/// Three line cycles: repeated, they go on without a jump.
const ROWS: u64 = 200;

/// The same rows again and again, whatever the tester drives.
struct Repeated {
    rows: Vec<Frame>,
}

impl Repeated {
    fn of(specimen: &Specimen, name: &str) -> Self {
        let named = find(name).expect("in the bank");
        let plan = [Stretch::plugged(named.receptacle.clone(), 1_000)];
        let source = PhasorSource::new(specimen, &plan).expect("it is solved");
        let mut front_end = FrontEnd::new(specimen.clone(), Box::new(source));
        // From where the filters have settled.
        let rows = (0..2 * ROWS)
            .map(|row| front_end.frame(row))
            .collect::<Vec<_>>();
        Self {
            rows: rows[ROWS as usize..].to_vec(),
        }
    }
}

impl FrameSource for Repeated {
    fn frame(&mut self, number: u64) -> Frame {
        self.rows[(number % ROWS) as usize]
    }
}

/// Runs the image and gives its report and the flash it leaves.
fn emulate(
    folder: &Path,
    specimen: &Specimen,
    name: &str,
    contents: &[u8],
    more: &[&str],
) -> Option<(serde_json::Value, Vec<u8>)> {
    let elf = image_or_word()?;
    let path = |name: &str| folder.join(name);
    fs::write(path("nor.bin"), contents).expect("room for the flash's contents");
    let file = fs::File::create(path("frames.bin")).expect("room for frames");
    let mut source = Repeated::of(specimen, name);
    write_source(file, &mut source, ROWS).expect("frames are written");
    let ended = Command::new("node")
        .arg(root().join("tests/emulator/run.mjs"))
        .arg("--elf")
        .arg(&elf)
        .arg("--frames")
        .arg(path("frames.bin"))
        .args(["--after-frames", "repeat", "--nor"])
        .arg(path("nor.bin"))
        .arg("--report")
        .arg(path("report.json"))
        .args(more)
        .status()
        .expect("node runs");
    assert!(ended.success());
    let contents = fs::read(path("nor.bin")).expect("the flash was kept");
    Some((report(&path("report.json")), contents))
}

fn records(contents: Vec<u8>) -> Vec<Record> {
    let waits = SimClock::new();
    let nor = VirtualNor::with_contents(&waits, contents).expect("a whole part");
    let flash = SpiNor::new(nor.spi(), waits.delay()).expect("the part answers");
    let mut journal = Journal::open(flash).expect("it opens");
    let mut buffer = [0; slotwise_core::record::MAX_BYTES];
    let (mut found, mut next) = (Vec::new(), 1);
    while let Some((number, length)) = journal.read_from(next, &mut buffer).expect("readable") {
        found.push(decode(&buffer[..length]).expect("records decode"));
        next = number + 1;
    }
    found
}

#[test]
fn the_image_shows_the_picture_that_the_virtual_board_shows() {
    let specimen = Specimen::draw(64, &Tolerance::USUAL);
    let calibrated = workshop_flash(&specimen).expect("the workshop calibrates it");
    let blank = vec![0xFF; NOR_BYTES];
    for (name, contents) in [
        ("open-ground", &calibrated),
        ("reversed-polarity", &calibrated),
        ("sound", &blank),
    ] {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let rtc = NOW.to_string();
        let more = ["--seconds", "5", "--display", "--rtc", &rtc];
        let Some((report, _)) = emulate(folder.path(), &specimen, name, contents, &more) else {
            return;
        };
        assert_eq!(report["converter"]["missedWhileStreaming"], 0, "{name}");
        assert_eq!(
            report["display"]["oddities"],
            serde_json::json!({}),
            "{name}"
        );
        let emulated = of_report(&report).expect("a whole report");

        let parts = SideParts {
            rtc: Some(VirtualRtc::running(NOW)),
            display: Some(VirtualDisplay::new()),
        };
        let (near, _far) = line();
        let source = Repeated::of(&specimen, name);
        let identity = demo_identity(None);
        let mut board =
            VirtualBoard::start_with(source, contents.clone(), near, identity, parts, |_, _| {})
                .expect("it starts");
        board.run_for(5_000);
        let expected = board.side.display().expect("on the board").picture();
        let shown = emulated.display.expect("a display");
        for (row, (shown, expected)) in shown.iter().zip(&expected).enumerate() {
            // The moving mark stands over the last column of the top line.
            let columns = if row < 8 { WIDTH - 1 } else { WIDTH };
            assert_eq!(shown[..columns], expected[..columns], "{name}, row {row}");
        }
        let lit = shown.iter().flatten().filter(|lit| **lit).count();
        assert!(lit > 300, "{name}: {lit} points");
    }
}

#[test]
fn the_time_goes_on_over_a_watchdog_reset() {
    let specimen = Specimen::draw(65, &Tolerance::USUAL);
    let contents = workshop_flash(&specimen).expect("the workshop calibrates it");
    let folder = tempfile::tempdir().expect("a temporary folder");
    let rtc = NOW.to_string();
    let more = [
        "--seconds",
        "8",
        "--display",
        "--rtc",
        &rtc,
        "--hang-at",
        "3000",
    ];
    let run = emulate(folder.path(), &specimen, "open-ground", &contents, &more);
    let Some((report, contents)) = run else {
        return;
    };
    let reset = report["watchdogResets"][0]["ms"]
        .as_f64()
        .expect("one reset");
    let starts: Vec<(u32, Option<u64>, u64)> = records(contents)
        .into_iter()
        .map(|record| {
            (
                record.boot,
                record.clock.map(UnixSeconds::get),
                record.at.get(),
            )
        })
        .collect();
    assert!(starts.iter().any(|(boot, ..)| *boot == 2), "{starts:?}");
    for (boot, clock, at) in starts {
        let before = if boot == 1 {
            0
        } else {
            (reset / 1000.0) as u64
        };
        let truth = NOW + before + at / 1000;
        let clock = clock.expect("the chip has the time");
        assert!(clock.abs_diff(truth) <= 1, "boot {boot}: {clock}, {truth}");
    }
    // Put out at the start, lit again with a picture of its own.
    assert!(report["display"]["puts"].as_u64() >= Some(4));
    assert_eq!(report["display"]["on"], true);
}

#[test]
fn a_clock_that_was_never_set_gives_records_without_a_time() {
    let specimen = Specimen::draw(66, &Tolerance::USUAL);
    let contents = workshop_flash(&specimen).expect("the workshop calibrates it");
    for more in [
        &["--seconds", "3", "--rtc", "unset"][..],
        &["--seconds", "3"],
        &[
            "--seconds",
            "3",
            "--rtc",
            "1795632727",
            "--side-bus-stuck",
            "forever",
            "--display",
        ],
    ] {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let run = emulate(folder.path(), &specimen, "open-ground", &contents, more);
        let Some((report, contents)) = run else {
            return;
        };
        assert_eq!(report["converter"]["missedWhileStreaming"], 0, "{more:?}");
        assert_eq!(report["watchdogResets"], serde_json::json!([]), "{more:?}");
        let records = records(contents);
        let first = records.first().map(|first| &first.body);
        assert!(
            matches!(first, Some(Body::Start(start)) if start.cause == BootCause::PowerOn),
            "{first:?}"
        );
        assert!(
            records.iter().all(|record| record.clock.is_none()),
            "{more:?}"
        );
    }
}

#[test]
fn a_part_that_stopped_in_a_byte_is_clocked_out_of_it() {
    let specimen = Specimen::draw(67, &Tolerance::USUAL);
    let contents = workshop_flash(&specimen).expect("the workshop calibrates it");
    for clocks in ["1", "9"] {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let rtc = NOW.to_string();
        let more = ["--seconds", "2", "--rtc", &rtc, "--side-bus-stuck", clocks];
        let run = emulate(folder.path(), &specimen, "open-ground", &contents, &more);
        let Some((report, contents)) = run else {
            return;
        };
        assert_eq!(report["sideBus"]["stuck"], false, "{clocks}");
        assert!(
            records(contents)
                .iter()
                .all(|record| record.clock.is_some())
        );
    }
}
