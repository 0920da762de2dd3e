//! Frames in, windows out.
//!
//! Frames are held back until there are ten, then summed together (`summing`). Whoever has ten
//! frames of a lead side by side already hands them over as they are: [`Accumulator::push_batch`].
//! How frames are dealt out over calls does not change the sums by a bit.

use super::batch::{BATCH, Codes};
use super::summing::{Summing, WindowSums};
use super::{Tuning, WINDOW};
use crate::sample::Frame;
use crate::slots::LEADS;

const BATCHES: usize = WINDOW / BATCH;

/// Sums frames into windows.
#[derive(Clone, Debug)]
#[repr(C)]
pub struct Accumulator {
    held: usize,
    summing: Summing,
    /// Frames held back, lead by lead.
    codes: Codes,
}

impl Accumulator {
    /// An accumulator at the start of a window.
    #[must_use]
    pub const fn new(tuning: Tuning) -> Self {
        Self {
            held: 0,
            summing: Summing::new(tuning),
            codes: [[0; BATCH]; LEADS],
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
        if self.is_whole() {
            return true;
        }
        let place = self.held;
        if place >= BATCH {
            // Never: a full batch is summed at once.
            return false;
        }
        for (lead, code) in self.codes.iter_mut().zip(frame.codes) {
            lead[place] = code.get();
        }
        self.held += 1;
        if self.held == BATCH {
            self.held = 0;
            self.summing.add(&self.codes);
        }
        self.is_whole()
    }

    /// Takes ten frames, lead by lead, none of which is the last of a window
    /// ([`Accumulator::lacks`]).
    #[inline]
    pub fn push_batch(&mut self, codes: &Codes) {
        if self.held == 0 && !self.is_whole() {
            self.summing.add(codes);
        } else {
            self.push_across(codes);
        }
    }

    /// Ten frames that end one batch and begin another.
    #[cold]
    #[inline(never)]
    fn push_across(&mut self, codes: &Codes) {
        let held = self.held.min(BATCH);
        for (kept, lead) in self.codes.iter_mut().zip(codes) {
            kept[held..].copy_from_slice(&lead[..BATCH - held]);
        }
        if self.is_whole() {
            return;
        }
        self.summing.add(&self.codes);
        for (kept, lead) in self.codes.iter_mut().zip(codes) {
            kept[..held].copy_from_slice(&lead[BATCH - held..]);
        }
    }

    #[inline]
    const fn is_whole(&self) -> bool {
        self.summing.batches() >= BATCHES
    }

    /// Frames that the window lacks.
    #[inline]
    #[must_use]
    pub const fn lacks(&self) -> usize {
        WINDOW.saturating_sub(self.summing.batches() * BATCH + self.held)
    }

    /// Frames until a batch begins, 0 to 9: ten frames side by side are summed as they are then.
    #[inline]
    #[must_use]
    pub const fn to_a_batch(&self) -> usize {
        if self.held == 0 { 0 } else { BATCH - self.held }
    }

    /// The sums; whole once [`Accumulator::push`] has returned true.
    #[must_use]
    pub const fn sums(&self) -> &WindowSums {
        self.summing.sums()
    }
}

#[cfg(test)]
mod tests {
    use core::f64::consts::{PI, TAU};

