//! The sums of a window.
//!
//! Frames are held back until there are ten, then summed lead by lead: so the partial sums of
//! ten frames stay in 32-bit registers, and the 64-bit sums in memory are touched once in ten
//! frames. The result is that of adding frame by frame, to the bit.
//!
//! Overflow, at full scale |x| = 2^23 in every frame of a window (N = 800 < 2^9.65):
//!
//! | sum | a term | ten terms, i32 | a window, i64 |
//! |---|---|---|---|
//! | in phase, quadrature, mean | x c / 2^12, c in Q15: 2^26 | 2^29.4 | 2^35.7 |
//! | blocks, difference of two leads | 2^24 2^15 / 2^12 = 2^27 | 2^30.4 | 200 terms: 2^34.7 |
//! | Gram matrix | (x / 2^8)(x / 2^8) = 2^30 | summed in i64 | 2^39.7 |
//!
//! Every product is formed from 32-bit multiplications, the only ones a Cortex-M0+ has: a code
//! is split into a high part and 12 low bits (`batch`). Terms are cut, not rounded,
//! by less than 1/8 code.

use num_complex::Complex;

use super::batch::{BATCH, Coefficients, GRAM_SHIFT, block_sums, dot, lead_sums};
use super::{BLOCKS, HOP, Tuning, WINDOW};
use crate::record::{SNAPSHOT_POINTS, SNAPSHOT_STEP};
use crate::sample::Frame;
use crate::slots::LEADS;

const _: () = assert!(BATCH.is_multiple_of(SNAPSHOT_STEP));

/// Entries of the upper triangle of the Gram matrix.
pub(crate) const GRAM: usize = LEADS * (LEADS + 1) / 2;

/// In-phase and quadrature sum, in eighths of a code times the sine's full scale.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct Quadrature {
    pub(crate) i: i64,
    pub(crate) q: i64,
}

impl Quadrature {
    const ZERO: Self = Self { i: 0, q: 0 };

    pub(crate) const fn complex(self) -> Complex<f64> {
        Complex::new(self.i as f64, self.q as f64)
    }

    #[inline]
    fn add(&mut self, (i, q): (i32, i32)) {
        self.i += i64::from(i);
        self.q += i64::from(q);
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
            leads: [Quadrature::ZERO; LEADS],
            mean: [0; LEADS],
            gram: [0; GRAM],
            blocks: [Quadrature::ZERO; BLOCKS],
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
///
/// In the order of the fields: what every frame touches comes first, where the core's instructions
/// reach it.
#[derive(Clone, Debug)]
#[repr(C)]
pub struct Accumulator {
    /// Frames held back, lead by lead.
    batch: [[i32; BATCH]; LEADS],
    held: usize,
    /// Frames summed of the window in hand, `0..=WINDOW`.
    taken: usize,
    clipped: u32,
    coefficients: Coefficients,
    sums: WindowSums,
    /// Frames summed of the frequency segment in hand, `0..HOP`.
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
            batch: [[0; BATCH]; LEADS],
            held: 0,
            clipped: 0,
            coefficients: Coefficients::NONE,
            taken: 0,
            segment_taken: 0,
            segments: 0,
            phase: 0,
            rising: Quadrature::ZERO,
            plain: Quadrature::ZERO,
        }
    }

    /// Drops the window in hand and starts another one with `tuning`.
    pub fn restart(&mut self, tuning: Tuning) {
        *self = Self::new(tuning);
    }

    /// Takes a frame. Returns true when it was the last of a window: the caller then reads
    /// [`Accumulator::sums`] and restarts. Frames beyond are ignored.
    #[inline]
    pub fn push(&mut self, frame: &Frame) -> bool {
        if self.taken >= WINDOW {
            return true;
        }
        let place = self.held;
        if place >= BATCH {
            // Never: a full batch is summed at once.
            return false;
        }
        let mut largest = 0;
        for (lead, code) in self.batch.iter_mut().zip(frame.codes) {
            let code = code.get();
            // Either end of the range gives 2^23, every other code less.
            largest |= (code ^ (code >> 31)) + 1;
            lead[place] = code;
        }
        self.clipped += largest as u32 >> 23;
        self.held += 1;
        if self.held == BATCH {
            self.held = 0;
            self.sum_batch();
        }
        self.taken == WINDOW
    }

    /// Whether the next frame is the last of the window.
    #[inline]
    #[must_use]
    pub const fn lacks_one(&self) -> bool {
        self.taken + self.held + 1 >= WINDOW
    }

    /// The sums; whole once [`Accumulator::push`] has returned true.
    #[must_use]
    pub const fn sums(&self) -> &WindowSums {
        &self.sums
    }

    /// The batch's points of the snapshot; batches begin at an even frame.
    #[cold]
    #[inline(never)]
    fn keep_points(&mut self) {
        let points = self
            .sums
            .snapshot
            .iter_mut()
            .skip(self.taken / SNAPSHOT_STEP);
        for (place, point) in (0..BATCH).step_by(SNAPSHOT_STEP).zip(points) {
            for (kept, lead) in point.iter_mut().zip(&self.batch) {
                // 24 bits to 16: always in range.
                *kept = (lead[place] >> GRAM_SHIFT) as i16;
            }
        }
    }

    #[inline(never)]
    fn sum_batch(&mut self) {
        if self.taken < SNAPSHOT_POINTS * SNAPSHOT_STEP {
            self.keep_points();
        }
        self.coefficients.fill(
            self.phase,
            self.sums.tuning.step,
            self.taken,
            self.segment_taken,
        );
        self.phase = self
            .phase
            .wrapping_add(self.sums.tuning.step.wrapping_mul(BATCH as u32));
        self.add_to_block();

        let sums = &mut self.sums;
        let places = sums.leads.iter_mut().zip(&mut sums.mean);
        for ((lead, mean), x) in places.zip(&mut self.batch) {
            // From here on the batch holds the weighted codes of the Gram matrix.
            let (i, q, m) = lead_sums(x, &self.coefficients);
            lead.add((i, q));
            *mean += i64::from(m);
        }
        let mut entries = sums.gram.iter_mut();
        for (row, first) in self.batch.iter().enumerate() {
            for (second, entry) in self.batch.iter().skip(row).zip(&mut entries) {
                *entry += dot(first, second);
            }
        }
        self.taken += BATCH;
        sums.clipped = self.clipped;
    }

    fn add_to_block(&mut self) {
        let (first, second) = self.sums.tuning.reference;
        let [a, b] = [first, second].map(|lead| &self.batch[lead.channel()]);
        let [rising, plain] = block_sums(a, b, &self.coefficients);
        self.rising.add(rising);
        self.plain.add(plain);
        self.segment_taken += BATCH;
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sample::AdcCode;
    use crate::slots::Lead;
    use crate::units::Hertz;
    use crate::window::tables::cos_sin;

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
