//! Where it says that it cannot say.

use crate::model::{Dice, FRAMES_4_S, Line, Model};
use slotwise_core::drive::{Estimator, NORMAL_WINDOWS};
use slotwise_core::evidence::{Measured, Missing};
use slotwise_core::front_end::NOMINAL_VOLTS_PER_CODE;
use slotwise_core::limits::Limits;
use slotwise_core::sample::AdcCode;
use slotwise_core::stimulus::{DrivePath, Interlock};
use slotwise_core::units::Radians;
use std::f64::consts::TAU;

#[test]
fn an_open_path_is_beyond_range_and_a_kilohm_is_not() {
    let reading = |ohms: f64| Model::new(DrivePath::WideToClip, ohms, Line::OFF).reading(5);
    for ohms in [1.3e3, 1e4, 1e6, 1e9] {
        assert_eq!(
            reading(ohms),
            Measured::Missing(Missing::BeyondRange),
            "{ohms}"
        );
    }
    let value = reading(900.0).value().unwrap().get();
    assert!((value - 900.0).abs() < 1.0, "{value}");
}

#[test]
fn an_interlock_that_opens_at_once_at_the_drives_own_level_says_open() {
    let peak = 4.24 / NOMINAL_VOLTS_PER_CODE;
    let stopped = |ohms: f64, line: Line| {
        let model = Model::new(DrivePath::WideToClip, ohms, line);
        let mut estimator = Estimator::new(model.path);
        let mut dropped = None;
        let calibration = model.play(&mut Dice::new(3), 4000, |frame, number, high| {
            if dropped.is_none() {
                estimator.push(frame, number, model.path, high);
                let [_, wide, _, clip] = frame.codes.map(AdcCode::get);
                if f64::from((clip - wide).abs()) > peak {
                    dropped = Some(number);
                }
            }
        });
        (
            dropped,
            estimator.why_dropped(Interlock::Voltage, &calibration),
        )
    };
    let (frame, why) = stopped(1e6, Line::OFF);
    assert!(frame.unwrap() < 5);
    assert_eq!(why, Missing::BeyondRange);
    // A line that is too high on the path is no open path, whenever its peak comes.
    for hertz in [57.0, 59.9, 60.0, 61.3, 63.0] {
        let live = Line {
            drop: 3.3,
            hertz,
            ..Line::OFF
        };
        let (frame, why) = stopped(5.0, live);
        assert!(frame.is_some());
        assert_eq!(why, Missing::Refused, "{hertz}");
    }
    let estimator = Estimator::new(DrivePath::WideToClip);
    let (_, calibration) = Model::new(DrivePath::WideToClip, 1.0, Line::OFF).measure(1);
    assert_eq!(
        estimator.why_dropped(Interlock::Blind, &calibration),
        Missing::Unsteady
    );
}

#[test]
fn doubt_gives_no_number() {
    let limits = Limits::DEFAULT;
    let model = Model::new(DrivePath::WideToGround, 10.5, Line::OFF);
    // Too short.
    let mut short = Estimator::new(model.path);
    let calibration = model.play(&mut Dice::new(1), 3000, |frame, number, high| {
        short.push(frame, number, model.path, high);
    });
    assert_eq!(
        short.estimate(&calibration, &limits),
        Measured::Missing(Missing::Unsteady)
    );
    // A tone that stands still.
    let mut still = Estimator::new(model.path);
    model.play(&mut Dice::new(1), FRAMES_4_S, |frame, number, _| {
        still.push(frame, number, model.path, true);
    });
    assert_eq!(
        still.estimate(&calibration, &limits),
        Measured::Missing(Missing::Unsteady)
    );
    // A lead beyond full scale in every frame.
    let mut clipped = Estimator::new(model.path);
    model.play(&mut Dice::new(1), FRAMES_4_S, |frame, number, high| {
        let mut frame = *frame;
        frame.codes[2] = AdcCode::MAX;
        clipped.push(&frame, number, model.path, high);
    });
    assert_eq!(
        clipped.estimate(&calibration, &limits),
        Measured::Missing(Missing::Clipped)
    );
    // Frames of another path count for nothing.
    let mut other = Estimator::new(DrivePath::WideToClip);
    model.play(&mut Dice::new(1), FRAMES_4_S, |frame, number, high| {
        other.push(frame, number, DrivePath::WideToGround, high);
    });
    assert_eq!(other.windows(), 0);
    // A converter whose codes lag by a frame more than the calibration says: the path would have
    // a reactance that copper has not.
    let (estimator, mut calibration) = model.measure(1);
    assert!(
        estimator
            .estimate(&calibration, &limits)
            .reading()
            .is_some()
    );
    calibration.drive.lag = calibration.drive.lag + Radians::new(0.134);
    assert_eq!(
        estimator.estimate(&calibration, &limits),
        Measured::Missing(Missing::Unsteady)
    );
}

