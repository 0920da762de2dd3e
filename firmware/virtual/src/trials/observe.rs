//! What a tester would have as evidence at a receptacle.

use super::draw::Draw;
use super::fault::TesterFault;
use super::plugged::{Moved, Plugged, State};
use crate::circuit::Phasor;
use crate::house::{HouseError, Receptacle, Truth};
use crate::means::open_slots;
use crate::tester::Specimen;
use slotwise_core::evidence::{
    Evidence, FrameHealth, LoadStep, Measured, Missing, PairVoltage, Phasor as Stated, Reading,
    SlotVoltages, ZeroSum,
};
use slotwise_core::slots::{ClipTarget, LEADS, Lead, Pair};
use slotwise_core::stimulus::DrivePath;
use slotwise_core::units::{Hertz, Ohms, Radians, Ratio, Volts};

/// Standard uncertainty of a calibration against a 0.1 % reference.
const GAIN_U: f64 = 0.0011;
/// Noise of one lead's phasor in a window: 95 uV.
const NOISE: f64 = 95e-6;
/// Standard uncertainty that the tester states for a voltage near zero: 1 mV, and the angle
/// between strings.
const FLOOR: (f64, f64) = (1e-3, 6.5e-4);
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

/// Which means a test used.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Means {
    /// The three slots.
    Slots,
    /// Slots and earth-path probe.
    Probe,
    /// Slots, probe, drive, load steps, and the clip on an independent earth.
    All,
}

impl Means {
    /// Every set, least first.
    pub const ALL: [Self; 3] = [Self::Slots, Self::Probe, Self::All];
}

/// One trial: evidence by every set of means, and what is true.
#[derive(Clone, Debug)]
pub struct Trial {
    /// In the order of [`Means::ALL`].
    pub evidence: [Evidence; 3],
    /// Whether the tester's tests of its relays and limiters fail in it, likewise. No answer is
    /// given then.
    pub fails_itself: [bool; 3],
    /// Volts of the ground slot against an independent earth.
    pub ground_to_earth: Volts,
}

/// Lets a tester look at a receptacle.
///
/// # Errors
/// [`HouseError`] when the drawn house has no solution.
pub fn observe(
    receptacle: &Receptacle,
    specimen: &Specimen,
    fault: Option<&TesterFault>,
    draw: &mut Draw,
) -> Result<Trial, HouseError> {
    let mut bare = receptacle.clone().with_clip(ClipTarget::NotConnected);
    let thd = f64::from(bare.supply.thd().get());
    bare.supply.harmonics.clear();
    let tester = Tester {
        plugged: Plugged::new(&bare, specimen)?,
        specimen,
        fault,
    };
    let gain = 1.0 + GAIN_U * draw.normal();
    let unloaded = tester.plugged.free();
    let free = tester.look(&unloaded, gain, draw);
    let on_earth = tester.look(&tester.plugged.earthed()?, gain, draw);

    let slots_only = slots_evidence(&free, &bare, thd, draw);
    let mut probed = slots_only;
    let probe = tester.probe(&free)?;
    probed.earth_path = earth_path(probe, draw);
    let mut all = slots_evidence(&on_earth, &bare, thd, draw);
    all.earth_path = probed.earth_path;
    all.load_step = tester.load_step(&unloaded, draw)?;
    all.clip_target = ClipTarget::IndependentEarth;
    all.clip_wide = Ok(stated(on_earth.pair(Pair::ClipWide), on_earth.axis()));
    all.hot_and_ground = hot_and_ground(probe, draw);
    let drive = tester.drive(&free)?;
    all.neutral_and_ground = neutral_and_ground(drive, draw);
    let to_clip = tester.drive_to_clip(&on_earth)?;
    all.neutral_to_clip = neutral_and_ground(to_clip, draw);
    let relay_is_closed = tester.finds_a_closed_relay(probe, drive, draw);
    let limiter_fails = tester.finds_a_failed_limiter(drive, to_clip);
    probed.hot_and_ground = all.hot_and_ground;
    let true_ground = on_earth.truth.pair(Pair::ClipGround).norm();
    Ok(Trial {
        evidence: [slots_only, probed, all],
        fails_itself: [false, relay_is_closed, relay_is_closed || limiter_fails],
        ground_to_earth: Volts::new(true_ground as f32),
    })
}

/// A tester in a receptacle, with what is wrong with it.
struct Tester<'a> {
    plugged: Plugged<'a>,
    specimen: &'a Specimen,
    fault: Option<&'a TesterFault>,
}

