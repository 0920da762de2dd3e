//! The test of the relays in a busy house: what it says of sound relays and of welded ones, and
//! what a background that keeps its time does. The house model stands in `busy_house/mod.rs`.
//!
//! `cargo test -p slotwise-core --test relay_check -- --nocapture` prints the figures.

mod busy_house;

use busy_house::{BusyHouse, Draw, Modulation, Scene};
use slotwise_core::limits::Limits;
use slotwise_core::relay_check::{Estimator, Said, Tally, Then, pattern};
use slotwise_core::self_test::{Relay, SelfTestFailure};
use slotwise_core::stimulus::ProbeRelay;
use slotwise_core::window::Tuning;

const LIMITS: Limits = Limits::DEFAULT;

/// What is wrong with the tester, or hums.
#[derive(Clone, Copy, Debug, Default)]
struct Wrong {
    /// The partner of this relay is welded.
    flows_with: Option<ProbeRelay>,
    /// The drive's relay to ground is welded.
    drive: bool,
    /// A hum between ground and wide: hertz, volts at its peak, phase.
    hum: Option<(f64, f64, f64)>,
}

/// Runs the test of the relays; how it ended, and after how many passes.
fn tested(seed: u64, scene: Scene, wrong: Wrong) -> (Then, u8) {
    let mut house = BusyHouse::new(seed, scene);
    let calibration = house.calibration();
    let mut tally = Tally::NEW;
    let mut start = 0;
    loop {
        let pass = tally.passes();
        let mut estimator = Estimator::new(pass, true, Tuning::NOMINAL, &calibration);
        // 6.0 V behind 3.0 kohm through the reference resistor and the path; high lifts wide.
        let lift = 6.0 * (10.0 + scene.ohms) / (3_010.0 + scene.ohms);
        for number in 0..pattern::FRAMES {
            let frame = house.frame_with(
                |at| {
                    let alone = pattern::closed_alone(at.saturating_sub(start), pass);
                    alone.is_some() && alone == wrong.flows_with
                },
                |at| {
                    // A code is a mean over three frames (sinc3): 1/6, 4/6, 1/6.
                    let tone = |back: u32| match (at - start).checked_sub(back) {
                        Some(number) if pattern::tone(number, pass) => -lift,
                        _ => lift,
                    };
                    let driven = if wrong.drive {
                        (tone(0) + 4.0 * tone(1) + tone(2)) / 6.0
                    } else {
                        0.0
                    };
                    let hum = wrong.hum.map_or(0.0, |(hertz, volts, phase)| {
                        let turns = f64::from(at) * hertz / 4000.0;
                        volts * (std::f64::consts::TAU * turns + phase).sin()
                    });
                    driven + hum
                },
            );
            let is_over = estimator.push(&frame, number);
            assert_eq!(is_over, number + 1 == pattern::FRAMES);
        }
        start += pattern::FRAMES;
        let found = estimator.judge(&calibration, &LIMITS.relays);
        match tally.take(&found, true, &LIMITS.relays) {
            Then::Again => {}
            then => return (then, tally.passes()),
        }
    }
}

const PASSED: Then = Then::Done {
    probe: true,
    drive: true,
};

/// Named relay of a failed test.
fn named(then: Then) -> Option<Relay> {
    match then {
        Then::Failed(SelfTestFailure::RelayClosed { relay, .. }) => Some(relay),
        _ => None,
    }
}

/// Earth paths of every size, other loads coming and going.
fn busy(seed: u64) -> Scene {
    Scene::busy(Draw::new(seed ^ 0x5EED).decades(0.1, 1000.0))
}

#[test]
fn sound_relays_are_never_accused_and_seldom_take_a_second_pass() {
    const RUNS: u64 = 1500;
    let (mut first, mut passed) = (0, 0);
    for seed in 0..RUNS {
        let (then, passes) = tested(seed, busy(seed), Wrong::default());
        assert_eq!(named(then), None, "seed {seed}");
        passed += u32::from(then == PASSED);
        first += u32::from(then == PASSED && passes == 1);
    }
    println!("{RUNS} busy houses: {first} after one pass, {passed} after five at most");
    assert!(f64::from(first) > 0.75 * RUNS as f64, "{first}");
    assert!(f64::from(passed) > 0.99 * RUNS as f64, "{passed}");
}

#[test]
fn a_welded_relay_is_never_passed_and_named_in_a_busy_house() {
    const RUNS: u64 = 500;
    for (partner, welded) in [
        (ProbeRelay::A, Relay::ProbeB),
        (ProbeRelay::B, Relay::ProbeA),
    ] {
        let (mut found, mut third) = (0, 0);
        for seed in 0..RUNS {
            let wrong = Wrong {
                flows_with: Some(partner),
                ..Wrong::default()
            };
            let (then, passes) = tested(seed, busy(seed), wrong);
            assert!(
                !matches!(then, Then::Done { probe: true, .. }),
                "seed {seed}"
            );
            if let Some(relay) = named(then) {
                assert_eq!(relay, welded, "seed {seed}");
                found += 1;
                third += u32::from(passes == 3);
            }
        }
        println!("{welded:?} welded, {RUNS} houses: named in {found}, {third} after three passes");
        assert!(found > RUNS * 98 / 100, "{found}");
    }
}

