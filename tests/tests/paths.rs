//! The tester's own currents on the virtual board: earth path, neutral and ground, the power-off
//! check, and every interlock proven by a fault.
//!
//! The truth is the computed house (`slotwise_virtual::means`); the bounds of the readings are
//! those of the measurement: 0.2 ohm + 5 % by P1, 0.05 ohm + 1 % by P2.

use slotwise_core::evidence::{Evidence, Measured, Missing};
use slotwise_core::finding::FindingCode;
use slotwise_core::lamps::{Lamp, Rhythm};
use slotwise_core::link::Request;
use slotwise_core::record::{Body, Record, Test};
use slotwise_core::slots::ClipTarget;
use slotwise_core::stimulus::Order;
use slotwise_core::units::Ohms;
use slotwise_core::verdict::Outcome;
use slotwise_tests::bench::Bench;
use slotwise_virtual::house::{Appliance, Conductor, Joint, Receptacle};
use slotwise_virtual::means::{Blade, earth_path_ohms, loop_ohms};
use slotwise_virtual::outputs::Relay;

/// Frames of one line cycle at 60 Hz.
const LINE_CYCLE: u64 = 67;

fn tests(records: &[Record]) -> Vec<&Test> {
    records
        .iter()
        .filter_map(|record| match &record.body {
            Body::Test(test) => Some(test),
            _ => None,
        })
        .collect()
}

/// Plugs into `receptacle` and lets the whole test run: 0.4 s, relays 0.83 s, twice 4 s, eight more windows.
fn whole_test(bench: &mut Bench, receptacle: &Receptacle) -> Test {
    bench.hand.plug(receptacle).expect("it is solved");
    bench.board.run_for(16_000);
    let records = bench.pull();
    (*tests(&records).last().expect("a test")).clone()
}

fn close(measured: Measured<Ohms>, truth: f64, absolute: f64, relative: f64) {
    let reading = measured.reading().expect("measured");
    let value = f64::from(reading.value.get());
    let bound = absolute + relative * truth.abs();
    assert!((value - truth).abs() <= bound, "{value} of {truth}");
    assert!(f64::from(reading.u.get()) < bound, "u {:?}", reading.u);
}

fn with_ground_joint(ohms: f32) -> Receptacle {
    Receptacle {
        ground_joint: Joint::Weak(Ohms::new(ohms)),
        ..Receptacle::sound()
    }
}

#[test]
fn a_sound_receptacle_is_measured_in_its_order() {
    let mut bench = Bench::new(31);
    let sound = Receptacle::sound();
    bench.hand.plug(&sound).unwrap();
    // 50 ms to notice the voltage, two windows.
    bench.board.run_for(500);
    assert!(bench.board.tester().verdict().is_some(), "first answer");
    let relays = Order::Relays {
        pass: 0,
        probe: true,
    };
    assert_eq!(bench.board.tester().order(), relays);
    // One pass of the relays: 0.83 s from the second window's end on.
    bench.board.run_for(700);
    let closings = bench.board.outputs.closings();
    assert_eq!(bench.board.tester().order(), relays);
    assert_eq!(closings.probe, 0, "never both relays in their own test");
    bench.board.run_for(150);
    assert_eq!(bench.board.tester().order(), Order::Probe);
    assert_eq!(closings.drive_to_ground, 0);
    assert_eq!(
        bench.board.tester().panel().rhythm(Lamp::EarthPath),
        Rhythm::Off
    );
    bench.board.run_for(4_100);
    let lamp = bench.board.tester().panel().rhythm(Lamp::EarthPath);
    assert_eq!(lamp, Rhythm::Steady, "earth path within 5.5 s of the plug");
    let probed = bench.board.outputs.closings();
    assert!(probed.probe > 7_000 && probed.probe < 9_000, "{probed:?}");
    bench.board.run_for(9_000);
    let after = bench.board.outputs.closings();
    assert_eq!(after.probe, probed.probe, "the probe is used once");
    assert!(
        // 4 s of P2, two passes of 1.2 s of its limiter.
        (25_000..27_000).contains(&after.drive_to_ground),
        "{after:?}"
    );
    assert_eq!(after.drive_to_clip, 0);
    assert!(bench.board.outputs.all_low(), "at rest afterwards");
    let records = bench.pull();
    let tests = tests(&records);
    assert_eq!(tests.len(), 1);
    let evidence = &tests[0].evidence;
    close(
        evidence.earth_path,
        earth_path_ohms(&sound, &bench.specimen, Blade::Narrow).unwrap(),
        0.2,
        0.05,
    );
    close(
        evidence.neutral_and_ground,
        loop_ohms(&sound, &bench.specimen).unwrap(),
        0.05,
        0.01,
    );
    assert_eq!(
        evidence.neutral_to_clip,
        Measured::Missing(Missing::NotAsked)
    );
    assert_eq!(tests[0].verdict.outcome, Outcome::NoFaultFound);
    assert!(!tests[0].verdict.unproven.earth_path);
}

