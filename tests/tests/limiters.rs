//! Limiters of the drive that failed, on the virtual board: each is found before anything is called
//! proven, in the leg to ground by every test that reads sound, in the leg to the clip by one with
//! the clip on an independent earth. So are a level that does not rise, and a leg that carries
//! nothing.

use slotwise_core::evidence::{Measured, Missing};
use slotwise_core::finding::FindingCode;
use slotwise_core::link::Request;
use slotwise_core::record::{Body, Record, Test};
use slotwise_core::self_test::SelfTestFailure;
use slotwise_core::slots::ClipTarget;
use slotwise_core::stimulus::{DrivePath, Order};
use slotwise_core::units::{Amperes, Ohms};
use slotwise_core::verdict::Outcome;
use slotwise_tests::bench::Bench;
use slotwise_virtual::board::workshop_flash;
use slotwise_virtual::house::Receptacle;
use slotwise_virtual::outputs::{Output, Relay};
use slotwise_virtual::tester::{Specimen, Tolerance};

const NEVER: Amperes = Amperes::new(f32::INFINITY);

/// Three passes on both legs, and all that comes before.
const WHOLE_MS: u64 = 32_000;

/// A tester that was calibrated before this broke.
fn broken(seed: u64, break_it: impl FnOnce(&mut Specimen)) -> Bench {
    let mut specimen = Specimen::draw(seed, &Tolerance::USUAL);
    let contents = workshop_flash(&specimen).expect("the workshop calibrates it");
    break_it(&mut specimen);
    Bench::with_contents(specimen, contents)
}

/// A test in a sound receptacle, the clip on a water pipe or not.
fn run(bench: &mut Bench, clip: ClipTarget) -> Vec<Record> {
    run_in(bench, &Receptacle::sound(), clip)
}

/// The same where the other earth has so many ohms.
fn run_on_earth(bench: &mut Bench, ohms: f32) -> Test {
    let receptacle = Receptacle {
        independent_earth: Ohms::new(ohms),
        ..Receptacle::sound()
    };
    let records = run_in(bench, &receptacle, ClipTarget::IndependentEarth);
    last_test(&records).expect("a test")
}

fn run_in(bench: &mut Bench, receptacle: &Receptacle, clip: ClipTarget) -> Vec<Record> {
    bench
        .hand
        .plug(&receptacle.clone().with_clip(clip))
        .unwrap();
    bench.board.run_for(200);
    bench.ask(Request::StartTest { clip });
    bench.board.run_for(WHOLE_MS);
    bench.pull()
}

fn failure(records: &[Record]) -> Option<SelfTestFailure> {
    records.iter().find_map(|record| match &record.body {
        Body::SelfTest(failure) => Some(*failure),
        _ => None,
    })
}

fn last_test(records: &[Record]) -> Option<Test> {
    records.iter().rev().find_map(|record| match &record.body {
        Body::Test(test) => Some(test.clone()),
        _ => None,
    })
}

#[test]
fn each_failed_limiter_is_named_by_leg_and_half() {
    for (leg, path) in [(0, DrivePath::WideToGround), (1, DrivePath::WideToClip)] {
        for (half, high) in [(0, true), (1, false)] {
            let mut bench = broken(81, |specimen| specimen.currents.limits[leg][half] = NEVER);
            let records = run(&mut bench, ClipTarget::IndependentEarth);
            let found = failure(&records);
            let Some(SelfTestFailure::LimiterFails {
                path: named,
                high: at,
                permille,
                ..
            }) = found
            else {
                panic!("{path:?} {high}: {found:?}");
            };
            assert_eq!((named, at), (path, high));
            // (10.2 + 6.0) / 12.0, resistors of 1 %.
            assert!((1330..=1370).contains(&permille), "{permille}");
            let verdict = bench.board.tester().verdict().expect("it says so");
            assert_eq!(verdict.outcome, Outcome::TesterFault);
            assert!(verdict.has(FindingCode::SelfTestFailed));
            assert!(bench.board.outputs.all_low());
            assert_eq!(bench.board.tester().order(), Order::Rest);
            // What the readings were is no answer.
            assert!(last_test(&records).is_none());
        }
    }
}

