//! Whether one string is turned against the others: a part of its filter failed.
//!
//! Joined leads have one angle, whatever the barrier drains. What turns one string against the
//! others is its filter: 16.3 mrad at 60 Hz. A capacitor that is open or a resistor of it that is
//! shorted shows there and nowhere else (`hardware/unseen.csv`).
//!
//! Limit: of two strings turned alike the third is named; three alike are not seen.

use super::fails;
use super::fit::Applied;
use crate::limits::CalibrationLimits;
use crate::slots::Lead;

/// The turn of a delay is stated at this frequency, Hz.
const STATED_AT: f64 = 60.0;

/// The lead whose string is turned most against the middle one of three that are joined, if it is
/// by more than filters differ. An angle that is no number is too much.
pub(super) fn turned(readings: &[Applied], limits: &CalibrationLimits) -> Option<Lead> {
    let limit = f64::from(limits.turn_most.get());
    let mut most: Option<(f64, Lead)> = None;
    for applied in readings {
        let hertz = applied
            .raw
            .frequency
            .value()
            .map_or(STATED_AT, |f| f64::from(f.get()));
        let joined = || Lead::ALL.into_iter().filter(|lead| *lead != applied.lead);
        let against = joined().next()?;
        let phasor = |lead: Lead| applied.raw.leads[lead.channel()].phasor();
        let angle = |lead: Lead| {
            let apart = phasor(lead) * phasor(against).conj();
            libm::atan2(apart.im, apart.re) * STATED_AT / hertz
        };
        let sum: f64 = joined().map(angle).sum();
        let low = joined().map(angle).fold(f64::INFINITY, f64::min);
        let high = joined().map(angle).fold(f64::NEG_INFINITY, f64::max);
        let middle = sum - low - high;
        for lead in joined() {
            let off = (angle(lead) - middle).abs();
            if fails(off <= limit) && most.is_none_or(|(before, _)| off > before) {
                most = Some((off, lead));
            }
        }
    }
    most.map(|(_, lead)| lead)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::calibration::raw::{RawLead, RawRest};
    use crate::evidence::{Measured, Reading};
    use crate::units::{Hertz, Volts};

    /// Each lead in turn against the other three at 60 Hz; the strings turned by so many mrad.
    fn readings(turns: [f32; 4]) -> [Applied; 4] {
        Lead::ALL.map(|lead| Applied {
            lead,
            meter: Volts::new(118.0),
            raw: RawRest {
                leads: Lead::ALL.map(|one| {
                    let size = if one == lead { 88.5 } else { -29.5 };
                    let (sin, cos) = (turns[one.channel()] * 1e-3).sin_cos();
                    RawLead {
                        mean: Volts::new(0.0),
                        real: Volts::new(size * cos),
                        imaginary: Volts::new(size * sin),
                    }
                }),
                frequency: Measured::Known(Reading {
                    value: Hertz::new(60.0),
                    u: Hertz::new(0.001),
                }),
                residual: [Volts::new(0.0); 3],
                unsteadiness: Volts::new(0.0),
            },
        })
    }

    #[test]
    fn the_string_that_is_turned_is_named_and_an_angle_that_is_none_is_too_much() {
        let limits = CalibrationLimits::DEFAULT;
        assert_eq!(turned(&readings([0.8, -0.8, 0.0, 0.5]), &limits), None);
        for lead in Lead::ALL {
            // An open capacitor, a shorted resistor, no number.
            for turn in [16.3, -3.7, f32::NAN] {
                let mut turns = [0.8, -0.4, 0.2, 0.0];
                turns[lead.channel()] = turn;
                let found = turned(&readings(turns), &limits);
                if turn.is_nan() {
                    assert!(found.is_some());
                } else {
                    assert_eq!(found, Some(lead), "{turn}");
                }
            }
            // Of one reading only, the others behind it whole.
            let mut some = readings([0.0; 4]);
            some[0].raw.leads[1].real = Volts::new(f32::NAN);
            assert!(turned(&some, &limits).is_some());
        }
    }
}
