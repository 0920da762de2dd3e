//! A beat: what one window says of the voltages against the wide slot.
//!
//! Ground and clip are turned so that `v_nw` stands at angle zero, as every voltage of a test
//! is; the angle of `v_nw` itself, which the line frequency carries on from window to window,
//! stands beside it. It is stated for the middle of the window: there a frequency that is
//! wrong by 1 mHz does not turn it, while at the first frame it would by 0.6 mrad.

use core::f64::consts::TAU;

use num_complex::Complex;

use crate::calibration::Calibration;
use crate::evidence::{Missing, Phasor};
use crate::limits::Limits;
use crate::sample::FRAMES_PER_SECOND;
use crate::slots::{LEADS, Lead, Pair};
use crate::units::{Millis, Radians, Volts};
use crate::window::sums::ComplexVolts;
use crate::window::{BLOCKS, HOP, WINDOW, WindowSums};

/// Milliseconds from one window to the next.
pub(crate) const BEAT_MILLIS: u64 = WINDOW as u64 * 1000 / FRAMES_PER_SECOND as u64;

/// Seconds from the first frame of a window to its middle.
const HALF_WINDOW: f64 = WINDOW as f64 / 2.0 / FRAMES_PER_SECOND as f64;

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
    /// lead's gain, and under the front end's response.
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
        let hertz = sums
            .frequency(calibration, limits.frequency_least)
            .ok_or(Missing::NoVoltage)?
            .hertz;
        let leads = sums
            .phasors_at(calibration, hertz)
            .ok_or(Missing::Unsteady)?;
        Ok(Self::of_leads(sums, calibration, &leads, hertz, at))
    }

    /// The same from the phasors of the leads, where they are known already.
    pub(crate) fn of_leads(
        sums: &WindowSums,
        calibration: &Calibration,
        leads: &[ComplexVolts; LEADS],
        hertz: f64,
        at: Millis,
    ) -> Self {
        let against_wide = |lead: Lead| leads[lead.channel()] - leads[Lead::Wide.channel()];
        let nw = against_wide(Lead::Narrow);
        let turns = hertz * HALF_WINDOW;
        let angle = f64::from(nw.angle().get()) + (turns - libm::floor(turns)) * TAU;
        Self {
            at,
            nw: nw.rms().get(),
            angle,
            gw: turned(against_wide(Lead::Ground), nw),
            cw: turned(against_wide(Lead::Clip), nw),
            course: course(sums, calibration),
        }
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

/// RMS codes for one unit of a block's sum: eighths of a code times 32767, under Hann weights
/// that add up to half the block.
const RMS_PER_UNIT: f64 = core::f64::consts::SQRT_2 * 4096.0 / (32_767.0 * HOP as f64);

fn course(sums: &WindowSums, calibration: &Calibration) -> [f32; BLOCKS] {
    let narrow = Lead::Narrow.channel();
    let unit = RMS_PER_UNIT * calibration.channels[narrow].volts_per_code();
    sums.blocks.map(|block| {
        let block = block.complex();
        (libm::hypot(block.re, block.im) * unit) as f32
    })
}

fn turned(volts: ComplexVolts, axis: ComplexVolts) -> Complex<f32> {
    let volts = volts.against(axis);
    Complex::new(volts.real().get(), volts.imaginary().get())
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