#[test]
fn a_level_that_does_not_rise_or_stands_raised_is_a_tester_fault() {
    for level in [false, true] {
        let mut bench = broken(82, |_| {});
        bench.board.outputs.jam(Output::DriveRaise, level);
        let records = run(&mut bench, ClipTarget::NotConnected);
        let found = failure(&records);
        let Some(SelfTestFailure::LimiterFails { permille, .. }) = found else {
            panic!("{level}: {found:?}");
        };
        assert!((990..=1010).contains(&permille), "{level}: {permille}");
    }
}

#[test]
fn with_both_limiters_whole_the_clips_earth_is_measured() {
    let mut bench = broken(83, |_| {});
    let records = run(&mut bench, ClipTarget::IndependentEarth);
    assert_eq!(failure(&records), None);
    let test = last_test(&records).expect("a test");
    // The pipe's earth, the utility's, and the neutral's copper: 25 ohm at least.
    let receptacle = Receptacle::sound().with_clip(ClipTarget::IndependentEarth);
    let truth = slotwise_virtual::means::earth_ohms(&receptacle, &bench.specimen).unwrap();
    let reading = test.evidence.neutral_to_clip.reading().expect("measured");
    let off = f64::from(reading.value.get()) - truth;
    println!("neutral to clip {reading:?}, truth {truth:.3}");
    assert!(off.abs() < 0.1 + 0.002 * truth, "{reading:?} {truth}");
    assert!(!test.verdict.unproven.polarity, "{:?}", test.verdict);
    assert!(test.evidence.neutral_and_ground.value().is_some());
}

#[test]
fn without_a_clip_on_an_earth_its_leg_stays_open() {
    for clip in [ClipTarget::NotConnected, ClipTarget::ApplianceFrame] {
        let mut bench = broken(84, |specimen| specimen.currents.limits[1] = [NEVER; 2]);
        let records = run(&mut bench, clip);
        assert_eq!(bench.board.outputs.closings().drive_to_clip, 0);
        assert_eq!(failure(&records), None, "{clip:?}");
        let test = last_test(&records).expect("a test");
        assert_eq!(test.verdict.outcome, Outcome::NoFaultFound, "{clip:?}");
        assert!(test.verdict.unproven.polarity);
        let not_asked = Measured::Missing(Missing::NotAsked);
        assert_eq!(test.evidence.neutral_to_clip, not_asked);
    }
}

#[test]
fn a_leg_to_the_clip_that_carries_nothing_proves_no_polarity() {
    let mut bench = broken(85, |_| {});
    bench.board.outputs.stick(Relay::DriveClip, Some(false));
    let test = last_test(&run(&mut bench, ClipTarget::IndependentEarth)).expect("a test");
    assert_eq!(test.verdict.outcome, Outcome::TesterFault, "{test:?}");
    assert_eq!(
        test.evidence.neutral_to_clip,
        Measured::Missing(Missing::NoCurrent)
    );

    // The resistor in its lead shorted: less than the lead itself has.
    let mut bench = broken(86, |specimen| {
        specimen.currents.clip_reference = Ohms::new(0.001);
    });
    let test = run_on_earth(&mut bench, 2.0);
    assert_eq!(test.verdict.outcome, Outcome::TesterFault, "{test:?}");
    assert_eq!(
        test.evidence.neutral_to_clip,
        Measured::Missing(Missing::NoCurrent)
    );
}

#[test]
fn an_earth_of_a_kilohm_proves_no_polarity() {
    let mut bench = broken(87, |_| {});
    let test = run_on_earth(&mut bench, 700.0);
    let value = test.evidence.neutral_to_clip.value().expect("measured");
    assert!((690.0..760.0).contains(&value.get()), "{value:?}");
    assert!(test.verdict.unproven.polarity);
    assert_eq!(test.verdict.outcome, Outcome::NoFaultFound);
}