#[test]
fn joints_and_rods_in_the_ground_are_measured_and_named() {
    let rod = Receptacle::sound().with_slots(
        Conductor::Leg1,
        Conductor::Neutral,
        Conductor::Rod(Ohms::new(25.0)),
    );
    for (seed, receptacle) in [
        (32, with_ground_joint(1.5)),
        (33, with_ground_joint(10.0)),
        (34, with_ground_joint(100.0)),
        (35, with_ground_joint(1_000.0)),
        (36, rod),
    ] {
        let mut bench = Bench::new(seed);
        let test = whole_test(&mut bench, &receptacle);
        let truth = earth_path_ohms(&receptacle, &bench.specimen, Blade::Narrow).unwrap();
        close(test.evidence.earth_path, truth, 0.2, 0.05);
        assert_eq!(test.verdict.outcome, Outcome::Fault, "{truth}");
        assert!(test.verdict.has(FindingCode::WeakEarthPath), "{truth}");
        let lamp = bench.board.tester().panel().rhythm(Lamp::EarthPath);
        assert_eq!(lamp, Rhythm::FastBlink);
    }
}

#[test]
fn a_joint_in_the_neutral_is_found_without_a_load() {
    let mut bench = Bench::new(37);
    let receptacle = Receptacle {
        neutral_joint: Joint::Weak(Ohms::new(3.0)),
        ..Receptacle::sound()
    };
    let test = whole_test(&mut bench, &receptacle);
    let truth = loop_ohms(&receptacle, &bench.specimen).unwrap();
    close(test.evidence.neutral_and_ground, truth, 0.05, 0.01);
    assert!(test.verdict.has(FindingCode::WeakNeutral));
    assert_eq!(test.verdict.outcome, Outcome::Fault);
}

#[test]
fn nothing_is_closed_where_the_slots_do_not_read_sound() {
    for name in [
        "open-ground",
        "reversed-polarity",
        "ground-on-other-leg",
        "open-neutral",
        "volts-240",
    ] {
        let Some(named) = slotwise_virtual::house::find(name) else {
            panic!("{name} is not in the bank");
        };
        let mut bench = Bench::new(38);
        let test = whole_test(&mut bench, &named.receptacle);
        let closings = bench.board.outputs.closings();
        assert_eq!(closings.probe, 0, "{name}");
        assert_eq!(closings.drive_to_ground, 0, "{name}");
        assert!(matches!(test.evidence.earth_path, Measured::Missing(_)));
    }
}

/// 5 kohm read sound at rest; the probe's 1.33 mA lift the frame by 6.6 V.
#[test]
fn a_ground_that_rises_with_the_probe_is_let_go_within_a_line_cycle() {
    let mut bench = Bench::new(39);
    let test = whole_test(&mut bench, &with_ground_joint(5_000.0));
    let closings = bench.board.outputs.closings();
    assert!(
        closings.probe > 0 && closings.probe <= LINE_CYCLE,
        "{closings:?}"
    );
    assert_eq!(
        test.evidence.earth_path,
        Measured::Missing(Missing::BeyondRange)
    );
    assert!(test.verdict.has(FindingCode::WeakEarthPath));
    assert_eq!(test.verdict.outcome, Outcome::Fault);
}

