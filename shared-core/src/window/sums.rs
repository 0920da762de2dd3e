//! From the sums of one window to volts and hertz. Floating point, once a window.
//!
//! Model: one sinusoid at the line frequency, its harmonics, a mean value and noise. The
//! tracked Hann window suppresses harmonics below 6e-6 of the fundamental; the line's own image
//! and the loss of a window tuned up to [`MAX_DETUNING_BINS`] off are computed and taken out
//! (`hann`).

use core::f64::consts::TAU;

use num_complex::Complex;

use super::batch::{GRAM_SHIFT, SHORT};
use super::hann::{Line, Staircase, pair_response};
use super::summing::{Quadrature, WindowSums};
use super::tables::{ONE, SINE_SCALE, WEIGHT_SUM};
use super::{BLOCKS, HOP, WINDOW};
use crate::calibration::Calibration;
use crate::front_end::response;
use crate::sample::FRAMES_PER_SECOND;
use crate::slots::{LEADS, Lead};
use crate::units::{Hertz, Radians, Volts};

/// A window tuned further off than this many bins (5 Hz each) gives no phasors: its frequency
/// tunes the next one. One tenth of a bin costs 0.65 % of amplitude, all of it corrected.
pub const MAX_DETUNING_BINS: f64 = 0.25;

/// Relative standard uncertainty of the frame clock: +-25 ppm over temperature and a year
/// (usual CMOS oscillator, from memory), taken as a rectangle: 25e-6 / sqrt 3.
const CLOCK_U: f64 = 1.45e-5;

/// A complex voltage: RMS size and angle of the line-frequency component.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct ComplexVolts(Complex<f64>);

impl ComplexVolts {
    /// No voltage.
    pub const ZERO: Self = Self(Complex::new(0.0, 0.0));

    pub(crate) fn scale(self, factor: f64) -> Self {
        Self(self.0 * factor)
    }

    /// `self` turned back by the angle of `reference`.
    pub(crate) fn against(self, reference: Self) -> Self {
        self.against_one_of(reference, reference.size())
    }

    /// The same, for whoever knows the reference's size: it costs a root.
    pub(crate) fn against_one_of(self, reference: Self, size: f64) -> Self {
        if size == 0.0 {
            return self;
        }
        Self(self.0 * reference.0.conj() / size)
    }

    pub(crate) fn size(self) -> f64 {
        libm::hypot(self.0.re, self.0.im)
    }

    /// RMS size.
    #[must_use]
    pub fn rms(self) -> Volts {
        Volts::from_f64(self.size())
    }

    /// Part in phase with the axis.
    #[must_use]
    pub fn real(self) -> Volts {
        Volts::from_f64(self.0.re)
    }

    /// Part a quarter turn ahead of the axis.
    #[must_use]
    pub fn imaginary(self) -> Volts {
        Volts::from_f64(self.0.im)
    }

    /// Angle, -pi ..= pi.
    #[must_use]
    pub fn angle(self) -> Radians {
        Radians::from_f64(libm::atan2(self.0.im, self.0.re))
    }
}

impl core::ops::Add for ComplexVolts {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self(self.0 + other.0)
    }
}

/// The voltage between two leads from their phasors against the star.
impl core::ops::Sub for ComplexVolts {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        Self(self.0 - other.0)
    }
}

/// Frequency of a window and its standard uncertainty.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Frequency {
    /// The estimate.
    pub value: Hertz,
    /// Standard uncertainty, clock included.
    pub u: Hertz,
    /// The estimate in full.
    pub(crate) hertz: f64,
}

/// Mean value, true RMS and residual of a pair, volts.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Spread {
    /// Mean value.
    pub mean: Volts,
    /// True RMS.
    pub true_rms: Volts,
    /// True RMS without mean value and fundamental.
    pub residual: Volts,
}

impl WindowSums {
    /// Line frequency on the reference pair: least-squares slope through the phases of the
    /// seven blocks.
    ///
    /// `None` if the pair's amplitude is below `least` in any block: there is nothing to
    /// measure a frequency of. Unambiguous within 20 Hz of the tuning.
    #[must_use]
    pub fn frequency(&self, calibration: &Calibration, least: Volts) -> Option<Frequency> {
        let (first, _) = self.tuning.reference();
        let volts_per_code = calibration.channels[first.channel()].volts_per_code();
        let rms_volts = RMS_PER_BLOCK * volts_per_code;
        let weakest = self
            .blocks
            .iter()
            .map(|block| block.complex().norm_sqr())
            .fold(f64::INFINITY, f64::min);
        // Squares, which cost no roots.
        let least = f64::from(least.get()) / rms_volts;
        if weakest < least * least {
            return None;
        }

        // First as the blocks stand, then again with the image of the frequency found taken
        // out of every block.
        let coarse = self.slope(self.blocks.map(Quadrature::complex)).hertz;
        let line = Line::new(Staircase::BLOCK, self.tuning.hertz(), coarse);
        let clean = line.without_images(self.blocks.map(Quadrature::complex), HOP);
        let Slope { hertz, u: u_fit } = self.slope(clean);
        let u_clock = hertz * CLOCK_U;
        Some(Frequency {
            value: Hertz::from_f64(hertz),
            u: Hertz::from_f64(libm::hypot(u_fit, u_clock)),
            hertz,
        })
    }

