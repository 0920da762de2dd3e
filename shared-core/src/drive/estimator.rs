//! From frames with the drive closed to the ohms of its path.
//!
//! Model: the drive stands at +-E behind `R_s`, the path is an impedance Z, so at 85 Hz
//! `v = E s Z / (R_s + Z)` with s the tone. With `q = v / (E s)`, `Z = R_s q / (1 - q)`: the
//! current `(E - v) / R_s` needs no measurement of its own. Every window gives one Z; their
//! common value and its standard error come from the windows themselves (`robust`).
//!
//! The path from wide to ground contains the reference resistor, which is taken out; the path
//! from wide to clip contains the clip lead with a resistor of the same size, whose calibrated
//! zero is taken out.
//!
//! Limits: what hums at 85 Hz in step with the tone for four seconds cannot be told from it; a
//! load that modulates the line at 25 Hz does. Its phase is any, so most of it shows in the
//! imaginary part, where a path of copper has nothing: beyond [`DriveLimits::reactance_angle`]
//! the reading is refused as unsteady. The strings of both leads, 2 Mohm, lie in parallel to
//! the path: 0.05 % at 1 kohm. Noise: 2.2 mV a frame and lead are 0.014 ohm in four seconds.
//!
//! [`DriveLimits::reactance_angle`]: crate::limits::DriveLimits::reactance_angle

use num_complex::Complex;

use super::lock_in::{HOP_FRAMES, LockIn, UNITS, WINDOW, WindowSums};
use super::robust::{Common, common, median};
use super::tone::tone_is_high;
use super::{DriveCalibration, TONE};
use crate::calibration::Calibration;
use crate::calibration::raw::{NOMINAL, RawDrive, Share};
use crate::evidence::{Measured, Missing};
use crate::front_end::response;
use crate::limits::Limits;
use crate::sample::{FRAMES_PER_SECOND, Frame};
use crate::slots::Lead;
use crate::stimulus::{DrivePath, Interlock};
use crate::units::{Ohms, Ratio};

/// Frames after closing that are not used: relays close within 2 ms, the converter settles in
/// three frames.
pub const SETTLE: u32 = 20;

/// Windows of the normal measuring time, 4 s: 20 + 1600 + 36 x 400 frames are 4.005 s.
pub const NORMAL_WINDOWS: u16 = windows_in(4);

/// Windows of the longest measuring time, 16 s. Later ones are not kept.
pub const MOST_WINDOWS: u16 = windows_in(16);

/// Share of the tone's nominal size that its sum must have: less, and it did not run.
const TONE_LEAST: f64 = 0.9;

/// Nominal size of a window's sum of the tone: 4/pi x 1/2 x sum of weights (3/8 of 1600) x
/// 2^15 (oscillator) x 2^3 (weight of 2^15 / 2^12).
const TONE_SIZE: f64 = 2.0 / core::f64::consts::PI * 600.0 * 262_144.0;

/// Share of the level at which an interlock's last frame is called the drive's own, in step with
/// the tone; 4.24 V of 6 V are 0.71.
const OWN_LEVEL: core::ops::RangeInclusive<f64> = 0.7..=1.2;

/// ... and the least share by which it has risen since the frame before. A line of 4.24 V peak
/// moves by 0.4 V a frame, 0.07 of the level.
const OWN_RISE: f64 = 0.2;

/// Windows that end within so many seconds of measuring, rounded to whole seconds of hops.
const fn windows_in(seconds: u32) -> u16 {
    ((seconds * FRAMES_PER_SECOND - WINDOW) / HOP_FRAMES + 1) as u16
}

/// The 85 Hz sums of one window.
#[derive(Clone, Copy, Debug)]
struct Kept {
    leads: [[f32; 2]; 2],
    tone: [f32; 2],
}

impl Kept {
    const NONE: Self = Self {
        leads: [[0.0; 2]; 2],
        tone: [0.0; 2],
    };

    fn of(sums: &WindowSums) -> Self {
        Self {
            leads: sums.leads.map(|lead| lead.map(|sum| sum as f32)),
            tone: sums.tone.map(|sum| sum as f32),
        }
    }
}

/// The last frame seen, for the question why an interlock opened.
#[derive(Clone, Copy, Debug)]
struct Last {
    number: u32,
    codes: [i32; 2],
    /// Those of the frame before it.
    before: [i32; 2],
    high: bool,
}

/// Measures one path.
#[derive(Clone, Debug)]
pub struct Estimator {
    path: DrivePath,
    lock_in: LockIn,
    kept: [Kept; MOST_WINDOWS as usize],
    windows: u16,
    clipped: u32,
    last: Option<Last>,
}

impl Estimator {
    /// An estimator of no frames.
    #[must_use]
    pub const fn new(path: DrivePath) -> Self {
        Self {
            path,
            lock_in: LockIn::new(),
            kept: [Kept::NONE; MOST_WINDOWS as usize],
            windows: 0,
            clipped: 0,
            last: None,
        }
    }

    /// The path that it measures.
    #[must_use]
    pub const fn path(&self) -> DrivePath {
        self.path
    }

