//! Whether the raw reading of a step can be right, before anything is worked out from it.
//!
//! Everything here is at nominal gains, so the limits are those of the parts. A reading that
//! cannot be right has one reason that the person at the bench can do something about.

use super::fails;
use super::fit::Applied;
use super::raw::{RawDrive, RawRest};
use crate::drive::DriveCalibration;
use crate::evidence::{Measured, Missing};
use crate::limits::CalibrationLimits;
use crate::slots::Lead;
use crate::units::{Ohms, Ratio, Volts};

/// Why the reading of a step cannot be right.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum StepFault {
    /// There is a voltage where all pins should be shorted.
    NotShorted {
        /// The largest lead.
        volts: Volts,
    },
    /// A lead has a mean value that no working converter has.
    Offset {
        /// The lead.
        lead: Lead,
    },
    /// There is no voltage, or too little.
    NoVoltage {
        /// What there is.
        volts: Volts,
    },
    /// More than may be applied.
    TooHigh {
        /// What there is.
        volts: Volts,
    },
    /// Another lead than the one asked for stands alone.
    OtherLead {
        /// The lead that does.
        lead: Lead,
    },
    /// The other three are not joined.
    NotJoined {
        /// The lead that is furthest off.
        lead: Lead,
    },
    /// What was typed in is not what is read.
    OtherVoltage {
        /// What is read at nominal gains.
        volts: Volts,
    },
    /// Too many harmonics, or noise.
    Distorted {
        /// Their share.
        share: Ratio,
    },
    /// It moves.
    Moves,
    /// Another resistance than the one asked for.
    OtherResistance {
        /// What is read at nominal gains.
        ohms: Ohms,
    },
    /// There is no reading.
    NoReading(Missing),
}

/// All pins shorted, no voltage.
///
/// # Errors
/// [`StepFault::NotShorted`] or [`StepFault::Offset`].
pub fn check_shorted(raw: &RawRest, limits: &CalibrationLimits) -> Result<(), StepFault> {
    let volts = largest(raw);
    if fails(volts.1 <= limits.shorted_most) {
        return Err(StepFault::NotShorted { volts: volts.1 });
    }
    for lead in Lead::ALL {
        let mean = raw.leads[lead.channel()].mean;
        if fails(mean.abs() <= limits.offset_most) {
            return Err(StepFault::Offset { lead });
        }
    }
    Ok(())
}

/// One lead at a known voltage against the other three.
///
/// # Errors
/// What is wrong, the plainest first.
pub fn check_applied(
    applied: &Applied,
    u_meter: Ratio,
    limits: &CalibrationLimits,
) -> Result<(), StepFault> {
    let raw = &applied.raw;
    let (alone, size) = largest(raw);
    let joined = || Lead::ALL.into_iter().filter(|lead| *lead != alone);
    let mean = joined().map(|lead| raw.size(lead).get()).sum::<f32>() / 3.0;
    let volts = size + Volts::new(mean);
    if fails(volts >= limits.applied_least) || matches!(raw.frequency, Measured::Missing(_)) {
        return Err(StepFault::NoVoltage { volts });
    }
    if fails(volts <= limits.applied_most * (1.0 + limits.applied_within.get())) {
        return Err(StepFault::TooHigh { volts });
    }
    let off = |lead: Lead| (raw.size(lead).get() - mean).abs();
    let worst = joined().max_by(|a, b| off(*a).total_cmp(&off(*b)));
    if let Some(lead) = worst
        && fails(off(lead) <= limits.joined_within.get() * volts.get())
    {
        return Err(StepFault::NotJoined { lead });
    }
    if alone != applied.lead {
        return Err(StepFault::OtherLead { lead: alone });
    }
    if fails(raw.unsteadiness.get() <= limits.unsteady_most.get() * volts.get()) {
        return Err(StepFault::Moves);
    }
    let residual = raw
        .residual
        .iter()
        .fold(0.0, |most: f32, v| most.max(v.get()));
    let share = residual / volts.get();
    if fails(share <= limits.distortion_most.get()) {
        return Err(StepFault::Distorted {
            share: Ratio::new(share),
        });
    }
    let within = limits.applied_within.get() + 3.0 * u_meter.get();
    if fails((applied.meter.get() / volts.get() - 1.0).abs() <= within) {
        return Err(StepFault::OtherVoltage { volts });
    }
    Ok(())
}

/// What a path reads with a nominal drive, everything in it included.
#[must_use]
pub fn nominal_ohms(raw: &RawDrive) -> Ohms {
    let [first, second] = raw.leads;
    let q = f64::from(first.real.get()) - f64::from(second.real.get());
    Ohms::from_f64(q / (1.0 - q) * f64::from(DriveCalibration::NOMINAL.source.get()))
}

/// A known resistance, or the reference resistor, by the drive. `beside`: what the path read
/// without it.
///
/// # Errors
/// [`StepFault::OtherResistance`].
pub fn check_resistance(
    raw: &RawDrive,
    expected: Ohms,
    beside: Ohms,
    contacts: Ohms,
) -> Result<(), StepFault> {
    let ohms = f64::from(nominal_ohms(raw).get()) - f64::from(beside.get());
    let expected = f64::from(expected.get());
    // Level and source are within 20 % on a working drive, see `drive::DriveCalibration`.
    let is_right =
        ohms >= 0.8 * expected - 0.05 && ohms <= 1.25 * expected + f64::from(contacts.get());
    if is_right {
        Ok(())
    } else {
        Err(StepFault::OtherResistance {
            ohms: Ohms::from_f64(ohms),
        })
    }
}

fn largest(raw: &RawRest) -> (Lead, Volts) {
    let mut found = (Lead::Narrow, raw.size(Lead::Narrow));
    for lead in Lead::ALL {
        let size = raw.size(lead);
        if fails(size <= found.1) {
            found = (lead, size);
        }
    }
    found
}
