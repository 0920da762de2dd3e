//! The sums of a window, frame by frame.
//!
//! Overflow, at full scale |x| = 2^23 in every frame of a window (N = 800 < 2^9.65):
//!
//! | sum | a term | bound | holds in |
//! |---|---|---|---|
//! | in phase, quadrature, mean | x c / 2^12, c in Q15: 2^26 | 2^35.7 | i64 |
//! | blocks, difference of two leads | 2^24 2^15 / 2^12 = 2^27 | 200 terms: 2^34.7 | i64 |
//! | Gram matrix | (x / 2^8)(x / 2^8) = 2^30 | 2^39.7 | i64 |
//!
//! Every product is formed from 32-bit multiplications, the only ones a Cortex-M0+ has: a code
//! is split into a high part and 12 low bits ([`scaled_product`]). Terms are cut, not rounded,
//! by less than 1/8 code.

use num_complex::Complex;

use super::tables::{ONE, block_weight, cos_sin, weight, weight_root};
use super::{BLOCKS, HOP, Tuning, WINDOW};
use crate::record::{SNAPSHOT_POINTS, SNAPSHOT_STEP};
use crate::sample::Frame;
use crate::slots::LEADS;

/// Entries of the upper triangle of the Gram matrix.
pub(crate) const GRAM: usize = LEADS * (LEADS + 1) / 2;

/// Bits dropped from a weighted code before it is squared: 24 bits to 16, 15 mV at the slot.
/// The rounding adds noise of 15 mV / sqrt 12 = 4.4 mV a lead to unweighted frames, so the
/// true RMS of a pair has a floor of 4.4 mV sqrt 2 sqrt 2 = 9 mV.
pub(crate) const GRAM_SHIFT: u32 = 8;

/// In-phase and quadrature sum, in eighths of a code times the sine's full scale.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct Quadrature {
    pub(crate) i: i64,
    pub(crate) q: i64,
}

impl Quadrature {
    pub(crate) const fn complex(self) -> Complex<f64> {
        Complex::new(self.i as f64, self.q as f64)
    }

    #[inline]
    fn add(&mut self, x: i32, cos: i32, sin: i32) {
        self.i += i64::from(scaled_product(x, cos));
        self.q -= i64::from(scaled_product(x, sin));
    }
}

/// Everything that a finished window leaves behind.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct WindowSums {
    pub(crate) tuning: Tuning,
    pub(crate) leads: [Quadrature; LEADS],
    pub(crate) mean: [i64; LEADS],
    pub(crate) gram: [i64; GRAM],
    pub(crate) blocks: [Quadrature; BLOCKS],
    pub(crate) snapshot: [[i16; LEADS]; SNAPSHOT_POINTS],
    pub(crate) clipped: u32,
}

impl WindowSums {
    const fn empty(tuning: Tuning) -> Self {
        Self {
            tuning,
            leads: [Quadrature { i: 0, q: 0 }; LEADS],
            mean: [0; LEADS],
            gram: [0; GRAM],
            blocks: [Quadrature { i: 0, q: 0 }; BLOCKS],
            snapshot: [[0; LEADS]; SNAPSHOT_POINTS],
            clipped: 0,
        }
    }

    /// What the window was tuned to.
    #[must_use]
    pub const fn tuning(&self) -> Tuning {
        self.tuning
    }

    /// Frames of the window in which a lead was beyond full scale.
    #[must_use]
    pub const fn clipped_frames(&self) -> u32 {
        self.clipped
    }

    /// The first two line cycles, codes / 2^8.
    #[must_use]
    pub const fn snapshot(&self) -> &[[i16; LEADS]; SNAPSHOT_POINTS] {
        &self.snapshot
    }
}

/// Sums frames into windows.
#[derive(Clone, Debug)]
pub struct Accumulator {
    sums: WindowSums,
    /// Frames taken of the window in hand, `0..WINDOW`.
    taken: usize,
    /// Frames taken of the frequency segment in hand, `0..HOP`.
    segment_taken: usize,
    /// Segments finished.
    segments: usize,
    phase: u32,
    /// Segment in hand under rising weights, and unweighted. Under falling weights it is the
    /// difference of the two, since the halves of a Hann window add up to one.
    rising: Quadrature,
    plain: Quadrature,
}