    /// Windows finished so far, at most [`MOST_WINDOWS`].
    #[must_use]
    pub const fn windows(&self) -> u16 {
        self.windows
    }

    /// Frames in which a lead of the path was beyond full scale.
    #[must_use]
    pub const fn clipped_frames(&self) -> u32 {
        self.clipped
    }

    /// Takes frame `number` since the drive was closed on `path`, while which its tone stood
    /// `high` or not. Returns true when a window was finished: the moment to look at the
    /// interlock again.
    ///
    /// A frame of another path is ignored. A frame that is missing before it, or beyond full
    /// scale, spoils the windows in hand: they begin anew.
    #[inline(never)]
    pub fn push(&mut self, frame: &Frame, number: u32, path: DrivePath, high: bool) -> bool {
        if path != self.path {
            return false;
        }
        let (first, second) = leads(path);
        let codes = [frame.code(first), frame.code(second)];
        let follows = self
            .last
            .is_none_or(|last| last.number.wrapping_add(1) == number);
        let is_clipped = codes.iter().any(|code| code.is_clipped());
        let codes = codes.map(crate::sample::AdcCode::get);
        self.last = Some(Last {
            number,
            codes,
            before: self.last.map_or(codes, |last| last.codes),
            high,
        });
        if number < SETTLE {
            return false;
        }
        if is_clipped {
            self.clipped = self.clipped.saturating_add(1);
            self.lock_in = LockIn::new();
            return false;
        }
        if !follows {
            self.lock_in = LockIn::new();
        }
        let Some(sums) = self.lock_in.push(codes, number, high) else {
            return false;
        };
        if let Some(place) = self.kept.get_mut(usize::from(self.windows)) {
            *place = Kept::of(&sums);
            self.windows += 1;
        }
        true
    }

    /// Takes the frame on which an interlock opened the drive, for [`Self::why_dropped`]: the
    /// one after the last that was pushed, and converted while the drive was still closed.
    #[cold]
    pub fn push_dropping(&mut self, frame: &Frame) {
        let number = self.last.map_or(0, |last| last.number.wrapping_add(1));
        self.push(frame, number, self.path, tone_is_high(number));
    }

    /// The resistance of the path, and its standard uncertainty: the scatter of the windows and
    /// the calibrated current.
    #[must_use]
    pub fn estimate(&self, calibration: &Calibration, limits: &Limits) -> Measured<Ohms> {
        match self.ohms(calibration, limits) {
            Ok((ohms, u)) => Measured::known(Ohms::from_f64(ohms), Ohms::from_f64(u)),
            Err(missing) => Measured::Missing(missing),
        }
    }

    /// What each lead of the path took of the nominal level, at nominal gains and lag: what a
    /// calibration of the drive is worked out from.
    ///
    /// # Errors
    /// [`Missing::Unsteady`] where there are too few windows, or the tone did not run.
    pub fn raw(&self) -> Result<RawDrive, Missing> {
        const MOST: usize = MOST_WINDOWS as usize;
        let count = usize::from(self.windows);
        let kept = self.kept.get(..count).unwrap_or(&[]);
        let scale = Scale::new(self.path, &NOMINAL);
        let mut values = [Complex::new(0.0, 0.0); MOST];
        let mut room = [0.0; MOST];
        let mut of = |weights: [f64; 2]| {
            let values = values.get_mut(..count).ok_or(Missing::Unsteady)?;
            for (value, window) in values.iter_mut().zip(kept) {
                *value = scale.weighted(window, weights).ok_or(Missing::Unsteady)?;
            }
            common(values, &mut room).ok_or(Missing::Unsteady)
        };
        let difference = of([1.0, -1.0])?;
        let leads = [of([1.0, 0.0])?, of([0.0, 1.0])?];
        Ok(RawDrive {
            path: self.path,
            leads: leads.map(|lead| Share::of(lead.value)),
            u: Ratio::from_f64(difference.u_real),
            windows: self.windows,
        })
    }

    /// Why there is no reading after an interlock opened the drive. An open path takes the
    /// drive's whole level, which is itself above what the interlock allows: it opens within the
    /// first frames, in step with the tone and at its level.
    #[must_use]
    pub fn why_dropped(&self, interlock: Interlock, calibration: &Calibration) -> Missing {
        if interlock == Interlock::Blind {
            return Missing::Unsteady;
        }
        let Some(last) = self.last.filter(|last| last.number < SETTLE) else {
            return Missing::Refused;
        };
        let share = |codes: [i32; 2]| {
            let (first, second) = leads(self.path);
            let [first, second] = [(first, codes[0]), (second, codes[1])].map(|(lead, code)| {
                let channel = &calibration.channels[lead.channel()];
                f64::from(code.saturating_sub(channel.offset)) * channel.volts_per_code()
            });
            let sign = if last.high { 1.0 } else { -1.0 };
            (first - second) * sign / f64::from(calibration.drive.level.get())
        };
        let rise = share(last.codes) - share(last.before);
        if OWN_LEVEL.contains(&share(last.codes)) && rise >= OWN_RISE {
            Missing::BeyondRange
        } else {
            Missing::Refused
        }
    }