    /// Least-squares slope through the unwrapped phases of the blocks.
    fn slope(&self, blocks: [Complex<f64>; BLOCKS]) -> Slope {
        let mut phases = [0.0; BLOCKS];
        for k in 1..BLOCKS {
            phases[k] = phases[k - 1] + angle(blocks[k] * blocks[k - 1].conj());
        }
        let middle = (BLOCKS - 1) as f64 / 2.0;
        let mean = phases.iter().sum::<f64>() / BLOCKS as f64;
        let places = || (0..BLOCKS).map(|k| k as f64 - middle);
        let spread: f64 = places().map(|x| x * x).sum();
        let slope = places()
            .zip(phases)
            .map(|(x, p)| x * (p - mean))
            .sum::<f64>()
            / spread;
        let misfit: f64 = places()
            .zip(phases)
            .map(|(x, p)| {
                let off = p - mean - slope * x;
                off * off
            })
            .sum();
        let hertz_per_slope = f64::from(FRAMES_PER_SECOND) / HOP as f64 / TAU;
        // Overlapping blocks share half their samples, so their phases are not independent;
        // twice the plain standard error of the slope covers it (accuracy tests).
        let u_slope = 2.0 * libm::sqrt(misfit / (BLOCKS - 2) as f64 / spread);
        Slope {
            hertz: self.tuning.hertz() + slope * hertz_per_slope,
            u: u_slope * hertz_per_slope,
        }
    }

    /// Line-frequency phasor of every lead against the star, corrected for the detuning of
    /// the window and the response of the front end at `frequency`.
    ///
    /// `None` if the window was tuned too far off ([`MAX_DETUNING_BINS`]).
    #[must_use]
    pub fn phasors(
        &self,
        calibration: &Calibration,
        frequency: Hertz,
    ) -> Option<[ComplexVolts; LEADS]> {
        self.phasors_at(calibration, f64::from(frequency.get()))
    }

    pub(crate) fn phasors_at(
        &self,
        calibration: &Calibration,
        hertz: f64,
    ) -> Option<[ComplexVolts; LEADS]> {
        let bin = f64::from(FRAMES_PER_SECOND) / WINDOW as f64;
        let detuning = (hertz - self.tuning.hertz()) / bin;
        let is_near = detuning.abs() <= MAX_DETUNING_BINS;
        if !is_near {
            return None;
        }
        let line = Line::new(Staircase::WINDOW, self.tuning.hertz(), hertz);
        let scale = RMS_PER_SUM / (response(Hertz::from_f64(hertz)) * pair_response(hertz));
        Some(core::array::from_fn(|lead| {
            let volts = calibration.channels[lead].volts_per_code() * scale;
            ComplexVolts(line.undo(self.lead(lead).complex()) * volts)
        }))
    }

    /// Mean value of a lead in codes, offset included.
    pub(crate) fn mean_codes(&self, channel: usize) -> f64 {
        // Eighths of a weighted code.
        self.mean.get(channel).copied().unwrap_or(0) as f64 / (8.0 * WEIGHTS)
    }

    /// Mean value, true RMS and residual of the voltage between two leads, from the Gram
    /// matrix: a pair of slots, or the clip against wide. `fundamental` is the pair's phasor as [`WindowSums::phasors`] gave it for
    /// `frequency`.
    #[must_use]
    pub fn spread(
        &self,
        calibration: &Calibration,
        pair: (Lead, Lead),
        fundamental: ComplexVolts,
        frequency: Hertz,
    ) -> Spread {
        let (a, b) = (pair.0.channel(), pair.1.channel());
        let gain = |lead: usize| calibration.channels[lead].volts_per_code();
        let offset = |lead: usize| f64::from(calibration.channels[lead].offset);
        let mean = |lead: usize| self.mean_codes(lead);
        let mean_volts = gain(a) * (mean(a) - offset(a)) - gain(b) * (mean(b) - offset(b));

        // Both factors of a Gram term were divided by 2^8, their sums by 2^3.
        let unit = f64::from(1_u32 << (2 * SHORT + GRAM_SHIFT)) / WEIGHTS;
        let product = |i: usize, j: usize| {
            self.gram(i, j) as f64 * unit - offset(i) * mean(j) - offset(j) * mean(i)
                + offset(i) * offset(j)
        };
        let square = gain(a) * gain(a) * product(a, a) + gain(b) * gain(b) * product(b, b)
            - 2.0 * gain(a) * gain(b) * product(a, b);

        // The Gram matrix holds the fundamental as the converter delivered it.
        let delivered = fundamental.size() * response(frequency);
        let residual_square = (square - mean_volts * mean_volts - delivered * delivered).max(0.0);
        let true_square =
            mean_volts * mean_volts + fundamental.size() * fundamental.size() + residual_square;
        Spread {
            mean: Volts::from_f64(mean_volts),
            true_rms: Volts::from_f64(libm::sqrt(true_square)),
            residual: Volts::from_f64(libm::sqrt(residual_square)),
        }
    }
}

/// Sum of the window's weights, in units of one.
const WEIGHTS: f64 = WEIGHT_SUM as f64 / ONE as f64;

/// RMS codes for one unit of a lead's in-phase or quadrature sum: sixteenths of a code. A sinusoid
/// of amplitude A gives `A/2 weights 16 32767/32768`, and its RMS is `A / sqrt 2`.
pub(crate) const RMS_PER_SUM: f64 =
    core::f64::consts::SQRT_2 * ONE as f64 / (16.0 * SINE_SCALE * WEIGHTS);

/// The same of a frequency block, in eighths of a code, whose weights add up to half its frames.
pub(crate) const RMS_PER_BLOCK: f64 =
    core::f64::consts::SQRT_2 * ONE as f64 / (8.0 * SINE_SCALE * HOP as f64);

fn angle(value: Complex<f64>) -> f64 {
    libm::atan2(value.im, value.re)
}

/// A frequency and the standard uncertainty of the fit, hertz.
struct Slope {
    hertz: f64,
    u: f64,
}