/// Runs until the probe has been closed for a while, and tells how often it was.
fn in_mid_probe(bench: &mut Bench) -> u64 {
    bench.hand.plug(&Receptacle::sound()).unwrap();
    bench.board.run_for(2_000);
    let closed = bench.board.outputs.closings().probe;
    assert!(closed > 1_000, "the probe runs: {closed}");
    closed
}

#[test]
fn a_ground_that_opens_in_mid_probe_is_let_go_within_a_line_cycle() {
    let mut bench = Bench::new(40);
    // Until the probe is closed, so that the ground opens under current.
    let before = in_mid_probe(&mut bench);
    while bench.board.outputs.closings().probe == before {
        bench.board.step();
    }
    let before = bench.board.outputs.closings().probe;
    bench.plug("open-ground");
    bench.board.run_for(400);
    let after = bench.board.outputs.closings().probe;
    assert!(after - before <= LINE_CYCLE, "{}", after - before);
    bench.board.run_for(4_000);
    assert_eq!(bench.board.outputs.closings().probe, after, "and stays so");
    let verdict = bench.board.tester().verdict().expect("an answer");
    assert!(verdict.has(FindingCode::OpenGround), "{verdict:?}");
}

#[test]
fn polarity_changed_in_mid_probe_is_let_go_shown_and_tested_anew() {
    let mut bench = Bench::new(41);
    let before = in_mid_probe(&mut bench);
    bench.plug("ground-on-other-leg");
    bench.board.run_for(LINE_CYCLE / 4 + 1);
    let after = bench.board.outputs.closings().probe;
    assert!(after - before <= LINE_CYCLE, "{}", after - before);
    bench.board.run_for(1_000);
    let verdict = bench.board.tester().verdict().expect("an answer");
    assert_eq!(verdict.outcome, Outcome::Danger, "{verdict:?}");
    assert_eq!(
        bench.board.tester().panel().rhythm(Lamp::LiveMetal),
        Rhythm::FastPulse
    );
    bench.board.run_for(4_000);
    assert_eq!(bench.board.outputs.closings().probe, after);
    let records = bench.pull();
    let last = *tests(&records).last().unwrap();
    assert_eq!(last.verdict.outcome, Outcome::Danger);
}

#[test]
fn unplugged_in_mid_probe_it_opens_and_waits() {
    let mut bench = Bench::new(42);
    in_mid_probe(&mut bench);
    bench.unplug();
    bench.board.run_for(3_500);
    assert!(bench.board.outputs.all_low());
    assert_eq!(bench.board.tester().order(), Order::Rest);
}

#[test]
fn lost_samples_open_the_probe_and_cost_nothing_but_time() {
    let mut bench = Bench::new(43);
    let before = in_mid_probe(&mut bench);
    let now = bench.board.clock.frame();
    // Blind from here on, for a while: no frame is good.
    for number in 0..200 {
        bench.board.adc.corrupt(now + 2 + number);
    }
    bench.board.run_for(60);
    let after = bench.board.outputs.closings().probe;
    assert!(after - before <= 6, "{}", after - before);
    bench.board.run_for(12_000);
    let records = bench.pull();
    let last = *tests(&records).last().unwrap();
    assert_eq!(
        last.evidence.earth_path,
        Measured::Missing(Missing::Unsteady),
        "what was interrupted is not told"
    );
    assert!(last.verdict.unproven.earth_path);
    assert_ne!(last.verdict.outcome, Outcome::Proven);
}

#[test]
fn a_silent_converter_opens_everything() {
    let mut bench = Bench::new(44);
    let before = in_mid_probe(&mut bench);
    let now = bench.board.clock.frame();
    for number in 0..400 {
        bench.board.adc.drop_conversion(now + 2 + number);
    }
    bench.board.run_for(50);
    assert!(bench.board.outputs.all_low());
    let after = bench.board.outputs.closings().probe;
    assert!(after - before <= 40, "{}", after - before);
}