    fn ohms(&self, calibration: &Calibration, limits: &Limits) -> Result<(f64, f64), Missing> {
        const MOST: usize = MOST_WINDOWS as usize;
        let limits = &limits.drive;
        let count = usize::from(self.windows);
        let kept = self.kept.get(..count).unwrap_or(&[]);
        if self.windows < limits.windows_least {
            return Err(if self.clipped > 0 {
                Missing::Clipped
            } else {
                Missing::Unsteady
            });
        }
        let mut values = [Complex::new(0.0, 0.0); MOST];
        let mut room = [0.0; MOST];
        let values = values.get_mut(..count).ok_or(Missing::Unsteady)?;

        let scale = Scale::new(self.path, calibration);
        for ((q, place), window) in values.iter_mut().zip(&mut room).zip(kept) {
            *q = scale.share(window).ok_or(Missing::Unsteady)?;
            *place = q.re;
        }
        let source = f64::from(calibration.drive.source.get());
        let middle = median(room.get_mut(..count).unwrap_or(&mut [])).ok_or(Missing::Unsteady)?;
        let beyond = f64::from(limits.beyond.get());
        if middle > beyond / (source + beyond) {
            return Err(Missing::BeyondRange);
        }
        for z in values.iter_mut() {
            *z = *z * source / (Complex::new(1.0, 0.0) - *z);
        }

        let Common {
            value,
            u_real,
            u_imaginary,
            agreeing,
        } = common(values, &mut room).ok_or(Missing::Unsteady)?;
        let reactance = f64::from(limits.reactance_floor.get())
            + f64::from(limits.reactance_angle.get()) * value.re.abs()
            + 4.0 * u_imaginary;
        let is_resistance = value.im.abs() <= reactance;
        let is_agreed = agreeing >= f64::from(limits.agreeing_share.get());
        let is_sharp = u_real <= f64::from(limits.u_most.get());
        if !(is_resistance && is_agreed && is_sharp) {
            return Err(Missing::Unsteady);
        }
        let u_current = f64::from(calibration.drive.u_current.get()) * value.re;
        let beside = match self.path {
            DrivePath::WideToGround => calibration.reference,
            DrivePath::WideToClip => calibration.drive.lead_zero,
        };
        let ohms = value.re - f64::from(beside.get());
        let u = libm::hypot(u_real, u_current);
        // Less than a path of copper has: the relay had not closed, or the lead's resistor is gone.
        if self.path == DrivePath::WideToClip && ohms + 3.0 * u < f64::from(limits.clip_least.get())
        {
            return Err(Missing::NoCurrent);
        }
        Ok((ohms, u))
    }
}

/// What turns the sums of a window into the share of the drive's level that its path takes.
struct Scale {
    /// Volts for one code of either lead over the level.
    per_code: [f64; 2],
    /// Turn and loss of the front end, undone.
    undo: Complex<f64>,
}

impl Scale {
    fn new(path: DrivePath, calibration: &Calibration) -> Self {
        let (first, second) = leads(path);
        let DriveCalibration { level, lag, .. } = calibration.drive;
        // The tone stands still for a frame, so it comes through one more sinc than a sine.
        let half_frame =
            core::f64::consts::PI * f64::from(TONE.get()) / f64::from(FRAMES_PER_SECOND);
        let held = libm::sin(half_frame) / half_frame;
        let lag = f64::from(lag.get());
        let turn = Complex::new(libm::cos(lag), libm::sin(lag));
        let per_level = |lead: Lead| {
            calibration.channels[lead.channel()].volts_per_code() / f64::from(level.get())
        };
        Self {
            per_code: [per_level(first), per_level(second)],
            undo: turn / (response(TONE) * held),
        }
    }

    /// `q` of a window; `None` if the tone did not run.
    fn share(&self, window: &Kept) -> Option<Complex<f64>> {
        self.weighted(window, [1.0, -1.0])
    }

    /// The weighted sum of the leads of a window as a share of the level.
    fn weighted(&self, window: &Kept, weights: [f64; 2]) -> Option<Complex<f64>> {
        let complex = |[i, q]: [f32; 2]| Complex::new(f64::from(i), f64::from(q));
        let tone = complex(window.tone);
        if libm::hypot(tone.re, tone.im) < TONE_LEAST * TONE_SIZE {
            return None;
        }
        let [first, second] = window.leads.map(complex);
        let sum =
            first * (self.per_code[0] * weights[0]) + second * (self.per_code[1] * weights[1]);
        Some(sum * UNITS / tone * self.undo)
    }
}

/// Share of the drive's level that the path took in one window; `None` if the tone did not run.
pub(crate) fn share_of_window(
    path: DrivePath,
    sums: &WindowSums,
    calibration: &Calibration,
) -> Option<Complex<f64>> {
    Scale::new(path, calibration).share(&Kept::of(sums))
}

/// The leads between which the drive stands: the first is driven positive while it is high.
pub(crate) const fn leads(path: DrivePath) -> (Lead, Lead) {
    match path {
        DrivePath::WideToGround => (Lead::Wide, Lead::Ground),
        DrivePath::WideToClip => (Lead::Wide, Lead::Clip),
    }
}
