//! A calibration was stored: the record's form, and how far the tester had drifted.
//!
//! The record holds both calibrations whole, so an office follows a tester through the years and
//! sees under which values each of its records was measured: those of the newest event before it.
//! The record is written after the calibration. Where the supply fails between the two, the
//! calibration stands and no record tells of it; the next event's `before` then shows a
//! calibration that no record named.

use serde::{Deserialize, Serialize};

use super::Calibration;
use crate::units::Ratio;

/// A calibration was stored over the line.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct CalibrationEvent {
    /// The one in force from now on.
    pub now: Calibration,
    /// The one that stood before; `None` if there was none that could be read.
    pub before: Option<Calibration>,
}

impl CalibrationEvent {
    /// The largest change of a channel's gain since the calibration before, with its sign, as a
    /// share of the earlier gain. `None` without an earlier one.
    #[must_use]
    pub fn largest_gain_change(&self) -> Option<Ratio> {
        let before = self.before.as_ref()?;
        let changes = self.now.channels.iter().zip(&before.channels);
        let largest = changes
            .map(|(now, before)| now.gain / before.gain - 1.0)
            .fold(0.0_f64, |largest, change| {
                if change.abs() > largest.abs() {
                    change
                } else {
                    largest
                }
            });
        Some(Ratio::new(largest as f32))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::calibration::raw::NOMINAL;

    #[test]
    fn the_largest_change_is_told_with_its_sign() {
        let mut now = NOMINAL;
        now.channels[1].gain = 1.001;
        now.channels[3].gain = 0.998;
        let event = CalibrationEvent {
            now,
            before: Some(NOMINAL),
        };
        let change = event.largest_gain_change().expect("there was one before");
        assert!((change.get() + 0.002).abs() < 1e-6, "{change:?}");
    }

    #[test]
    fn without_an_earlier_one_no_change_is_told() {
        let event = CalibrationEvent {
            now: NOMINAL,
            before: None,
        };
        assert_eq!(event.largest_gain_change(), None);
    }
}
