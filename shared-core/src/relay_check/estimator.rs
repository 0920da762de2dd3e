//! The frames of one pass to what they say of each relay.
//!
//! Probe: a block's `v_gw` against the mean of its open neighbours, over the current that the
//! probe would carry, is the ohms that the current came through: `R_cal + R` through a welded
//! partner, none through a sound one. Six differences for each relay; their median stands, and
//! its uncertainty comes from the median size of what is left of all twelve, times
//! `1.4826 x 1.2533 / sqrt 6`, and half as much again for so few (judgement, held against 4000
//! drawn passes). A load that switches in the pass spoils one or two of twelve.
//!
//! A current is believed in one relay only, the other clear of it: a load that keeps time with
//! the blocks shows in both.
//!
//! Drive: two windows of 1600 frames, the tone turned between. A current shows in both with the
//! same sign against the tone; a hum at 85 Hz shows with opposite ones.
//!
//! Frames are summed as for the earth path and the drive ([`crate::earth_path`],
//! [`crate::drive`]): integers, bounds stated there. A pass with a lost frame says nothing.

use num_complex::Complex;

use super::pattern::{BLOCKS, FRAMES, TURN, relay_of_block, tone};
use crate::calibration::Calibration;
use crate::drive::lock_in::{LockIn, WindowSums};
use crate::drive::share_of_window;
use crate::earth_path::PROBE;
use crate::earth_path::block::{Block, BlockVolts, Gains, Oscillator, Sums};
use crate::limits::RelayLimits;
use crate::sample::Frame;
use crate::self_test::Relay;
use crate::slots::Lead;
use crate::stimulus::{DrivePath, ProbeRelay};
use crate::window::Tuning;

/// Closings of each relay in a pass.
const CLOSINGS: usize = (BLOCKS - 1) / 4;

/// Standard uncertainty of a median of six over the median size of the residuals.
const U_PER_MEDIAN: f32 = 1.4826 * 1.2533 / 2.449_5 * 1.5;

/// What a pass says of a relay.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Said {
    /// No current that it should have held.
    Opens,
    /// A current flows.
    Flows {
        /// What it reads.
        milliohms: i32,
        /// Largest reading that is none.
        most_milliohms: i32,
    },
    /// The background hides it.
    Untold,
}

/// What a pass says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Pass([Said; Relay::ALL.len()]);

impl Pass {
    /// What it says of each relay, in the order of [`Relay::ALL`].
    #[must_use]
    pub const fn new(said: [Said; Relay::ALL.len()]) -> Self {
        Self(said)
    }

    /// What it says of `relay`.
    #[must_use]
    pub fn of(&self, relay: Relay) -> Said {
        self.0.get(relay as usize).copied().unwrap_or(Said::Untold)
    }
}

/// A median and its standard uncertainty, ohms.
type Found = (f32, f32);

/// One pass.
#[derive(Clone, Debug)]
pub struct Estimator {
    pass: u8,
    probe: bool,
    gains: Gains,
    oscillator: Oscillator,
    sums: Sums,
    /// The frame that comes next.
    expected: u32,
    /// A frame is missing or was beyond full scale.
    spoiled: bool,
    /// `v_gw` and `v_nw` of every block.
    ground_wide: [Complex<f32>; BLOCKS],
    narrow_wide: [f32; BLOCKS],
    taken: u8,
    ground: Windows,
    clip: Windows,
}

/// The two windows of a path of the drive.
#[derive(Clone, Debug)]
struct Windows {
    lock_in: LockIn,
    kept: [Option<WindowSums>; 2],
}

impl Windows {
    const NEW: Self = Self {
        lock_in: LockIn::new(),
        kept: [None; 2],
    };

    #[inline]
    fn push(&mut self, codes: [i32; 2], number: u32, high: bool) {
        if let Some(sums) = self.lock_in.push(codes, number, high) {
            // Windows end every 400 frames from 1599 on; those about the turn hold both signs.
            match number + 1 {
                TURN => self.kept[0] = Some(sums),
                end if end == 2 * TURN => self.kept[1] = Some(sums),
                _ => {}
            }
        }
    }
}

