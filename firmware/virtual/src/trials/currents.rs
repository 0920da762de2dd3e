//! What the tester's own currents read in a trial, and what its tests of relays and limiters find.

use super::draw::Draw;
use super::fault::TesterFault;
use super::observe::{Seen, Tester};
use super::plugged::Moved;
use crate::circuit::Phasor;
use crate::house::HouseError;
use slotwise_core::evidence::{Measured, Missing};
use slotwise_core::slots::{LEADS, Pair};
use slotwise_core::stimulus::DrivePath;
use slotwise_core::units::Ohms;

/// The probe's interlocks, and the least that it can be read with.
const PROBE_REST: f64 = 5.0;
const PROBE_DRIVE: core::ops::Range<f64> = 20.0..150.0;

/// The drive's interlock, and the most that it reads.
const DRIVE_REST: f64 = 3.0;
const DRIVE_MOST: f64 = 1_000.0;

/// The least that the way to a clip reads, and the longest path that a limiter is tested over.
const CLIP_LEAST: f64 = 0.05;
const LIMITER_PATH: f64 = 200.0;

/// Ohms from which the tester takes a current to flow through a relay that is to be open.
const RELAY_FLOWS: f64 = 5.0;

/// What the probe reads, without its noise: the earth path, and hot conductor, source and earth
/// path together, both in ohms.
#[derive(Clone, Copy, Debug)]
pub(super) struct Probed {
    earth: f64,
    hot: f64,
}

impl Tester<'_> {
    /// The reference resistor, which is taken out of every reading through it.
    pub(super) fn reference(&self) -> f64 {
        f64::from(self.specimen.currents.reference.get())
    }

    /// What the probe reads, or why it is not switched on. The current is that of the drop over
    /// the probe's resistors, as the tester sees it.
    pub(super) fn probe(&self, free: &Seen) -> Result<Result<Probed, Missing>, HouseError> {
        let [rest, drive] =
            [Pair::GroundWide, Pair::NarrowGround].map(|pair| free.pair(pair).norm());
        if rest >= PROBE_REST || drive >= PROBE_DRIVE.end {
            return Ok(Err(Missing::Refused));
        }
        if drive < PROBE_DRIVE.start {
            return Ok(Err(Missing::NoVoltage));
        }
        let moved = self.plugged.probed()?;
        let [ground_wide, narrow_ground] =
            [Pair::GroundWide, Pair::NarrowGround].map(|pair| self.change(&moved, pair));
        let switched_on = free.pair(Pair::NarrowGround) + narrow_ground;
        let current = switched_on / f64::from(self.specimen.currents.probe_resistance().get());
        Ok(Ok(Probed {
            earth: (ground_wide / current).re - self.reference(),
            hot: (-narrow_ground / current).re - self.reference(),
        }))
    }

    /// What the drive to ground reads in ohms, or why it is not closed.
    pub(super) fn drive(&self, free: &Seen) -> Result<Result<f64, Missing>, HouseError> {
        let pair = Pair::GroundWide;
        if free.pair(pair).norm() >= DRIVE_REST {
            return Ok(Err(Missing::Refused));
        }
        Ok(self.driven(&self.plugged.driven()?, pair, self.reference()))
    }

    /// What the drive to the clip reads, the clip on an independent earth.
    pub(super) fn drive_to_clip(
        &self,
        on_earth: &Seen,
    ) -> Result<Result<f64, Missing>, HouseError> {
        let pair = Pair::ClipWide;
        if on_earth.pair(pair).norm() >= DRIVE_REST {
            return Ok(Err(Missing::Refused));
        }
        let lead = f64::from(self.specimen.currents.clip_reference.get());
        let read = self.driven(&self.plugged.driven_to_earth()?, pair, lead);
        // Less than any path has: no current.
        Ok(match read {
            Ok(ohms) if ohms < CLIP_LEAST => Err(Missing::NoCurrent),
            _ => read,
        })
    }

    /// Ohms beside `reference` of what the drive moves. The current is that of the drive's level less
    /// the voltage that the tester sees, over the drive's own resistance.
    pub(super) fn driven(&self, moved: &Moved, pair: Pair, reference: f64) -> Result<f64, Missing> {
        let parts = &self.specimen.currents;
        let level = f64::from(parts.drive_level.get());
        let source = f64::from(parts.drive_source.get());
        let (far, wide) = pair.leads();
        let path = moved.after[wide.channel()] - moved.after[far.channel()];
        // What flows, and what the tester makes of the voltage that it sees.
        let current = level / (path + source);
        let seen = match self.fault {
            Some(TesterFault::StuckDrive) => Phasor::new(0.0, 0.0),
            _ => -self.change(moved, pair) * current,
        };
        let whole = seen / (level - seen) * source;
        if whole.norm() >= DRIVE_MOST {
            Err(Missing::BeyondRange)
        } else {
            Ok(whole.re - reference)
        }
    }

    /// What the tests of the limiters find, where the drive was closed on a path of which they
    /// can tell.
    pub(super) fn finds_a_failed_limiter(
        &self,
        to_ground: Result<f64, Missing>,
        to_clip: Result<f64, Missing>,
    ) -> bool {
        let on = match self.fault {
            Some(TesterFault::FailedLimiter(DrivePath::WideToGround)) => to_ground,
            Some(TesterFault::FailedLimiter(DrivePath::WideToClip)) => to_clip,
            _ => return false,
        };
        on.is_ok_and(|ohms| ohms <= LIMITER_PATH)
    }

    /// What the test of the relays finds before the probe is used. With the partner of a welded
    /// relay closed, or with the tone alone, the whole current flows and reads what it always
    /// does, less certain by the shorter time: half an ohm in a busy house.
    pub(super) fn finds_a_closed_relay(
        &self,
        probe: Result<Probed, Missing>,
        drive: Result<f64, Missing>,
        draw: &mut Draw,
    ) -> bool {
        let seen = match self.fault {
            Some(TesterFault::WeldedProbe) => probe.map(|probed| probed.earth),
            Some(TesterFault::WeldedDrive) => drive,
            _ => return false,
        };
        seen.is_ok_and(|ohms| ohms + self.reference() + 0.5 * draw.normal() > RELAY_FLOWS)
    }

    /// What a current of the tester's own moves between two leads, as the tester sees it.
    pub(super) fn change(&self, moved: &Moved, pair: Pair) -> Phasor {
        let mut leads: [Phasor; LEADS] =
            core::array::from_fn(|channel| moved.after[channel] - moved.before[channel]);
        if let Some(fault) = self.fault {
            fault.disturb_change(&mut leads);
        }
        let (first, second) = pair.leads();
        leads[first.channel()] - leads[second.channel()]
    }
}

