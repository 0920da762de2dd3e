//! One resistance out of the second differences of the blocks: Tukey's biweight and its own
//! standard error.
//!
//! Model: `y_k = R x_k + e_k`, with `y_k` the second difference of a voltage about block k,
//! `x_k` that of the probe's current, and `e_k` what the background did. A load that switches
//! leaves two or three differences far off and the rest untouched; a biweight with a reach of
//! 4.7 standard deviations (the scale is the median absolute residual over 0.6745, Tukey's
//! usual choice: 95 % of the efficiency of least squares on white noise, from memory) gives
//! those no weight at all.
//!
//! The standard error is the greater of two:
//! - **white**: the noise of a block as the median residual has it, through the weights that
//!   the blocks have in the result. Neighbouring differences share blocks; this counts it;
//! - **shifted**: what the same residuals leave in the result when the pattern is laid over
//!   them shifted by 3 to 59 blocks, root mean square. A background that is not white (a load
//!   that modulates at 7-15 Hz) shows here at its full effect, since the pattern has the same
//!   spectrum wherever it starts. The sums of this one are in integers.
//!
//! It is raised a little for the number of differences that it was taken from.
//!
//! Single precision: a difference is below 2 V and is rounded by 1e-7 of itself, 0.2 uV,
//! against 0.35 mV of noise; the core that this runs on has no floating-point unit, and single
//! precision halves its time.

use core::cmp::Ordering;

use super::pattern::BLOCKS;
use crate::sorting::nth;

/// Most differences.
pub(super) const MOST: usize = BLOCKS - 2;

/// Reach of the biweight in standard deviations.
const REACH: f32 = 4.7;

/// Standard deviation of a normal distribution over its median absolute value: 1 / 0.6745.
const PER_MEDIAN: f32 = 1.4826;

/// Scale below which residuals are rounding, volts: a code is 60 uV, over sqrt 12 and the root
/// of 116 frames 1.6 uV.
const LEAST_SCALE: f32 = 1.6e-6;

/// Efficiency of the biweight with this reach.
const EFFICIENCY: f32 = 0.95;

/// Most steps; four or five are usual.
const STEPS: usize = 12;

/// Change of the result that ends the search, ohms, and as a share of it.
const STILL: (f32, f32) = (1e-4, 1e-6);

/// Shifts of the pattern for the standard error. Below three, shifted second differences have
/// blocks in common.
const SHIFTS: core::ops::Range<usize> = 3..60;

/// Fewest differences of which anything is stated: ten for each unknown (result and scale).
/// Common practice in regression, no source.
const FEWEST: usize = 20;

/// Second differences of the blocks, in order. A place whose blocks are not all there holds a
/// current of zero and takes no part.
pub(super) struct Differences {
    /// Of the voltage, along the probe's current, volts.
    pub(super) volts: [f32; MOST],
    /// Of the probe's current, amperes.
    pub(super) amperes: [f32; MOST],
    /// The same as halves of the whole current: -2 ..= 2.
    pub(super) halves: [i8; MOST],
    /// Places in use.
    pub(super) count: usize,
}

/// What the differences say.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Fit {
    /// The resistance, ohms.
    pub(super) ohms: f32,
    /// Its standard error, ohms.
    pub(super) error: f32,
    /// Share of the differences that were given no weight.
    pub(super) rejected: f32,
}

impl Differences {
    pub(super) const EMPTY: Self = Self {
        volts: [0.0; MOST],
        amperes: [0.0; MOST],
        halves: [0; MOST],
        count: 0,
    };

    fn places(&self) -> impl Iterator<Item = (f32, f32)> {
        self.volts
            .iter()
            .zip(&self.amperes)
            .take(self.count)
            .map(|(volts, amperes)| (*volts, *amperes))
    }

    fn present(&self) -> impl Iterator<Item = (f32, f32)> {
        self.places().filter(|(_, x)| *x != 0.0)
    }

