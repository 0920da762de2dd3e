//! A part of the tester's own currents is broken, in a sound receptacle: whatever it is, the
//! tester must not call the receptacle good by what it measured with it.
//!
//! The tester was calibrated while it was whole. What a wrong resistance does to a reading is
//! arithmetic: the firmware takes 90 kohm and 10 ohm, so a probe of 60 kohm reads
//! 1.5 x (10 + R) - 10, one of 135 kohm (10 + R) / 1.5 - 10, a lost reference R - 10.

use slotwise_core::evidence::Measured;
use slotwise_core::finding::FindingCode;
use slotwise_core::link::Request;
use slotwise_core::record::{Body, Test};
use slotwise_core::self_test::SelfTestFailure;
use slotwise_core::slots::ClipTarget;
use slotwise_core::units::{Ohms, Volts};
use slotwise_core::verdict::Outcome;
use slotwise_tests::bench::Bench;
use slotwise_virtual::board::workshop_flash;
use slotwise_virtual::house::{Appliance, Joint, Receptacle};
use slotwise_virtual::outputs::Relay;
use slotwise_virtual::tester::{CurrentParts, Specimen, Tolerance};

const OPEN: Ohms = Ohms::new(1e9);
const SHORTED: Ohms = Ohms::new(0.001);

/// What breaks.
type Change = fn(&mut CurrentParts);

/// The test that a tester makes whose parts were changed after its calibration.
fn test_with(change: impl FnOnce(&mut CurrentParts)) -> Test {
    ended_with(change).expect("a test and no failed test of itself")
}

/// The same; what failed where the tester failed a test of itself and answers no more.
fn ended_with(change: impl FnOnce(&mut CurrentParts)) -> Result<Test, SelfTestFailure> {
    let mut specimen = Specimen::draw(61, &Tolerance::USUAL);
    let contents = workshop_flash(&specimen).expect("the workshop calibrates it");
    change(&mut specimen.currents);
    let mut bench = Bench::with_contents(specimen, contents);
    bench.hand.plug(&Receptacle::sound()).expect("it is solved");
    bench.board.run_for(25_000);
    let records = bench.pull();
    let last = records.iter().rev().find_map(|record| match &record.body {
        Body::Test(test) => Some(Ok(test.clone())),
        Body::SelfTest(failure) => Some(Err(*failure)),
        _ => None,
    });
    last.expect("a record of one or the other")
}

fn ohms(measured: Measured<Ohms>) -> Option<f64> {
    measured.value().map(|ohms| f64::from(ohms.get()))
}

#[test]
fn the_whole_tester_finds_nothing() {
    let test = test_with(|_| ());
    assert_eq!(test.verdict.outcome, Outcome::NoFaultFound);
    assert!(ohms(test.evidence.earth_path).is_some());
    assert!(ohms(test.evidence.neutral_and_ground).is_some());
}

#[test]
fn a_probe_without_current_is_a_tester_fault() {
    for resistor in 0..3 {
        let test = test_with(|parts| parts.probe[resistor] = OPEN);
        assert_eq!(test.verdict.outcome, Outcome::TesterFault);
        assert!(test.verdict.has(FindingCode::ReferenceResistorUnseen));
    }
}

#[test]
fn a_shorted_probe_resistor_reads_as_a_weak_path_never_as_a_good_one() {
    for resistor in 0..3 {
        let test = test_with(|parts| parts.probe[resistor] = SHORTED);
        assert_eq!(test.verdict.outcome, Outcome::Fault);
        let read = ohms(test.evidence.earth_path).expect("measured");
        assert!((read - 5.3).abs() < 0.4, "{read}");
    }
}

#[test]
fn a_risen_probe_resistor_is_a_tester_fault() {
    let test = test_with(|parts| parts.probe[1] = Ohms::new(75_000.0));
    assert_eq!(test.verdict.outcome, Outcome::TesterFault);
    assert!(test.verdict.has(FindingCode::ReferenceResistorUnseen));
}

#[test]
fn a_lost_reference_resistor_is_a_tester_fault() {
    let test = test_with(|parts| parts.reference = SHORTED);
    assert_eq!(test.verdict.outcome, Outcome::TesterFault);
    assert!(test.verdict.has(FindingCode::ReferenceResistorUnseen));
}

#[test]
fn an_open_reference_resistor_reads_as_an_open_ground() {
    let test = test_with(|parts| parts.reference = OPEN);
    assert_eq!(test.verdict.outcome, Outcome::Fault);
    assert!(test.verdict.has(FindingCode::OpenGround));
}

#[test]
fn a_wrong_drive_is_never_a_good_neutral() {
    let changes: [(&str, Change); 4] = [
        ("source open", |parts| parts.drive_source = OPEN),
        ("no level", |parts| parts.drive_level = Volts::new(1e-6)),
        ("source doubled", |parts| {
            parts.drive_source = Ohms::new(6_000.0);
        }),
        ("source shorted", |parts| {
            parts.drive_source = Ohms::new(1.0)
        }),
    ];
    let mut wrong = Vec::new();
    for (name, change) in changes {
        let test = match ended_with(change) {
            Ok(test) => test,
            // Its limiter acts already at the plain level: it does not rise.
            Err(failure) => {
                println!("{name}: {failure:?}");
                continue;
            }
        };
        let read = ohms(test.evidence.neutral_and_ground);
        let outcome = test.verdict.outcome;
        println!("{name}: {outcome:?}, {read:?}");
        let good = [Outcome::Proven, Outcome::NoFaultFound].contains(&outcome);
        if good && read.is_some() {
            wrong.push(name);
        }
    }
    assert_eq!(wrong, [""; 0]);
}

/// Power off, clip on a burner that hangs on its ground by 20 ohm.
#[test]
fn a_clip_relay_that_never_closes_is_no_pass() {
    let specimen = Specimen::draw(62, &Tolerance::USUAL);
    let contents = workshop_flash(&specimen).expect("the workshop calibrates it");
    let mut bench = Bench::with_contents(specimen, contents);
    bench.board.outputs.stick(Relay::DriveClip, Some(false));
    let receptacle = Receptacle {
        breaker_on: false,
        frame_joint: Joint::Weak(Ohms::new(20.0)),
        ..Receptacle::sound()
    }
    .with_appliance(Appliance::steady(0.0))
    .with_clip(ClipTarget::ApplianceFrame);
    bench.hand.plug(&receptacle).expect("it is solved");
    bench.ask(Request::StartTest {
        clip: ClipTarget::ApplianceFrame,
    });
    bench.board.run_for(25_000);
    let records = bench.pull();
    let last = records.iter().rev().find_map(|record| match &record.body {
        Body::Test(test) => Some(test.clone()),
        _ => None,
    });
    let read = ohms(last.expect("a test").evidence.neutral_to_clip);
    assert_eq!(read, None, "nothing flowed");
}
