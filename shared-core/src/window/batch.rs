//! Ten frames of one lead at a time: the innermost loops of the sampling path.
//!
//! Every product is a 32-bit multiplication, the only one a Cortex-M0+ has; the bounds are in
//! `summing`. The passes are small and each have little in hand: the instructions of a Cortex-M0+
//! reach eight registers, and what has no place there costs four cycles each time. For the same
//! reason a loop fetches what it needs when it needs it ([`in_turn`]).

use core::sync::atomic::{Ordering, compiler_fence};

use super::tables::{ONE, fine_cos_sin};
use super::{HOP, WINDOW};
use crate::slots::LEADS;

/// Frames that are summed at a time. Divides a window and a frequency segment.
pub(crate) const BATCH: usize = 10;

const _: () = assert!(WINDOW.is_multiple_of(BATCH) && HOP.is_multiple_of(BATCH));

/// Frames are turned two by two.
pub(super) const PAIRS: usize = BATCH / 2;

/// Bits that a code loses: 24 to 16, a step of 15 mV at the slot. The error is the difference of
/// two errors of a step / sqrt 12: 6.2 mV a lead, and the true RMS of a pair has a floor of
/// 6.2 mV sqrt 2 = 9 mV.
pub(crate) const SHORT: u32 = 8;

/// Bits dropped from a batch's entry of the Gram matrix.
pub(crate) const GRAM_SHIFT: u32 = 3;

/// The codes of a batch, lead by lead.
pub type Codes = [[i32; BATCH]; LEADS];

/// Cosine and sine in the middle of every two frames, Q12.
pub(super) type Carrier = [(i32, i32); PAIRS];

/// What is written behind it is fetched behind it. Left alone, the compiler unrolls a loop and
/// fetches everything first, which fills a large processor's pipeline and a small one's stack.
#[inline(always)]
fn in_turn() {
    compiler_fence(Ordering::SeqCst);
}

/// The oscillator from `phase` on, which is that in the middle of the first two frames. Gives the
/// phase after the last.
#[inline(never)]
pub(super) fn fill(carrier: &mut Carrier, mut phase: u32, step: u32) -> u32 {
    let step = step.wrapping_mul(2);
    for place in carrier {
        in_turn();
        *place = fine_cos_sin(phase);
        phase = phase.wrapping_add(step);
    }
    phase
}

/// The oscillator under rising weights, rounded.
#[inline(never)]
pub(super) fn rise(rising: &mut Carrier, carrier: &Carrier, weights: &[u16; PAIRS]) {
    for ((place, (cos, sin)), weight) in rising.iter_mut().zip(carrier).zip(weights) {
        in_turn();
        let weight = i32::from(*weight);
        let under = |wave: i32| (wave * weight + ONE / 2) >> 15;
        *place = (under(*cos), under(*sin));
    }
}

/// In-phase and quadrature sum of the difference of two leads, halved.
#[inline(never)]
pub(super) fn difference_sums(a: &Short, b: &Short, carrier: &Carrier) -> (i32, i32) {
    let (mut i, mut q) = (0, 0);
    for ((a, b), (cos, sin)) in a.pairs.iter().zip(&b.pairs).zip(carrier) {
        in_turn();
        let x = (a - b) >> 1;
        i += x * cos;
        q -= x * sin;
    }
    (i, q)
}

/// A batch of a lead in 16 bits: its frames, and every two of them added.
#[derive(Clone, Debug)]
pub(super) struct Short {
    pub(super) frames: [i32; BATCH],
    pub(super) pairs: [i32; PAIRS],
}

impl Short {
    pub(super) const ZERO: Self = Self {
        frames: [0; BATCH],
        pairs: [0; PAIRS],
    };

    /// Keeps every frame within 2^15 - 1. Gives the sum.
    pub(super) fn limit(&mut self) -> i32 {
        let (frames, _) = self.frames.as_chunks_mut::<2>();
        for (frames, pair) in frames.iter_mut().zip(&mut self.pairs) {
            for x in frames.iter_mut() {
                *x = (*x).clamp(-0x7FFF, 0x7FFF);
            }
            *pair = frames.iter().sum();
        }
        self.pairs.iter().sum()
    }
}

/// Codes in 16 bits; what each loses is added to the next. Gives the sum.
#[inline(never)]
pub(super) fn quantise(codes: &[i32; BATCH], short: &mut Short, lost: &mut i32) -> i32 {
    let (mut rest, mut sum) = (*lost, 0);
    let (codes, _) = codes.as_chunks::<2>();
    let (frames, _) = short.frames.as_chunks_mut::<2>();
    for (([a, b], frames), pair) in codes.iter().zip(frames).zip(&mut short.pairs) {
        in_turn();
        rest += a;
        frames[0] = rest >> SHORT;
        rest = (rest & LOST) + b;
        frames[1] = rest >> SHORT;
        rest &= LOST;
        *pair = frames[0] + frames[1];
        sum += *pair;
    }
    *lost = rest;
    sum
}