    /// The fit; `None` where there is too little to fit.
    pub(super) fn fit(&self) -> Option<Fit> {
        let count = self.present().count();
        if count < FEWEST {
            return None;
        }
        let largest = self
            .present()
            .fold(0.0, |most: f32, (_, x)| most.max(x.abs()));
        let mut ohms = {
            let mut room = [0.0; MOST];
            median(
                &mut room,
                self.present().map(|(y, x)| y / x),
                f32::total_cmp,
            )?
        };
        let mut room = [0_i32; MOST];
        let mut currents = [0_i32; MOST];
        let mut residuals = [0_i32; MOST];
        let scale = CURRENT / largest;
        for ((current, residual), (y, x)) in
            currents.iter_mut().zip(&mut residuals).zip(self.present())
        {
            *current = (x * scale) as i32;
            *residual = ((y - ohms * x) * PER_VOLT) as i32;
        }
        let currents = currents.get(..count)?;
        let residuals = residuals.get_mut(..count)?;
        let mut reach = 0.0;
        for _ in 0..STEPS {
            let sizes = residuals.iter().map(|residual| residual.saturating_abs());
            let middle = median(&mut room, sizes, Ord::cmp)? as f32 / PER_VOLT;
            reach = (middle * PER_MEDIAN).max(LEAST_SCALE) * REACH;
            let volts = step(residuals, currents, reach);
            let change = volts / largest;
            ohms += change;
            if change.abs() <= STILL.0 + STILL.1 * ohms.abs() {
                break;
            }
            follow(residuals, currents, volts);
        }
        let beyond = |(y, x): &(f32, f32)| (y - ohms * x).abs() >= reach;
        let rejected = self.present().filter(beyond).count();
        let error = self.error(ohms, reach) * student(count);
        // Written so that a NaN gives nothing.
        (ohms.is_finite() && error.is_finite()).then_some(Fit {
            ohms,
            error,
            rejected: rejected as f32 / count as f32,
        })
    }

    fn error(&self, ohms: f32, reach: f32) -> f32 {
        self.white_error(reach / REACH)
            .max(self.shifted_error(ohms, reach))
    }

    /// Standard error for noise that is white from block to block. A second difference of it
    /// has `sqrt(1 + 1/4 + 1/4)` times the noise of a block.
    fn white_error(&self, scale: f32) -> f32 {
        let at = |place: Option<usize>| {
            place
                .filter(|place| *place < self.count)
                .and_then(|place| self.amperes.get(place))
                .copied()
                .unwrap_or(0.0)
        };
        // Weight of a block: its own difference, and half of the ones about its neighbours.
        // Block k is the middle of difference k - 1.
        let (mut weights, mut currents) = (0.0, 0.0);
        for block in 0..self.count + 2 {
            let own = at(block.checked_sub(1));
            let weight = own - 0.5 * (at(block.checked_sub(2)) + at(Some(block)));
            weights += weight * weight;
            currents += own * own;
        }
        let noise = scale / libm::sqrtf(1.5 * EFFICIENCY);
        noise * libm::sqrtf(weights) / currents
    }

    /// Standard error from the residuals under shifted patterns.
    ///
    /// Overflow: a weighted residual `w u` is at most 0.286 in size, in Q14 4690; times 2
    /// halves times 478 places below 2^23.
    fn shifted_error(&self, ohms: f32, reach: f32) -> f32 {
        const ONE: f32 = 16_384.0;
        const WHOLE: i32 = 1 << 15;
        const Q30: f32 = 1_073_741_824.0;
        let mut residuals = [0_i32; MOST];
        // The biweight in Q15, as in `step`. Its sum's slope in the result, and the whole current.
        let inverse = WHOLE as f32 / reach;
        let (mut slope, mut current, mut halves) = (0.0, 0.0, 0);
        for ((place, (y, x)), half) in residuals.iter_mut().zip(self.places()).zip(self.halves) {
            if x == 0.0 {
                continue;
            }
            let u = ((y - ohms * x) * inverse) as i32;
            if u.saturating_abs() < WHOLE {
                let square = (u * u) >> 15;
                let inside = WHOLE - square;
                *place = (((inside * inside) >> 15) * u) >> 16;
                // Between -0.8 and 1, in Q30.
                slope += (inside * (WHOLE - 5 * square)) as f32 * (x * x);
            }
            current += x.abs();
            halves += i32::from(half).abs();
        }
        let residuals = residuals.get(..self.count).unwrap_or(&[]);
        let pattern = self.halves.get(..self.count).unwrap_or(&[]);
        let furthest = SHIFTS.end.min(self.count / 2);
        let (mut squares, mut shifts) = (0.0, 0.0);
        for shift in SHIFTS.start..furthest {
            let late = product(residuals.get(shift..), pattern);
            let early = product(Some(residuals), pattern.get(shift..).unwrap_or(&[]));
            // Fewer places overlap than the result rests on.
            let share = self.count as f32 / (self.count - shift) as f32;
            squares += (late * late + early * early) * share;
            shifts += 2.0;
        }
        let half = current / halves as f32;
        libm::sqrtf(squares / shifts) * (reach / ONE) * half / (slope / Q30).max(0.0)
    }
}

