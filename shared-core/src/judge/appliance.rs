//! What the clip on the appliance's frame adds: the load-cycle watch with the power on, the way
//! from neutral to burner with the power off.
//!
//! Model: a sound outlet moves the clip against wide by the drop on its neutral, whatever the
//! frame's ground is worth, so the watch is judged by what is left when the receptacle's own
//! ground slot is taken out (statistic b). The absolute limit holds for the idle appliance.

use crate::evidence::{Evidence, Measured, Missing, Reading};
use crate::finding::{Finding, FindingCode, NextCheck};
use crate::limits::{Limits, WatchLimits};
use crate::slots::ClipTarget;
use crate::units::Volts;

use super::rungs::{Rung, without_rivals};

/// The watch: what the frame's ground does at the load steps, and where it stands at idle.
pub(super) fn watch(evidence: &Evidence, limits: &Limits) -> [Rung; 2] {
    let Ok(watch) = &evidence.watch else {
        return [Rung::NotAsked, Rung::NotAsked];
    };
    let limits = &limits.watch;
    let shift = if watch.steps < limits.least_steps {
        let code = FindingCode::WatchNotExercised;
        Rung::Unclear(without_rivals(code, NextCheck::LoadSteps))
    } else {
        match watch.frame_shift {
            Measured::Known(shift) => frame_shift(shift, limits),
            Measured::Missing(_) => Rung::Unclear(without_rivals(
                FindingCode::FrameGroundSuspect,
                NextCheck::LoadSteps,
            )),
        }
    };
    // Written so that a NaN does not hold.
    let idle = if watch.idle <= limits.clip_highest {
        Rung::Holds
    } else {
        let code = FindingCode::FrameVoltageHigh;
        Rung::Fails(without_rivals(code, NextCheck::FrameGround))
    };
    [shift, idle]
}

fn frame_shift(shift: Reading<Volts>, limits: &WatchLimits) -> Rung {
    let reach = shift.u * 3.0;
    if shift.value > limits.shift_moves && shift.value - reach > limits.shift_suspect {
        let code = FindingCode::FrameGroundMoves;
        Rung::Fails(without_rivals(code, NextCheck::FrameGround))
    } else if shift.value + reach <= limits.shift_suspect {
        Rung::Holds
    } else {
        let code = FindingCode::FrameGroundSuspect;
        Rung::Unclear(without_rivals(code, NextCheck::FrameGround))
    }
}

/// The power-off check, where the clip is on the appliance and P2 was driven to it.
pub(super) fn neutral_to_frame(evidence: &Evidence, limits: &Limits) -> Option<Finding> {
    if evidence.clip_target != ClipTarget::ApplianceFrame {
        return None;
    }
    let is_low = match evidence.neutral_to_clip {
        Measured::Known(path) => limits.drive.passes_power_off(path),
        Measured::Missing(Missing::BeyondRange | Missing::Unsteady) => false,
        Measured::Missing(_) => return None,
    };
    Some(if is_low {
        without_rivals(FindingCode::NeutralToFrameSound, NextCheck::LoadSteps)
    } else {
        without_rivals(FindingCode::NeutralToFrameHigh, NextCheck::FrameGround)
    })
}
