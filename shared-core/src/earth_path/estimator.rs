//! Blocks in, resistance out.
//!
//! Per frame: integers ([`super::block`]). Per block: two complex voltages. On demand: second
//! differences of neighbouring blocks and the fit through them ([`super::fit`]). A block with a
//! lost frame is missing, and with it the three differences that it is part of.

use num_complex::Complex;

use super::block::{Block, BlockVolts, Gains, Oscillator, Sums};
use super::fit::{Differences, Fit};
use super::pattern::{BLOCK_FRAMES, BLOCKS, duration};
use super::{EarthPath, FIRST_LOOK, PROBE, PROBE_TOLERANCE, REFERENCE_TOLERANCE};
use crate::calibration::Calibration;
use crate::evidence::{Measured, Missing};
use crate::limits::Limits;
use crate::sample::Frame;
use crate::units::{Ohms, Ratio, Volts};
use crate::window::Tuning;

const WORDS: usize = BLOCKS.div_ceil(32);

/// A bit for every block.
type Bits = [u32; WORDS];

/// Frames of the probe's pattern to the resistance of the earth path. 6 kB: 12 bytes a block.
#[derive(Clone, Debug)]
pub struct Estimator {
    gains: Gains,
    oscillator: Oscillator,
    /// What the next block is tuned to.
    next: Option<Tuning>,
    sums: Sums,
    /// The frame that comes next.
    expected: u32,
    /// `v_gw` and `v_nw` of every block.
    ground_wide: [Complex<f32>; BLOCKS],
    narrow_wide: [f32; BLOCKS],
    present: Bits,
    closed: Bits,
    clipped: u16,
    /// Blocks gone by, the missing ones included.
    taken: u16,
    /// Blocks at which the result is looked at next.
    look: u16,
}

impl Estimator {
    /// An estimator at the start of a pattern.
    #[must_use]
    pub fn new(tuning: Tuning, calibration: &Calibration) -> Self {
        Self {
            gains: Gains::new(calibration),
            oscillator: Oscillator::new(tuning),
            next: None,
            sums: Sums::starting_at(0),
            expected: 0,
            ground_wide: [Complex::new(0.0, 0.0); BLOCKS],
            narrow_wide: [0.0; BLOCKS],
            present: [0; WORDS],
            closed: [0; WORDS],
            clipped: 0,
            taken: 0,
            look: FIRST_LOOK,
        }
    }

    /// Tunes the blocks from the next one on. Half a hertz off does no harm.
    pub const fn retune(&mut self, tuning: Tuning) {
        self.next = Some(tuning);
    }

    /// Takes a frame; `number` counts from the start of the pattern, lost frames included, and
    /// `closed` is what the probe did meanwhile. Returns true when the result is worth a look:
    /// after 4, 8 and 16 s. Frames beyond the pattern are ignored; a number that goes back
    /// starts anew.
    pub fn push(&mut self, frame: &Frame, number: u32, closed: bool) -> bool {
        if number != self.expected {
            self.jump_to(number);
        }
        self.expected = number.wrapping_add(1);
        if usize::from(self.taken) < BLOCKS {
            let block = self.sums.push(frame, closed, self.oscillator.step());
            if block != Block::Open {
                self.end_block(block);
            }
        }
        let is_due = self.taken >= self.look;
        if is_due {
            self.look = self.look.saturating_mul(2);
        }
        is_due
    }

    /// Blocks gone by, the missing ones included.
    #[must_use]
    pub const fn blocks(&self) -> u16 {
        self.taken
    }

    // Kept out of the path of a frame, which then needs no room on the stack.
    #[cold]
    #[inline(never)]
    fn jump_to(&mut self, number: u32) {
        if number < self.expected {
            self.present = [0; WORDS];
            self.closed = [0; WORDS];
            self.clipped = 0;
            self.taken = 0;
            self.look = FIRST_LOOK;
        }
        // Rare: the division may cost what it costs.
        let block = (number / BLOCK_FRAMES).min(BLOCKS as u32);
        if block > u32::from(self.taken) || number < self.expected {
            self.taken = block as u16;
            self.sums = Sums::starting_at(number % BLOCK_FRAMES);
        } else {
            self.sums.skip_to(number % BLOCK_FRAMES);
        }
    }