impl Accumulator {
    /// An accumulator at the start of a window.
    #[must_use]
    pub const fn new(tuning: Tuning) -> Self {
        Self {
            sums: WindowSums::empty(tuning),
            taken: 0,
            segment_taken: 0,
            segments: 0,
            phase: 0,
            rising: Quadrature { i: 0, q: 0 },
            plain: Quadrature { i: 0, q: 0 },
        }
    }

    /// Drops the window in hand and starts another one with `tuning`.
    pub fn restart(&mut self, tuning: Tuning) {
        *self = Self::new(tuning);
    }

    /// Takes a frame. Returns true when it was the last of a window: the caller then reads
    /// [`Accumulator::sums`] and restarts. Frames beyond are ignored.
    #[inline(never)]
    pub fn push(&mut self, frame: &Frame) -> bool {
        if self.taken >= WINDOW {
            return true;
        }
        let (cos, sin) = cos_sin(self.phase);
        self.phase = self.phase.wrapping_add(self.sums.tuning.step);
        self.add_to_window(frame, cos, sin);
        self.add_to_block(frame, cos, sin);
        self.taken += 1;
        self.taken == WINDOW
    }

    /// The sums; whole once [`Accumulator::push`] has returned true.
    #[must_use]
    pub const fn sums(&self) -> &WindowSums {
        &self.sums
    }

    #[inline]
    fn add_to_window(&mut self, frame: &Frame, cos: i32, sin: i32) {
        let w = weight(self.taken);
        let root = weight_root(self.taken);
        // Rounded Q15 product, at most 32767 in size.
        let weighted_cos = (w * cos + ONE / 2) >> 15;
        let weighted_sin = (w * sin + ONE / 2) >> 15;
        let sums = &mut self.sums;

        let mut short = [0_i32; LEADS];
        let mut clipped = false;
        let places = frame.codes.iter().zip(&mut sums.leads).zip(&mut sums.mean);
        for (((code, lead), mean), short) in places.zip(&mut short) {
            let x = code.get();
            clipped |= code.is_clipped();
            lead.add(x, weighted_cos, weighted_sin);
            *mean += i64::from(scaled_product(x, w));
            // x root / 2^12 with the root in Q15 is eight times the weighted code.
            *short = (scaled_product(x, root) + (1 << (GRAM_SHIFT + 2))) >> (GRAM_SHIFT + 3);
        }
        sums.clipped += u32::from(clipped);

        let mut entry = 0;
        for row in 0..LEADS {
            for other in &short[row..] {
                sums.gram[entry] += i64::from(short[row] * other);
                entry += 1;
            }
        }

        if self.taken.is_multiple_of(SNAPSHOT_STEP)
            && let Some(point) = sums.snapshot.get_mut(self.taken / SNAPSHOT_STEP)
        {
            for (kept, code) in point.iter_mut().zip(frame.codes) {
                // 24 bits to 16: always in range.
                *kept = (code.get() >> GRAM_SHIFT) as i16;
            }
        }
    }

    #[inline]
    fn add_to_block(&mut self, frame: &Frame, cos: i32, sin: i32) {
        let (first, second) = self.sums.tuning.reference;
        let difference = frame.code(first).get() - frame.code(second).get();
        let w = block_weight(self.segment_taken);
        self.rising.add(
            difference,
            (w * cos + ONE / 2) >> 15,
            (w * sin + ONE / 2) >> 15,
        );
        self.plain.add(difference, cos, sin);
        self.segment_taken += 1;
        if self.segment_taken == HOP {
            self.close_segment();
        }
    }

    fn close_segment(&mut self) {
        // The segment is the rising half of block `segments` and the falling half of the
        // block before.
        if let Some(block) = self.sums.blocks.get_mut(self.segments) {
            block.i += self.rising.i;
            block.q += self.rising.q;
        }
        if let Some(before) = self.segments.checked_sub(1)
            && let Some(block) = self.sums.blocks.get_mut(before)
        {
            block.i += self.plain.i - self.rising.i;
            block.q += self.plain.q - self.rising.q;
        }
        self.rising = Quadrature::default();
        self.plain = Quadrature::default();
        self.segments += 1;
        self.segment_taken = 0;
    }
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
    use crate::sample::AdcCode;
    use crate::slots::Lead;
    use crate::units::Hertz;

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

