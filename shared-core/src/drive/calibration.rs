//! What a tester must know of its own drive before it may state ohms.
//!
//! The drive is a square wave of level +-E behind a fixed resistance `R_s`, so the current in
//! the path follows from the voltage over it: `I = (E - v) / R_s`. Only the ratio of `R_s` to E
//! comes into a small resistance, and that is what 10.0 ohm from wide to clip calibrates; with
//! 1.00 ohm the lead zero falls out.

use serde::{Deserialize, Serialize};

use crate::front_end::FILTER_SECONDS;
use crate::sample::FRAMES_PER_SECOND;
use crate::units::{Hertz, Ohms, Radians, Ratio, Volts};

/// Frequency of the drive. It stands 25 Hz from a line of 60 Hz: five whole bins of 5 Hz and
/// ten of 2.5 Hz, so a window of 400 ms has a null on the line.
pub const TONE: Hertz = Hertz::new(85.0);

/// Level and resistance may differ from the nominal by this share; resistors of 1 % and a
/// reference of 1 % make 2 %, beyond 20 % something is broken.
const WITHIN: f64 = 0.2;

/// The clip lead holds a resistor of 10 ohm, 0.1 %, so that a current in it can be seen, and leads
/// of a few metres have 0.1 ohm; beyond this they are not leads, below it the resistor is missing.
const LEAD_ZERO: core::ops::RangeInclusive<f64> = 9.5..=12.0;

/// The lag may differ from the nominal by this much: capacitors of 5 % turn it by 1.2 mrad, a
/// pin that changes 50 us late by 27 mrad. A whole frame (0.13 rad) must be accounted for.
const LAG_WITHIN: f64 = 0.2;

/// One frame of the converter and the filter of the string, radians at the tone.
const LAG: f64 =
    core::f64::consts::TAU * TONE.get() as f64 * (1.0 / FRAMES_PER_SECOND as f64 + FILTER_SECONDS);

/// Calibration of the drive.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct DriveCalibration {
    /// Level E of the square wave with the path open: it stands at +E or -E, so this is its
    /// RMS value too.
    pub level: Volts,
    /// Resistance `R_s` behind it: fixed resistors, limiter and relay.
    pub source: Ohms,
    /// What wide to clip reads with the clip on the wide blade: the clip lead's own resistor, and
    /// the leads.
    pub lead_zero: Ohms,
    /// By how much the codes lag the tone at 85 Hz.
    pub lag: Radians,
    /// Standard uncertainty of the current as a share.
    pub u_current: Ratio,
}

impl DriveCalibration {
    /// The drive as designed: 6.0 V behind 3.0 kohm, 2.00 mA into nothing.
    ///
    /// Lag: a frame is converted from three frame times of input, the last of them its own, so
    /// its code stands for the middle one: one frame, 250 us; and the filter of the string, 43 us.
    /// Together 0.157 rad, 9.0 degrees. Uncertainty: a 0.1 % resistor of 10 ohm as a rectangle,
    /// 0.06 %.
    pub const NOMINAL: Self = Self {
        level: Volts::new(6.0),
        source: Ohms::new(3_000.0),
        lead_zero: Ohms::new(10.0),
        lag: Radians::from_f64(LAG),
        u_current: Ratio::new(0.000_6),
    };

    /// Whether a working tester can have this calibration.
    #[must_use]
    pub fn is_plausible(&self) -> bool {
        let near = |value: f32, nominal: f32| {
            (f64::from(value) / f64::from(nominal) - 1.0).abs() <= WITHIN
        };
        let lag_off = f64::from(self.lag.get()) - f64::from(Self::NOMINAL.lag.get());
        // Written so that a NaN fails.
        near(self.level.get(), Self::NOMINAL.level.get())
            && near(self.source.get(), Self::NOMINAL.source.get())
            && LEAD_ZERO.contains(&f64::from(self.lead_zero.get()))
            && lag_off.abs() <= LAG_WITHIN
            && (0.0..=0.1).contains(&self.u_current.get())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_nominal_drive_is_two_milliamperes_and_plausible() {
        let nominal = DriveCalibration::NOMINAL;
        let amperes = f64::from(nominal.level.get()) / f64::from(nominal.source.get());
        assert!((amperes - 2.0e-3).abs() < 1e-9);
        // 293 us at 85 Hz: arithmetic, 360 x 85 x 293.3e-6 = 8.98 degrees.
        assert!((f64::from(nominal.lag.get()).to_degrees() - 8.98).abs() < 0.02);
        assert!(nominal.is_plausible());
    }

    #[test]
    fn what_no_working_drive_has_is_refused() {
        let nominal = DriveCalibration::NOMINAL;
        for broken in [
            DriveCalibration {
                level: Volts::new(4.7),
                ..nominal
            },
            DriveCalibration {
                source: Ohms::new(3_700.0),
                ..nominal
            },
            DriveCalibration {
                source: Ohms::new(f32::NAN),
                ..nominal
            },
            DriveCalibration {
                lead_zero: Ohms::new(12.5),
                ..nominal
            },
            // A board of the first revision: no resistor in its clip lead.
            DriveCalibration {
                lead_zero: Ohms::new(0.1),
                ..nominal
            },
            DriveCalibration {
                lag: Radians::new(1.0),
                ..nominal
            },
            DriveCalibration {
                u_current: Ratio::new(-0.001),
                ..nominal
            },
        ] {
            assert!(!broken.is_plausible(), "{broken:?}");
        }
    }
}