    #[cold]
    #[inline(never)]
    fn end_block(&mut self, block: Block) {
        let place = usize::from(self.taken);
        self.clipped += u16::from(block == Block::Clipped);
        if block == Block::Whole {
            let volts = BlockVolts::of(&self.sums, &self.oscillator, &self.gains);
            let closed = self.sums.closed();
            self.store(place, volts, closed);
        }
        self.taken += 1;
        if let Some(tuning) = self.next.take() {
            self.oscillator = Oscillator::new(tuning);
        }
        self.sums = Sums::starting_at(0);
    }

    fn store(&mut self, place: usize, volts: BlockVolts, closed: bool) {
        let (Some(ground_wide), Some(narrow_wide)) = (
            self.ground_wide.get_mut(place),
            self.narrow_wide.get_mut(place),
        ) else {
            return;
        };
        let BlockVolts {
            ground_wide: gw,
            narrow_wide: nw,
        } = volts;
        *ground_wide = Complex::new(gw.re as f32, gw.im as f32);
        *narrow_wide = nw as f32;
        set(&mut self.present, place, true);
        set(&mut self.closed, place, closed);
    }

    /// What the blocks so far say. Floating point, a few hundred thousand operations after
    /// 16 s: to be called when [`Estimator::push`] says so.
    #[must_use]
    pub fn estimate(&self, calibration: &Calibration, limits: &Limits) -> EarthPath {
        let mut answer = EarthPath {
            earth_path: Measured::Missing(Missing::Unsteady),
            hot_and_ground: Measured::Missing(Missing::Unsteady),
            standard_error: None,
            rejected: Ratio::ZERO,
            blocks: self.taken,
            lasted: duration(usize::from(self.taken)),
        };
        let Some(axis) = self.axis(limits) else {
            let missing = if self.clipped > self.taken / 2 {
                Missing::Clipped
            } else if self.present == [0; WORDS] {
                Missing::Unsteady
            } else {
                Missing::NoVoltage
            };
            answer.earth_path = Measured::Missing(missing);
            answer.hot_and_ground = Measured::Missing(missing);
            return answer;
        };
        let mut differences = Differences::EMPTY;
        self.fill(&mut differences, axis, |block| block.ground_wide);
        if let Some(fit) = differences.fit() {
            answer.rejected = Ratio::new(fit.rejected);
            answer.standard_error = Some(Ohms::new(fit.error));
            answer.earth_path = stated(fit, calibration, limits);
        }
        self.fill(&mut differences, axis, BlockPhasors::narrow_ground);
        if let Some(fit) = differences.fit() {
            // The current takes this voltage down.
            let turned = Fit {
                ohms: -fit.ohms,
                ..fit
            };
            let reading = reading(turned, calibration);
            answer.hot_and_ground = Measured::Known(reading);
        }
        answer
    }

    /// Direction of the probe's current: that of the mean `v_ng`. `None` where there is no
    /// voltage to drive one.
    fn axis(&self, limits: &Limits) -> Option<Complex<f32>> {
        let (mut sum, mut count) = (Complex::new(0.0, 0.0), 0.0);
        for block in (0..BLOCKS).filter_map(|place| self.block(place)) {
            sum += block.narrow_ground();
            count += 1.0;
        }
        let size = libm::hypotf(sum.re, sum.im);
        let is_driven = count > 0.0 && Volts::new(size / count) >= limits.probe.voltage_least;
        is_driven.then(|| sum / size)
    }

    fn block(&self, place: usize) -> Option<BlockPhasors> {
        if !get(&self.present, place) {
            return None;
        }
        Some(BlockPhasors {
            ground_wide: *self.ground_wide.get(place)?,
            narrow_wide: *self.narrow_wide.get(place)?,
            closed: get(&self.closed, place),
        })
    }