/// What a code can lose.
const LOST: i32 = (1 << SHORT) - 1;

/// In-phase and quadrature sum of a lead.
#[inline(never)]
pub(super) fn lead_sums(pairs: &[i32; PAIRS], carrier: &Carrier) -> [i32; 2] {
    let (mut i, mut q) = (0, 0);
    for (x, (cos, sin)) in pairs.iter().zip(carrier) {
        i += x * cos;
        q -= x * sin;
    }
    [i, q]
}

/// Sum of the squares of a lead, divided by 2^3 and rounded.
#[inline(never)]
pub(super) fn square(short: &Short) -> i32 {
    let mut sum = 1_u64 << (GRAM_SHIFT - 1);
    let (pairs, _) = short.frames.as_chunks::<2>();
    for [a, b] in pairs {
        in_turn();
        // At most 2^30 each.
        sum += u64::from((a * a) as u32 + (b * b) as u32);
    }
    // 2^30.4 at most.
    (sum >> GRAM_SHIFT) as i32
}

/// Sum of the products of two leads, divided by 2^3 and rounded.
#[inline(never)]
pub(super) fn dot(a: &Short, b: &Short) -> i32 {
    let mut sum = 1_i64 << (GRAM_SHIFT - 1);
    let (a, _) = a.frames.as_chunks::<2>();
    let (b, _) = b.frames.as_chunks::<2>();
    for ([a0, a1], [b0, b1]) in a.iter().zip(b) {
        sum += i64::from(a0 * b0 + a1 * b1);
    }
    (sum >> GRAM_SHIFT) as i32
}

/// Adds what a batch gave to the sums of a window, under its weight.
#[inline(never)]
pub(super) fn add_weighted<const N: usize>(sums: &mut [i64; N], batch: &[i32; N], weight: i32) {
    for (sum, part) in sums.iter_mut().zip(batch) {
        in_turn();
        *sum += i64::from(weighted(*part, weight));
    }
}

/// `sum weight / 2^15`, cut, for |sum| < 2^31 and 0 <= weight <= 2^15, by 32-bit multiplications:
/// `sum = h 2^15 + l` with `0 <= l < 2^15`; |h w| <= 2^31, reached by no sum of `summing`, and
/// l w < 2^30.
#[inline]
const fn weighted(sum: i32, weight: i32) -> i32 {
    (sum >> 15) * weight + (((sum & 0x7FFF) * weight) >> 15)
}

/// In-phase and quadrature sum of codes over a batch, in units of 2^12 of the factors.
#[inline]
pub(crate) fn turned_sums(x: &[i32; BATCH], cos: &[i32; BATCH], sin: &[i32; BATCH]) -> (i32, i32) {
    let (mut i, mut q) = (0, 0);
    for ((&x, &cos), &sin) in x.iter().zip(cos).zip(sin) {
        i += scaled_product(x, cos);
        q -= scaled_product(x, sin);
    }
    (i, q)
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
    fn split_products_are_the_products_cut_where_they_say() {
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
        // 2^30.4, the largest sum of a batch.
        for sum in [-1_417_000_000, -32_769, -1, 0, 1, 32_767, 1_417_000_000] {
            for weight in [0, 1, 12_345, 32_767, 32_768] {
                let exact = (i64::from(sum) * i64::from(weight)) >> 15;
                assert_eq!(i64::from(weighted(sum, weight)), exact, "{sum} {weight}");
            }
        }
    }

    #[test]
    fn what_a_code_loses_the_next_one_gains() {
        let codes = [100, 100, 100, -56, -300, 255, 1, 0, 8_388_607, -8_388_608];
        let (mut short, mut lost) = (Short::ZERO, 0);
        let sum = quantise(&codes, &mut short, &mut lost);
        assert_eq!(short.frames[..3], [0, 0, 1]);
        assert_eq!(short.pairs[..2], [0, 0]);
        assert_eq!(short.frames.iter().sum::<i32>(), sum);
        assert_eq!(sum * 256 + lost, codes.iter().sum::<i32>());
        assert_eq!(short.frames[8..], [0x8000, -0x8000]);
        assert_eq!(short.limit(), sum);
        assert_eq!(short.frames[8..], [0x7FFF, -0x7FFF]);
    }
}
