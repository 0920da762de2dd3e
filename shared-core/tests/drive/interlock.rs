//! Where the drive may be closed and stay closed.

use crate::model::{Dice, Line, Model};
use slotwise_core::drive::{may_close, may_stay};
use slotwise_core::evidence::{Evidence, Missing, PairVoltage, Phasor, SlotVoltages};
use slotwise_core::front_end::NOMINAL_VOLTS_PER_CODE;
use slotwise_core::limits::Limits;
use slotwise_core::sample::AdcCode;
use slotwise_core::slots::{ClipTarget, Lead};
use slotwise_core::stimulus::DrivePath;
use slotwise_core::units::Volts;
use slotwise_core::window::{Accumulator, Tuning};
use std::f64::consts::TAU;

fn evidence(nw: f32, gw: f32, cw: Result<f32, Missing>) -> Evidence {
    let phasor = |volts: f32| Phasor {
        rms: Volts::new(volts),
        ..Phasor::default()
    };
    let pair = |volts: f32| PairVoltage {
        fundamental: phasor(volts),
        true_rms: Volts::new(volts),
        ..PairVoltage::default()
    };
    let mut evidence = Evidence::empty();
    evidence.slots = Ok(SlotVoltages {
        pairs: [pair(nw), pair(gw), pair(nw - gw)],
        ..SlotVoltages::default()
    });
    evidence.clip_wide = cw.map(phasor);
    evidence
}

#[test]
fn the_drive_is_closed_only_where_nothing_stands() {
    use DrivePath::{WideToClip, WideToGround};
    let free = Err(Missing::ClipFree);
    let refused = Err(Missing::Refused);
    for (path, nw, gw, cw, expected) in [
        (WideToGround, 119.5, 0.0, free, Ok(())),
        (WideToGround, 119.5, 2.99, free, Ok(())),
        (WideToGround, 119.5, 3.0, free, refused),
        (WideToGround, 119.5, 119.5, free, refused),
        (WideToGround, 119.5, f32::NAN, free, refused),
        // The power-off check wants every pair of slots below 2 V.
        (WideToClip, 0.0, 0.0, Ok(0.0), Ok(())),
        (WideToClip, 2.0, 0.0, Ok(0.0), Ok(())),
        (WideToClip, 2.1, 0.0, Ok(0.0), refused),
        (WideToClip, 0.5, -2.1, Ok(0.0), refused),
        (WideToClip, 119.5, 0.0, Ok(0.0), refused),
        (WideToClip, 0.0, 0.0, Ok(3.0), refused),
        (WideToClip, 0.0, 0.0, free, Err(Missing::ClipFree)),
    ] {
        let evidence = evidence(nw, gw, cw);
        let got = may_close(path, &evidence, &Limits::DEFAULT);
        assert_eq!(got, expected, "{path:?} {nw} {gw} {cw:?}");
    }
    // On an independent earth it may be closed with the power on, within the same 3 V.
    for (clip, cw, expected) in [
        (ClipTarget::IndependentEarth, Ok(0.4), Ok(())),
        (ClipTarget::IndependentEarth, Ok(3.0), refused),
        (ClipTarget::IndependentEarth, Ok(119.5), refused),
        (ClipTarget::IndependentEarth, Ok(f32::NAN), refused),
        (ClipTarget::IndependentEarth, free, Err(Missing::ClipFree)),
        (ClipTarget::ApplianceFrame, Ok(0.4), refused),
        (ClipTarget::NotConnected, Ok(0.4), refused),
    ] {
        let mut evidence = evidence(119.5, 0.0, cw);
        evidence.clip_target = clip;
        let got = may_close(WideToClip, &evidence, &Limits::DEFAULT);
        assert_eq!(got, expected, "{clip:?} {cw:?}");
    }
    let nothing = Evidence::empty();
    assert_eq!(
        may_close(WideToGround, &nothing, &Limits::DEFAULT),
        Err(Missing::NotAsked)
    );
}

/// Windows with this on narrow and ground against wide, RMS, beside the drive's own.
fn stays(path: DrivePath, clip: ClipTarget, narrow: f64, ground: f64) -> Result<(), Missing> {
    let model = Model::new(path, 10.5, Line::OFF);
    let mut accumulator = Accumulator::new(Tuning::NOMINAL);
    let mut whole = false;
    let calibration = model.play(&mut Dice::new(2), 820, |frame, number, _| {
        if number < 20 || whole {
            return;
        }
        let mut frame = *frame;
        let wave = 2.0_f64.sqrt() * (TAU * 60.0 * f64::from(number) / 4000.0).cos();
        for (lead, volts) in [(Lead::Narrow, narrow), (Lead::Ground, ground)] {
            let code = frame.codes[lead.channel()].get()
                + (volts * wave / NOMINAL_VOLTS_PER_CODE).round() as i32;
            frame.codes[lead.channel()] = AdcCode::saturating(code);
        }
        whole = accumulator.push(&frame);
    });
    assert!(whole);
    let limits = Limits::DEFAULT;
    may_stay(path, clip, accumulator.sums(), None, &calibration, &limits)
}

#[test]
fn it_stays_closed_as_long_as_nothing_rises() {
    use DrivePath::{WideToClip, WideToGround};
    let refused = Err(Missing::Refused);
    for (path, narrow, ground, expected) in [
        (WideToGround, 119.5, 0.0, Ok(())),
        (WideToGround, 119.5, 2.9, Ok(())),
        (WideToGround, 119.5, 3.1, refused),
        (WideToGround, 119.5, 60.0, refused),
        (WideToClip, 0.0, 0.0, Ok(())),
        (WideToClip, 1.8, 0.0, Ok(())),
        (WideToClip, 2.2, 0.0, refused),
        (WideToClip, 0.0, 2.2, refused),
        (WideToGround, 600.0, 0.0, Err(Missing::Clipped)),
    ] {
        assert_eq!(
            stays(path, ClipTarget::ApplianceFrame, narrow, ground),
            expected,
            "{path:?} {narrow} {ground}"
        );
    }
    let earth = ClipTarget::IndependentEarth;
    assert_eq!(stays(WideToClip, earth, 119.5, 0.0), Ok(()));
}
