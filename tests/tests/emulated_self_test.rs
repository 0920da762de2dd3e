//! The real image's tests of itself: a wrong bit of flash, a stuck channel, a clock that is off,
//! and a loop that no longer takes frames. What it leaves in its flash is read as a host would.

use std::fs;
use std::path::Path;

use slotwise_core::record::{Body, BootCause, Record, decode};
use slotwise_core::self_test::SelfTestFailure;
use slotwise_core::slots::Lead;
use slotwise_firmware::journal::Journal;
use slotwise_firmware::nor::SpiNor;
use slotwise_tests::circuit_server::{Asked, CircuitServer};
use slotwise_tests::emulator::{EmulatedBoard, Feed, Given, image_or_word, report};
use slotwise_virtual::board::workshop_flash;
use slotwise_virtual::chips::nor::VirtualNor;
use slotwise_virtual::clock::SimClock;
use slotwise_virtual::front_end::{FrontEnd, PhasorSource, Stretch};
use slotwise_virtual::house::find;
use slotwise_virtual::tester::{Specimen, Tolerance};

/// What a run left.
struct Run {
    asked: Vec<Asked>,
    records: Vec<Record>,
    report: serde_json::Value,
}

/// Runs the image in a sound receptacle for `seconds`.
fn run(more: &[&str], seconds: u64) -> Option<Run> {
    let elf = image_or_word()?;
    let folder = tempfile::tempdir().expect("a temporary folder");
    let path = |name: &str| folder.path().join(name);
    let specimen = Specimen::draw(51, &Tolerance::USUAL);
    let contents = workshop_flash(&specimen).expect("the workshop calibrates it");
    fs::write(path("nor.bin"), &contents).expect("room for the flash's contents");
    let sound = find("sound").expect("in the bank").receptacle.clone();
    let plan = [Stretch::plugged(sound, 600_000)];
    let source = PhasorSource::new(&specimen, &plan).expect("it is solved");
    let front_end = FrontEnd::new(specimen, Box::new(source));
    let circuit = CircuitServer::start(folder.path(), front_end).expect("pipes can be made");
    let board = EmulatedBoard::start(Given {
        elf: &elf,
        feed: Feed::Circuit(&circuit),
        nor: &path("nor.bin"),
        report: &path("report.json"),
        seconds: 60,
        more,
    })
    .expect("the emulator starts");
    circuit.wait_for(4_000 * seconds);
    assert!(board.finish().expect("it ends"), "nothing that ends a run");
    Some(Run {
        asked: circuit.finish().expect("the pipes held"),
        records: records(&path("nor.bin")),
        report: report(&path("report.json")),
    })
}

/// Every record of the flash's contents.
fn records(nor: &Path) -> Vec<Record> {
    let clock = SimClock::new();
    let contents = fs::read(nor).expect("it was written back");
    let chip = VirtualNor::with_contents(&clock, contents).expect("a part of this size");
    let flash = SpiNor::new(chip.spi(), clock.delay()).expect("it answers");
    let mut journal = Journal::open(flash).expect("the journal opens");
    let mut buffer = [0; slotwise_core::record::MAX_BYTES];
    let mut records = Vec::new();
    let mut next = 1;
    while let Some((number, length)) = journal.read_from(next, &mut buffer).expect("readable") {
        records.push(decode(&buffer[..length]).expect("records decode"));
        next = number + 1;
    }
    records
}

/// The one failure that a run left; no verdict beside it, and nothing driven after `row`.
fn failure(run: &Run, row: usize) -> SelfTestFailure {
    for asked in run.asked.iter().skip(row) {
        assert_eq!(asked.levels, [false; 5], "row {}", asked.row);
    }
    let resets = run.report["watchdogResets"].as_array().map_or(0, Vec::len);
    assert_eq!(resets, 0);
    let bodies: Vec<&Body> = run.records.iter().map(|record| &record.body).collect();
    match bodies[..] {
        [Body::Boot(BootCause::PowerOn), Body::SelfTest(failure)] => *failure,
        _ => panic!("{} records, or others", bodies.len()),
    }
}

#[test]
fn a_wrong_bit_of_the_program_is_found_at_start() {
    // The last byte of the second-stage loader, which the emulator does not run.
    let Some(run) = run(&["--flip", "100000ff"], 3) else {
        return;
    };
    let SelfTestFailure::Image { found, expected } = failure(&run, 0) else {
        panic!("another test failed");
    };
    assert_ne!(found, expected);
}

#[test]
fn a_stuck_channel_is_found_at_start() {
    let Some(run) = run(&["--stuck", "2:0"], 3) else {
        return;
    };
    let SelfTestFailure::TestVoltage { lead, code, .. } = failure(&run, 0) else {
        panic!("another test failed");
    };
    assert_eq!((lead, code), (Lead::Ground, 0));
}

#[test]
fn a_converter_clock_off_by_one_percent_is_found_within_a_second_and_a_half() {
    for (ppm, argument) in [(10_000, "10000"), (-10_000, "-10000")] {
        let argument = format!("--adc-clock-ppm={argument}");
        let Some(run) = run(&[&argument], 4) else {
            return;
        };
        let SelfTestFailure::Clock { apart_ppm, .. } = failure(&run, 6_000) else {
            panic!("another test failed");
        };
        assert!((apart_ppm - ppm).abs() < 100, "{apart_ppm} of {ppm}");
    }
}

#[test]
fn a_loop_that_takes_no_frames_starves_the_watchdog_and_the_next_start_says_so() {
    let Some(run) = run(&["--skip-frames-at", "500"], 3) else {
        return;
    };
    let resets = run.report["watchdogResets"].as_array().expect("a list");
    let first = resets.first().expect("it bit")["ms"].as_f64().expect("ms");
    assert!((500.0..2_700.0).contains(&first), "{first}");
    let causes: Vec<BootCause> = run
        .records
        .iter()
        .filter_map(|record| match record.body {
            Body::Boot(cause) => Some(cause),
            _ => None,
        })
        .collect();
    assert_eq!(causes[..2], [BootCause::PowerOn, BootCause::Watchdog]);
}
