//! What the passes on one leg have told so far, and what is to follow.

use crate::limits::LimiterLimits;
use crate::self_test::SelfTestFailure;
use crate::stimulus::DrivePath;

use super::Said;

/// What is to follow on a pass.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Then {
    /// Another pass.
    Again,
    /// The limiter holds.
    Holds,
    /// The background did not let it be told.
    Untold,
    /// It does not hold.
    Failed(SelfTestFailure),
}

/// The passes on one leg, counted.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Tally {
    passes: u8,
    /// Passes that saw it hold.
    holds: u8,
    fails: u8,
}

impl Tally {
    /// No pass yet.
    pub const NEW: Self = Self {
        passes: 0,
        holds: 0,
        fails: 0,
    };

    /// Passes so far: the number of the next one.
    #[must_use]
    pub const fn passes(&self) -> u8 {
        self.passes
    }

    /// Takes a pass on `path`.
    pub fn take(&mut self, path: DrivePath, said: Said, limits: &LimiterLimits) -> Then {
        self.passes = self.passes.saturating_add(1);
        match said {
            Said::Holds => self.holds = self.holds.saturating_add(1),
            Said::Fails { high, permille } => {
                self.fails = self.fails.saturating_add(1);
                if self.fails >= self.holds.saturating_add(limits.agreeing) {
                    let permille_of =
                        |ratio: crate::units::Ratio| libm::roundf(ratio.get() * 1000.0) as i32;
                    return Then::Failed(SelfTestFailure::LimiterFails {
                        path,
                        high,
                        permille,
                        least_permille: permille_of(limits.held_least),
                        most_permille: permille_of(limits.held_most),
                    });
                }
            }
            Said::Untold => {}
        }
        if self.holds >= self.fails.saturating_add(limits.holding) {
            Then::Holds
        } else if self.passes >= limits.passes {
            Then::Untold
        } else {
            Then::Again
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const LIMITS: LimiterLimits = LimiterLimits::DEFAULT;
    const PATH: DrivePath = DrivePath::WideToClip;
    const FAILS: Said = Said::Fails {
        high: false,
        permille: 1350,
    };

    fn after(passes: &[Said]) -> Then {
        let mut tally = Tally::NEW;
        let mut then = Then::Again;
        for said in passes {
            assert_eq!(then, Then::Again, "{passes:?}");
            then = tally.take(PATH, *said, &LIMITS);
        }
        then
    }

    #[test]
    fn two_passes_must_agree_that_it_holds() {
        assert_eq!(after(&[Said::Holds]), Then::Again);
        assert_eq!(
            after(&[Said::Holds, Said::Untold, Said::Holds]),
            Then::Holds
        );
    }

    #[test]
    fn three_passes_more_must_agree_on_a_failure_than_speak_against_it() {
        assert_eq!(after(&[FAILS, FAILS]), Then::Again);
        let Then::Failed(SelfTestFailure::LimiterFails {
            path,
            high,
            permille,
            ..
        }) = after(&[FAILS, Said::Untold, FAILS, FAILS])
        else {
            panic!("not failed");
        };
        assert_eq!((path, high, permille), (PATH, false, 1350));
        assert_eq!(after(&[FAILS, Said::Holds, FAILS, FAILS]), Then::Again);
        assert_eq!(after(&[FAILS, Said::Holds, Said::Holds]), Then::Again);
    }

    #[test]
    fn passes_that_contradict_each_other_tell_nothing() {
        let mut passes = [FAILS; LIMITS.passes as usize];
        for place in [1, 3, 5, 7] {
            passes[place] = Said::Holds;
        }
        assert_eq!(after(&passes), Then::Untold);
        assert_eq!(after(&[Said::Untold; LIMITS.passes as usize]), Then::Untold);
    }
}
