//! Ten frames at a time into the sums of a window. Integers only.
//!
//! ```text
//!  codes ─16 bits─> x ─┬─ x + x ─┬─ cos, sin ─ sum of 5 ─ Hann ─> in phase, quadrature
//!   24 bits            │         └─ two leads ─ Hann cos, sin ────> frequency blocks
//!                      ├─ sum of 10 ─────────────────────── Hann ─> mean
//!                      └─ x y ─ sum of 10 ───────────────── Hann ─> Gram matrix
//! ```
//! What a frame costs is multiplications and, more, loads. So a frame meets as few factors as can
//! be, and the rest is done once for ten:
//! - **16 bits.** A code loses its low 8 bits, and what is lost is added to the next code of the
//!   lead. The error is thus a difference of two neighbours: it does not pile up (a mean value is
//!   right to 1/800 of a step), and at 60 Hz it is 7 codes rms under a converter noise of 37. Without
//!   that noise, which no converter is, it may stay in step with the line: 0.3 mV of 120 V.
//! - **Two frames are added** before they are turned. The loss, `cos(pi f / 4000)`, is known and
//!   taken out ([`super::pair_response`]). What folds onto the line then is what lies within 5 Hz of
//!   `2000 Hz - f`: less than 5 % of it, of which the converter's own filter leaves 0.28.
//! - **The window is a staircase** of 80 steps, ten frames each, and a frequency block one of 100, two
//!   frames each. The transform, Hann's times that of the frames of a step, is as closed (`hann`):
//!   what a detuned line loses and leaves as image is computed. It repeats every 400 Hz under the
//!   zeros of ten frames: a harmonic there, such as the 19th and 21st of 60 Hz, comes in by 2e-3 at
//!   most with the line 0.1 Hz off tune, any other tone by 1 %.
//!
//! Overflow, at full scale |x| = 2^15 in every frame of a window (N = 800 < 2^9.65):
//!
//! | sum | a term | of a batch, i32 | of a window, i64 |
//! |---|---|---|---|
//! | in phase, quadrature | (x + x) c, c in Q12: 2^28 | 5: 2^30.4 | 40: 2^35.7 |
//! | block, half the difference of two leads | (x + x) c: 2^28 | 5: 2^30.4 | 10: 2^33.7 |
//! | mean | x: 2^15 | 10, times 2^11: 2^29.4 | 40: 2^34.7 |
//! | Gram matrix | x x: 2^30, two in i32, then i64 | 10, by 8: 2^30.4 | 40: 2^35.7 |
//!
//! 40 is the sum of the 80 weights. Terms of a window are cut, not rounded, by less than one unit.

use num_complex::Complex;

use super::batch::{
    BATCH, Carrier, Codes, PAIRS, Short, add_weighted, difference_sums, dot, fill, lead_sums,
    quantise, rise, square,
};
use super::tables::{rising_weights, step_weight};
use super::{BLOCKS, HOP, Tuning};
use crate::record::{SNAPSHOT_POINTS, SNAPSHOT_STEP};
use crate::sample::AdcCode;
use crate::slots::LEADS;

const _: () = assert!(BATCH.is_multiple_of(SNAPSHOT_STEP));

/// Entries of the Gram matrix that a pair of leads is made of, beside the squares of the leads,
/// which stand before them: the three pairs of slots, and the clip against wide.
pub(crate) const PRODUCTS: [(usize, usize); 4] = [(0, 1), (1, 2), (0, 2), (1, 3)];

/// Entries of the Gram matrix.
const GRAM: usize = LEADS + PRODUCTS.len();

/// A batch's sum of a lead times 2^11 stands in eighths of a code.
const MEAN_SHIFT: u32 = 11;

/// In-phase and quadrature sum.
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
    fn add(&mut self, i: i32, q: i32) {
        self.i += i64::from(i);
        self.q += i64::from(q);
    }
}

