//! Limits of drive P2: where it may be closed, what its reading must be to count, and what it
//! must not be above.

use crate::evidence::Reading;
use crate::units::{Ohms, Radians, Ratio, Volts};

/// Limits of the drive and of its readings.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DriveLimits {
    /// Most line voltage on the path with which the drive is closed or kept closed, RMS. The
    /// neutral drop of a loaded branch is at most 2.5 % of 120 V there (NEC 210.19
    /// Informational Note, 3 % at the farthest outlet, is 3.6 V for both conductors); more is
    /// no neutral. Arithmetic.
    pub path_most: Volts,
    /// Most true RMS on any pair of slots with which the power counts as off. Common practice,
    /// no source.
    pub power_off_most: Volts,
    /// Most resistance from the neutral to the burner with the power off, three standard
    /// uncertainties added. Common practice, no source.
    pub neutral_to_burner: Ohms,
    /// Standard uncertainties added before a reading is held against a limit (measurement
    /// practice: R + 3u).
    pub sigmas: Ratio,
    /// A reading above this is "beyond range": the path takes so little of the drive's voltage
    /// that its resistance rests on the difference to the open level. Arithmetic: at 1 kohm the
    /// calibrated source of 3 kohm +-0.06 % still gives 0.1 %.
    pub beyond: Ohms,
    /// A reading to the clip that is below this, three standard uncertainties added, was no path:
    /// no relay in it had closed, or the lead's resistor is shorted. The shortest real one is neutral and ground of 10 ft of 12 AWG with a joint and a contact each, 0.032 +
    /// 0.03 + 0.01 ohm (NEC Chapter 9 Table 8 at 20 degC and the house model). Arithmetic.
    pub clip_least: Ohms,
    /// A path of copper and joints has next to no reactance: building wire 4.2 % of its
    /// resistance at 60 Hz, 6 % at 85 Hz (NEC Chapter 9 Table 9, 10 AWG). A reading whose
    /// reactive part is above this angle, beyond [`Self::reactance_floor`], is no resistance:
    /// something else hums at 85 Hz.
    pub reactance_angle: Radians,
    /// Reactive part that is allowed whatever the reading, beyond four of its standard
    /// uncertainties: 100 uH of transformers in an interrupter are 0.05 ohm. Judgement.
    pub reactance_floor: Ohms,
    /// Least windows of which a reading is stated. Arithmetic: below eight overlapping windows
    /// there are fewer than three independent ones to take a scatter of.
    pub windows_least: u16,
    /// Share of the windows that must agree with each other. Below half, nobody knows which
    /// half is right: arithmetic.
    pub agreeing_share: Ratio,
    /// Standard error from the scatter of the windows above which a reading cannot be told and
    /// is worth more time. The bound that the earth path has too.
    pub u_most: Ohms,
}

impl DriveLimits {
    /// The limits in force.
    pub const DEFAULT: Self = Self {
        path_most: Volts::new(3.0),
        power_off_most: Volts::new(2.0),
        neutral_to_burner: Ohms::new(10.0),
        sigmas: Ratio::new(3.0),
        beyond: Ohms::new(1_000.0),
        clip_least: Ohms::new(0.05),
        reactance_angle: Radians::new(0.08),
        reactance_floor: Ohms::new(0.1),
        windows_least: 8,
        agreeing_share: Ratio::new(0.5),
        u_most: Ohms::new(0.15),
    };

    /// Whether the neutral has a path to the burner: R + 3u is within the limit. Written so
    /// that a NaN fails.
    #[must_use]
    pub fn passes_power_off(&self, reading: Reading<Ohms>) -> bool {
        reading.value + reading.u * self.sigmas.get() <= self.neutral_to_burner
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ten_ohm_pass_only_with_their_uncertainty() {
        let limits = DriveLimits::DEFAULT;
        let passes = |value: f32, u: f32| {
            limits.passes_power_off(Reading {
                value: Ohms::new(value),
                u: Ohms::new(u),
            })
        };
        assert!(passes(0.3, 0.02));
        assert!(passes(9.9, 0.03));
        assert!(!passes(9.95, 0.02), "9.95 + 0.06 is above");
        assert!(!passes(10.3, 0.0), "worked case");
        assert!(!passes(f32::NAN, 0.01) && !passes(1.0, f32::NAN));
    }
}
