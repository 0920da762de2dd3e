//! One relay of the tester's own currents welded, or its pin stuck, on the virtual board: the test
//! of the relays finds it before any current is used, and the tester answers no more.
//!
//! With two relays in series in the probe a welded one is seen in no reading, so what a test says
//! is not the measure here: the record is, and that none with a verdict stands beside it.

use slotwise_core::evidence::{Measured, Missing};
use slotwise_core::finding::FindingCode;
use slotwise_core::lamps::{Lamp, Rhythm};
use slotwise_core::link::Request;
use slotwise_core::record::{Body, Record};
use slotwise_core::self_test::{Relay as Named, SelfTestFailure};
use slotwise_core::slots::ClipTarget;
use slotwise_core::stimulus::Order;
use slotwise_core::verdict::Outcome;
use slotwise_tests::bench::Bench;
use slotwise_virtual::house::{Appliance, Receptacle};
use slotwise_virtual::outputs::{Output, Relay};

/// From the plug to the end of the third pass: 50 ms and two windows, three times 0.83 s, some
/// frames of the main loop between, and a fifth pass if a load of the house comes between.
const FOUND_WITHIN_MS: u64 = 5_000;

/// The relay in the record of the failed test, and that no test stands in the records.
fn failed(records: &[Record]) -> Option<Named> {
    let mut found = None;
    for record in records {
        match &record.body {
            Body::SelfTest(SelfTestFailure::RelayClosed { relay, .. }) => found = Some(*relay),
            Body::Start(_) => {}
            other => panic!("{other:?}"),
        }
    }
    found
}

/// What a tester shows that has failed a test of itself.
fn assert_failed(bench: &mut Bench, named: Named) {
    assert_eq!(bench.board.tester().order(), Order::Rest);
    let verdict = bench.board.tester().verdict().expect("it says so").clone();
    assert_eq!(verdict.outcome, Outcome::TesterFault, "{named:?}");
    assert!(verdict.has(FindingCode::SelfTestFailed));
    let panel = *bench.board.tester().panel();
    for lamp in Lamp::ALL {
        let expected = if lamp == Lamp::LiveMetal {
            Rhythm::Off
        } else {
            Rhythm::SlowBlink
        };
        assert_eq!(panel.rhythm(lamp), expected, "{lamp:?}");
    }
    assert_eq!(failed(&bench.pull()), Some(named));
    // Whatever is asked for, and plugged into something else: no answer any more.
    bench.unplug();
    bench.board.run_for(500);
    bench.hand.plug(&Receptacle::sound()).unwrap();
    bench.ask(Request::StartTest {
        clip: ClipTarget::NotConnected,
    });
    bench.board.run_for(3_000);
    assert_eq!(bench.board.tester().order(), Order::Rest);
    assert_eq!(failed(&bench.pull()), Some(named));
}

#[test]
fn each_welded_relay_is_named_before_the_probe_is_used() {
    for (relay, named) in [
        (Relay::ProbeA, Named::ProbeA),
        (Relay::ProbeB, Named::ProbeB),
        (Relay::DriveGround, Named::DriveToGround),
        (Relay::DriveClip, Named::DriveToClip),
    ] {
        let mut bench = Bench::new(71);
        bench.board.outputs.stick(relay, Some(true));
        bench.hand.plug(&Receptacle::sound()).unwrap();
        bench.board.run_for(FOUND_WITHIN_MS);
        // Six closings of 133 frames a pass, through a welded partner; the probe's own pattern
        // would have closed it for 2000 frames a second.
        let closed = bench.board.outputs.closings().probe;
        let is_probe = matches!(relay, Relay::ProbeA | Relay::ProbeB);
        assert_eq!(closed > 0, is_probe, "{relay:?}");
        assert!(closed <= 5 * 6 * 134, "{closed}");
        assert!(bench.board.outputs.all_low(), "{relay:?}");
        assert_failed(&mut bench, named);
    }
}

#[test]
fn a_pin_stuck_high_is_as_good_as_a_welded_relay() {
    for (output, named) in [
        (Output::ProbeHold, Named::ProbeB),
        (Output::DriveGround, Named::DriveToGround),
        (Output::DriveClip, Named::DriveToClip),
    ] {
        let mut bench = Bench::new(72);
        bench.board.outputs.jam(output, true);
        bench.hand.plug(&Receptacle::sound()).unwrap();
        bench.board.run_for(FOUND_WITHIN_MS);
        assert_failed(&mut bench, named);
    }
}

