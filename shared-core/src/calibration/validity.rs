//! How long a calibration holds.
//!
//! A tester whose calibration is missing or too old gives no verdict. Its age needs a clock:
//! without one nothing is said to be old, and the records say that they have no time.

use serde::{Deserialize, Serialize};

use super::Calibration;
use crate::limits::CalibrationLimits;
use crate::units::{Celsius, Ratio, UnixSeconds};

/// When a calibration was done, under what, and how sure its gains are.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Stamp {
    /// When it was done.
    pub done: UnixSeconds,
    /// The last second at which it holds.
    pub until: UnixSeconds,
    /// Board temperature then.
    pub temperature: Celsius,
    /// Standard uncertainty of the gains.
    pub u_gain: Ratio,
}

/// Whether a tester may answer.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub enum Validity {
    /// There is no calibration that can be read.
    Missing,
    /// It holds.
    Holds(Stamp),
    /// It is too old.
    Expired(Stamp),
    /// The tester has no clock, so its age is not known.
    NoClock(Stamp),
    /// The clock stands before the day of the calibration: one of the two is wrong.
    ClockBefore(Stamp),
}

impl Validity {
    /// Whether a verdict may rest on it.
    #[must_use]
    pub const fn may_answer(&self) -> bool {
        match self {
            Self::Holds(_) | Self::NoClock(_) | Self::ClockBefore(_) => true,
            Self::Missing | Self::Expired(_) => false,
        }
    }

    /// The stamp, where there is a calibration.
    #[must_use]
    pub const fn stamp(&self) -> Option<&Stamp> {
        match self {
            Self::Missing => None,
            Self::Holds(stamp)
            | Self::Expired(stamp)
            | Self::NoClock(stamp)
            | Self::ClockBefore(stamp) => Some(stamp),
        }
    }
}

impl Calibration {
    /// Its stamp.
    #[must_use]
    pub const fn stamp(&self) -> Stamp {
        let valid = CalibrationLimits::DEFAULT.valid_seconds;
        Stamp {
            done: self.done,
            until: UnixSeconds::new(self.done.get().saturating_add(valid)),
            temperature: self.temperature,
            u_gain: self.u_gain,
        }
    }

    /// Whether it holds at `now`.
    #[must_use]
    pub const fn validity(&self, now: Option<UnixSeconds>) -> Validity {
        let stamp = self.stamp();
        match now {
            None => Validity::NoClock(stamp),
            Some(now) if now.get() < stamp.done.get() => Validity::ClockBefore(stamp),
            Some(now) if now.get() > stamp.until.get() => Validity::Expired(stamp),
            Some(_) => Validity::Holds(stamp),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::calibration::raw::NOMINAL;

    #[test]
    fn it_expires_one_second_after_its_last() {
        let done = 1_772_460_000;
        let calibration = Calibration {
            done: UnixSeconds::new(done),
            ..NOMINAL
        };
        let last = done + 365 * 86_400;
        let at = |now| calibration.validity(Some(UnixSeconds::new(now)));
        for now in [done, done + 1, last] {
            assert!(matches!(at(now), Validity::Holds(_)), "{now}");
            assert!(at(now).may_answer());
        }
        for now in [last + 1, u64::MAX] {
            assert!(matches!(at(now), Validity::Expired(_)), "{now}");
            assert!(!at(now).may_answer());
        }
        // A wrong clock is said, and expires nothing.
        assert!(matches!(at(done - 1), Validity::ClockBefore(_)));
        assert!(matches!(calibration.validity(None), Validity::NoClock(_)));
        assert!(!Validity::Missing.may_answer());
    }
}
