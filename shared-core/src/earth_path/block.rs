//! One block of frames: integer sums, then two voltages as complex numbers.
//!
//! Model: over a block of two cycles the supply is one sinusoid near 60 Hz, its harmonics, the
//! converter's offset and noise. The 116 frames used are weighted by a trapezoid, 100 frames
//! running over 17: 100 frames are 1.5 cycles, whose transform has a zero at every 40 Hz from
//! the tuned frequency, so at the line's own image (120 Hz off), at every odd harmonic and at
//! its image. Tuned half a hertz off, a third harmonic leaks by 1 % of itself; plain sums of
//! 116 frames leak 9 %. The trapezoid costs `sqrt(116 / 106) = 1.05` in noise. What is left of
//! the image and the offset's leak are computed and taken out.
//!
//! Every block starts at oscillator phase zero and is then turned by the angle of `v_nw`, so
//! neither the phase of the supply nor a tuning half a hertz off matters.
//!
//! Overflow, per frame and for the block, at full scale `|x| = 2^23` with the weighted sine in
//! Q15: `x c / 2^14` is formed of `(x >> 14) c`, at most `2^9 2^15 = 2^24`, and of
//! `(x mod 2^14) c < 2^29` before its shift: a term is at most `2^24` times its weight, and
//! weights that add up to `100 < 2^6.65` keep the sum below `2^30.65`. All 32-bit.

use core::f64::consts::{FRAC_1_SQRT_2, SQRT_2};

use num_complex::Complex;

use super::pattern::{BLOCK_FRAMES, SETTLING_FRAMES};
use crate::calibration::{Calibration, ChannelCalibration};
use crate::sample::{FRAMES_PER_SECOND, Frame};
use crate::slots::Lead;
use crate::window::Tuning;
use crate::window::tables::{ONE, SINE_SCALE, cos_sin};

/// Leads that are summed. The clip takes no part.
const SUMMED: [Lead; 3] = [Lead::Narrow, Lead::Wide, Lead::Ground];

/// Frames of a block that are used.
const USED: u32 = BLOCK_FRAMES - SETTLING_FRAMES;

/// Bits dropped from a product of code and sine.
const SHIFT: u32 = 14;

/// Frames of the trapezoid's slopes, each.
const SLOPE: usize = 16;

/// Rising weights in Q15, 1/17 to 16/17; the falling ones are these backwards.
static RISING: [u16; SLOPE] = {
    let mut table = [0; SLOPE];
    let mut n = 0;
    while n < SLOPE {
        table[n] = ((n as i32 + 1) * ONE / (SLOPE as i32 + 1)) as u16;
        n += 1;
    }
    table
};

/// Sum of the weights.
const WEIGHTS: f64 = {
    let mut sum = 0;
    let mut n = 0;
    while n < USED as usize {
        sum += weight(n);
        n += 1;
    }
    sum as f64 / ONE as f64
};

/// Weight of used frame `n`, Q15.
#[inline]
const fn weight(n: usize) -> i32 {
    let from_end = (USED as usize - 1).saturating_sub(n);
    let place = if n < from_end { n } else { from_end };
    if place < SLOPE {
        RISING[place] as i32
    } else {
        ONE
    }
}

/// RMS codes for one unit of a sum: a sinusoid of amplitude A leaves
/// `A/2 WEIGHTS 32767 / 2^14`, and its RMS is `A / sqrt 2`.
const RMS_CODES: f64 = SQRT_2 * (1_u32 << SHIFT) as f64 / (SINE_SCALE * WEIGHTS);

/// Weighted cosine and sine of used frame `n`, full scale 32767.
#[inline]
fn weighted(n: usize, phase: u32) -> (i32, i32) {
    let (cos, sin) = cos_sin(phase);
    let w = weight(n);
    // Rounded; at most 2^15 2^15 before the shift.
    let under = |c: i32| (w * c + ONE / 2) >> 15;
    (under(cos), under(sin))
}