/// Everything that a finished window leaves behind.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct WindowSums {
    pub(crate) tuning: Tuning,
    /// In phase and quadrature of the leads, sixteenths of a code times the sine's full scale.
    turned: [i64; 2 * LEADS],
    /// Eighths of a code.
    pub(crate) mean: [i64; LEADS],
    /// Gram matrix: squares of the leads, then [`PRODUCTS`], in units of 2^19 codes squared.
    gram: [i64; GRAM],
    /// Eighths of a code times the sine's full scale.
    pub(crate) blocks: [Quadrature; BLOCKS],
    pub(crate) snapshot: [[i16; LEADS]; SNAPSHOT_POINTS],
    pub(crate) clipped: u32,
}

impl WindowSums {
    const fn empty(tuning: Tuning) -> Self {
        Self {
            tuning,
            turned: [0; 2 * LEADS],
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

    /// A lead against the oscillator, in sixteenths of a code times the sine's full scale.
    pub(crate) fn lead(&self, channel: usize) -> Quadrature {
        let (parts, _) = self.turned.as_chunks();
        let [i, q] = parts.get(channel).copied().unwrap_or([0; 2]);
        Quadrature { i, q }
    }

    /// An entry of the Gram matrix, in units of 2^19 codes squared; 0 for a pair that nobody asks
    /// for, which is not summed.
    pub(crate) fn gram(&self, i: usize, j: usize) -> i64 {
        let place = if i == j {
            Some(i)
        } else {
            let pair = (i.min(j), i.max(j));
            let product = PRODUCTS.iter().position(|of| *of == pair);
            product.map(|product| LEADS + product)
        };
        let entry = place.and_then(|place| self.gram.get(place));
        entry.copied().unwrap_or(0)
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

/// A window being summed, batch by batch.
///
/// In the order of the fields: what every batch touches comes first, where the core's instructions
/// reach it.
#[derive(Clone, Debug)]
#[repr(C)]
pub(super) struct Summing {
    /// Batches summed of the window.
    batches: usize,
    /// Batches summed of the frequency segment in hand, `0..HOP / BATCH`.
    of_segment: usize,
    /// Segments finished.
    segments: usize,
    /// Phase in the middle of the next two frames.
    phase: u32,
    /// What the last code of a lead lost.
    lost: [i32; LEADS],
    /// Segment in hand under rising weights, and unweighted. Under falling weights it is the
    /// difference of the two, since the halves of a Hann window add up to one.
    rising: Quadrature,
    plain: Quadrature,
    carrier: Carrier,
    /// ... under the rising half of a frequency block.
    risen: Carrier,
    /// The codes of the batch in 16 bits.
    short: [Short; LEADS],
    sums: WindowSums,
}

impl Summing {
    pub(super) const fn new(tuning: Tuning) -> Self {
        Self {
            batches: 0,
            of_segment: 0,
            segments: 0,
            phase: tuning.step / 2,
            // Half a step: the first code is rounded.
            lost: [0x80; LEADS],
            rising: Quadrature::ZERO,
            plain: Quadrature::ZERO,
            carrier: [(0, 0); PAIRS],
            risen: [(0, 0); PAIRS],
            short: [Short::ZERO; LEADS],
            sums: WindowSums::empty(tuning),
        }
    }

    pub(super) const fn sums(&self) -> &WindowSums {
        &self.sums
    }

    pub(super) const fn batches(&self) -> usize {
        self.batches
    }

    /// Takes the next ten frames.
    #[inline(never)]
    pub(super) fn add(&mut self, codes: &Codes) {
        if self.batches * BATCH < SNAPSHOT_POINTS * SNAPSHOT_STEP {
            self.keep_points(codes);
        }
        let mut mean = [0; LEADS];
        let leads = codes.iter().zip(&mut self.short).zip(&mut self.lost);
        for (((codes, short), lost), mean) in leads.zip(&mut mean) {
            *mean = quantise(codes, short, lost) << MEAN_SHIFT;
        }
        let mut gram = [0; GRAM];
        let mut largest = 0;
        for (short, entry) in self.short.iter().zip(&mut gram) {
            *entry = square(short);
            largest = largest.max(*entry);
        }
        if largest >= NEAR_THE_END {
            self.limit(codes, &mut mean);
        }
        for ((a, b), entry) in PRODUCTS.iter().zip(&mut gram[LEADS..]) {
            *entry = dot(&self.short[*a], &self.short[*b]);
        }
        self.phase = fill(&mut self.carrier, self.phase, self.sums.tuning.step);
        let mut turned = [0; 2 * LEADS];
        let (parts, _) = turned.as_chunks_mut();
        for (short, part) in self.short.iter().zip(parts) {
            *part = lead_sums(&short.pairs, &self.carrier);
        }
        self.add_to_block(&turned);
        let weight = step_weight(self.batches);
        add_weighted(&mut self.sums.turned, &turned, weight);
        add_weighted(&mut self.sums.mean, &mean, weight);
        add_weighted(&mut self.sums.gram, &gram, weight);
        self.batches += 1;
    }

    /// The batch's points of the snapshot; batches begin at an even frame.
    #[cold]
    #[inline(never)]
    fn keep_points(&mut self, codes: &Codes) {
        let first = self.batches * BATCH / SNAPSHOT_STEP;
        let points = self.sums.snapshot.iter_mut().skip(first);
        for (place, point) in (0..BATCH).step_by(SNAPSHOT_STEP).zip(points) {
            for (kept, lead) in point.iter_mut().zip(codes) {
                // 24 bits to 16: always in range.
                *kept = (lead[place] >> 8) as i16;
            }
        }
    }

    /// A code of the batch may stand near an end of the range: counts the frames in which one stands
    /// there, and keeps the short ones within 2^15 - 1, two products of which stay below 2^31.
    #[cold]
    #[inline(never)]
    fn limit(&mut self, codes: &Codes, mean: &mut [i32; LEADS]) {
        for place in 0..BATCH {
            let is_clipped = |lead: &[i32; BATCH]| AdcCode::saturating(lead[place]).is_clipped();
            let is_clipped = codes.iter().any(is_clipped);
            self.sums.clipped += u32::from(is_clipped);
        }
        for (short, mean) in self.short.iter_mut().zip(mean) {
            *mean = short.limit() << MEAN_SHIFT;
        }
    }

    #[inline]
    fn add_to_block(&mut self, turned: &[i32; 2 * LEADS]) {
        let (first, second) = self.sums.tuning.reference;
        let (parts, _) = turned.as_chunks();
        let [a, b] = [first, second].map(|lead| {
            let part: Option<&[i32; 2]> = parts.get(lead.channel());
            part.copied().unwrap_or([0; 2])
        });
        rise(
            &mut self.risen,
            &self.carrier,
            rising_weights(self.of_segment),
        );
        let [first, second] = [first, second].map(|lead| &self.short[lead.channel()]);
        let (i, q) = difference_sums(first, second, &self.risen);
        self.rising.add(i, q);
        // Halves, so that the difference stays in 32 bits.
        self.plain
            .add((a[0] >> 1) - (b[0] >> 1), (a[1] >> 1) - (b[1] >> 1));
        self.of_segment += 1;
        if self.of_segment == HOP / BATCH {
            self.close_segment();
        }
    }

    #[cold]
    #[inline(never)]
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
        self.rising = Quadrature::ZERO;
        self.plain = Quadrature::ZERO;
        self.segments += 1;
        self.of_segment = 0;
    }
}

/// From this sum of squares on, an eighth of 32767^2, one of the batch may stand at an end of the
/// range, or come there with what the code before has lost. A lead of 160 V rms comes here, too.
const NEAR_THE_END: i32 = 0x7FFF * 0x7FFF / 8;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_pair_that_is_asked_for_has_its_entries() {
        use crate::slots::Pair;
        for pair in [
            Pair::NarrowWide,
            Pair::GroundWide,
            Pair::NarrowGround,
            Pair::ClipWide,
        ] {
            let (a, b) = pair.leads();
            let (a, b) = (a.channel(), b.channel());
            let pair = (a.min(b), a.max(b));
            assert!(PRODUCTS.contains(&pair), "{pair:?}");
        }
    }
}
