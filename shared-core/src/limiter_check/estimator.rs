//! The frames of one pass to what they say of the limiter.
//!
//! Each window gives the share `q` of the plain level that the path takes, as for the drive's
//! own readings ([`crate::drive`]). The three have one angle, whatever the path's reactance and the
//! front end's lag make it, so what stands at right angles to their sum is noise, and shows how
//! much of it there is in the part along. Where a window has more of it than
//! [`LimiterLimits::noisy`] the pass tells nothing.
//!
//! Integers on the sampling path, bounds in the drive's `lock_in`. A pass with a lost frame, or one beyond full
//! scale, says nothing.

use num_complex::Complex;

use super::pattern::{FRAMES, Level, WINDOW, level_of_window};
use crate::calibration::Calibration;
use crate::drive::lock_in::{LockIn, WindowSums};
use crate::drive::{SETTLE, leads, share_of_window};
use crate::limits::LimiterLimits;
use crate::sample::Frame;
use crate::stimulus::DrivePath;

/// What a pass says.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Said {
    /// The limiter acts, both ways.
    Holds,
    /// It does not, or the level does not rise.
    Fails {
        /// Whether that is while the tone is high.
        high: bool,
        /// Size of the tone with that half raised over the plain one, thousandths.
        permille: i32,
    },
    /// The background hides it.
    Untold,
}

/// One pass on one leg.
#[derive(Clone, Debug)]
pub struct Estimator {
    path: DrivePath,
    pass: u8,
    lock_in: LockIn,
    /// By window.
    kept: [Option<WindowSums>; 3],
    /// The frame that comes next.
    expected: u32,
    spoiled: bool,
}

impl Estimator {
    /// An estimator at the start of pass `pass` on `path`.
    #[must_use]
    pub const fn new(path: DrivePath, pass: u8) -> Self {
        Self {
            path,
            pass,
            lock_in: LockIn::new(),
            kept: [None; 3],
            expected: 0,
            spoiled: false,
        }
    }

    /// The leg that is tested.
    #[must_use]
    pub const fn path(&self) -> DrivePath {
        self.path
    }

    /// Number of the pass.
    #[must_use]
    pub const fn pass(&self) -> u8 {
        self.pass
    }

    /// Takes frame `number` of the pass, while which the tone stood `high` or not. True when it
    /// was the last. Frames beyond a pass are left over from the one before, as long as none of
    /// this one came.
    // Never inlined: what runs for a second in a test must not weigh on every frame.
    #[inline(never)]
    pub fn push(&mut self, frame: &Frame, number: u32, high: bool) -> bool {
        if number >= FRAMES {
            return self.expected != 0;
        }
        let (first, second) = leads(self.path);
        let codes = [frame.code(first), frame.code(second)];
        self.spoiled |= number != self.expected || codes.iter().any(|code| code.is_clipped());
        self.expected = number.wrapping_add(1);
        let Some(into) = number.checked_sub(SETTLE) else {
            return false;
        };
        let codes = codes.map(crate::sample::AdcCode::get);
        if let Some(sums) = self.lock_in.push(codes, number, high) {
            // Windows end every 400 frames; those about a change hold two levels.
            let (window, rest) = (into / WINDOW, into % WINDOW);
            if rest + 1 == WINDOW
                && let Some(place) = self.kept.get_mut(window as usize)
            {
                *place = Some(sums);
            }
        }
        number + 1 == FRAMES
    }

    /// What the pass says. Floating point: to be called when [`Estimator::push`] says so.
    #[must_use]
    pub fn judge(&self, calibration: &Calibration, limits: &LimiterLimits) -> Said {
        self.told(calibration, limits).unwrap_or(Said::Untold)
    }

    /// The share that each level gave, in the order of [`Level::ALL`].
    fn shares(&self, calibration: &Calibration) -> Option<[Complex<f64>; 3]> {
        let mut shares = [Complex::new(0.0, 0.0); 3];
        for (window, sums) in self.kept.iter().enumerate() {
            let level = level_of_window(window as u32, self.pass);
            *shares.get_mut(level as usize)? =
                share_of_window(self.path, sums.as_ref()?, calibration)?;
        }
        Some(shares)
    }

    fn told(&self, calibration: &Calibration, limits: &LimiterLimits) -> Option<Said> {
        if self.spoiled {
            return None;
        }
        let shares = self.shares(calibration)?;
        let sum: Complex<f64> = shares.iter().sum();
        let axis = sum / libm::hypot(sum.re, sum.im);
        let shares = shares.map(|share| share * axis.conj());
        let plain = shares[Level::Plain as usize].re;
        let across = shares.iter().fold(0.0_f64, |most, q| most.max(q.im.abs()));
        // Written so that a NaN tells nothing.
        let is_told = plain > 0.0 && across < plain * f64::from(limits.noisy.get());
        if !is_told {
            return None;
        }
        let (least, most) = (
            f64::from(limits.held_least.get()),
            f64::from(limits.held_most.get()),
        );
        // The half that is further out of bounds: noise in the plain window moves both.
        let mut worst = (0.0, false, 0.0);
        for (level, high) in [(Level::HighRaised, true), (Level::LowRaised, false)] {
            let rise = shares[level as usize].re / plain;
            let beyond = (rise - most).max(least - rise);
            if beyond > worst.0 {
                worst = (beyond, high, rise);
            }
        }
        let (beyond, high, rise) = worst;
        if beyond > 0.0 {
            return Some(Said::Fails {
                high,
                permille: libm::round(rise * 1000.0) as i32,
            });
        }
        Some(Said::Holds)
    }
}
