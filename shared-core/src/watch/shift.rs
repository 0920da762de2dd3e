//! Statistics a and b: medians over the steps, and their uncertainty.
//!
//! What is stated is the median of the steps that happened, so its uncertainty is that of the
//! measurement alone: the noise of quiet seconds, times sqrt(pi / 2) for a median, over the root
//! of the number of steps. That one motor moves the frame more than another is no uncertainty.

use super::larger;
use crate::evidence::{Missing, Reading};
use crate::load_step::Change;
use crate::sorting::sort;
use crate::units::Volts;

/// Steps that are kept for the medians. When they are full every second one is let go, and from
/// then on every second step is kept: the medians stay those of the whole watch.
pub const KEPT_STEPS: usize = 128;

/// Fewest quiet changes of which a noise is stated. They come from windows 0.6 s apart.
const LEAST_QUIET: u32 = 4;

/// sqrt(pi / 2): deviation of a median against that of a mean, many normal values.
const OF_A_MEDIAN: f64 = 1.2533;

/// Least standard uncertainty: the strings differ by 0.1 % of a drop of 1 V after calibration
/// (judgement), and noise of a window is 0.1 mV.
const FLOOR: Volts = Volts::new(1e-3);

/// Steps and quiet changes of a watch.
#[derive(Clone, Debug)]
pub(super) struct Shifts {
    kept: heapless::Vec<Shift, KEPT_STEPS>,
    /// One step in so many is kept, and steps let go since the last one kept.
    stride: u16,
    passed: u16,
    quiet: u32,
    /// Squares of quiet changes, both parts.
    drop_squares: f64,
    frame_squares: f64,
}

/// Changes of one step, as if its load had come on: clip against wide, clip against ground.
#[derive(Clone, Copy, Debug)]
struct Shift {
    drop: [f32; 2],
    frame: [f32; 2],
}

impl Shift {
    fn of(change: &Change) -> Self {
        let (cw, cg) = (change.cw, change.cw - change.gw);
        Self {
            drop: [cw.re, cw.im],
            frame: [cg.re, cg.im],
        }
    }
}

impl Shifts {
    pub(super) const fn new() -> Self {
        Self {
            kept: heapless::Vec::new(),
            stride: 1,
            passed: 0,
            quiet: 0,
            drop_squares: 0.0,
            frame_squares: 0.0,
        }
    }

    pub(super) fn add(&mut self, change: &Change) {
        self.passed += 1;
        if self.passed < self.stride {
            return;
        }
        self.passed = 0;
        let shift = Shift::of(&change.as_load_on());
        if self.kept.push(shift).is_err() {
            let mut odd = false;
            self.kept.retain(|_| {
                odd = !odd;
                odd
            });
            self.stride = self.stride.saturating_mul(2);
            let _ = self.kept.push(shift);
        }
    }

    pub(super) fn quiet(&mut self, change: &Change) {
        let Shift { drop, frame } = Shift::of(change);
        let square = |parts: [f32; 2]| {
            parts
                .iter()
                .map(|&v| f64::from(v) * f64::from(v))
                .sum::<f64>()
        };
        self.quiet = self.quiet.saturating_add(1);
        self.drop_squares += square(drop);
        self.frame_squares += square(frame);
    }

    /// a and b.
    pub(super) fn medians(&self) -> Result<(Reading<Volts>, Reading<Volts>), Missing> {
        if self.kept.is_empty() {
            return Err(Missing::NotAsked);
        }
        if self.quiet < LEAST_QUIET {
            return Err(Missing::Unsteady);
        }
        let reading = |of: fn(&Shift) -> [f32; 2], squares: f64| {
            let [re, im] = [0, 1].map(|part| self.median(|shift| of(shift)[part]));
            let noise = libm::sqrt(squares / f64::from(self.quiet));
            let u = noise * OF_A_MEDIAN / libm::sqrt(self.kept.len() as f64);
            Reading {
                value: Volts::new(libm::hypotf(re, im)),
                u: larger(Volts::from_f64(u), FLOOR),
            }
        };
        Ok((
            reading(|shift| shift.drop, self.drop_squares),
            reading(|shift| shift.frame, self.frame_squares),
        ))
    }

    /// Median over the steps kept; of an even number, the mean of the middle two.
    fn median(&self, of: impl Fn(&Shift) -> f32) -> f32 {
        let mut values = [0.0; KEPT_STEPS];
        for (place, shift) in values.iter_mut().zip(&self.kept) {
            *place = of(shift);
        }
        let values = values.get_mut(..self.kept.len()).unwrap_or_default();
        sort(values, f32::total_cmp);
        let upper = values.len() / 2;
        let lower = values.len().saturating_sub(1) / 2;
        let at = |place: usize| values.get(place).copied().unwrap_or_default();
        (at(lower) + at(upper)) / 2.0
    }
}