/// Readings of 0.5 ohm with `volts` of a hum at `hertz` in so many phases: refused, and off by
/// more than three stated u.
fn hum(volts: f64, hertz: f64, phases: u32) -> (u32, u32) {
    let (mut wrong, mut refused) = (0, 0);
    for n in 0..phases {
        let model = Model::new(DrivePath::WideToGround, 10.5, Line::OFF);
        let mut estimator = Estimator::new(model.path);
        let phase = TAU * f64::from(n) / f64::from(phases);
        let mut dice = Dice::new(u64::from(n) + 77);
        let calibration = model.play(&mut dice, FRAMES_4_S, |frame, number, high| {
            let mut frame = *frame;
            let volts = volts * (TAU * hertz * f64::from(number) / 4000.0 + phase).cos();
            let code = frame.codes[2].get() + (volts / NOMINAL_VOLTS_PER_CODE).round() as i32;
            frame.codes[2] = AdcCode::saturating(code);
            estimator.push(&frame, number, model.path, high);
        });
        match estimator.estimate(&calibration, &Limits::DEFAULT) {
            Measured::Missing(_) => refused += 1,
            Measured::Known(reading) => {
                wrong += u32::from((reading.value.get() - 0.5).abs() > 3.0 * reading.u.get());
            }
        }
    }
    (refused, wrong)
}

/// A load that modulates the line at 25 Hz hums at 85 Hz. In step with the tone for four seconds
/// it cannot be told from a resistance where it is in phase; in most phases it is refused.
#[test]
fn a_hum_at_the_tones_frequency_is_mostly_refused() {
    const PHASES: u32 = 36;
    let (refused, wrong) = hum(5e-3, 85.0, PHASES);
    println!("5 mV at 85 Hz (2 ohm), {PHASES} phases: {refused} refused, {wrong} wrong");
    assert!(refused >= PHASES * 6 / 10 && wrong <= PHASES * 4 / 10);
}

/// A hum beside it turns against the tone, and shows in the scatter; a strong one is refused.
#[test]
fn a_hum_beside_the_tones_frequency_is_told_by_the_scatter() {
    const PHASES: u32 = 6;
    for beside in [0.2, 1.0, 4.2] {
        let (mut refused, mut wrong) = (0, 0);
        for volts in [2e-3, 50e-3] {
            for hertz in [85.0 - beside, 85.0 + beside] {
                let got = hum(volts, hertz, PHASES);
                // 50 mV of amplitude are 20 ohm.
                assert!(volts < 0.01 || got.0 == PHASES, "{hertz}: {got:?}");
                (refused, wrong) = (refused + got.0, wrong + got.1);
            }
        }
        let all = 4 * PHASES;
        println!("hum {beside} Hz beside: {refused} of {all} refused, {wrong} wrong");
        assert_eq!(wrong, 0, "{beside} Hz beside");
    }
}

#[test]
fn lost_frames_cost_time_and_nothing_else() {
    let model = Model::new(DrivePath::WideToGround, 13.0, Line::OFF);
    let mut estimator = Estimator::new(model.path);
    let calibration = model.play(&mut Dice::new(9), 2 * FRAMES_4_S, |frame, number, high| {
        if !(5_000..5_123).contains(&number) && number != 20_001 {
            estimator.push(frame, number, model.path, high);
        }
    });
    let whole = 2 * u32::from(NORMAL_WINDOWS);
    assert!(u32::from(estimator.windows()) < whole);
    let reading = estimator
        .estimate(&calibration, &Limits::DEFAULT)
        .reading()
        .unwrap();
    assert!((reading.value.get() - 3.0).abs() < 0.05, "{reading:?}");
}

#[test]
fn the_normal_time_is_four_seconds() {
    let (estimator, _) = Model::new(DrivePath::WideToGround, 10.0, Line::OFF).measure(1);
    assert_eq!(estimator.windows(), NORMAL_WINDOWS);
    println!(
        "an estimator takes {} bytes of memory",
        std::mem::size_of::<Estimator>()
    );
}