impl Estimator {
    /// An estimator at the start of pass `pass`. `probe`: whether the probe's relays take part.
    #[must_use]
    pub fn new(pass: u8, probe: bool, tuning: Tuning, calibration: &Calibration) -> Self {
        Self {
            pass,
            probe,
            gains: Gains::new(calibration),
            oscillator: Oscillator::new(tuning),
            sums: Sums::starting_at(0),
            expected: 0,
            spoiled: false,
            ground_wide: [Complex::new(0.0, 0.0); BLOCKS],
            narrow_wide: [0.0; BLOCKS],
            taken: 0,
            ground: Windows::NEW,
            clip: Windows::NEW,
        }
    }

    /// Number of the pass.
    #[must_use]
    pub const fn pass(&self) -> u8 {
        self.pass
    }

    /// Whether the probe's relays take part.
    #[must_use]
    pub const fn probe(&self) -> bool {
        self.probe
    }

    /// Takes frame `number` of the pass. True when it was the last. Frames beyond a pass are
    /// left over from the one before, as long as none of this one came.
    // Never inlined: what runs for a second in a test must not weigh on every frame.
    #[inline(never)]
    pub fn push(&mut self, frame: &Frame, number: u32) -> bool {
        if number >= FRAMES {
            return self.expected != 0;
        }
        self.spoiled |= number != self.expected;
        self.expected = number.wrapping_add(1);
        if usize::from(self.taken) >= BLOCKS {
            return true;
        }
        let is_closed = self.probe && relay_of_block(u32::from(self.taken), self.pass).is_some();
        let high = tone(number, self.pass);
        let [wide, ground, clip] =
            [Lead::Wide, Lead::Ground, Lead::Clip].map(|lead| frame.code(lead).get());
        self.ground.push([wide, ground], number, high);
        self.clip.push([wide, clip], number, high);
        let block = self.sums.push(frame, is_closed, self.oscillator.step());
        if block != Block::Open {
            self.end_block(block);
        }
        usize::from(self.taken) >= BLOCKS
    }

    #[cold]
    #[inline(never)]
    fn end_block(&mut self, block: Block) {
        let place = usize::from(self.taken);
        self.taken += 1;
        self.spoiled |= block != Block::Whole;
        let volts = BlockVolts::of(&self.sums, &self.oscillator, &self.gains);
        if let (Some(ground_wide), Some(narrow_wide)) = (
            self.ground_wide.get_mut(place),
            self.narrow_wide.get_mut(place),
        ) {
            let gw = volts.ground_wide;
            *ground_wide = Complex::new(gw.re as f32, gw.im as f32);
            *narrow_wide = volts.narrow_wide as f32;
        }
        self.sums = Sums::starting_at(0);
    }

    /// What the pass says. Floating point: to be called when [`Estimator::push`] says so.
    #[must_use]
    pub fn judge(&self, calibration: &Calibration, limits: &RelayLimits) -> Pass {
        if self.spoiled || usize::from(self.taken) < BLOCKS {
            return Pass([Said::Untold; 4]);
        }
        let of_drive = [
            (DrivePath::WideToGround, &self.ground),
            (DrivePath::WideToClip, &self.clip),
        ]
        .map(|(path, windows)| said_of_drive(path, windows, calibration, limits));
        // The drive's tone through a welded relay stands in the probe's blocks too.
        let is_driven = of_drive
            .iter()
            .any(|said| matches!(said, Said::Flows { .. }));
        let [b, a] = if self.probe && !is_driven {
            self.said_of_probe(limits)
        } else {
            [Said::Untold; 2]
        };
        let [ground, clip] = of_drive;
        Pass([a, b, ground, clip])
    }

    /// With A closed alone, and with B: what it says of the partner, B and A.
    fn said_of_probe(&self, limits: &RelayLimits) -> [Said; 2] {
        let Some((alone_a, alone_b)) = self.found(limits) else {
            return [Said::Untold; 2];
        };
        let (flows, sigmas) = (limits.flows.get(), limits.sigmas.get());
        let is_none = |(ohms, u): Found| ohms.abs() + sigmas * u < flows;
        let is_some = |(ohms, u): Found| ohms - sigmas * u > flows;
        let said = |own: Found, other: Found| {
            if is_none(own) {
                Said::Opens
            } else if is_some(own) && is_none(other) {
                flowing(f64::from(own.0), f64::from(flows))
            } else {
                Said::Untold
            }
        };
        [said(alone_a, alone_b), said(alone_b, alone_a)]
    }

