//! What a calibration has to pass before it may be stored, and how long it holds.

use crate::units::{Amperes, Ohms, Radians, Ratio, Volts};

/// Limits of a calibration.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CalibrationLimits {
    /// How long it holds: a year of 365 days. Practice of calibration laboratories and of test
    /// instrument makers; no standard demands it, so it is judgement.
    pub valid_seconds: u64,

    /// All pins shorted: no lead may carry more line frequency than this. A tester in the hand
    /// picks up 0.25 V at most (house model); shorted leads pick up far less.
    pub shorted_most: Volts,
    /// Offset of a channel, all pins shorted: 175 uV at the converter (SBAS890D 6.5) over
    /// 2.383e-3 is 73 mV at the slot; three times that.
    pub offset_most: Volts,
    /// Least known voltage between the pins: below it the 0.1 % of a usual reference is mostly
    /// its floor. Judgement.
    pub applied_least: Volts,
    /// Most: above it the drive of the earth-path probe is more than it is built for (132 V).
    pub applied_most: Volts,
    /// The voltage read at nominal gains may differ from the voltage typed in by this share and
    /// by three of the uncertainties typed in: 1 % parts and the converter's 0.1 % make 2.2 %.
    pub applied_within: Ratio,
    /// Leads that are joined may differ by this share of the voltage, at nominal gains; the
    /// same parts. A lead that is not joined is off by tenths.
    pub joined_within: Ratio,
    /// Harmonics and noise of the known voltage as a share of it: they are taken out of the
    /// meter's true RMS, and a meter that does not read true RMS would be off by as much as
    /// this. Judgement; a transformer on the mains has up to 5 %.
    pub distortion_most: Ratio,
    /// A lead may move by this share from window to window while the voltage is read. Judgement.
    pub unsteady_most: Ratio,
    /// The ratios of the gains may be apart by this share of themselves: noise leaves 1 ppm and
    /// the capacitors of 5 % turn a string by 0.8 mrad, 0.3 ppm of its size. Beyond it a joint
    /// of the fixture moved. Arithmetic and a margin of ten.
    pub closure_most: Ratio,
    /// A string may be turned by this against the middle one of three that are joined, at 60 Hz.
    /// Their filters have 43.3 us, 16.3 mrad: capacitors of 5 % make 1.63 mrad between two strings,
    /// filter resistors of 1 % 0.15 more, and noise nothing (30 uV of 30 V). An open capacitor is
    /// 16.3 mrad, a shorted resistor 3.7, less those 1.8 at worst. Arithmetic.
    pub turn_most: Radians,
    /// The probe's reading of the reference resistor may differ from the drive's by this share:
    /// the probe's resistors, 1 %.
    pub probe_within: Ratio,
    /// ... and the reference resistor itself from its 10 ohm: 0.1 %, and 1 % for the contacts of
    /// the fixture (0.1 ohm).
    pub reference_within: Ohms,
    /// Most standard uncertainty of the current of the drive.
    pub u_current_most: Ratio,
    /// A path of copper has no reactance: the angle of a known resistor may be off from the
    /// nominal by this, radians as a share. Capacitors of 5 % are 1.2 mrad, 50 us of a late pin
    /// 27 mrad; twice that.
    pub drive_angle_most: Ratio,

    /// Least current that a sound leg of the drive lets through at 24 V. A base-emitter voltage behind a
    /// divider over 787 ohm is 2.54 mA at 25 degC (ngspice, `hardware/faults_self.csv`) and falls by
    /// 11 uA a kelvin (`hardware/theory.md`): 2.65 to 2.48 mA from 15 to 30 degC; 20 mV of the part
    /// and 1 % of the resistor are 0.12 mA more either way, a meter's 1 % and a digit the rest. With
    /// one part of a leg failed one way round reads 1.62 mA and less or 5.99 and more (the same
    /// table).
    pub limiter_least: Amperes,
    /// ... and the most. Arithmetic.
    pub limiter_most: Amperes,

    /// Change of a string's ratio by temperature between calibration and use: 25 ppm/K parts
    /// over 15 K, limits of a rectangle. Judgement of the span, parts as in the parts list.
    pub drift_temperature: Ratio,
    /// Change in a year: 0.05 % for film resistors, limits of a rectangle (usual datasheet
    /// figure for 1000 h of load, from memory).
    pub drift_year: Ratio,
    /// Change of the converter's gain and reference over 15 K: 20 ppm/K, limits of a rectangle
    /// (SBAS890D 6.5, from memory).
    pub drift_converter: Ratio,
}

impl CalibrationLimits {
    /// The limits in force.
    pub const DEFAULT: Self = Self {
        valid_seconds: 365 * 86_400,
        shorted_most: Volts::new(0.25),
        offset_most: Volts::new(0.22),
        applied_least: Volts::new(60.0),
        applied_most: Volts::new(132.0),
        applied_within: Ratio::new(0.022),
        joined_within: Ratio::new(0.022),
        distortion_most: Ratio::new(0.05),
        unsteady_most: Ratio::new(0.005),
        closure_most: Ratio::new(20e-6),
        turn_most: Radians::new(2.2e-3),
        probe_within: Ratio::new(0.011),
        reference_within: Ohms::new(0.11),
        u_current_most: Ratio::new(0.003),
        drive_angle_most: Ratio::new(0.06),
        limiter_least: Amperes::new(2.3e-3),
        limiter_most: Amperes::new(2.9e-3),
        drift_temperature: Ratio::new(0.000_375),
        drift_year: Ratio::new(0.000_5),
        drift_converter: Ratio::new(0.000_3),
    };
}

impl Default for CalibrationLimits {
    fn default() -> Self {
        Self::DEFAULT
    }
}
