//! The real image's tests of itself: a wrong bit of flash, a stuck channel, a clock that is off,
//! a welded relay, and a loop that no longer takes frames. What it leaves in its flash is read as a host would.

use std::fs;

use slotwise_core::evidence::Evidence;
use slotwise_core::finding::FindingCode;
use slotwise_core::judge::failed_self_test;
use slotwise_core::lamps::Panel;
use slotwise_core::record::{Body, BootCause, Record};
use slotwise_core::self_test::{Relay as Named, SelfTestFailure};
use slotwise_core::slots::Lead;
use slotwise_core::units::Millis;
use slotwise_firmware::lamps::level;
use slotwise_tests::circuit_server::CircuitServer;
use slotwise_tests::emulator::{EmulatedBoard, Feed, Given, image_or_word, report, run_alone};
use slotwise_tests::flash_records::records_of;
use slotwise_virtual::board::workshop_flash;
use slotwise_virtual::front_end::{FrontEnd, PhasorSource, Stretch};
use slotwise_virtual::house::find;
use slotwise_virtual::outputs::{Outputs, Relay};
use slotwise_virtual::tester::{Specimen, Tolerance};

/// What a run left.
struct Run {
    records: Vec<Record>,
    report: serde_json::Value,
}

/// Runs the image in a sound receptacle for `seconds`. Nobody asks it anything.
fn run(more: &[&str], seconds: u64) -> Option<Run> {
    run_in("sound", more, seconds)
}

/// The same in a receptacle of the bank.
fn run_in(receptacle: &str, more: &[&str], seconds: u64) -> Option<Run> {
    let elf = image_or_word()?;
    let folder = tempfile::tempdir().expect("a temporary folder");
    let path = |name: &str| folder.path().join(name);
    // An exit code of 1 says that the port was never opened, or the like; the report says what.
    run_alone(&elf, folder.path(), receptacle, seconds, more).expect("it runs");
    Some(Run {
        records: records_of(&path("nor.bin")),
        report: report(&path("report.json")),
    })
}

/// Runs the image in a sound receptacle with this relay welded, its codes following its pins.
fn run_with_welded(relay: Relay, seconds: u64) -> Option<Run> {
    let elf = image_or_word()?;
    let folder = tempfile::tempdir().expect("a temporary folder");
    let path = |name: &str| folder.path().join(name);
    let specimen = Specimen::draw(52, &Tolerance::USUAL);
    let contents = workshop_flash(&specimen).expect("the workshop calibrates it");
    fs::write(path("nor.bin"), &contents).expect("room for the flash's contents");
    let sound = find("sound").expect("in the bank").receptacle.clone();
    let plan = [Stretch::plugged(sound, 60_000)];
    let source = PhasorSource::new(&specimen, &plan).expect("it is solved");
    let front_end = FrontEnd::new(specimen, Box::new(source));
    let outputs = Outputs::new();
    outputs.stick(relay, Some(true));
    let circuit =
        CircuitServer::start_with(folder.path(), front_end, outputs).expect("pipes can be made");
    let board = EmulatedBoard::start(Given {
        elf: &elf,
        feed: Feed::Circuit(&circuit),
        nor: &path("nor.bin"),
        report: &path("report.json"),
        seconds: 3600,
        more: &[],
    })
    .expect("the emulator starts");
    circuit.wait_for(4_000 * seconds);
    assert!(board.finish().expect("it ends"), "nothing that ends a run");
    circuit.finish().expect("the pipes held");
    Some(Run {
        records: records_of(&path("nor.bin")),
        report: report(&path("report.json")),
    })
}

/// The one failure that a run left; no verdict beside it, and outputs low at its end.
fn failure(run: &Run) -> SelfTestFailure {
    let levels = run.report["outputs"]["levels"].as_object();
    for (pin, level) in levels.expect("levels by name") {
        assert!(level == false || level == 0, "{pin}: {level}");
    }
    let resets = run.report["watchdogResets"].as_array().map_or(0, Vec::len);
    assert_eq!(resets, 0);
    let bodies: Vec<&Body> = run.records.iter().map(|record| &record.body).collect();
    match bodies[..] {
        [Body::Start(start), Body::SelfTest(failure)] => {
            assert_eq!((start.cause, start.stopped), (BootCause::PowerOn, None));
            *failure
        }
        _ => panic!("{} records, or others", bodies.len()),
    }
}

/// Conversions with the probe on.
fn probed(run: &Run) -> u64 {
    let conversions = &run.report["outputs"]["conversions"]["probe"];
    conversions.as_u64().expect("counted")
}

#[test]
fn a_wrong_bit_of_the_program_is_found_at_start() {
    // The last byte of the second-stage loader, which the emulator does not run.
    let Some(run) = run(&["--flip", "100000ff"], 3) else {
        return;
    };
    assert_eq!(probed(&run), 0);
    let SelfTestFailure::Image { found, expected } = failure(&run) else {
        panic!("another test failed");
    };
    assert_ne!(found, expected);
}