#[test]
fn a_welded_relay_of_the_drive_is_never_passed_and_named() {
    const RUNS: u64 = 300;
    let mut found = 0;
    for seed in 0..RUNS {
        let wrong = Wrong {
            drive: true,
            ..Wrong::default()
        };
        let (then, _) = tested(seed, busy(seed), wrong);
        assert!(!matches!(then, Then::Done { drive: true, .. }), "{seed}");
        if let Some(relay) = named(then) {
            assert_eq!(relay, Relay::DriveToGround, "seed {seed}");
            found += 1;
        }
    }
    println!("drive to ground welded, {RUNS} houses: named in {found}");
    assert!(found > RUNS * 90 / 100, "{found}");
}

/// Loads that switch in step with blocks or with pairs of them are the worst that a house can do:
/// 7.5 and 15 Hz are bursts of four and two line cycles.
#[test]
fn a_load_that_keeps_the_patterns_time_is_no_welded_relay() {
    let mut passed = 0;
    let mut runs = 0;
    for seed in 0..600 {
        let mut draw = Draw::new(seed ^ 0xB0D);
        let block = 4000.0 / 133.0;
        let hertz = match seed % 6 {
            0 => block / 2.0,
            1 => block / 4.0,
            2 => block / 8.0,
            3 => block / 6.0,
            4 => 15.0,
            _ => draw.between(1.0, 15.0),
        };
        let scene = Scene {
            modulation: Some(Modulation {
                hertz,
                amperes: draw.decades(3e-3, 10.0),
                on_and_off: draw.bits() & 1 == 0,
            }),
            ..Scene::busy(1.0)
        };
        let (then, _) = tested(seed, scene, Wrong::default());
        assert_eq!(named(then), None, "seed {seed}, {hertz} Hz: {then:?}");
        runs += 1;
        passed += u32::from(then == PASSED);
    }
    println!("{runs} modulated backgrounds: {passed} passed, none accused");
    // It can tell at all, and there are backgrounds that it does not pass.
    assert!(passed > 100 && passed < runs, "{passed}");
}

#[test]
fn a_hum_near_the_drives_tone_is_no_welded_relay() {
    let mut passed = 0;
    const RUNS: u64 = 1200;
    for seed in 0..RUNS {
        let mut draw = Draw::new(seed ^ 0x85);
        let phase = draw.between(0.0, std::f64::consts::TAU);
        let hertz = match seed % 4 {
            0 => 85.0,
            // Half a turn from one window to the next.
            1 => 85.0 + 1.25 * [-3.0, -1.0, 1.0, 3.0][(seed / 4) as usize % 4],
            _ => draw.between(80.0, 90.0),
        };
        let volts = draw.decades(0.01, 3.0);
        let wrong = Wrong {
            hum: Some((hertz, volts, phase)),
            ..Wrong::default()
        };
        let (then, _) = tested(seed, Scene::busy(1.0), wrong);
        assert_eq!(named(then), None, "{hertz} Hz, {volts} V: {then:?}");
        passed += u32::from(then == PASSED);
    }
    println!("{RUNS} hums near 85 Hz: {passed} passed, none accused");
}

#[test]
fn a_lost_frame_spoils_its_pass() {
    let mut house = BusyHouse::new(3, Scene::busy(1.0));
    let calibration = house.calibration();
    let mut estimator = Estimator::new(0, true, Tuning::NOMINAL, &calibration);
    for number in 0..=pattern::FRAMES {
        let frame = house.frame_with(|_| false, |_| 0.0);
        if number != 1000 && estimator.push(&frame, number) {
            break;
        }
    }
    let pass = estimator.judge(&calibration, &LIMITS.relays);
    assert!(
        Relay::ALL
            .iter()
            .all(|relay| pass.of(*relay) == Said::Untold)
    );
}

#[test]
fn frames_left_over_from_the_pass_before_are_not_taken() {
    let scene = Scene {
        steps: false,
        ..Scene::busy(1.0)
    };
    let mut house = BusyHouse::new(4, scene);
    let calibration = house.calibration();
    let mut estimator = Estimator::new(1, true, Tuning::NOMINAL, &calibration);
    let mut frame = || house.frame_with(|_| false, |_| 0.0);
    for number in pattern::FRAMES..pattern::FRAMES + 50 {
        assert!(!estimator.push(&frame(), number));
    }
    for number in 0..pattern::FRAMES {
        estimator.push(&frame(), number);
    }
    let pass = estimator.judge(&calibration, &LIMITS.relays);
    assert_eq!(pass.of(Relay::ProbeA), Said::Opens);
}
