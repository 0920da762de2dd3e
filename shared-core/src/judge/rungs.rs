//! Rungs 5 to 7: supply band, earth path, load steps. Each looks at one piece of evidence of
//! slots that read sound.

use crate::evidence::{Evidence, LoadStep, Measured, SlotVoltages};
use crate::finding::{Finding, FindingCode, NextCheck};
use crate::limits::Limits;
use crate::topology::{Topology, TopologySet};

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
    let Measured::Known(path) = evidence.earth_path else {
        return Rung::NotAsked;
    };
    let clear = path.value - path.u * 3.0;
    if path.value + path.u * 3.0 <= limits.earth_path_sound && path.u <= limits.earth_path_u {
        Rung::Holds
    } else if clear > limits.earth_path_sound {
        Rung::Fails(Finding {
            code: FindingCode::WeakEarthPath,
            rivals: TopologySet::of(&[Topology::WeakGround, Topology::GroundOnRodOnly]),
            next: NextCheck::OpenReceptacleBox,
        })
    } else {
        Rung::Unclear(without_rivals(
            FindingCode::EarthPathUnclear,
            NextCheck::Repeat,
        ))
    }
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
        Rung::Fails(Finding {
            code: FindingCode::JoinedNearReceptacle,
            rivals: TopologySet::of(&[
                Topology::JoinedAtBox,
                Topology::ReversedAndJoined,
                Topology::JoinedUpstream,
                Topology::ReversedAndJoinedUpstream,
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
