//! The evidence that a calibrated, healthy tester would gather at a wiring of the atlas.
//!
//! Values are the computed ones; the uncertainties are the targets of the measurements (0.11 %
//! and 2 mV, 0.05 ohm by P1 and 0.02 ohm by P2, 0.01 of rho). No noise: the atlas asks what can be known at best.

use slotwise_core::evidence::{
    Evidence, FrameHealth, LoadStep, Measured, Missing, PairVoltage, Phasor, Reading, SlotVoltages,
};
use slotwise_core::slots::ClipTarget;
use slotwise_core::units::{Hertz, Ohms, Radians, Ratio, Volts};
use slotwise_virtual::atlas::Page;
use slotwise_virtual::circuit::Phasor as Computed;
use slotwise_virtual::house::Truth;
use slotwise_virtual::means::{self, Survey};
use slotwise_virtual::tester::SensingString;

/// Which means are used beside the slots.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Taken {
    /// P1 from narrow.
    pub earth_path: bool,
    /// P2, to ground, and to the clip where that is used.
    pub drive: bool,
    /// The load step.
    pub load_step: bool,
    /// The clip on an independent earth.
    pub clip: bool,
}

impl Taken {
    /// Every means.
    pub const ALL: Self = Self {
        earth_path: true,
        drive: true,
        load_step: true,
        clip: true,
    };

    /// Every choice of means.
    pub fn every() -> impl Iterator<Item = Self> {
        (0..16).map(|bits| Self {
            earth_path: bits & 1 != 0,
            drive: bits & 2 != 0,
            load_step: bits & 4 != 0,
            clip: bits & 8 != 0,
        })
    }
}

/// Below this a frequency is not stated.
const FREQUENCY_LEAST: f64 = 3.0;

/// The evidence of `page` by the means that are taken.
#[must_use]
pub fn evidence(page: &Page, taken: Taken) -> Evidence {
    let Survey {
        signature,
        free,
        earthed,
        to_earth,
        step,
    } = &page.survey;
    let truth = if taken.clip { earthed } else { free };
    let mut evidence = Evidence::empty();
    evidence.health = FrameHealth {
        calibrated: true,
        windows: 10,
        bad_frames: 0,
        clipped_frames: 0,
    };
    let pairs = [truth.nw, truth.gw, truth.ng];
    let reference = largest(pairs);
    let zero = pairs[reference];
    let largest = zero.norm();
    evidence.slots = Ok(SlotVoltages {
        pairs: pairs.map(|pair| PairVoltage {
            fundamental: phasor(pair, zero),
            true_rms: Volts::from_f64(pair.norm()),
            residual: Volts::ZERO,
            mean: Volts::ZERO,
        }),
        reference,
        u_gain: Ratio::new(0.0011),
        u_floor: Volts::new(0.002),
        leads: leads(truth),
    });
    evidence.frequency = if largest < FREQUENCY_LEAST {
        Measured::Missing(Missing::NoVoltage)
    } else {
        Measured::known(Hertz::from_f64(truth.frequency), Hertz::new(0.002))
    };
    if taken.clip {
        evidence.clip_target = ClipTarget::IndependentEarth;
        evidence.clip_wide = Ok(phasor(truth.cw, zero));
    }
    if taken.earth_path {
        evidence.earth_path = ohms(signature.p1, Ohms::new(0.05));
    }
    if taken.drive {
        evidence.neutral_and_ground = ohms(signature.p2, Ohms::new(0.02));
        if taken.clip {
            evidence.neutral_to_clip = ohms(*to_earth, Ohms::new(0.02));
        }
    }
    if taken.load_step
        && let Some(step) = step
    {
        evidence.load_step = Ok(LoadStep {
            rho: Reading {
                value: Ratio::from_f64(step.rho.re),
                u: Ratio::new(0.01),
            },
            rho_imaginary: Ratio::from_f64(step.rho.im),
            steps: 5,
            sag: Volts::from_f64(step.sag),
        });
    }
    evidence
}

/// A reading of ohms as the tester states it: beyond a kilohm it is out of range.
fn ohms(reading: means::Reading, u: Ohms) -> Measured<Ohms> {
    match reading {
        means::Reading::Value(ohms) if ohms > 1_000.0 => Measured::Missing(Missing::BeyondRange),
        means::Reading::Value(ohms) => Measured::known(Ohms::from_f64(ohms), u),
        means::Reading::Open => Measured::Missing(Missing::BeyondRange),
        means::Reading::Refused => Measured::Missing(Missing::Refused),
        means::Reading::NotMeasurable => Measured::Missing(Missing::NoVoltage),
    }
}

fn largest(pairs: [Computed; 3]) -> usize {
    let sizes = pairs.map(Computed::norm);
    (1..3).fold(0, |best, pair| {
        if sizes[pair] > sizes[best] {
            pair
        } else {
            best
        }
    })
}

fn phasor(value: Computed, zero: Computed) -> Phasor {
    let angle = value.arg() - zero.arg();
    let turn = core::f64::consts::TAU;
    Phasor {
        rms: Volts::from_f64(value.norm()),
        angle: Radians::from_f64(angle - turn * (angle / turn).round()),
    }
}

fn leads(truth: &Truth) -> [Volts; 4] {
    let ohms = SensingString::NOMINAL.resistance();
    truth
        .lead_currents
        .map(|current| Volts::from_f64(current.norm() * ohms))
}
