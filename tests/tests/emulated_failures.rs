//! Parts that fail under the real image: a flash that answers nothing, is never ready or does not
//! write, and a converter whose frames come damaged in bursts. It must say so, go on measuring, give
//! no verdict from damaged frames, and come back.

use std::fs;
use std::path::Path;
use std::time::Duration;

use serde_json::Value;
use slotwise::client::Client;
use slotwise::port;
use slotwise_core::finding::FindingCode;
use slotwise_core::lamps::{Lamp, Rhythm};
use slotwise_core::link::{JournalState, Look, Status};
use slotwise_core::record::{Body, Record};
use slotwise_core::verdict::Outcome;
use slotwise_tests::circuit_server::CircuitServer;
use slotwise_tests::emulator::{EmulatedBoard, Feed, Given, image_or_word, report};
use slotwise_tests::flash_records::records_of;
use slotwise_tests::lamp_pins::LampPins;
use slotwise_virtual::board::workshop_flash;
use slotwise_virtual::front_end::{FrontEnd, PhasorSource, Stretch};
use slotwise_virtual::house::find;
use slotwise_virtual::tester::{Specimen, Tolerance};

/// What a run left.
struct Run {
    status: Status,
    look: Look,
    report: Value,
    lamps: LampPins,
    nor: Vec<u8>,
}

/// Runs the image in a sound receptacle and asks it what it sees after `seconds`.
fn run(folder: &Path, more: &[&str], seconds: u64) -> Option<Run> {
    let elf = image_or_word()?;
    let path = |name: &str| folder.join(name);
    let specimen = Specimen::draw(61, &Tolerance::USUAL);
    let contents = workshop_flash(&specimen).expect("the workshop calibrates it");
    fs::write(path("nor.bin"), &contents).expect("room for the flash's contents");
    let sound = find("sound").expect("in the bank").receptacle.clone();
    // It ends when the host has asked, however long that takes.
    let longest = seconds + 3600;
    let plan = [Stretch::plugged(sound, 1000 * longest)];
    let source = PhasorSource::new(&specimen, &plan).expect("it is solved");
    let front_end = FrontEnd::new(specimen, Box::new(source));
    let circuit = CircuitServer::start(folder, front_end).expect("pipes can be made");
    let board = EmulatedBoard::start(Given {
        elf: &elf,
        feed: Feed::Circuit(&circuit),
        nor: &path("nor.bin"),
        report: &path("report.json"),
        seconds: u32::try_from(longest).expect("an hour"),
        more,
    })
    .expect("the emulator starts");
    circuit.wait_for(4_000 * seconds);
    let name = board.port().expect("the port has a name");
    // The emulator may be many times slower than the wall clock.
    let mut client = Client::new(Box::new(port::open(&name).expect("it opens")))
        .with_patience(Duration::from_secs(60));
    client.hello().expect("it answers");
    let status = client.status().expect("it answers");
    let look = client.look().expect("it answers");
    drop(client);
    assert!(board.finish().expect("it ends"), "nothing that ends a run");
    circuit.finish().expect("the pipes held");
    let report = report(&path("report.json"));
    let lamps = LampPins::of(&report);
    let nor = fs::read(path("nor.bin")).expect("it was written back");
    fs::remove_file(path("requests")).expect("the pipe is there");
    fs::remove_file(path("answers")).expect("the pipe is there");
    Some(Run {
        status,
        look,
        report,
        lamps,
        nor,
    })
}

fn outcome(run: &Run) -> Option<(Outcome, Option<FindingCode>)> {
    let answer = run.look.answer.as_ref()?;
    Some((answer.outcome, answer.finding.map(|finding| finding.code)))
}

fn resets(run: &Run) -> usize {
    run.report["watchdogResets"].as_array().map_or(0, Vec::len)
}

