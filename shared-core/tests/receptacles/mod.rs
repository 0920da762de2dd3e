//! Evidence of receptacles, written down.
#![allow(dead_code, reason = "every test file takes what it needs")]

use slotwise_core::evidence::{
    Evidence, FrameHealth, LoadStep, Measured, Missing, PairVoltage, Phasor, Reading, SlotVoltages,
};
use slotwise_core::slots::ClipTarget;
use slotwise_core::units::{Hertz, Ohms, Radians, Ratio, Volts};

/// Evidence of a receptacle with these voltages: `v_nw` at angle zero, `v_gw` at `degrees`.
/// `v_ng` follows; the leads are those of three equal strings to a floating star.
pub(crate) fn receptacle(v_nw: f64, v_gw: f64, degrees: f64) -> Evidence {
    let nw = (v_nw, 0.0);
    let angle = degrees.to_radians();
    let gw = (v_gw * angle.cos(), v_gw * angle.sin());
    let ng = (nw.0 - gw.0, nw.1 - gw.1);
    let star = ((nw.0 + gw.0) / 3.0, (nw.1 + gw.1) / 3.0);
    let lead = |v: (f64, f64)| Volts::from_f64(f64::hypot(v.0 - star.0, v.1 - star.1));
    let mut evidence = Evidence::empty();
    evidence.health = FrameHealth {
        calibrated: true,
        windows: 10,
        bad_frames: 0,
        clipped_frames: 0,
    };
    evidence.slots = Ok(SlotVoltages {
        pairs: [nw, gw, ng].map(pair),
        reference: 0,
        u_gain: Ratio::new(0.0011),
        u_floor: Volts::new(0.001),
        leads: [lead(nw), lead((0.0, 0.0)), lead(gw), Volts::ZERO],
    });
    evidence.frequency = Measured::known(Hertz::new(60.0), Hertz::new(0.002));
    evidence
}

pub(crate) fn pair(v: (f64, f64)) -> PairVoltage {
    let rms = Volts::from_f64(f64::hypot(v.0, v.1));
    PairVoltage {
        fundamental: Phasor {
            rms,
            angle: Radians::from_f64(v.1.atan2(v.0)),
        },
        true_rms: rms,
        residual: Volts::ZERO,
        mean: Volts::ZERO,
    }
}

pub(crate) fn path(ohms: f32, u: f32) -> Measured<Ohms> {
    Measured::known(Ohms::new(ohms), Ohms::new(u))
}

pub(crate) fn step(rho: f32, u: f32, steps: u16, sag: f32) -> LoadStep {
    LoadStep {
        rho: Reading {
            value: Ratio::new(rho),
            u: Ratio::new(u),
        },
        rho_imaginary: Ratio::ZERO,
        steps,
        sag: Volts::new(sag),
    }
}

pub(crate) fn clip(mut evidence: Evidence, target: ClipTarget, v_cw: f32) -> Evidence {
    evidence.clip_target = target;
    evidence.clip_wide = Ok(Phasor {
        rms: Volts::new(v_cw),
        angle: Radians::ZERO,
    });
    evidence
}

/// The first case of section 10: everything measured, everything sound.
pub(crate) fn proven() -> Evidence {
    let mut evidence = receptacle(119.5, 0.0, 0.0);
    evidence.earth_path = path(0.18, 0.05);
    evidence.neutral_and_ground = path(0.36, 0.02);
    evidence.load_step = Ok(step(0.44, 0.02, 5, 2.4));
    evidence.neutral_to_clip = path(1.2, 0.05);
    clip(evidence, ClipTarget::IndependentEarth, 0.1)
}

/// Evidence of slots at these volts against earth, in phase or against it; `None` is a slot on
/// nothing. `clip` puts the clip on an independent earth.
pub(crate) fn slots_at(slots: [Option<f32>; 3], clip: bool) -> Evidence {
    let earth = clip.then_some(0.0);
    let held: Vec<f32> = slots.into_iter().chain([earth]).flatten().collect();
    let star = held.iter().sum::<f32>() / held.len() as f32;
    let [n, w, g] = slots.map(|slot| slot.unwrap_or(star));
    let lead = |volts: f32| Volts::new((volts - star).abs());
    let phasor = |volts: f32| Phasor {
        rms: Volts::new(volts.abs()),
        angle: Radians::new(if volts < 0.0 {
            core::f32::consts::PI
        } else {
            0.0
        }),
    };
    let pair = |volts: f32| PairVoltage {
        fundamental: phasor(volts),
        true_rms: Volts::new(volts.abs()),
        ..PairVoltage::default()
    };
    let mut evidence = Evidence::empty();
    evidence.health = FrameHealth {
        calibrated: true,
        windows: 10,
        bad_frames: 0,
        clipped_frames: 0,
    };
    evidence.slots = Ok(SlotVoltages {
        pairs: [pair(n - w), pair(g - w), pair(n - g)],
        reference: 0,
        u_gain: Ratio::new(0.0011),
        u_floor: Volts::new(0.002),
        leads: [lead(n), lead(w), lead(g), lead(earth.unwrap_or(star))],
    });
    let largest = [n - w, g - w, n - g]
        .map(f32::abs)
        .into_iter()
        .fold(0.0, f32::max);
    evidence.frequency = if largest < 3.0 {
        Measured::Missing(Missing::NoVoltage)
    } else {
        Measured::known(Hertz::new(60.0), Hertz::new(0.002))
    };
    if clip {
        evidence.clip_target = ClipTarget::IndependentEarth;
        evidence.clip_wide = Ok(phasor(0.0 - w));
    }
    evidence
}
