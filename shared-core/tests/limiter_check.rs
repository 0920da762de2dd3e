//! The test of the limiters in a busy house: what it says of limiters that hold, warm and cold, of
//! ones that failed, and of a level that does not rise. The house model stands in
//! `busy_house/mod.rs`; currents of the limiter over temperature are ngspice's
//! (`hardware/theory.md`), the rest is Ohm's law.
//!
//! `cargo test -p slotwise-core --test limiter_check -- --nocapture` prints the figures.

mod busy_house;

use busy_house::{BusyHouse, Draw, Scene};
use slotwise_core::drive::tone_is_high;
use slotwise_core::limiter_check::{Estimator, Tally, Then, pattern};
use slotwise_core::limits::{LimiterLimits, Limits};
use slotwise_core::self_test::SelfTestFailure;
use slotwise_core::stimulus::DrivePath;

const LIMITS: LimiterLimits = Limits::DEFAULT.limiters;

/// The drive as it is in one tester.
#[derive(Clone, Copy, Debug)]
struct Drive {
    plain: f64,
    raised: f64,
    /// Most amperes while the tone is high, and while it is low.
    limits: [f64; 2],
}

impl Drive {
    /// Limiters of 2.56 mA, 25 degC.
    const SOUND: Self = Self {
        plain: 6.0,
        raised: 10.2,
        limits: [2.56e-3; 2],
    };

    /// What flows into `ohms`, the reference resistor among them.
    fn amperes(&self, number: u32, pass: u8, ohms: f64) -> f64 {
        let high = tone_is_high(number);
        let level = if pattern::is_raised(number, pass) {
            self.raised
        } else {
            self.plain
        };
        let amperes = (level / (3_000.0 + ohms)).min(self.limits[usize::from(!high)]);
        if high { amperes } else { -amperes }
    }
}

/// Runs the test on the leg to ground; how it ended, and after how many passes.
fn tested(seed: u64, scene: Scene, drive: Drive) -> (Then, u8) {
    let mut house = BusyHouse::new(seed, scene);
    let calibration = house.calibration();
    let path = DrivePath::WideToGround;
    let mut tally = Tally::NEW;
    let mut start = 0;
    loop {
        let pass = tally.passes();
        let mut estimator = Estimator::new(path, pass);
        let ohms = 10.0 + scene.ohms;
        for number in 0..pattern::FRAMES {
            let frame = house.frame_with(
                |_| false,
                |at| {
                    // A code is a mean over three frames (sinc3): 1/6, 4/6, 1/6. The drive lifts
                    // wide while it is high, so ground falls.
                    let volts = |back: u32| match (at - start).checked_sub(back) {
                        Some(number) => -drive.amperes(number, pass, ohms) * ohms,
                        None => 0.0,
                    };
                    (volts(0) + 4.0 * volts(1) + volts(2)) / 6.0
                },
            );
            let is_over = estimator.push(&frame, number, tone_is_high(number));
            assert_eq!(is_over, number + 1 == pattern::FRAMES);
        }
        start += pattern::FRAMES;
        let said = estimator.judge(&calibration, &LIMITS);
        match tally.take(path, said, &LIMITS) {
            Then::Again => {}
            then => return (then, tally.passes()),
        }
    }
}

/// The half in which a limiter was found to fail.
fn failed(then: Then) -> Option<bool> {
    match then {
        Then::Failed(SelfTestFailure::LimiterFails { high, .. }) => Some(high),
        _ => None,
    }
}

/// Paths that may be called sound, other loads coming and going.
fn busy(seed: u64) -> Scene {
    Scene::busy(Draw::new(seed ^ 0x5EED).decades(0.05, 2.0))
}

/// No other load steps.
fn quiet(ohms: f64) -> Scene {
    Scene {
        steps: false,
        ..Scene::busy(ohms)
    }
}