/// The oscillator of a block, and what leaks into its sums.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Oscillator {
    /// Phase step a frame; 2^32 is one turn.
    step: u32,
    /// What the conjugate of a line adds to its own phasor.
    image: Complex<f64>,
    /// RMS phasor that an offset of one code looks like.
    leak: Complex<f64>,
}

impl Oscillator {
    pub(crate) fn new(tuning: Tuning) -> Self {
        let turns = tuning.hertz() / f64::from(FRAMES_PER_SECOND);
        let step = (turns * 4_294_967_296.0 + 0.5) as u32;
        let (mut once, mut twice) = (Complex::new(0, 0), Complex::new(0, 0));
        let mut phase = 0_u32;
        for n in 0..USED as usize {
            once += conjugate(n, phase);
            twice += conjugate(n, phase.wrapping_mul(2));
            phase = phase.wrapping_add(step);
        }
        let share = 1.0 / (SINE_SCALE * WEIGHTS);
        let part = |sum: Complex<i32>| Complex::new(f64::from(sum.re), f64::from(sum.im)) * share;
        Self {
            step,
            image: part(twice),
            leak: part(once) * SQRT_2,
        }
    }

    /// Phase step a frame; 2^32 is one turn.
    pub(crate) const fn step(&self) -> u32 {
        self.step
    }
}

/// exp(-j phase) under the weight of used frame `n`, full scale 32767.
fn conjugate(n: usize, phase: u32) -> Complex<i32> {
    let (cos, sin) = weighted(n, phase);
    Complex::new(cos, -sin)
}

/// `x c / 2^14`, the low part rounded, by 32-bit multiplications.
#[inline]
const fn scaled_product(x: i32, c: i32) -> i32 {
    let low = (x & ((1 << SHIFT) - 1)) * c;
    (x >> SHIFT) * c + ((low + (1 << (SHIFT - 1))) >> SHIFT)
}

/// The sums of the block in hand.
#[derive(Clone, Debug)]
pub(crate) struct Sums {
    /// In phase and quadrature, lead by lead.
    leads: [[i32; 2]; SUMMED.len()],
    phase: u32,
    /// Frames of the block seen so far, the settling ones included.
    seen: u32,
    closed: bool,
    spoiled: bool,
    clipped: bool,
}

/// How a frame left the block.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Block {
    /// It goes on.
    Open,
    /// Ended, and whole.
    Whole,
    /// Ended with a lead beyond full scale in it.
    Clipped,
    /// Ended with frames missing, or with the probe switched in the middle of it.
    Spoiled,
}

impl Sums {
    /// A block of which `seen` frames have gone by. It is whole only from its first frame on;
    /// settling frames are not needed.
    pub(crate) const fn starting_at(seen: u32) -> Self {
        Self {
            leads: [[0; 2]; SUMMED.len()],
            phase: 0,
            seen,
            closed: false,
            spoiled: seen > SETTLING_FRAMES,
            clipped: false,
        }
    }

    /// Takes the next frame of the block.
    #[inline]
    pub(crate) fn push(&mut self, frame: &Frame, closed: bool, step: u32) -> Block {
        if self.seen >= SETTLING_FRAMES {
            if self.seen == SETTLING_FRAMES {
                self.closed = closed;
            }
            self.spoiled |= closed != self.closed;
            let place = (self.seen - SETTLING_FRAMES) as usize;
            let (cos, sin) = weighted(place, self.phase);
            self.phase = self.phase.wrapping_add(step);
            for (sum, lead) in self.leads.iter_mut().zip(SUMMED) {
                let code = frame.code(lead);
                self.clipped |= code.is_clipped();
                let [i, q] = sum;
                *i += scaled_product(code.get(), cos);
                *q -= scaled_product(code.get(), sin);
            }
        }
        self.seen += 1;
        if self.seen < BLOCK_FRAMES {
            Block::Open
        } else if self.spoiled {
            Block::Spoiled
        } else if self.clipped {
            Block::Clipped
        } else {
            Block::Whole
        }
    }

