//! What a tester would have as evidence at a receptacle.

use super::currents::{earth_path, hot_and_ground, neutral_and_ground};
use super::draw::Draw;
use super::fault::TesterFault;
use super::plugged::{Plugged, State};
use crate::circuit::Phasor;
use crate::house::{HouseError, Receptacle, Truth};
use crate::means::open_slots;
use crate::tester::Specimen;
use slotwise_core::evidence::{
    Evidence, FrameHealth, LoadStep, Measured, Missing, PairVoltage, Phasor as Stated, Reading,
    SlotVoltages, ZeroSum,
};
use slotwise_core::slots::{ClipTarget, LEADS, Lead, Pair};
use slotwise_core::units::{Hertz, Radians, Ratio, Volts};

/// Standard uncertainty of a calibration against a 0.1 % reference.
const GAIN_U: f64 = 0.0011;
/// Noise of one lead's phasor in a window: 95 uV.
const NOISE: f64 = 95e-6;
/// Standard uncertainty that the tester states for a voltage near zero: 1 mV, and the angle
/// between strings.
const FLOOR: (f64, f64) = (1e-3, 6.5e-4);
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
pub(super) struct Tester<'a> {
    pub(super) plugged: Plugged<'a>,
    pub(super) specimen: &'a Specimen,
    pub(super) fault: Option<&'a TesterFault>,
}

/// One look: the leads against the star as the tester has them.
pub(super) struct Seen {
    pub(super) leads: [Phasor; LEADS],
    truth: Truth,
}

impl Seen {
    pub(super) fn pair(&self, pair: Pair) -> Phasor {
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