    #[test]
    fn no_sum_overflows_at_full_scale() {
        // Square waves at full scale in step with the oscillator: the worst case of every sum.
        for codes in [
            [AdcCode::MAX, AdcCode::MIN, AdcCode::MAX, AdcCode::MIN],
            [AdcCode::MIN; LEADS],
        ] {
            let tuning = Tuning::new(Hertz::new(60.0), (Lead::Narrow, Lead::Wide));
            let mut accumulator = Accumulator::new(tuning);
            for n in 0..WINDOW {
                let (cos, _) = cos_sin((n as u32).wrapping_mul(tuning.step));
                let mut frame = Frame { codes };
                if cos < 0 {
                    frame.codes = codes.map(|code| AdcCode::saturating(-code.get()));
                }
                accumulator.push(&frame);
            }
            // Debug builds panic on overflow; the stated bounds are checked here.
            let sums = accumulator.sums();
            let below = |value: i64, bits: f64| (value.unsigned_abs() as f64) < bits.exp2();
            assert!(
                sums.leads
                    .iter()
                    .all(|s| below(s.i, 35.7) && below(s.q, 35.7))
            );
            assert!(sums.mean.iter().all(|&s| below(s, 35.7)));
            assert!(
                sums.blocks
                    .iter()
                    .all(|s| below(s.i, 34.7) && below(s.q, 34.7))
            );
            assert!(sums.gram.iter().all(|&s| below(s, 39.7)));
            assert_eq!(sums.clipped, WINDOW as u32);
            // And they are of that size: the test would notice a sum that never grew.
            assert!(sums.gram[0] > 1 << 38);
            assert!(sums.leads[0].i.unsigned_abs() > 1 << 33);
        }
    }

    #[test]
    fn a_window_ends_after_exactly_800_frames_and_ignores_the_rest() {
        let mut accumulator = Accumulator::new(Tuning::NOMINAL);
        let frame = Frame {
            codes: [AdcCode::saturating(1000); LEADS],
        };
        for n in 1..WINDOW {
            assert!(!accumulator.push(&frame), "frame {n}");
        }
        assert!(accumulator.push(&frame));
        let whole = accumulator.sums().clone();
        assert!(accumulator.push(&frame));
        assert_eq!(accumulator.sums(), &whole);
    }

    #[test]
    fn blocks_of_a_plain_sum_agree_with_directly_weighted_ones() {
        let tuning = Tuning::new(Hertz::new(59.3), (Lead::Narrow, Lead::Ground));
        let mut accumulator = Accumulator::new(tuning);
        let mut codes = [[0_i32; 2]; WINDOW];
        for (n, pair) in codes.iter_mut().enumerate() {
            let angle = n as f64 * 0.0951 + 0.4;
            *pair = [(angle.sin() * 1.3e6) as i32, (angle.cos() * -0.4e6) as i32];
            let mut frame = Frame::default();
            frame.codes[0] = AdcCode::saturating(pair[0]);
            frame.codes[2] = AdcCode::saturating(pair[1]);
            accumulator.push(&frame);
        }
        for (k, block) in accumulator.sums().blocks.iter().enumerate() {
            let mut direct = (0.0, 0.0);
            for n in 0..super::super::BLOCK {
                let place = k * HOP + n;
                let w = (core::f64::consts::PI * n as f64 / 200.0).sin().powi(2);
                let phase = f64::from((place as u32).wrapping_mul(tuning.step)) / 4_294_967_296.0
                    * core::f64::consts::TAU;
                let x = f64::from(codes[place][0] - codes[place][1]);
                direct.0 += w * x * phase.cos() * 32_767.0 / 4096.0;
                direct.1 -= w * x * phase.sin() * 32_767.0 / 4096.0;
            }
            let size = f64::hypot(direct.0, direct.1);
            let off = f64::hypot(block.i as f64 - direct.0, block.q as f64 - direct.1);
            assert!(off < 3e-4 * size, "block {k}: {off} of {size}");
        }
    }
}