    /// Frames up to `seen` were lost. Those of the settling time are not needed.
    pub(crate) const fn skip_to(&mut self, seen: u32) {
        self.spoiled |= seen > SETTLING_FRAMES;
        self.seen = seen;
    }

    /// Whether the probe was closed.
    pub(crate) const fn closed(&self) -> bool {
        self.closed
    }
}

/// Offsets and gains of the summed leads.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Gains([ChannelCalibration; SUMMED.len()]);

impl Gains {
    pub(crate) fn new(calibration: &Calibration) -> Self {
        Self(SUMMED.map(|lead| calibration.channels[lead.channel()]))
    }
}

/// RMS voltages of a block, turned so that `v_nw` stands at angle zero. The front end's
/// response at 60 Hz is left in: it is the same in all, and only their ratio is used.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct BlockVolts {
    /// `v_gw`.
    pub(crate) ground_wide: Complex<f64>,
    /// `v_nw`.
    pub(crate) narrow_wide: f64,
}

impl BlockVolts {
    /// The voltages of a whole block. Floating point, once a block.
    pub(crate) fn of(sums: &Sums, oscillator: &Oscillator, gains: &Gains) -> Self {
        let mut volts = [Complex::new(0.0, 0.0); SUMMED.len()];
        for ((volts, [i, q]), channel) in volts.iter_mut().zip(sums.leads).zip(gains.0) {
            let codes = Complex::new(f64::from(i), f64::from(q)) * RMS_CODES
                - oscillator.leak * f64::from(channel.offset);
            // codes = line + image line*, solved for the line.
            let image = oscillator.image;
            let line = (codes - codes.conj() * image) / (1.0 - image.norm_sqr());
            *volts = line * channel.volts_per_code();
        }
        let [narrow, wide, ground] = volts;
        Self::turned(ground - wide, narrow - wide)
    }

    /// `ground_wide` against the angle of `narrow_wide`.
    pub(crate) fn turned(ground_wide: Complex<f64>, narrow_wide: Complex<f64>) -> Self {
        let size = libm::hypot(narrow_wide.re, narrow_wide.im);
        let back = if size > 0.0 {
            narrow_wide.conj() / size
        } else {
            Complex::new(FRAC_1_SQRT_2, FRAC_1_SQRT_2)
        };
        Self {
            ground_wide: ground_wide * back,
            narrow_wide: size,
        }
    }
}

#[cfg(test)]
mod tests {
    use core::f64::consts::TAU;

    use super::*;
    use crate::front_end::NOMINAL_VOLTS_PER_CODE;
    use crate::sample::AdcCode;
    use crate::units::Hertz;

    const NOMINAL: Gains = Gains(
        [ChannelCalibration {
            offset: 0,
            gain: 1.0,
        }; 3],
    );

    #[test]
    fn no_sum_overflows_at_full_scale() {
        for codes in [
            [AdcCode::MAX, AdcCode::MIN, AdcCode::MAX, AdcCode::MIN],
            [AdcCode::MIN; 4],
        ] {
            let oscillator = Oscillator::new(Tuning::NOMINAL);
            let mut sums = Sums::starting_at(0);
            for n in 0..BLOCK_FRAMES {
                // Square waves in step with the oscillator: the worst case.
                let place = n.saturating_sub(SETTLING_FRAMES);
                let (cos, _) = cos_sin(place.wrapping_mul(oscillator.step));
                let mut frame = Frame { codes };
                if cos < 0 {
                    frame.codes = codes.map(|code| AdcCode::saturating(-code.get()));
                }
                sums.push(&frame, true, oscillator.step);
            }
            // Debug builds panic on overflow; the stated bound is checked here, and that the
            // sum did grow.
            let largest = sums.leads.as_flattened().iter().map(|s| s.unsigned_abs());
            let largest = f64::from(largest.max().unwrap());
            assert!(largest < 30.65_f64.exp2() && largest > 29.0_f64.exp2());
        }
    }