pub(super) fn earth_path(probed: Result<Probed, Missing>, draw: &mut Draw) -> Measured<Ohms> {
    let ohms = match probed {
        Ok(probed) => probed.earth,
        Err(missing) => return Measured::Missing(missing),
    };
    // Four seconds in a quiet to a busy house: p95 0.03 to 0.2 ohm, plus 1 % of the reading.
    let u = draw.between(0.015, 0.1) + 0.01 * ohms.abs();
    read(ohms, u, draw)
}

pub(super) fn hot_and_ground(probed: Result<Probed, Missing>, draw: &mut Draw) -> Measured<Ohms> {
    let ohms = match probed {
        Ok(probed) => probed.hot,
        Err(missing) => return Measured::Missing(missing),
    };
    // The supply moves by millivolts under a current of 1.3 mA: ohms. Judgement.
    let u = draw.between(1.0, 3.0) + 0.01 * ohms.abs();
    read(ohms, u, draw)
}

pub(super) fn neutral_and_ground(ohms: Result<f64, Missing>, draw: &mut Draw) -> Measured<Ohms> {
    let ohms = match ohms {
        Ok(ohms) => ohms,
        Err(missing) => return Measured::Missing(missing),
    };
    // 85 Hz stands alone in its bin: the converter's noise, and the drive's calibration.
    let u = 0.02 + 0.005 * ohms.abs();
    read(ohms, u, draw)
}

fn read(ohms: f64, u: f64, draw: &mut Draw) -> Measured<Ohms> {
    let read = (ohms + u * draw.normal()).min(1e5);
    Measured::known(Ohms::new(read as f32), Ohms::new(u as f32))
}