#[test]
fn a_stuck_channel_is_found_at_start() {
    let Some(run) = run(&["--stuck", "2:0"], 3) else {
        return;
    };
    assert_eq!(probed(&run), 0);
    let SelfTestFailure::TestVoltage { lead, code, .. } = failure(&run) else {
        panic!("another test failed");
    };
    assert_eq!((lead, code), (Lead::Ground, 0));
}

#[test]
fn a_converter_clock_off_by_one_percent_is_found_within_a_second_and_a_half() {
    for (ppm, argument) in [(10_000, "10000"), (-10_000, "-10000")] {
        let argument = format!("--adc-clock-ppm={argument}");
        let Some(run) = run(&[&argument], 3) else {
            return;
        };
        // From the first answer at 0.5 s to the failure, at 1.5 s at the latest.
        assert!(probed(&run) < 4_000, "{}", probed(&run));
        let SelfTestFailure::Clock { apart_ppm, .. } = failure(&run) else {
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
            Body::Start(start) => Some(start.cause),
            _ => None,
        })
        .collect();
    assert_eq!(causes[..2], [BootCause::PowerOn, BootCause::Watchdog]);
}

/// 0.5 s to the first answer and three passes of 0.83 s; a load of the house may cost a fourth.
#[test]
fn a_welded_relay_is_found_before_the_probe_is_used() {
    for (relay, named) in [
        (Relay::ProbeA, Named::ProbeA),
        (Relay::ProbeB, Named::ProbeB),
        (Relay::DriveGround, Named::DriveToGround),
    ] {
        let Some(run) = run_with_welded(relay, 5) else {
            return;
        };
        // The pump and the level are never driven together.
        assert_eq!(probed(&run), 0, "{relay:?}");
        let SelfTestFailure::RelayClosed { relay, .. } = failure(&run) else {
            panic!("another test failed");
        };
        assert_eq!(relay, named);
    }
}

/// Lamp changes of a run: milliseconds, lamp, lit.
fn lamp_changes(run: &Run) -> Vec<(f64, String, bool)> {
    let history = run.report["lamps"]["history"].as_array().expect("a list");
    let change = |entry: &serde_json::Value| {
        let name = entry["lamp"].as_str().expect("a name").to_owned();
        let lit = entry["lit"].as_bool().expect("lit or not");
        (entry["ms"].as_f64().expect("ms"), name, lit)
    };
    history.iter().map(change).collect()
}

/// Settings are read back every minute. The bit is one of the power mode, which shows in no code.
#[test]
fn a_settings_bit_that_flips_is_read_back_within_a_minute_and_ends_every_answer() {
    let flip = ["--fault", "bit@40000:03.0"];
    let Some(run) = run_in("open-ground", &flip, 64) else {
        return;
    };
    assert_eq!(
        run.report["watchdogResets"].as_array().map_or(0, Vec::len),
        0
    );
    assert_eq!(run.report["converter"]["missedWhileStreaming"], 0);
    let bodies: Vec<&Body> = run.records.iter().map(|record| &record.body).collect();
    let [
        Body::Start(start),
        Body::Test(test),
        Body::SelfTest(failure),
    ] = bodies[..]
    else {
        panic!("{} records, or others", bodies.len());
    };
    assert_eq!(start.cause, BootCause::PowerOn);
    let first = test.verdict.first().map(|finding| finding.code);
    assert_eq!(first, Some(FindingCode::OpenGround));
    assert_eq!(test.evidence.health.bad_frames, 0);
    // CLOCK is set to 0F0E (data sheet SBAS890D, table 8-17; hardware/theory.md).
    assert_eq!(
        *failure,
        SelfTestFailure::Register {
            register: 3,
            found: 0x0F0F,
            expected: 0x0F0E
        }
    );

    // From then on the lamps say "tester fault" and nothing else: the topmost dark, the other
    // five in one slow rhythm, at most 0.1 s after the minute.
    let changes = lamp_changes(&run);
    let panel = Panel::for_verdict(&failed_self_test(), &Evidence::empty());
    let names = [
        "live-metal",
        "wired-right",
        "earth-path",
        "supply",
        "steady",
        "proven",
    ];
    let at = |name: &str, ms: f64| {
        let mut before = changes
            .iter()
            .filter(|(at, lamp, _)| lamp == name && *at <= ms);
        before.next_back().is_some_and(|(_, _, lit)| *lit)
    };
    let mut seen = [[false; 2]; 6];
    for ms in (60_200..64_000).step_by(20) {
        let near = |apart: i64| Millis::new((ms + apart).unsigned_abs());
        for ((name, rhythm), seen) in names.iter().zip(panel.rhythms).zip(&mut seen) {
            let lit = at(name, ms as f64);
            seen[usize::from(lit)] = true;
            // Within 15 ms of an edge either will do: two clocks.
            if level(rhythm, near(-15)) == level(rhythm, near(15)) {
                assert_eq!(lit, level(rhythm, near(0)), "{name} at {ms} ms");
            }
        }
    }
    assert_eq!(seen[0], [true, false]);
    assert_eq!(seen[1..], [[true, true]; 5]);
    // Before it, it said something else.
    assert!(
        (20_000..59_000)
            .step_by(20)
            .any(|ms| at("wired-right", ms as f64) != level(panel.rhythms[1], Millis::new(ms)))
    );
}