/// Residuals are held in integers of 2^-27 V, 7 nV: the largest, below 16 V, fits, and the least
/// scale is 215 of them. What lies beyond is held at the end of the range, far out of reach.
const PER_VOLT: f32 = 134_217_728.0;

/// Currents are held in Q14 of the largest.
const CURRENT: f32 = 16_384.0;

/// How far the next result lies from the last, as volts over the largest current: weighted
/// residuals over weighted currents, `sum w x r / sum w x^2`.
///
/// In integers, which take a third of the time: what is rounded is the step, not the result, and
/// the steps end at none. A residual is a share `u` of the reach in Q15. Overflow: `u^2` and the
/// square of what it leaves are at most 2^30; `w u` is below 2^15 and a current at most 2^14 in
/// size, their product below 2^29; sums have 64 bits.
fn step(residuals: &[i32], currents: &[i32], reach: f32) -> f32 {
    const ONE: i32 = 1 << 15;
    // The reach is at least 1009, so this is below 2^38; times a residual within reach, 2^47.
    let whole = (reach * PER_VOLT) as i32;
    let share = (140_737_488_355_328.0 / (reach * PER_VOLT)) as i64;
    let (mut above, mut below) = (0_i64, 0_i64);
    for (residual, x) in residuals.iter().zip(currents) {
        if residual.saturating_abs() >= whole {
            continue;
        }
        let u = ((i64::from(*residual) * share) >> 32) as i32;
        let inside = ONE - ((u * u) >> 15);
        let weight = (inside * inside) >> 15;
        above += i64::from(((weight * u + ONE / 2) >> 15) * x);
        below += i64::from(((weight * x + (1 << 13)) >> 14) * x);
    }
    // Q29 over Q29, times the reach.
    above as f32 / below as f32 * reach
}

/// Residuals after a step of `volts` at the largest current.
fn follow(residuals: &mut [i32], currents: &[i32], volts: f32) {
    // At most 2^31 and 2^14 in size.
    let whole = i64::from((volts * PER_VOLT) as i32);
    for (residual, x) in residuals.iter_mut().zip(currents) {
        let next = i64::from(*residual) - ((whole * i64::from(*x)) >> 14);
        *residual = next.clamp(i64::from(i32::MIN), i64::from(i32::MAX)) as i32;
    }
}

/// What a standard error from `count` differences is raised by, so that three of it hold as
/// often as three of a known one. Student's quantile is `z (1 + (z^2 + 1) / (4 nu))` to first
/// order (Cornish and Fisher, from memory); at `z = 3`, with a quarter as many degrees of
/// freedom as there are overlapping differences (judgement, held against 10 000 runs),
/// `1 + 10 / count`: 1.08 after 4 s.
fn student(count: usize) -> f32 {
    1.0 + 10.0 / count as f32
}

/// Sum of products over the places that both have.
fn product(residuals: Option<&[i32]>, pattern: &[i8]) -> f32 {
    let sum: i32 = residuals
        .unwrap_or(&[])
        .iter()
        .zip(pattern)
        .map(|(residual, half)| residual * i32::from(*half))
        .sum();
    sum as f32
}