/// One look: the leads against the star as the tester has them.
struct Seen {
    leads: [Phasor; LEADS],
    truth: Truth,
}

impl Seen {
    fn pair(&self, pair: Pair) -> Phasor {
        let (first, second) = pair.leads();
        self.leads[first.channel()] - self.leads[second.channel()]
    }

    /// The blades, unless another pair carries more than twice their voltage.
    fn axis(&self) -> Phasor {
        let [blades, ground_wide, narrow_ground] = Pair::SLOTS.map(|pair| self.pair(pair));
        let largest = ground_wide.norm().max(narrow_ground.norm());
        if 2.0 * blades.norm() >= largest {
            blades
        } else if ground_wide.norm() >= narrow_ground.norm() {
            ground_wide
        } else {
            narrow_ground
        }
    }
}

fn slots_evidence(seen: &Seen, receptacle: &Receptacle, thd: f64, draw: &mut Draw) -> Evidence {
    let axis = seen.axis();
    let sizes = seen.leads.map(Phasor::norm);
    let largest = sizes.into_iter().fold(0.0, f64::max);
    let floor = Phasor::new(FLOOR.0, largest * FLOOR.1).norm();
    let mut evidence = Evidence::empty();
    evidence.health = FrameHealth {
        calibrated: true,
        windows: 10,
        bad_frames: 0,
        clipped_frames: 0,
    };
    evidence.slots = Ok(SlotVoltages {
        pairs: Pair::SLOTS.map(|pair| pair_voltage(seen.pair(pair), axis, thd)),
        reference: 0,
        u_gain: Ratio::new(GAIN_U as f32),
        u_floor: Volts::new(floor as f32),
        leads: sizes.map(|size| Volts::new(size as f32)),
    });
    evidence.frequency = if axis.norm() >= 3.0 {
        let hertz = f64::from(receptacle.supply.frequency.get()) + 1e-3 * draw.normal();
        Measured::known(Hertz::new(hertz as f32), Hertz::new(1.5e-3))
    } else {
        Measured::Missing(Missing::NoVoltage)
    };
    // Loads elsewhere in the house move the supply a little during a test.
    evidence.unsteadiness = Volts::new((0.3 * draw.normal().abs()) as f32);
    let sum: Phasor = seen.leads.iter().sum();
    let largest_lead = seen
        .leads
        .into_iter()
        .max_by(|a, b| a.norm().total_cmp(&b.norm()))
        .unwrap_or_default();
    // In a healthy tester the sum stands at right angles to the lead that is at earth: the clip,
    // if it is on one and draws a current.
    let clip = seen.leads[Lead::Clip.channel()];
    let in_phase = if clip.norm() >= 0.1 * largest {
        turned(sum, clip).re
    } else {
        seen.leads
            .into_iter()
            .filter(|lead| lead.norm() >= 0.1 * largest)
            .map(|lead| turned(sum, lead).re)
            .min_by(|a, b| a.abs().total_cmp(&b.abs()))
            .unwrap_or(0.0)
    };
    evidence.zero_sum = ZeroSum {
        in_phase: Volts::new(in_phase as f32),
        quadrature: Volts::new(turned(sum, largest_lead).im as f32),
    };
    evidence
}

fn turned(value: Phasor, axis: Phasor) -> Phasor {
    if axis.norm() == 0.0 {
        value
    } else {
        value * axis.conj() / axis.norm()
    }
}

fn stated(value: Phasor, axis: Phasor) -> Stated {
    let value = turned(value, axis);
    Stated {
        rms: Volts::new(value.norm() as f32),
        angle: Radians::new(value.arg() as f32),
    }
}

fn pair_voltage(value: Phasor, axis: Phasor, thd: f64) -> PairVoltage {
    let rms = value.norm();
    PairVoltage {
        fundamental: stated(value, axis),
        true_rms: Volts::new(Phasor::new(rms, rms * thd).norm() as f32),
        residual: Volts::new((rms * thd) as f32),
        mean: Volts::ZERO,
    }
}

/// What the probe reads, without its noise: the earth path, and hot conductor, source and earth
/// path together, both in ohms.
#[derive(Clone, Copy, Debug)]
struct Probed {
    earth: f64,
    hot: f64,
}

