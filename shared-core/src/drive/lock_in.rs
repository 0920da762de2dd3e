//! The sampling path of the drive: integers only.
//!
//! Ten frames of the path's two leads are multiplied with the oscillator and summed (2.5 ms);
//! what comes out is weighted into four windows at a time, each 160 such batches (1600 frames,
//! 400 ms) long and a quarter of that behind the one before. The weight is the square of Hann's,
//! `sin^4(pi k / 160)`: its side lobes fall with the fifth power of the distance, so a line of
//! 59.9 Hz leaves 1.6e-6 of itself at 85 Hz and one of 59.5 Hz 7e-6. Hann's own weight over
//! 800 frames would leave 1.6e-4: 0.3 ohm of 3 V.
//!
//! The tone as it was applied goes through the same weights, so that whatever a square wave of
//! whole frames has at 85 Hz is known exactly.
//!
//! Overflow, at full scale |x| = 2^23 in every frame, coefficients in Q15:
//!
//! | sum | a term | ten frames, i32 | a window |
//! |---|---|---|---|
//! | lead | x c / 2^12: 2^26 | 2^29.4, then / 2^6: 2^23.4 | w / 2^12: 2^26.4 each, 160: 2^33.8, i64 |
//! | tone | c: 2^15 | 2^18.4 | w / 2^12: 2^21.4 each, 160: 2^28.8, i32 |
//!
//! Cost: four products of a code a frame and two of a window's weight; none of them 64 bits
//! wide.

use crate::window::batch::{BATCH, turned_sums};
use crate::window::tables::{cos_sin, weight};

use super::tone::{STEP, phase};

/// Batches of a window.
pub(super) const BATCHES: i16 = 160;

/// Windows that are summed at a time.
pub(super) const OVERLAP: usize = 4;

/// Batches from one window to the next.
const HOP: i16 = BATCHES / OVERLAP as i16;

/// Frames of a window.
pub(crate) const WINDOW: u32 = BATCHES as u32 * BATCH as u32;

/// Frames from one window to the next.
pub(super) const HOP_FRAMES: u32 = HOP as u32 * BATCH as u32;

/// Bits dropped from a batch before it is weighted.
const BATCH_SHIFT: u32 = 6;

/// Codes a unit of the tone, for one unit of a lead's sum over one of the tone's.
pub(super) const UNITS: f64 = (1_u32 << (12 + BATCH_SHIFT)) as f64;

/// In-phase and quadrature sums of a window.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct WindowSums {
    /// First and second lead of the path.
    pub(crate) leads: [[i64; 2]; 2],
    /// The tone.
    pub(crate) tone: [i32; 2],
}

/// A window being summed, and its age in batches; below zero before it begins.
#[derive(Clone, Copy, Debug)]
struct Flight {
    age: i16,
    sums: WindowSums,
}

/// Sums frames into overlapping windows.
#[derive(Clone, Debug)]
pub(crate) struct LockIn {
    codes: [[i32; BATCH]; 2],
    tone: [bool; BATCH],
    held: usize,
    /// Frame number of the first frame held.
    first: u32,
    flights: [Flight; OVERLAP],
}

impl LockIn {
    pub(crate) const fn new() -> Self {
        let mut flights = [Flight {
            age: 0,
            sums: WindowSums {
                leads: [[0; 2]; 2],
                tone: [0; 2],
            },
        }; OVERLAP];
        let mut n = 0;
        while n < OVERLAP {
            flights[n].age = -(n as i16) * HOP;
            n += 1;
        }
        Self {
            codes: [[0; BATCH]; 2],
            tone: [false; BATCH],
            held: 0,
            first: 0,
            flights,
        }
    }

    /// Takes the codes of the path's leads in frame `number`, which follows on the one before.
    /// Gives a window when this was its last frame.
    #[inline]
    pub(crate) fn push(&mut self, codes: [i32; 2], number: u32, high: bool) -> Option<WindowSums> {
        if self.held == 0 {
            self.first = number;
        }
        for (lead, code) in self.codes.iter_mut().zip(codes) {
            if let Some(place) = lead.get_mut(self.held) {
                *place = code;
            }
        }
        if let Some(place) = self.tone.get_mut(self.held) {
            *place = high;
        }
        self.held += 1;
        if self.held < BATCH {
            return None;
        }
        self.held = 0;
        self.sum_batch()
    }