/// Median of `values` in this order, sorted out in `room`. The upper one of an even count.
fn median<T: Copy>(
    room: &mut [T; MOST],
    values: impl Iterator<Item = T>,
    order: impl FnMut(&T, &T) -> Ordering,
) -> Option<T> {
    let mut count = 0;
    for (place, value) in room.iter_mut().zip(values) {
        *place = value;
        count += 1;
    }
    let used = room.get_mut(..count)?;
    nth(used, count / 2, order)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::earth_path::pattern::{BLOCK_FRAMES, is_closed};

    /// Differences of `blocks` whose voltage is `base(k)` and the probe's drop at 1.4 mA.
    fn differences(blocks: usize, ohms: f32, base: impl Fn(usize) -> f32) -> Differences {
        const AMPERES: f32 = 1.4e-3;
        let closed = |k: usize| is_closed(k as u32 * BLOCK_FRAMES);
        let current = |k: usize| if closed(k) { AMPERES } else { 0.0 };
        let volts = |k: usize| base(k) + ohms * current(k);
        let second = |f: &dyn Fn(usize) -> f32, k: usize| f(k + 1) - 0.5 * (f(k) + f(k + 2));
        let mut all = Differences::EMPTY;
        all.count = blocks - 2;
        for k in 0..all.count {
            all.volts[k] = second(&volts, k);
            all.amperes[k] = second(&current, k);
            all.halves[k] = (all.amperes[k] * 2.0 / AMPERES).round() as i8;
        }
        all
    }

    /// Worked case of the measurement practice: 24 blocks, 0.3 V more from block 9 on.
    #[test]
    fn a_step_is_two_differences_of_twenty_two_and_leaves_the_rest_alone() {
        let base = |k: usize| if k < 9 { 0.6 } else { 0.9 };
        let fit = differences(24, 0.5, base).fit().unwrap();
        assert!((fit.ohms - 0.5).abs() < 1e-4, "{fit:?}");
        assert!((fit.rejected - 2.0 / 22.0).abs() < 1e-6, "{fit:?}");
        assert!(fit.error < 0.01, "{fit:?}");
    }

    #[test]
    fn every_difference_holds_the_current_once_or_half() {
        let all = differences(BLOCKS, 1.0, |_| 0.0);
        assert!(all.halves.iter().all(|half| (1..=2).contains(&half.abs())));
    }

    /// A seeded normal deviate: sum of twelve uniform ones, less six.
    fn normal(state: &mut u64) -> f32 {
        let mut sum = -6.0;
        for _ in 0..12 {
            *state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1);
            sum += (*state >> 40) as f32 / (1 << 24) as f32;
        }
        sum
    }

    #[test]
    fn stated_error_is_that_of_white_noise() {
        let mut state = 5;
        let (mut squares, mut stated) = (0.0, 0.0);
        const RUNS: usize = 400;
        for _ in 0..RUNS {
            let noise: Vec<f32> = (0..120).map(|_| normal(&mut state) * 3e-4).collect();
            let fit = differences(120, 2.0, |k| 0.6 + noise[k]).fit().unwrap();
            squares += (fit.ohms - 2.0).powi(2);
            stated += fit.error * fit.error;
        }
        let ratio = (stated / squares).sqrt();
        // The greater of two errors, raised by 8 %, is a little high; 400 runs: +-3.5 %.
        assert!((0.98..1.35).contains(&ratio), "{ratio}");
    }

    #[test]
    fn a_background_in_step_with_shifted_patterns_raises_the_error() {
        // 11 Hz, 30 mV: 22 ohm of the probe's drop.
        let hum = |k: usize| 0.03 * (k as f32 * 11.0 * 0.033_25 * core::f32::consts::TAU).sin();
        let fit = differences(120, 0.3, hum).fit().unwrap();
        assert!(fit.error > 1.0, "{fit:?}");
    }

    #[test]
    fn too_few_differences_give_nothing() {
        assert_eq!(differences(21, 1.0, |_| 0.0).fit(), None);
        assert!(differences(22, 1.0, |_| 0.0).fit().is_some());
        let mut gone = differences(120, 1.0, |_| 0.0);
        gone.amperes.fill(0.0);
        assert_eq!(gone.fit(), None);
    }

    #[test]
    fn voltages_that_are_no_numbers_give_nothing() {
        assert_eq!(differences(120, 1.0, |_| f32::NAN).fit(), None);
        assert_eq!(differences(120, f32::INFINITY, |_| 0.0).fit(), None);
    }
}
