//! A beat: what one window says of the voltages against the wide slot.
//!
//! Ground and clip are turned so that `v_nw` stands at angle zero, as every voltage of a test
//! is; the angle of `v_nw` itself, which the line frequency carries on from window to window,
//! stands beside it. It is stated for the middle of the window: there a frequency that is
//! wrong by 1 mHz does not turn it, while at the first frame it would by 0.6 mrad.
//!
//! The tester's core has no floating-point unit, and a beat is wanted of every window. So the
//! phasors are those of the tuning, which follows the line from window to window, with the loss
//! of what detuning is left made good by its square. The line's own image, 24 bins away under a
//! Hann window, is not taken out: 3e-6 of the voltage at 59.9 Hz. The phasors of a test, which
//! may be 1 Hz off tune, are [`WindowSums::phasors`].

use core::f64::consts::{PI, TAU};

use num_complex::Complex;

use crate::calibration::Calibration;
use crate::evidence::{Missing, Phasor};
use crate::front_end::response;
use crate::limits::Limits;
use crate::sample::FRAMES_PER_SECOND;
use crate::slots::{LEADS, Lead, Pair};
use crate::units::{Hertz, Millis, Radians, Volts};
use crate::window::sums::{RMS_PER_BLOCK, RMS_PER_SUM};
use crate::window::{BLOCKS, HOP, WINDOW, WindowSums, pair_response};

/// Milliseconds from one window to the next.
pub(crate) const BEAT_MILLIS: u64 = WINDOW as u64 * 1000 / FRAMES_PER_SECOND as u64;

/// Seconds from the first frame of a window to its middle.
const HALF_WINDOW: f64 = (WINDOW - 1) as f64 / 2.0 / FRAMES_PER_SECOND as f64;

/// What a Hann window loses of a line beside its tuning, per square of the distance in bins: its
/// transform is `sinc(d) / (1 - d^2)`, near 0 `1 - (pi^2/6 - 1) d^2`.
const LOSS: f64 = PI * PI / 6.0 - 1.0;

/// A window tuned further off than this many bins, 0.25 Hz, gives no beat: the square above is
/// right to 1e-5 up to there.
const MOST_DETUNING: f64 = 0.05;

/// Voltages against wide over one window.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Beat {
    /// End of the window.
    pub(crate) at: Millis,
    /// RMS of the fundamental of `v_nw`, volts.
    pub(crate) nw: f32,
    /// Angle of `v_nw` in the middle of the window, radians, against an oscillator of any
    /// frequency that turns whole times in 200 ms (60 Hz, 50 Hz).
    pub(crate) angle: f64,
    /// `v_gw` and `v_cw` against the angle of `v_nw`, volts.
    pub(crate) gw: Complex<f32>,
    pub(crate) cw: Complex<f32>,
    /// Size of `v_nw` over the frequency blocks, for its course only: in the volts of the narrow
    /// lead's gain, and under the response of the front end and of the sums, 0.23 % at 60 Hz.
    pub(crate) course: [f32; BLOCKS],
}

impl Beat {
    /// The beat of a whole window that ended at `at` by the converter's clock.
    ///
    /// # Errors
    /// [`Missing::Clipped`] if a lead was beyond full scale; [`Missing::NoVoltage`] if there is
    /// no voltage between the blades, or another pair has more than twice as much;
    /// [`Missing::Unsteady`] if the window was tuned too far off the line.
    pub fn of_window(
        sums: &WindowSums,
        calibration: &Calibration,
        limits: &Limits,
        at: Millis,
    ) -> Result<Self, Missing> {
        if sums.clipped_frames() > 0 {
            return Err(Missing::Clipped);
        }
        if sums.tuning().reference() != Pair::NarrowWide.leads() {
            return Err(Missing::NoVoltage);
        }
        let tuned = sums.tuning().hertz();
        let scale = RMS_PER_SUM / (response(Hertz::from_f64(tuned)) * pair_response(tuned));
        let leads: [Complex<f64>; LEADS] = core::array::from_fn(|lead| {
            sums.lead(lead).complex() * (calibration.channels[lead].volts_per_code() * scale)
        });
        let [narrow, wide, ground, clip] = leads;
        let nw = narrow - wide;
        let size = libm::hypot(nw.re, nw.im);
        if size < f64::from(limits.frequency_least.get()) {
            return Err(Missing::NoVoltage);
        }
        let detuning = detuning(sums);
        // Written so that a NaN is refused.
        let is_near = detuning.abs() <= MOST_DETUNING;
        if !is_near {
            return Err(Missing::Unsteady);
        }
        let gain = 1.0 + LOSS * detuning * detuning;
        let back = nw.conj() * (gain / size);
        let turned = |volts: Complex<f64>| {
            let volts = (volts - wide) * back;
            Complex::new(volts.re as f32, volts.im as f32)
        };
        let turns = tuned * HALF_WINDOW;
        Ok(Self {
            at,
            nw: (size * gain) as f32,
            angle: libm::atan2(nw.im, nw.re) + (turns - libm::floor(turns)) * TAU,
            gw: turned(ground),
            cw: turned(clip),
            course: course(sums, calibration),
        })
    }

