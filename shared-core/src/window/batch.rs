//! Ten frames of one lead at a time: the innermost loops of the sampling path.
//!
//! Every product is formed from 32-bit multiplications, the only ones a Cortex-M0+ has, and
//! sums of ten stay below 2^31 (table in `accumulator`).

use super::tables::{ONE, cos_sin, weights};
use super::{HOP, WINDOW};

/// Frames that are summed at a time. Divides a window and a frequency segment.
pub(crate) const BATCH: usize = 10;

const _: () = assert!(WINDOW.is_multiple_of(BATCH) && HOP.is_multiple_of(BATCH));

/// Bits dropped from a weighted code before it is squared: 24 bits to 16, 15 mV at the slot.
/// The rounding adds noise of 15 mV / sqrt 12 = 4.4 mV a lead to unweighted frames, so the
/// true RMS of a pair has a floor of 4.4 mV sqrt 2 sqrt 2 = 9 mV.
pub(crate) const GRAM_SHIFT: u32 = 8;

/// A factor for every frame of a batch, Q15.
type Factors = [i32; BATCH];

/// What the frames of a batch are multiplied with. It is kept and filled anew for every batch:
/// made and handed back it would be cleared and copied each time.
///
/// Filling and summing are split into passes that each have little in hand: the instructions of
/// a Cortex-M0+ reach eight registers, and what has no place there costs four cycles each time.
#[derive(Clone, Debug)]
pub(super) struct Coefficients {
    /// The oscillator.
    cos: Factors,
    sin: Factors,
    /// The oscillator under the window's weight.
    line_cos: Factors,
    line_sin: Factors,
    /// The weight and its square root, as the tables have them.
    weight: &'static [u16; BATCH],
    root: &'static [u16; BATCH],
    /// The oscillator under the rising half of a frequency block.
    rising_cos: Factors,
    rising_sin: Factors,
}

impl Coefficients {
    pub(super) const NONE: Self = Self {
        cos: [0; BATCH],
        sin: [0; BATCH],
        line_cos: [0; BATCH],
        line_sin: [0; BATCH],
        weight: &[0; BATCH],
        root: &[0; BATCH],
        rising_cos: [0; BATCH],
        rising_sin: [0; BATCH],
    };

    /// For the frames from `taken` of the window and `segment_taken` of the frequency segment on.
    pub(super) fn fill(&mut self, phase: u32, step: u32, taken: usize, segment_taken: usize) {
        turn(&mut self.cos, &mut self.sin, phase, step);
        let (weights, roots, rising) = weights(taken, segment_taken);
        self.weight = weights;
        self.root = roots;
        under(&mut self.line_cos, weights, &self.cos);
        under(&mut self.line_sin, weights, &self.sin);
        under(&mut self.rising_cos, rising, &self.cos);
        under(&mut self.rising_sin, rising, &self.sin);
    }
}

/// The oscillator from `phase` on.
#[inline(never)]
fn turn(cos: &mut Factors, sin: &mut Factors, mut phase: u32, step: u32) {
    for (cos, sin) in cos.iter_mut().zip(sin) {
        (*cos, *sin) = cos_sin(phase);
        phase = phase.wrapping_add(step);
    }
}

/// Rounded Q15 products, at most 32767 in size.
#[inline(never)]
fn under(factors: &mut Factors, weights: &[u16; BATCH], waves: &Factors) {
    for ((factor, weight), wave) in factors.iter_mut().zip(weights).zip(waves) {
        *factor = (i32::from(*weight) * wave + ONE / 2) >> 15;
    }
}

/// In-phase sum, quadrature sum and mean of one lead over a batch. Leaves in `x` the weighted
/// codes of the Gram matrix.
#[inline]
pub(super) fn lead_sums(x: &mut [i32; BATCH], at: &Coefficients) -> (i32, i32, i32) {
    let i = weighted_sum(x, &at.line_cos);
    let q = -weighted_sum(x, &at.line_sin);
    let mean = mean_sum(x, at.weight);
    weigh_for_gram(x, at.root);
    (i, q, mean)
}