    /// Ohms with A closed alone, and with B; `None` where there is no voltage.
    fn found(&self, limits: &RelayLimits) -> Option<(Found, Found)> {
        let narrow_ground = |place: usize| {
            let narrow_wide = Complex::new(*self.narrow_wide.get(place)?, 0.0);
            Some(narrow_wide - *self.ground_wide.get(place)?)
        };
        let mut sum = Complex::new(0.0, 0.0);
        for place in 0..BLOCKS {
            sum += narrow_ground(place)?;
        }
        let size = libm::hypotf(sum.re, sum.im);
        if size <= 0.0 {
            return None;
        }
        let axis = sum / size;
        let current = size / BLOCKS as f32 / PROBE.get();
        let along = |place: usize| {
            let volts = self.ground_wide.get(place)?;
            Some(volts.re * axis.re + volts.im * axis.im)
        };
        let mut ohms = [[0.0; CLOSINGS]; 2];
        let mut counts = [0; 2];
        for place in 1..BLOCKS - 1 {
            let row = match relay_of_block(place as u32, self.pass) {
                Some(ProbeRelay::A) => 0,
                Some(ProbeRelay::B) => 1,
                None => continue,
            };
            let apart = along(place)? - (along(place - 1)? + along(place + 1)?) * 0.5;
            *ohms.get_mut(row)?.get_mut(*counts.get(row)?)? = apart / current;
            *counts.get_mut(row)? += 1;
        }
        let [alone_a, alone_b] = ohms.map(|ohms| with_u(ohms, limits));
        Some((alone_a?, alone_b?))
    }
}

/// Median and uncertainty of the closings of one relay.
fn with_u(mut ohms: [f32; CLOSINGS], limits: &RelayLimits) -> Option<Found> {
    let middle = median(&mut ohms);
    let mut left = ohms.map(|ohms| (ohms - middle).abs());
    let u = (median(&mut left) * U_PER_MEDIAN).max(limits.least_u.get());
    // Written so that a NaN gives nothing.
    (middle.is_finite() && u.is_finite()).then_some((middle, u))
}

fn said_of_drive(
    path: DrivePath,
    windows: &Windows,
    calibration: &Calibration,
    limits: &RelayLimits,
) -> Said {
    let [Some(before), Some(after)] = &windows.kept else {
        return Said::Untold;
    };
    let [Some(before), Some(after)] =
        [before, after].map(|sums| share_of_window(path, sums, calibration))
    else {
        return Said::Untold;
    };
    let source = f64::from(calibration.drive.source.get());
    let flows = match path {
        DrivePath::WideToGround => {
            let flows = f64::from(limits.flows.get());
            flows / (source + flows)
        }
        DrivePath::WideToClip => f64::from(limits.follows.get()),
    };
    let mean = (before + after) / 2.0;
    let is_none = |share: Complex<f64>| libm::hypot(share.re, share.im) < flows;
    let is_current = before.re > flows
        && after.re > flows
        && mean.im.abs() < mean.re * f64::from(limits.reactance_share.get())
        && libm::hypot(before.re - after.re, before.im - after.im)
            < mean.re * f64::from(limits.apart_share.get());
    if is_none(before) && is_none(after) {
        Said::Opens
    } else if is_current {
        // Ohms that take this share of the level, held below all of it.
        let ohms = |share: f64| share.min(0.999) / (1.0 - share.min(0.999)) * source;
        flowing(ohms(mean.re), ohms(flows))
    } else {
        Said::Untold
    }
}

fn flowing(ohms: f64, most: f64) -> Said {
    Said::Flows {
        milliohms: (ohms * 1000.0) as i32,
        most_milliohms: (most * 1000.0) as i32,
    }
}

/// Median of an even count; sorts.
fn median(values: &mut [f32]) -> f32 {
    values.sort_unstable_by(f32::total_cmp);
    let half = values.len() / 2;
    match (values.get(half.wrapping_sub(1)), values.get(half)) {
        (Some(low), Some(high)) => (low + high) * 0.5,
        _ => f32::NAN,
    }
}