    /// A beat from phasors against wide that share one axis, in the middle of a window that
    /// ended at `at`. Its course is flat.
    #[must_use]
    pub fn new(at: Millis, narrow_wide: Phasor, ground_wide: Phasor, clip_wide: Phasor) -> Self {
        let nw = narrow_wide.rms.get();
        let back = |phasor: Phasor| {
            let angle = phasor.angle.get() - narrow_wide.angle.get();
            rectangular(Phasor {
                angle: Radians::new(angle),
                ..phasor
            })
        };
        Self {
            at,
            nw,
            angle: f64::from(narrow_wide.angle.get()),
            gw: back(ground_wide),
            cw: back(clip_wide),
            course: [nw; BLOCKS],
        }
    }

    /// End of the window.
    #[must_use]
    pub const fn at(&self) -> Millis {
        self.at
    }

    /// Start of the window.
    pub(crate) const fn started(&self) -> Millis {
        Millis::new(self.at.get().saturating_sub(BEAT_MILLIS))
    }

    /// `|v_nw|`.
    #[must_use]
    pub const fn narrow_wide(&self) -> Volts {
        Volts::new(self.nw)
    }

    /// `|v_gw|`.
    #[must_use]
    pub fn ground_wide(&self) -> Volts {
        Volts::new(size(self.gw))
    }

    /// `|v_cw|`. Means nothing where the clip hangs free.
    #[must_use]
    pub fn clip_wide(&self) -> Volts {
        Volts::new(size(self.cw))
    }

    /// Whether the window of `self` began where that of `before` ended. A millisecond either
    /// way is the rounding of the two times.
    pub(crate) const fn follows(&self, before: &Self) -> bool {
        self.at.since(before.at).abs_diff(BEAT_MILLIS) <= 1
    }
}

/// How far the line is from the tuning of the window, in bins of 5 Hz: by the phase from the
/// first frequency block to the last, 150 ms apart. Unambiguous within 3.3 Hz.
fn detuning(sums: &WindowSums) -> f64 {
    let [first, .., last] = &sums.blocks;
    let turned = last.complex() * first.complex().conj();
    let turns = libm::atan2(turned.im, turned.re) / TAU;
    turns * WINDOW as f64 / ((BLOCKS - 1) * HOP) as f64
}

fn course(sums: &WindowSums, calibration: &Calibration) -> [f32; BLOCKS] {
    let narrow = Lead::Narrow.channel();
    let unit = RMS_PER_BLOCK * calibration.channels[narrow].volts_per_code();
    sums.blocks.map(|block| {
        let block = block.complex() * unit;
        size(Complex::new(block.re as f32, block.im as f32))
    })
}

pub(crate) fn size(volts: Complex<f32>) -> f32 {
    libm::hypotf(volts.re, volts.im)
}

pub(crate) fn rectangular(phasor: Phasor) -> Complex<f32> {
    Complex::new(phasor.in_phase().get(), phasor.quadrature().get())
}

pub(crate) fn polar(volts: Complex<f32>) -> Phasor {
    Phasor {
        rms: Volts::new(size(volts)),
        angle: Radians::new(libm::atan2f(volts.im, volts.re)),
    }
}