    /// Second differences of a voltage and of the current, both along `axis`.
    fn fill(
        &self,
        differences: &mut Differences,
        axis: Complex<f32>,
        voltage: impl Fn(&BlockPhasors) -> Complex<f32>,
    ) {
        let along = |value: Complex<f32>| value.re * axis.re + value.im * axis.im;
        // Every block is turned once, not once for each of the three differences it is part of.
        let turned = |place: usize| {
            let block = self.block(place)?;
            let current = along(block.current());
            Some((along(voltage(&block)), current, i8::from(block.closed)))
        };
        let (mut before, mut here) = (turned(0), turned(1));
        let count = usize::from(self.taken).saturating_sub(2);
        let Differences {
            volts,
            amperes,
            halves,
            count: places,
        } = differences;
        *places = count.min(volts.len());
        let rows = volts.iter_mut().zip(amperes).zip(halves);
        for (place, ((volts, amperes), halves)) in rows.take(count).enumerate() {
            let after = turned(place + 2);
            let triple = (before, here, after);
            (before, here) = (here, after);
            (*volts, *amperes, *halves) = match triple {
                (Some((v0, i0, s0)), Some((v1, i1, s1)), Some((v2, i2, s2))) => {
                    let all = s0 + s1 + s2;
                    // Three alike hold no current, only what is left of its noise.
                    let differs = all != 0 && all != 3;
                    (
                        (v1 - v0) * 0.5 - (v2 - v1) * 0.5,
                        if differs { i1 - (i0 + i2) * 0.5 } else { 0.0 },
                        2 * s1 - s0 - s2,
                    )
                }
                _ => (0.0, 0.0, 0),
            };
        }
    }
}

/// Voltages of one block as they are kept, against the angle of `v_nw`.
#[derive(Clone, Copy)]
struct BlockPhasors {
    ground_wide: Complex<f32>,
    narrow_wide: f32,
    closed: bool,
}

impl BlockPhasors {
    /// `v_ng = v_nw - v_gw`.
    fn narrow_ground(&self) -> Complex<f32> {
        Complex::new(self.narrow_wide, 0.0) - self.ground_wide
    }

    /// The probe's current.
    fn current(&self) -> Complex<f32> {
        if self.closed {
            self.narrow_ground() / PROBE.get()
        } else {
            Complex::new(0.0, 0.0)
        }
    }
}

/// A fit as a reading of what lies beyond the reference resistor. Uncertainty: the fit's own
/// standard error, the probe's tolerance on all that was read, and the tolerance of the
/// reference; independent of each other.
fn reading(fit: Fit, calibration: &Calibration) -> crate::evidence::Reading<Ohms> {
    const SQRT_3: f32 = 1.732_050_8;
    let reference = calibration.reference.get();
    let of_probe = PROBE_TOLERANCE.get() / SQRT_3 * fit.ohms;
    let of_reference = REFERENCE_TOLERANCE.get() / SQRT_3 * reference;
    let u = libm::hypotf(libm::hypotf(fit.error, of_probe), of_reference);
    crate::evidence::Reading {
        value: Ohms::new(fit.ohms - reference),
        u: Ohms::new(u),
    }
}

/// The earth path as it may be stated.
fn stated(fit: Fit, calibration: &Calibration, limits: &Limits) -> Measured<Ohms> {
    let reading = reading(fit, calibration);
    if reading.value > limits.probe.range {
        return Measured::Missing(Missing::BeyondRange);
    }
    // What the probe's tolerance hides is not worth waiting for.
    let share = PROBE_TOLERANCE.get() * fit.ohms.abs();
    if fit.error <= limits.earth_path_u.get().max(share) {
        Measured::Known(reading)
    } else {
        Measured::Missing(Missing::Unsteady)
    }
}

fn get(bits: &Bits, place: usize) -> bool {
    bits.get(place / 32)
        .is_some_and(|word| word >> (place % 32) & 1 == 1)
}

fn set(bits: &mut Bits, place: usize, value: bool) {
    if let Some(word) = bits.get_mut(place / 32) {
        let bit = 1 << (place % 32);
        *word = if value { *word | bit } else { *word & !bit };
    }
}