/// In-phase and quadrature sums of the difference of two leads over a batch: under the rising
/// weight of a frequency block, and alone.
#[inline]
pub(super) fn block_sums(a: &[i32; BATCH], b: &[i32; BATCH], at: &Coefficients) -> [(i32, i32); 2] {
    let mut difference = [0; BATCH];
    for ((d, a), b) in difference.iter_mut().zip(a).zip(b) {
        *d = a - b;
    }
    let sums = |cos, sin| {
        (
            weighted_sum(&difference, cos),
            -weighted_sum(&difference, sin),
        )
    };
    [sums(&at.rising_cos, &at.rising_sin), sums(&at.cos, &at.sin)]
}

/// Sum of `x c / 2^12`.
#[inline(never)]
fn weighted_sum(x: &[i32; BATCH], factors: &Factors) -> i32 {
    let mut sum = 0;
    for (x, factor) in x.iter().zip(factors) {
        sum += scaled_product(*x, *factor);
    }
    sum
}

/// The same with weights of a table.
#[inline(never)]
fn mean_sum(x: &[i32; BATCH], weights: &[u16; BATCH]) -> i32 {
    let mut sum = 0;
    for (x, weight) in x.iter().zip(weights) {
        sum += scaled_product(*x, i32::from(*weight));
    }
    sum
}

/// Codes to weighted 16-bit codes: `x root / 2^12` with the root in Q15 is eight times the
/// weighted code.
#[inline(never)]
fn weigh_for_gram(x: &mut [i32; BATCH], roots: &[u16; BATCH]) {
    for (x, root) in x.iter_mut().zip(roots) {
        *x = (scaled_product(*x, i32::from(*root)) + (1 << (GRAM_SHIFT + 2))) >> (GRAM_SHIFT + 3);
    }
}

/// In-phase and quadrature sum of a difference over a batch.
#[inline]
pub(crate) fn turned_sums(x: &[i32; BATCH], cos: &[i32; BATCH], sin: &[i32; BATCH]) -> (i32, i32) {
    let (mut i, mut q) = (0, 0);
    for ((&x, &cos), &sin) in x.iter().zip(cos).zip(sin) {
        i += scaled_product(x, cos);
        q -= scaled_product(x, sin);
    }
    (i, q)
}

/// Sum of products of weighted codes, which are at most 2^15 in size.
///
/// Two products at a time are added in 32 bits. A product of 2^30 needs a root of one in its frame,
/// 32768 in Q15; only the frames 399 to 401 of a window have that, and frame `n + 5` of the batch
/// has not where frame `n` has. So a sum of two stays below 2^31.
#[inline(never)]
pub(super) fn dot(a: &[i32; BATCH], b: &[i32; BATCH]) -> i64 {
    let (a0, a1) = a.split_at(BATCH / 2);
    let (b0, b1) = b.split_at(BATCH / 2);
    let places = a0.iter().zip(a1).zip(b0.iter().zip(b1));
    places
        .map(|((a0, a1), (b0, b1))| i64::from(a0 * b0 + a1 * b1))
        .sum()
}

/// `x c / 2^12`, cut, for |x| <= 2^24 and |c| <= 2^15, by 32-bit multiplications:
/// `x = h 2^12 + l` with `0 <= l < 2^12`, so `x c / 2^12 = h c + l c / 2^12`; |h c| <= 2^27 and
/// |l c| < 2^27.
#[inline]
const fn scaled_product(x: i32, c: i32) -> i32 {
    (x >> 12) * c + (((x & 0xFFF) * c) >> 12)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn split_product_is_the_product_cut_at_the_twelfth_bit() {
        for x in [
            -(1 << 24),
            -8_388_608,
            -4097,
            -1,
            0,
            1,
            4095,
            8_388_607,
            (1 << 24) - 1,
        ] {
            for c in [-32_768, -32_767, -1, 0, 1, 12_345, 32_767, 32_768] {
                let exact = (i64::from(x) * i64::from(c)) >> 12;
                assert_eq!(i64::from(scaled_product(x, c)), exact, "{x} {c}");
            }
        }
    }
}