/// A probe that never closes, and one that never opens, move nothing: the reading lacks the
/// reference resistor, and that is a tester fault, never a perfect ground.
#[test]
fn a_probe_that_does_not_switch_is_a_tester_fault() {
    let stuck: [&[(Relay, bool)]; 3] = [
        &[(Relay::ProbeA, false)],
        &[(Relay::ProbeB, false)],
        &[(Relay::ProbeA, true), (Relay::ProbeB, true)],
    ];
    for relays in stuck {
        let mut bench = Bench::new(45);
        for &(relay, closed) in relays {
            bench.board.outputs.stick(relay, Some(closed));
        }
        let test = whole_test(&mut bench, &Receptacle::sound());
        assert_eq!(test.verdict.outcome, Outcome::TesterFault, "{relays:?}");
        assert!(test.verdict.has(FindingCode::ReferenceResistorUnseen));
    }
}

/// Power off, clip on the burner: the way back to neutral through the frame's ground.
fn switched_off(frame_joint: f32) -> Receptacle {
    Receptacle {
        breaker_on: false,
        frame_joint: Joint::Weak(Ohms::new(frame_joint)),
        ..Receptacle::sound()
    }
    .with_appliance(Appliance::steady(0.0))
    .with_clip(ClipTarget::ApplianceFrame)
}

fn power_off_check(bench: &mut Bench, receptacle: &Receptacle) -> Evidence {
    bench.hand.plug(receptacle).unwrap();
    bench.board.run_for(2_500);
    bench.ask(Request::StartTest {
        clip: ClipTarget::ApplianceFrame,
    });
    bench.board.run_for(19_000);
    let records = bench.pull();
    tests(&records).last().expect("a test").evidence
}

#[test]
fn the_power_off_check_measures_from_neutral_to_the_burner() {
    for (frame_joint, holds) in [(0.2, true), (9.0, true), (11.0, false), (60.0, false)] {
        let mut bench = Bench::new(47);
        let receptacle = switched_off(frame_joint);
        let evidence = power_off_check(&mut bench, &receptacle);
        // Neutral and ground of the cable, two contacts, the joint.
        let cable = loop_ohms(&receptacle, &bench.specimen).unwrap();
        let truth = cable + f64::from(frame_joint);
        close(evidence.neutral_to_clip, truth, 0.06, 0.01);
        let verdict = bench.board.tester().verdict().expect("an answer").clone();
        assert_eq!(verdict.has(FindingCode::NeutralToFrameSound), holds);
        assert_eq!(verdict.has(FindingCode::NeutralToFrameHigh), !holds);
        assert!(bench.board.outputs.closings().drive_to_clip > 15_000);
        assert_eq!(bench.board.outputs.closings().probe, 0);
    }
}

#[test]
fn an_open_way_to_the_burner_is_beyond_range() {
    let mut bench = Bench::new(48);
    let mut receptacle = switched_off(0.2);
    receptacle.frame_joint = Joint::Open;
    let evidence = power_off_check(&mut bench, &receptacle);

    assert_eq!(
        evidence.neutral_to_clip,
        Measured::Missing(Missing::BeyondRange)
    );
    let verdict = bench.board.tester().verdict().expect("an answer");
    assert!(verdict.has(FindingCode::NeutralToFrameHigh));
}

#[test]
fn power_that_comes_back_ends_the_power_off_check_at_once() {
    let mut bench = Bench::new(49);
    bench.hand.plug(&switched_off(0.2)).unwrap();
    bench.board.run_for(2_500);
    bench.ask(Request::StartTest {
        clip: ClipTarget::ApplianceFrame,
    });
    bench.board.run_for(1_500);
    assert!(matches!(bench.board.tester().order(), Order::Drive(_)));
    let mut on = switched_off(0.2);
    on.breaker_on = true;
    bench.hand.plug(&on).unwrap();
    bench.board.run_for(400);
    let verdict = bench.board.tester().verdict().expect("an answer");
    assert!(
        !verdict.has(FindingCode::NeutralToFrameSound),
        "{verdict:?}"
    );
}