    #[test]
    fn the_split_product_is_the_product_rounded() {
        for x in [-8_388_608, -16_385, -1, 0, 1, 16_383, 8_388_607] {
            for c in [-32_767, -1, 0, 1, 12_345, 32_767] {
                let exact = (i64::from(x) * i64::from(c) + (1 << 13)) >> 14;
                assert_eq!(i64::from(scaled_product(x, c)), exact, "{x} {c}");
            }
        }
    }

    /// A block at `hertz`, tuned to `tuned`: narrow 80 V, wide and ground apart from their
    /// share by `v_gw`.
    fn block(hertz: f64, tuned: f32, phase: f64, gw: Complex<f64>, offset: i32) -> BlockVolts {
        let oscillator =
            Oscillator::new(Tuning::new(Hertz::new(tuned), (Lead::Narrow, Lead::Wide)));
        let mut sums = Sums::starting_at(0);
        for n in 0..BLOCK_FRAMES {
            let angle = TAU * hertz * f64::from(n) / 4000.0 + phase;
            let turn = Complex::new(angle.cos(), angle.sin());
            let code = |rms: Complex<f64>| {
                let volts = (rms * turn).re * SQRT_2;
                AdcCode::saturating((volts / NOMINAL_VOLTS_PER_CODE).round() as i32 + offset)
            };
            let mut frame = Frame::default();
            frame.codes[0] = code(Complex::new(80.0, 0.0));
            frame.codes[1] = code(Complex::new(-40.0, 0.0));
            frame.codes[2] = code(Complex::new(-40.0, 0.0) + gw);
            sums.push(&frame, false, oscillator.step);
        }
        let mut gains = NOMINAL;
        for gain in &mut gains.0 {
            gain.offset = offset;
        }
        BlockVolts::of(&sums, &oscillator, &gains)
    }

    #[test]
    fn a_block_gives_back_the_voltages_it_was_made_of() {
        let gw = Complex::new(0.7, -1.1);
        for phase in 0..12 {
            let seen = block(60.0, 60.0, f64::from(phase) * 0.5, gw, 1200);
            // The sine table's angle is rounded to 1/4096 turn, 0.44 mrad rms; averaged over
            // 116 frames 0.04 mrad, of 1.3 V 50 uV.
            assert!((seen.ground_wide - gw).norm() < 1e-4, "{seen:?}");
            assert!((seen.narrow_wide - 120.0).abs() < 5e-3, "{seen:?}");
        }
    }

    #[test]
    fn half_a_hertz_off_tune_moves_a_block_by_little() {
        let gw = Complex::new(0.7, -1.1);
        for hertz in [59.5, 60.5] {
            for phase in 0..12 {
                let seen = block(hertz, 60.0, f64::from(phase) * 0.5, gw, 0);
                assert!((seen.narrow_wide / 120.0 - 1.0).abs() < 7e-3, "{seen:?}");
                assert!(
                    (seen.ground_wide - gw).norm() < 7e-3 * gw.norm() * 2.0,
                    "{seen:?}"
                );
            }
        }
    }

    #[test]
    fn a_block_with_the_probe_switched_in_its_middle_is_spoiled() {
        let end = |closed: &dyn Fn(u32) -> bool| {
            let mut sums = Sums::starting_at(0);
            (0..BLOCK_FRAMES)
                .map(|n| sums.push(&Frame::default(), closed(n), 1 << 26))
                .last()
        };
        assert_eq!(end(&|_| true), Some(Block::Whole));
        // Still switching while it settles: allowed.
        assert_eq!(end(&|n| n > 3), Some(Block::Whole));
        assert_eq!(end(&|n| n < 90), Some(Block::Spoiled));
    }
}