#[test]
fn limiters_that_hold_are_never_accused_and_nearly_all_are_told() {
    // 0, 25 and 50 degC, and FETs of -1.4 and -3.1 V beyond either end.
    for milliamperes in [2.23, 2.29, 2.56, 2.83, 2.89] {
        const RUNS: u64 = 300;
        let drive = Drive {
            limits: [milliamperes * 1e-3; 2],
            ..Drive::SOUND
        };
        let (mut second, mut told) = (0, 0);
        for seed in 0..RUNS {
            let (then, passes) = tested(seed, busy(seed), drive);
            assert_eq!(failed(then), None, "{milliamperes} mA, seed {seed}");
            told += u32::from(then == Then::Holds);
            second += u32::from(then == Then::Holds && passes == 2);
        }
        println!(
            "{milliamperes} mA: {RUNS} busy houses, {second} told by two passes, {told} by eight at most"
        );
        assert!(
            f64::from(told) > 0.95 * RUNS as f64,
            "{milliamperes}: {told}"
        );
    }
}

#[test]
fn a_limiter_that_failed_is_never_passed_and_named_by_its_half() {
    for (place, high) in [(0, true), (1, false)] {
        const RUNS: u64 = 600;
        let mut drive = Drive::SOUND;
        drive.limits[place] = f64::INFINITY;
        // The least that a failed one may rise: 0.2 V over the coupler, levels of 0.5 %.
        drive.raised = 9.9;
        let (mut found, mut right) = (0, 0);
        for seed in 0..RUNS {
            let (then, _) = tested(seed, busy(seed), drive);
            assert_ne!(then, Then::Holds, "high {high}, seed {seed}");
            if let Some(named) = failed(then) {
                found += 1;
                right += u32::from(named == high);
            }
        }
        println!(
            "failed while the tone is high {high}: {found} of {RUNS} found, {right} by their half"
        );
        assert!(found > 570, "{found}");
        assert!(right > 560, "{right} of {found}");
    }
}

#[test]
fn a_level_that_does_not_rise_or_a_limit_far_too_low_is_no_limiter_that_holds() {
    let stuck = Drive {
        raised: 6.0,
        ..Drive::SOUND
    };
    let low = Drive {
        limits: [2.56e-3, 1.9e-3],
        ..Drive::SOUND
    };
    // Raised all the time: the plain window is raised, too.
    let always = Drive {
        plain: 10.2,
        ..Drive::SOUND
    };
    for drive in [stuck, low, always] {
        for seed in 0..100 {
            let (then, _) = tested(seed, busy(seed), drive);
            assert_ne!(then, Then::Holds, "{drive:?}, seed {seed}");
        }
        let calm = tested(1, quiet(0.3), drive).0;
        assert!(failed(calm).is_some(), "{drive:?}: {calm:?}");
    }
}

#[test]
fn a_path_of_200_ohm_does_not_accuse_a_cold_limiter() {
    for milliamperes in [2.29, 2.56, 2.83] {
        let drive = Drive {
            limits: [milliamperes * 1e-3; 2],
            ..Drive::SOUND
        };
        let (then, _) = tested(3, quiet(190.0), drive);
        assert_eq!(then, Then::Holds, "{milliamperes}");
        let failed_one = Drive {
            limits: [milliamperes * 1e-3, f64::INFINITY],
            raised: 9.9,
            ..Drive::SOUND
        };
        let (then, _) = tested(3, quiet(190.0), failed_one);
        assert_eq!(failed(then), Some(false), "{milliamperes}");
    }
}

#[test]
fn a_lost_frame_spoils_a_pass_and_no_more() {
    let scene = quiet(0.3);
    let mut house = BusyHouse::new(5, scene);
    let calibration = house.calibration();
    let mut estimator = Estimator::new(DrivePath::WideToGround, 0);
    for number in (0..pattern::FRAMES).filter(|number| *number != 2_000) {
        let frame = house.frame_with(
            |_| false,
            |at| -Drive::SOUND.amperes(at.min(pattern::FRAMES - 1), 0, 10.3) * 10.3,
        );
        estimator.push(&frame, number, tone_is_high(number));
    }
    let said = estimator.judge(&calibration, &LIMITS);
    assert_eq!(said, slotwise_core::limiter_check::Said::Untold);
}
