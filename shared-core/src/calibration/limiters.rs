//! What the limiters of the drive let through, as a person measured it at the bench: steps 15a and
//! 15b of `hardware/checks.md`.
//!
//! The tester tests its limiters itself before it calls anything proven, with the 10 V of its own raised
//! level ([`crate::limiter_check`]). More than that stands across a closed leg only where a person
//! puts it there: a bench supply of 24 V, which also shows what a limiter does that a volt of its own
//! more would not. So a person does it when the tester is calibrated, a calibration is stored only with
//! these currents, and it holds for a year: a tester whose limiters were not looked at for longer
//! gives no verdict.
//!
//! Limit: the currents are what was typed in.

use serde::{Deserialize, Serialize};

use super::fails;
use crate::limits::CalibrationLimits;
use crate::stimulus::DrivePath;
use crate::units::Amperes;

/// Currents of both legs at 24 V direct, each both ways round, sizes without sign.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Limiters {
    /// Wide to the ground pin: step 15a.
    pub to_ground: [Amperes; 2],
    /// Wide to the clip: step 15b.
    pub to_clip: [Amperes; 2],
}

/// A current that no sound leg lets through.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LimiterFault {
    /// The leg.
    pub path: DrivePath,
    /// What it lets through.
    pub current: Amperes,
}

impl Limiters {
    /// Whether both legs limit, both ways.
    ///
    /// # Errors
    /// The first current beyond what a sound leg lets through.
    pub fn check(&self, limits: &CalibrationLimits) -> Result<(), LimiterFault> {
        for (path, currents) in [
            (DrivePath::WideToGround, self.to_ground),
            (DrivePath::WideToClip, self.to_clip),
        ] {
            for current in currents {
                // Written so that a NaN fails.
                let is_sound = current >= limits.limiter_least && current <= limits.limiter_most;
                if fails(is_sound) {
                    return Err(LimiterFault { path, current });
                }
            }
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const LIMITS: CalibrationLimits = CalibrationLimits::DEFAULT;

    fn milliamperes(values: [f32; 4]) -> Limiters {
        let [a, b, c, d] = values.map(|value| Amperes::new(value * 1e-3));
        Limiters {
            to_ground: [a, b],
            to_clip: [c, d],
        }
    }

    #[test]
    fn a_sound_leg_passes_and_each_of_the_four_currents_counts() {
        // 2.54 mA: ngspice, hardware/faults_self.csv, nothing failed.
        let sound = [2.54; 4];
        assert_eq!(milliamperes(sound).check(&LIMITS), Ok(()));
        for place in 0..4 {
            // A limiter gone, a leg open, a leg that limits too early, a slip of the pen.
            for wrong in [5.99, 11.4, 0.01, 1.62, f32::NAN, f32::INFINITY, -2.54] {
                let mut values = sound;
                values[place] = wrong;
                let fault = milliamperes(values)
                    .check(&LIMITS)
                    .expect_err("no sound leg");
                let path = [DrivePath::WideToGround, DrivePath::WideToClip][place / 2];
                assert_eq!(fault.path, path);
            }
        }
    }
}
