//! Ten frames of one lead at a time: the innermost loops of the sampling path.
//!
//! Every product is formed from 32-bit multiplications, the only ones a Cortex-M0+ has, and
//! sums of ten stay below 2^31 (table in `accumulator`).

use super::tables::{ONE, block_weight, cos_sin, weight, weight_root};
use super::{HOP, WINDOW};

/// Frames that are summed at a time. Divides a window and a frequency segment.
pub(crate) const BATCH: usize = 10;

const _: () = assert!(WINDOW.is_multiple_of(BATCH) && HOP.is_multiple_of(BATCH));

/// Bits dropped from a weighted code before it is squared: 24 bits to 16, 15 mV at the slot.
/// The rounding adds noise of 15 mV / sqrt 12 = 4.4 mV a lead to unweighted frames, so the
/// true RMS of a pair has a floor of 4.4 mV sqrt 2 sqrt 2 = 9 mV.
pub(crate) const GRAM_SHIFT: u32 = 8;

/// What the frames of a batch are multiplied with, Q15.
pub(super) struct Coefficients {
    /// The oscillator.
    pub(super) cos: [i32; BATCH],
    pub(super) sin: [i32; BATCH],
    /// The window's weight, its square root, and the oscillator under it.
    weight: [i32; BATCH],
    pub(super) root: [i32; BATCH],
    window_cos: [i32; BATCH],
    window_sin: [i32; BATCH],
    /// The oscillator under the rising half of a frequency block.
    pub(super) block_cos: [i32; BATCH],
    pub(super) block_sin: [i32; BATCH],
}

impl Coefficients {
    pub(super) fn new(mut phase: u32, step: u32, taken: usize, segment_taken: usize) -> Self {
        let mut at = Self {
            cos: [0; BATCH],
            sin: [0; BATCH],
            weight: [0; BATCH],
            root: [0; BATCH],
            window_cos: [0; BATCH],
            window_sin: [0; BATCH],
            block_cos: [0; BATCH],
            block_sin: [0; BATCH],
        };
        // Rounded Q15 product, at most 32767 in size.
        let under = |w: i32, c: i32| (w * c + ONE / 2) >> 15;
        for n in 0..BATCH {
            let (cos, sin) = cos_sin(phase);
            phase = phase.wrapping_add(step);
            let w = weight(taken + n);
            let rising = block_weight(segment_taken + n);
            at.cos[n] = cos;
            at.sin[n] = sin;
            at.weight[n] = w;
            at.root[n] = weight_root(taken + n);
            at.window_cos[n] = under(w, cos);
            at.window_sin[n] = under(w, sin);
            at.block_cos[n] = under(rising, cos);
            at.block_sin[n] = under(rising, sin);
        }
        at
    }
}

/// In-phase sum, quadrature sum and mean of one lead over a batch.
#[inline]
pub(super) fn lead_sums(x: &[i32; BATCH], at: &Coefficients) -> (i32, i32, i32) {
    let (mut i, mut q, mut mean) = (0, 0, 0);
    for (n, &x) in x.iter().enumerate() {
        i += scaled_product(x, at.window_cos[n]);
        q -= scaled_product(x, at.window_sin[n]);
        mean += scaled_product(x, at.weight[n]);
    }
    (i, q, mean)
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

/// Codes to weighted 16-bit codes: `x root / 2^12` with the root in Q15 is eight times the
/// weighted code.
#[inline]
pub(super) fn weigh_for_gram(x: &mut [i32; BATCH], root: &[i32; BATCH]) {
    for (x, &root) in x.iter_mut().zip(root) {
        *x = (scaled_product(*x, root) + (1 << (GRAM_SHIFT + 2))) >> (GRAM_SHIFT + 3);
    }
}

/// Sum of products of 16-bit codes.
#[inline]
pub(super) fn dot(a: &[i32; BATCH], b: &[i32; BATCH]) -> i64 {
    a.iter().zip(b).map(|(a, b)| i64::from(a * b)).sum()
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