    fn sum_batch(&mut self) -> Option<WindowSums> {
        let (mut cos, mut sin) = ([0; BATCH], [0; BATCH]);
        let mut tone = [0; 2];
        let mut phase = phase(self.first);
        for ((c, s), &high) in cos.iter_mut().zip(&mut sin).zip(&self.tone) {
            (*c, *s) = cos_sin(phase);
            phase = phase.wrapping_add(STEP);
            if high {
                tone[0] += *c;
                tone[1] -= *s;
            } else {
                tone[0] -= *c;
                tone[1] += *s;
            }
        }
        let round = |sum: i32| (sum + (1 << (BATCH_SHIFT - 1))) >> BATCH_SHIFT;
        let leads = [0, 1].map(|lead: usize| {
            let (i, q) = turned_sums(&self.codes[lead], &cos, &sin);
            [round(i), round(q)]
        });

        let mut finished = None;
        for flight in &mut self.flights {
            if let Ok(age) = usize::try_from(flight.age) {
                let w = weight_at(age);
                for (sums, batch) in flight.sums.leads.iter_mut().zip(leads) {
                    for (sum, part) in sums.iter_mut().zip(batch) {
                        *sum += i64::from(rounded_product(part, w));
                    }
                }
                for (sum, part) in flight.sums.tone.iter_mut().zip(tone) {
                    *sum += rounded_product(part, w);
                }
            }
            flight.age += 1;
            if flight.age == BATCHES {
                flight.age = 0;
                finished = Some(core::mem::take(&mut flight.sums));
            }
        }
        finished
    }
}

/// Weight of batch `age` of a window, Q15: Hann's squared.
#[inline]
const fn weight_at(age: usize) -> i32 {
    // 800 entries of Hann's weight for 160 batches.
    let hann = weight(age * 5);
    (hann * hann) >> 15
}

/// `x c / 2^12`, rounded, for |x| < 2^24 and 0 <= c <= 2^15, by 32-bit multiplications. Cut
/// instead, 160 batches would leave 80 units, a quarter of a code, in every sum.
#[inline]
const fn rounded_product(x: i32, c: i32) -> i32 {
    (x >> 12) * c + (((x & 0xFFF) * c + 0x800) >> 12)
}

#[cfg(test)]
mod tests {
    use super::super::tone::tone_is_high;
    use super::*;
    use crate::sample::AdcCode;

    #[test]
    fn no_sum_overflows_at_full_scale() {
        // A square wave at full scale in step with the tone is the worst case of every sum;
        // debug builds panic on overflow, and the stated bounds are checked here.
        let (high, low) = (AdcCode::MAX.get(), AdcCode::MIN.get());
        let mut lock_in = LockIn::new();
        let mut windows = 0;
        for number in 0..4 * WINDOW {
            let tone = tone_is_high(number);
            let codes = if tone { [high, low] } else { [low, high] };
            let Some(sums) = lock_in.push(codes, number, tone) else {
                continue;
            };
            windows += 1;
            for sum in sums.leads.iter().flatten() {
                assert!((sum.unsigned_abs() as f64) < 33.8_f64.exp2());
            }
            for sum in sums.tone {
                assert!(f64::from(sum.unsigned_abs()) < 28.8_f64.exp2());
            }
            let size = |[i, q]: [i64; 2]| (i as f64).hypot(q as f64);
            // 2/pi of full scale under weights of 3/8 on average: 2^31.6.
            assert!(size(sums.leads[0]) > 31.5_f64.exp2(), "near the worst case");
        }
        assert_eq!(windows, 13, "four windows long: 1 + 3 x 4");
    }

    #[test]
    fn weight_products_are_rounded_not_cut() {
        for x in [-(1 << 24), -4097, -1, 0, 1, 2047, 4096, (1 << 24) - 1] {
            for c in [0, 1, 12_345, 32_768] {
                let exact = f64::from(x) * f64::from(c) / 4096.0;
                let off = f64::from(rounded_product(x, c)) - exact;
                assert!(off.abs() <= 0.5, "{x} {c}");
            }
        }
    }

    #[test]
    fn a_lead_that_follows_the_tone_reads_its_level() {
        let mut lock_in = LockIn::new();
        for number in 7..7 + WINDOW {
            let tone = tone_is_high(number);
            let level = if tone { 12_345 } else { -12_345 };
            if let Some(sums) = lock_in.push([level, 0], number, tone) {
                let [i, q] = sums.tone.map(f64::from);
                let [a, b] = sums.leads[0].map(|sum| sum as f64 * UNITS);
                let level = (a * i + b * q) / (i * i + q * q);
                // The rounding of the products is all that is lost.
                assert!((level - 12_345.0).abs() < 0.5, "{level}");
                assert!(((b * i - a * q) / (i * i + q * q)).abs() < 0.5);
                return;
            }
        }
        panic!("no window");
    }
}