    use super::*;
    use crate::sample::AdcCode;
    use crate::slots::Lead;
    use crate::units::Hertz;
    use crate::window::tables::cos_sin;
    use crate::window::{BLOCK, HOP};

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
            let leads: [_; LEADS] = core::array::from_fn(|lead| sums.lead(lead));
            assert!(leads.iter().all(|s| below(s.i, 35.7) && below(s.q, 35.7)));
            assert!(sums.mean.iter().all(|&s| below(s, 34.7)));
            assert!(
                sums.blocks
                    .iter()
                    .all(|s| below(s.i, 33.7) && below(s.q, 33.7))
            );
            let gram: [_; LEADS] = core::array::from_fn(|lead| sums.gram(lead, 1));
            assert!(gram.iter().all(|&s| below(s, 35.7)));
            assert_eq!(sums.clipped, WINDOW as u32);
            // And they are of that size: the test would notice a sum that never grew.
            assert!(sums.gram(0, 0) > 1 << 35 && gram[1] > 1 << 35);
            assert!(leads[0].i.unsigned_abs() > 1 << 34);
        }
    }

    #[test]
    fn a_window_ends_after_exactly_800_frames_and_ignores_the_rest() {
        let mut accumulator = Accumulator::new(Tuning::NOMINAL);
        let frame = Frame {
            codes: [AdcCode::saturating(1000); LEADS],
        };
        for n in 1..WINDOW {
            assert_eq!(accumulator.lacks(), WINDOW + 1 - n);
            assert!(!accumulator.push(&frame), "frame {n}");
        }
        assert!(accumulator.push(&frame));
        assert_eq!(accumulator.lacks(), 0);
        let whole = accumulator.sums().clone();
        assert!(accumulator.push(&frame));
        accumulator.push_batch(&[[7; BATCH]; LEADS]);
        assert_eq!(accumulator.sums(), &whole);
    }

    /// A line with a harmonic, a mean value and some grain in every lead.
    fn frame(n: usize) -> Frame {
        let angle = n as f64 * 0.0951 + 0.4;
        let grain = f64::from((n as u32).wrapping_mul(2_654_435_761) >> 26);
        let lead = |size: f64, turn: f64| {
            let x = (angle + turn).sin() + 0.05 * (7.0 * angle).cos();
            AdcCode::saturating((size * x + 1000.0 + grain) as i32)
        };
        Frame {
            codes: [
                lead(1.3e6, 0.0),
                lead(-0.4e6, 0.1),
                lead(-0.5e6, 0.7),
                lead(9e3, 2.0),
            ],
        }
    }

    #[test]
    fn batches_of_any_place_give_the_sums_of_single_frames() {
        let mut single = Accumulator::new(Tuning::NOMINAL);
        for n in 0..WINDOW {
            single.push(&frame(n));
        }
        for before in 0..=BATCH {
            let mut accumulator = Accumulator::new(Tuning::NOMINAL);
            let mut n = 0;
            while n < WINDOW {
                if n < before || accumulator.lacks() <= BATCH {
                    accumulator.push(&frame(n));
                    n += 1;
                    continue;
                }
                let mut codes = [[0; BATCH]; LEADS];
                for place in 0..BATCH {
                    for (lead, code) in codes.iter_mut().zip(frame(n + place).codes) {
                        lead[place] = code.get();
                    }
                }
                accumulator.push_batch(&codes);
                n += BATCH;
            }
            assert_eq!(accumulator.sums(), single.sums(), "{before}");
        }
    }

    // Oracle: the sums as they are defined, in floating point, frame by frame.
    #[test]
    fn the_sums_are_those_of_their_definition() {
        let tuning = Tuning::new(Hertz::new(59.3), (Lead::Narrow, Lead::Ground));
        let mut accumulator = Accumulator::new(tuning);
        for n in 0..WINDOW {
            accumulator.push(&frame(n));
        }
        let sums = accumulator.sums();
        let code = |lead: usize, n: usize| f64::from(frame(n).codes[lead].get());
        let stair = |n: usize, length: usize| {
            let of = if length == BLOCK { 2 } else { BATCH };
            let middle = (n / of * of) as f64 + of as f64 / 2.0;
            (PI * middle / length as f64).sin().powi(2)
        };
        // Two frames meet the oscillator in their middle.
        let turned = |first: usize, length: usize, x: &dyn Fn(usize) -> f64| {
            (first..first + length).fold((0.0, 0.0), |(i, q), n| {
                let middle = (n / 2 * 2) as f64 + 0.5;
                let phase = TAU * middle * f64::from(tuning.step) / 4_294_967_296.0;
                let w = stair(n - first, length) * x(n) * 32_767.0 / 32_768.0;
                (i + w * phase.cos(), q - w * phase.sin())
            })
        };
        let close = |(i, q): (f64, f64), found: crate::window::summing::Quadrature, unit: f64| {
            let off = f64::hypot(found.i as f64 / unit - i, found.q as f64 / unit - q);
            assert!(off < 1e-4 * f64::hypot(i, q) + 2000.0, "{off} of {i} {q}");
        };
        for lead in 0..LEADS {
            close(turned(0, WINDOW, &|n| code(lead, n)), sums.lead(lead), 16.0);
            let mean: f64 = (0..WINDOW).map(|n| stair(n, WINDOW) * code(lead, n)).sum();
            let off = sums.mean[lead] as f64 / 8.0 - mean;
            assert!(off.abs() < 400.0, "{off} of {mean}");
        }
        for (k, block) in sums.blocks.iter().enumerate() {
            let difference = |n: usize| code(0, n) - code(2, n);
            close(turned(k * HOP, BLOCK, &difference), *block, 8.0);
        }
        let squares = (0..LEADS).map(|lead| (lead, lead));
        for (a, b) in squares.chain(crate::window::summing::PRODUCTS) {
            let product: f64 = (0..WINDOW)
                .map(|n| stair(n, WINDOW) * code(a, n) * code(b, n))
                .sum();
            let found = sums.gram(a, b) as f64 * f64::from(1 << 19);
            // Every code may be off by a step of 256 either way.
            let size = (0..WINDOW)
                .map(|n| stair(n, WINDOW) * (code(a, n).powi(2) + code(b, n).powi(2)))
                .sum::<f64>();
            let bound = 256.0 * (size * 400.0).sqrt() / 10.0 + 400.0 * 128.0 * 128.0;
            assert!(
                (found - product).abs() < bound,
                "{a} {b}: {found} {product}"
            );
        }
    }
}