/// The pump's pin standing still, a pin stuck low, a tone that stands: nothing flows, which the
/// readings tell, or nothing is wrong.
#[test]
fn no_other_stuck_pin_ends_in_a_good_answer_by_what_it_broke() {
    for (output, level) in [
        (Output::ProbePump, true),
        (Output::ProbePump, false),
        (Output::ProbeHold, false),
        (Output::DriveGround, false),
        (Output::Tone, true),
        (Output::Tone, false),
    ] {
        let mut bench = Bench::new(73);
        bench.board.outputs.jam(output, level);
        bench.hand.plug(&Receptacle::sound()).unwrap();
        bench.board.run_for(25_000);
        let verdict = bench.board.tester().verdict().expect("an answer").clone();
        println!(
            "{output:?} {level}: {:?} {:?}",
            verdict.outcome,
            verdict.first()
        );
        let is_told = verdict.outcome == Outcome::TesterFault || verdict.unproven.earth_path;
        assert!(is_told, "{output:?} {level}: {verdict:?}");
    }
}

/// On an earth the clip's relay is not seen by its own tone, but the drive to ground then shares
/// its current with it: less than the reference resistor is a tester fault too.
#[test]
fn a_welded_relay_to_a_clip_on_earth_is_a_tester_fault() {
    let mut bench = Bench::new(74);
    bench.board.outputs.stick(Relay::DriveClip, Some(true));
    let receptacle = Receptacle::sound().with_clip(ClipTarget::IndependentEarth);
    bench.hand.plug(&receptacle).unwrap();
    bench.board.run_for(450);
    bench.ask(Request::StartTest {
        clip: ClipTarget::IndependentEarth,
    });
    bench.board.run_for(14_000);
    let verdict = bench.board.tester().verdict().expect("an answer").clone();
    assert_eq!(verdict.outcome, Outcome::TesterFault, "{verdict:?}");
}

#[test]
fn with_the_power_off_the_drives_relays_are_tested_and_the_probes_left_alone() {
    for (stuck, named) in [
        (None, None),
        (Some(Relay::DriveGround), Some(Named::DriveToGround)),
        // Nothing drives a current through the probe: not tested, and not used.
        (Some(Relay::ProbeA), None),
    ] {
        let mut bench = Bench::new(75);
        if let Some(relay) = stuck {
            bench.board.outputs.stick(relay, Some(true));
        }
        let receptacle = Receptacle {
            breaker_on: false,
            ..Receptacle::sound()
        }
        .with_appliance(Appliance::steady(0.0))
        .with_clip(ClipTarget::ApplianceFrame);
        bench.hand.plug(&receptacle).unwrap();
        bench.ask(Request::StartTest {
            clip: ClipTarget::ApplianceFrame,
        });
        bench.board.run_for(16_000);
        assert_eq!(bench.board.outputs.closings().probe, 0, "{stuck:?}");
        if let Some(named) = named {
            assert_failed(&mut bench, named);
        } else {
            let records = bench.pull();
            let last = records.iter().rev().find_map(|record| match &record.body {
                Body::Test(test) => Some(test.clone()),
                _ => None,
            });
            let read = last.expect("a test").evidence.neutral_to_clip;
            assert!(read.value().is_some(), "{stuck:?}: {read:?}");
        }
    }
}

/// A frame lost in every pass leaves the relays untested: the probe is not used, and the earth path
/// is not told.
#[test]
fn what_could_not_be_tested_is_not_used_and_not_proven() {
    let mut bench = Bench::new(76);
    bench.hand.plug(&Receptacle::sound()).unwrap();
    bench.board.run_for(450);
    let now = bench.board.clock.frame();
    for number in 0..60 {
        bench.board.adc.corrupt(now + 100 + 300 * number);
    }
    bench.board.run_for(16_000);
    assert_eq!(bench.board.outputs.closings().probe, 0);
    assert_eq!(bench.board.outputs.closings().drive_to_ground, 0);
    let records = bench.pull();
    let last = records.iter().rev().find_map(|record| match &record.body {
        Body::Test(test) => Some(test.clone()),
        _ => None,
    });
    let test = last.expect("a test");
    let untested = Measured::Missing(Missing::RelaysUntested);
    assert_eq!(test.evidence.earth_path, untested);
    assert_eq!(test.evidence.neutral_and_ground, untested);
    assert!(test.verdict.unproven.earth_path);
    assert!(test.verdict.has(FindingCode::EarthPathUnclear));
    assert_ne!(test.verdict.outcome, Outcome::Proven);
}
