//! Rungs 5 to 7: supply band, earth path, neutral and hot conductor, load steps. Each looks at
//! one piece of evidence of slots that read sound.
//!
//! Model: P1 sends its current from hot through the equipment ground, so it reads the ground
//! against wide and hot, source and ground against narrow; P2 drives neutral and ground in
//! series. So neutral = P2 - P1, and hot with source = loop - P1. The differences hold the
//! uncertainty of both readings.

use crate::evidence::{Evidence, LoadStep, Measured, Missing, Reading, SlotVoltages};
use crate::finding::{Finding, FindingCode, NextCheck};
use crate::limits::Limits;
use crate::topology::{Topology, TopologySet};
use crate::units::Ohms;

/// How a rung came out.
pub(super) enum Rung {
    Holds,
    Fails(Finding),
    Unclear(Finding),
    NotAsked,
}

/// Rung 5, on the voltage between the blades.
pub(super) fn supply(slots: &SlotVoltages, limits: &Limits) -> Option<Finding> {
    let volts = slots.narrow_wide().true_rms;
    let band = limits.supply;
    let code = if volts < band.lowest {
        FindingCode::SupplyTooLow
    } else if volts > band.highest {
        FindingCode::SupplyTooHigh
    } else if volts < band.low {
        FindingCode::SupplyLow
    } else if volts > band.high {
        FindingCode::SupplyHigh
    } else {
        return None;
    };
    Some(Finding {
        code,
        rivals: TopologySet::EMPTY,
        next: NextCheck::SupplyAtPanel,
    })
}

pub(super) const fn is_out_of_band(code: FindingCode) -> bool {
    matches!(code, FindingCode::SupplyTooLow | FindingCode::SupplyTooHigh)
}

/// Rung 6.
pub(super) fn earth_path(evidence: &Evidence, limits: &Limits) -> Rung {
    let weak = Rung::Fails(Finding {
        code: FindingCode::WeakEarthPath,
        rivals: TopologySet::of(&[
            Topology::WeakGround,
            Topology::GroundOnRodOnly,
            Topology::LostPanelBond,
        ]),
        next: NextCheck::OpenReceptacleBox,
    });
    let unclear = Rung::Unclear(without_rivals(
        FindingCode::EarthPathUnclear,
        NextCheck::Repeat,
    ));
    // A relay of the drive that was not seen to open may lead current into the ground, and a
    // limiter that was not seen to act stands for nothing.
    if matches!(
        evidence.neutral_and_ground,
        Measured::Missing(Missing::RelaysUntested | Missing::LimiterUntested)
    ) {
        return unclear;
    }
    let path = match evidence.earth_path {
        Measured::Known(path) => path,
        Measured::Missing(Missing::BeyondRange) => return weak,
        Measured::Missing(
            Missing::Unsteady
            | Missing::Refused
            | Missing::Clipped
            | Missing::NoCurrent
            | Missing::RelaysUntested
            | Missing::LimiterUntested,
        ) => {
            return unclear;
        }
        Measured::Missing(Missing::NotAsked | Missing::NoVoltage | Missing::ClipFree) => {
            return Rung::NotAsked;
        }
    };
    let clear = path.value - path.u * 3.0;
    if path.value + path.u * 3.0 <= limits.earth_path_sound && path.u <= limits.earth_path_u {
        Rung::Holds
    } else if clear > limits.earth_path_sound {
        weak
    } else {
        unclear
    }
}

/// One of two readings less the other, if both are known.
fn difference(whole: Measured<Ohms>, part: Measured<Ohms>) -> Option<Reading<Ohms>> {
    let (whole, part) = (whole.reading()?, part.reading()?);
    Some(Reading {
        value: whole.value - part.value,
        u: Ohms::new(libm::hypotf(whole.u.get(), part.u.get())),
    })
}

/// What the neutral alone has.
fn neutral(evidence: &Evidence) -> Option<Reading<Ohms>> {
    difference(evidence.neutral_and_ground, evidence.earth_path)
}

/// What hot conductor and source have.
fn hot(evidence: &Evidence) -> Option<Reading<Ohms>> {
    difference(evidence.hot_and_ground, evidence.earth_path)
}

/// Whether a reading is above `limit` beyond doubt.
fn is_surely_above(reading: Option<Reading<Ohms>>, limit: Ohms) -> bool {
    reading.is_some_and(|reading| reading.value - reading.u * 3.0 > limit)
}

/// Rung 6, the other two conductors: joints that P1 and P2 show without a load.
pub(super) fn conductors(evidence: &Evidence, limits: &Limits) -> [Option<Finding>; 2] {
    let neutral = is_surely_above(neutral(evidence), limits.neutral_sound).then_some(Finding {
        code: FindingCode::WeakNeutral,
        rivals: TopologySet::of(&[Topology::WeakNeutral, Topology::LostServiceNeutral]),
        next: NextCheck::OpenReceptacleBox,
    });
    let hot = has_weak_hot(evidence, limits).then_some(Finding {
        code: FindingCode::WeakHot,
        rivals: TopologySet::of(&[Topology::WeakHot, Topology::LostServiceNeutral]),
        next: NextCheck::OpenReceptacleBox,
    });
    [neutral, hot]
}

fn has_weak_hot(evidence: &Evidence, limits: &Limits) -> bool {
    is_surely_above(hot(evidence), limits.hot_sound)
}

/// Rung 7: the rule on rho.
pub(super) fn load_step(evidence: &Evidence, limits: &Limits) -> Rung {
    let Ok(step) = &evidence.load_step else {
        return Rung::NotAsked;
    };
    let unclear = Rung::Unclear(without_rivals(
        FindingCode::LoadStepUnclear,
        NextCheck::LoadSteps,
    ));
    if !is_telling(step, limits) {
        return unclear;
    }
    let reach = step.rho.u * 4.0;
    let (low, high) = (step.rho.value - reach, step.rho.value + reach);
    if low > limits.rho_weak_neutral {
        Rung::Fails(Finding {
            code: FindingCode::WeakNeutral,
            rivals: TopologySet::of(&[Topology::WeakNeutral]),
            next: NextCheck::OpenReceptacleBox,
        })
    } else if low > limits.rho_separate {
        Rung::Holds
    } else if high < limits.rho_joined {
        // A joint in the hot conductor lowers rho as well; and a neutral that P2 finds to have
        // resistance of its own is not joined to the ground here.
        if has_weak_hot(evidence, limits)
            || is_surely_above(neutral(evidence), limits.joined_neutral_most)
        {
            return unclear;
        }
        Rung::Fails(Finding {
            code: FindingCode::JoinedNearReceptacle,
            rivals: TopologySet::of(&[
                Topology::JoinedAtBox,
                Topology::ReversedAndJoined,
                Topology::JoinedUpstream,
                Topology::ReversedAndJoinedUpstream,
                Topology::JoinedInAppliance,
                // Much resistance on the hot side, or in the source, lowers the ratio as well.
                Topology::WeakHot,
                Topology::LostServiceNeutral,
            ]),
            next: NextCheck::ClipOnIndependentEarth,
        })
    } else {
        unclear
    }
}

/// Whether the steps are many and large enough, and in phase.
fn is_telling(step: &LoadStep, limits: &Limits) -> bool {
    step.steps >= limits.rho_steps
        && step.sag >= limits.rho_sag
        && step.rho_imaginary.abs() <= limits.rho_imaginary
}

/// A finding that is not about topology.
pub(super) const fn without_rivals(code: FindingCode, next: NextCheck) -> Finding {
    Finding {
        code,
        rivals: TopologySet::EMPTY,
        next,
    }
}