impl Tester<'_> {
    /// The strings' sizes are calibrated out, their angles are not.
    fn look(&self, state: &State, gain: f64, draw: &mut Draw) -> Seen {
        let mut leads = core::array::from_fn(|channel| {
            let noise = Phasor::new(draw.normal(), draw.normal()) * NOISE;
            self.at_lead(state, channel) * gain + noise
        });
        if let Some(fault) = self.fault {
            fault.disturb(&mut leads);
        }
        Seen {
            leads,
            truth: state.truth,
        }
    }

    fn at_lead(&self, state: &State, channel: usize) -> Phasor {
        state.pins[channel] / self.specimen.strings[channel].gain(60.0).norm()
    }

    /// The reference resistor, which is taken out of every reading through it.
    fn reference(&self) -> f64 {
        f64::from(self.specimen.currents.reference.get())
    }

    /// What the probe reads, or why it is not switched on. The current is that of the drop over
    /// the probe's resistors, as the tester sees it.
    fn probe(&self, free: &Seen) -> Result<Result<Probed, Missing>, HouseError> {
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
    fn drive(&self, free: &Seen) -> Result<Result<f64, Missing>, HouseError> {
        let pair = Pair::GroundWide;
        if free.pair(pair).norm() >= DRIVE_REST {
            return Ok(Err(Missing::Refused));
        }
        Ok(self.driven(&self.plugged.driven()?, pair, self.reference()))
    }

    /// What the drive to the clip reads, the clip on an independent earth.
    fn drive_to_clip(&self, on_earth: &Seen) -> Result<Result<f64, Missing>, HouseError> {
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
    fn driven(&self, moved: &Moved, pair: Pair, reference: f64) -> Result<f64, Missing> {
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
    fn finds_a_failed_limiter(
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
    fn finds_a_closed_relay(
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
    fn change(&self, moved: &Moved, pair: Pair) -> Phasor {
        let mut leads: [Phasor; LEADS] =
            core::array::from_fn(|channel| moved.after[channel] - moved.before[channel]);
        if let Some(fault) = self.fault {
            fault.disturb_change(&mut leads);
        }
        let (first, second) = pair.leads();
        leads[first.channel()] - leads[second.channel()]
    }

    /// A load comes on and goes off some times.
    fn load_step(
        &self,
        off: &State,
        draw: &mut Draw,
    ) -> Result<Result<LoadStep, Missing>, HouseError> {
        if open_slots(&off.truth).contains(&true) {
            return Ok(Err(Missing::NotAsked));
        }
        let on = self.plugged.loaded(draw.load().current)?;
        let seen = |state: &State| {
            let mut leads = core::array::from_fn(|channel| self.at_lead(state, channel));
            if let Some(fault) = self.fault {
                fault.disturb(&mut leads);
            }
            leads
        };
        let (off, on) = (seen(off), seen(&on));
        let change = |first: Lead, second: Lead| {
            (on[first.channel()] - on[second.channel()])
                - (off[first.channel()] - off[second.channel()])
        };
        let (dnw, dgw) = (
            change(Lead::Narrow, Lead::Wide),
            change(Lead::Ground, Lead::Wide),
        );
        let sag = dnw.norm();
        if sag < 1e-6 {
            return Ok(Err(Missing::NotAsked));
        }
        let steps = 3 + draw.below(6);
        // Background of 20 mV on every difference, averaged over the steps.
        let u = 0.02 / sag / (steps as f64).powf(0.5);
        let rho = dgw * dnw.conj() / dnw.norm_sqr() + Phasor::new(draw.normal(), draw.normal()) * u;
        Ok(Ok(LoadStep {
            rho: Reading {
                value: Ratio::new(rho.re as f32),
                u: Ratio::new(u as f32),
            },
            rho_imaginary: Ratio::new(rho.im as f32),
            steps: steps as u16,
            sag: Volts::new(sag as f32),
        }))
    }
}

fn earth_path(probed: Result<Probed, Missing>, draw: &mut Draw) -> Measured<Ohms> {
    let ohms = match probed {
        Ok(probed) => probed.earth,
        Err(missing) => return Measured::Missing(missing),
    };
    // Four seconds in a quiet to a busy house: p95 0.03 to 0.2 ohm, plus 1 % of the reading.
    let u = draw.between(0.015, 0.1) + 0.01 * ohms.abs();
    read(ohms, u, draw)
}

fn hot_and_ground(probed: Result<Probed, Missing>, draw: &mut Draw) -> Measured<Ohms> {
    let ohms = match probed {
        Ok(probed) => probed.hot,
        Err(missing) => return Measured::Missing(missing),
    };
    // The supply moves by millivolts under a current of 1.3 mA: ohms. Judgement.
    let u = draw.between(1.0, 3.0) + 0.01 * ohms.abs();
    read(ohms, u, draw)
}

fn neutral_and_ground(ohms: Result<f64, Missing>, draw: &mut Draw) -> Measured<Ohms> {
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
