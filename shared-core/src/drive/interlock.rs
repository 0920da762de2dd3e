//! Where the drive may be closed, and whether it may stay closed: asked before, and again after
//! every window of the line.
//!
//! The leg to the clip is closed with the power on only where the clip is on an independent earth: on
//! an appliance it is the way through the burner that is asked for, and somebody's hand may be in
//! there.
//!
//! This is the slow check, on calibrated values. The fast one, a peak on every frame, runs in the
//! converter's interrupt and needs neither calibration nor window.

use super::estimator::leads;
use crate::calibration::Calibration;
use crate::evidence::{Evidence, Missing};
use crate::limits::Limits;
use crate::slots::{ClipTarget, Lead, Pair};
use crate::stimulus::DrivePath;
use crate::units::{Hertz, Volts};
use crate::window::WindowSums;

/// What the check looks at.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Seen {
    /// Line-frequency voltage of the path.
    path: Volts,
    /// True RMS of the pairs of slots.
    slots: [Volts; 3],
}

/// Whether the drive may be closed on `path` after what a test has measured so far.
///
/// # Errors
/// Why not: a voltage that was not measured, or one that is too high ([`Missing::Refused`]).
pub fn may_close(path: DrivePath, evidence: &Evidence, limits: &Limits) -> Result<(), Missing> {
    let slots = evidence.slots?;
    let path_voltage = match path {
        DrivePath::WideToGround => slots.ground_wide().fundamental.rms,
        DrivePath::WideToClip => evidence.clip_wide?.rms,
    };
    let seen = Seen {
        path: path_voltage,
        slots: slots.pairs.map(|pair| pair.true_rms),
    };
    seen.allows(path, evidence.clip_target, limits)
}

/// Whether the drive may stay closed on `path` after a window of the line. `frequency` is the
/// line's; without one, the window's own tuning is looked at. `clip`: what the clip was said to be on.
///
/// # Errors
/// [`Missing::Refused`] when a voltage is too high, [`Missing::Clipped`] when a lead was beyond
/// full scale, [`Missing::Unsteady`] when the window was too far off tune to say.
pub fn may_stay(
    path: DrivePath,
    clip: ClipTarget,
    sums: &WindowSums,
    frequency: Option<Hertz>,
    calibration: &Calibration,
    limits: &Limits,
) -> Result<(), Missing> {
    if sums.clipped_frames() > 0 {
        return Err(Missing::Clipped);
    }
    let frequency = frequency.unwrap_or(Hertz::from_f64(sums.tuning().hertz()));
    let phasors = sums
        .phasors(calibration, frequency)
        .ok_or(Missing::Unsteady)?;
    let between =
        |(first, second): (Lead, Lead)| phasors[first.channel()] - phasors[second.channel()];
    let true_rms = |pair: Pair| {
        sums.spread(calibration, pair.leads(), between(pair.leads()), frequency)
            .true_rms
    };
    let seen = Seen {
        path: between(leads(path)).rms(),
        slots: Pair::SLOTS.map(true_rms),
    };
    seen.allows(path, clip, limits)
}

impl Seen {
    /// Written so that a NaN refuses.
    fn allows(self, path: DrivePath, clip: ClipTarget, limits: &Limits) -> Result<(), Missing> {
        let limits = &limits.drive;
        let is_low = self.path < limits.path_most;
        let is_off = self.slots.iter().all(|&slot| slot <= limits.power_off_most);
        let is_fit = match path {
            DrivePath::WideToGround => true,
            DrivePath::WideToClip => is_off || clip == ClipTarget::IndependentEarth,
        };
        if is_low && is_fit {
            Ok(())
        } else {
            Err(Missing::Refused)
        }
    }
}
