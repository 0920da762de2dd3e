//! Limits of the readings of probe P1.

use crate::units::{Ohms, Volts};

/// Limits of the probe's readings. The standard error above which the earth path cannot be
/// told is [`super::Limits::earth_path_u`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ProbeLimits {
    /// The ground slot must stand nearer to wide than this before the probe is closed, and
    /// stay nearer while it is: RMS. The most that stage-power practice accepts between neutral
    /// and ground (T. Betress, "Receptacle Testing": 0-5 V).
    pub rest_most: Volts,
    /// Most voltage from narrow to ground with which the probe is closed: a 120 V leg that a
    /// lost neutral has lifted by a quarter; it drives 1.7 mA. Arithmetic.
    pub drive_most: Volts,
    /// Least voltage from narrow to ground that drives a current worth reading. Below half of
    /// 120 V the blade is not hot, and the 1.33 mA of the probe are less than half. Arithmetic.
    pub voltage_least: Volts,
    /// Highest earth path that is stated as a number. 1.33 mA lift the ground by 4 V at
    /// 3 kohm; at 5 V the interlock opens the probe. Arithmetic.
    pub range: Ohms,
}

impl ProbeLimits {
    /// The limits in force.
    pub const DEFAULT: Self = Self {
        rest_most: Volts::new(5.0),
        drive_most: Volts::new(150.0),
        voltage_least: Volts::new(60.0),
        range: Ohms::new(3_000.0),
    };
}