/// The flash fails in the middle of the test, when the calibration was read long ago: the answer
/// comes all the same, the link says that nothing is kept, and the next start finds what was
/// kept before.
#[test]
fn a_flash_that_fails_in_a_test_takes_the_record_and_not_the_answer() {
    for fault in ["dead@3000", "busy@3000", "deaf@3000"] {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let Some(run) = run(folder.path(), &["--nor-fault", fault], 16) else {
            return;
        };
        assert_eq!(run.status.journal, JournalState::Failed, "{fault}");
        assert!(!run.status.testing, "{fault}: {:?}", run.status);
        assert_eq!(
            outcome(&run),
            Some((Outcome::NoFaultFound, Some(FindingCode::ReadsSound))),
            "{fault}"
        );
        assert_eq!(resets(&run), 0, "{fault}");
        assert_eq!(
            run.report["converter"]["missedWhileStreaming"], 0,
            "{fault}"
        );
        let records = records_of(&folder.path().join("nor.bin"));
        assert_eq!(records.len(), 1, "{fault}");
        assert!(matches!(records[0].body, Body::Start(_)), "{fault}");
    }
}

/// Without its flash a tester has no calibration: it measures nothing that it could vouch for.
#[test]
fn a_flash_that_fails_from_the_start_leaves_no_verdict_but_that_of_the_tester() {
    for fault in ["dead@0", "busy@0"] {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let Some(run) = run(folder.path(), &["--nor-fault", fault], 6) else {
            return;
        };
        assert_eq!(run.status.journal, JournalState::Failed, "{fault}");
        assert_eq!(
            outcome(&run).map(|(outcome, _)| outcome),
            Some(Outcome::TesterFault),
            "{fault}"
        );
        assert_eq!(resets(&run), 0, "{fault}");
        // Its lamps say "unsure" on every question.
        for lamp in Lamp::ALL {
            let expected = match lamp {
                Lamp::LiveMetal => Rhythm::Off,
                _ => Rhythm::SlowBlink,
            };
            let seen = run.lamps.rhythm(lamp, 3000.0, 6000.0);
            assert_eq!(seen, Some(expected), "{fault} {lamp:?}");
        }
        let probed = &run.report["outputs"]["conversions"];
        assert_eq!(probed["probe"], 0, "{fault}");
        assert_eq!(probed["driveToGround"], 0, "{fault}");
    }
}

fn test_of(records: &[Record]) -> &slotwise_core::record::Test {
    match &records[records.len() - 1].body {
        Body::Test(test) => test,
        other => panic!("{other:?}"),
    }
}

/// Every frame damaged for three seconds, then in bursts of 10 ms in every window for six more, then
/// none: not one lamp speaks while the storm lasts, and the test after it is whole.
#[test]
fn no_verdict_comes_of_a_storm_of_damaged_frames_and_the_test_after_it_is_sound() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let mut faults = vec!["crc@2000:14000".to_owned()];
    faults.extend(
        (14_000..38_000)
            .step_by(400)
            .map(|at| format!("crc@{at}:{}", at + 40)),
    );
    let arguments: Vec<&str> = faults
        .iter()
        .flat_map(|fault| ["--fault", fault.as_str()])
        .collect();
    let Some(run) = run(folder.path(), &arguments, 24) else {
        return;
    };
    let spoke = LampPins::of(&run.report).any_lit(0.0, 9_400.0);
    assert!(
        !spoke,
        "a lamp was lit in the storm: {}",
        run.report["lamps"]
    );
    assert_eq!(
        outcome(&run),
        Some((Outcome::NoFaultFound, Some(FindingCode::ReadsSound)))
    );
    assert_eq!(resets(&run), 0);
    fs::write(folder.path().join("after.bin"), &run.nor).expect("room");
    let records = records_of(&folder.path().join("after.bin"));
    let tests = records
        .iter()
        .filter(|record| matches!(record.body, Body::Test(_)));
    assert_eq!(tests.count(), 1, "{records:?}");
    let test = test_of(&records);
    assert_eq!(
        test.verdict.first().map(|first| first.code),
        Some(FindingCode::ReadsSound)
    );
    // The damage is told.
    assert!(run.status.bad_frames >= 12_000, "{:?}", run.status);
    println!(
        "{} bad frames told; health {:?}",
        run.status.bad_frames, test.evidence.health
    );
}
