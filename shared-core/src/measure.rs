//! From windows to evidence: gathers the windows of one test.
//!
//! Each window is turned so that the reference pair stands at angle zero, then pairs are
//! averaged as complex numbers; a voltage that does not keep its phase to the supply (noise,
//! pickup from elsewhere) averages away. What moved from window to window is kept as
//! `unsteadiness`.

use crate::calibration::Calibration;
use crate::evidence::{
    Evidence, FrameHealth, Measured, Missing, PairVoltage, Phasor, SlotVoltages, ZeroSum,
};
use crate::limits::Limits;
use crate::slots::{ClipTarget, LEADS, Lead, Pair};
use crate::units::{Hertz, Volts};
use crate::window::sums::{ComplexVolts, Spread};
use crate::window::{Tuning, WindowSums};

/// Standard uncertainty of a slot voltage near zero, from the noise of one window: 95 uV
/// (5.35 uV at the converter in an 800-frame Hann window), and 1 mV for what the strings pick
/// up besides (judgement).
const FLOOR: Volts = Volts::new(1e-3);

/// Standard uncertainty of the angle between two strings, radians: filter capacitors of 5 %
/// turn a string by 0.05 x 0.935 degrees = 0.8 mrad at most; as a rectangle over sqrt 3, for
/// two strings times sqrt 2. The gains are calibrated, this is not: it stands in quadrature to
/// the lead and shows where a pair's own voltage is small.
const STRING_TURN_U: f64 = 6.5e-4;

/// Frequencies to which a window may be tuned.
const TUNABLE: core::ops::RangeInclusive<f64> = 40.0..=75.0;

/// What one window gave, turned to the reference.
#[derive(Clone, Copy, Debug)]
struct Turned {
    pairs: [ComplexVolts; 3],
    clip_wide: ComplexVolts,
}

/// Gathers the windows of a test.
#[derive(Clone, Debug)]
pub struct Gatherer {
    clip_target: ClipTarget,
    windows: u16,
    rejected: u16,
    /// Place of the reference pair in [`Pair::SLOTS`], fixed by the first window.
    reference: usize,
    sum: Turned,
    last: Turned,
    /// The last window was the one right before the next.
    follows: bool,
    spread: [SpreadSums; 3],
    leads: [f64; LEADS],
    /// The sum of the leads against each lead's own direction, and the quadrature against
    /// the largest.
    residue_in_phase: [f64; LEADS],
    residue_quadrature: f64,
    unsteadiness: f64,
    frequency: FrequencySums,
    bad_frames: u32,
    clipped_frames: u32,
}

#[derive(Clone, Copy, Debug)]
struct SpreadSums {
    mean: f64,
    true_square: f64,
    residual_square: f64,
}

#[derive(Clone, Copy, Debug)]
struct FrequencySums {
    sum: f64,
    greatest_u: f64,
    count: u16,
}

const STILL: Turned = Turned {
    pairs: [ComplexVolts::ZERO; 3],
    clip_wide: ComplexVolts::ZERO,
};

impl Gatherer {
    /// A gatherer of no windows; `clip_target` is what the person said of the clip.
    #[must_use]
    pub const fn new(clip_target: ClipTarget) -> Self {
        const NO_SPREAD: SpreadSums = SpreadSums {
            mean: 0.0,
            true_square: 0.0,
            residual_square: 0.0,
        };
        Self {
            clip_target,
            windows: 0,
            rejected: 0,
            reference: 0,
            sum: STILL,
            last: STILL,
            follows: false,
            spread: [NO_SPREAD; 3],
            leads: [0.0; LEADS],
            residue_in_phase: [0.0; LEADS],
            residue_quadrature: 0.0,
            unsteadiness: 0.0,
            frequency: FrequencySums {
                sum: 0.0,
                greatest_u: 0.0,
                count: 0,
            },
            bad_frames: 0,
            clipped_frames: 0,
        }
    }

    /// Windows gathered so far.
    #[must_use]
    pub const fn windows(&self) -> u16 {
        self.windows
    }

    /// Windows seen so far, those too far off tune included.
    #[must_use]
    pub const fn seen(&self) -> u16 {
        self.windows.saturating_add(self.rejected)
    }

    /// Counts frames that failed their check or never came.
    pub const fn note_bad_frames(&mut self, count: u32) {
        self.bad_frames = self.bad_frames.saturating_add(count);
    }

    /// The next window does not follow the last one: what changed between the two is not held
    /// against the test.
    pub const fn pause(&mut self) {
        self.follows = false;
    }

    /// Takes a window and says what to tune the next one to.
    pub fn take(
        &mut self,
        sums: &WindowSums,
        calibration: &Calibration,
        limits: &Limits,
    ) -> Tuning {
        self.clipped_frames = self.clipped_frames.saturating_add(sums.clipped_frames());
        let tuned = sums.tuning();
        let frequency = sums.frequency(calibration, limits.frequency_least);
        let hertz = frequency.map_or(tuned.hertz(), |found| found.hertz);
        let Some(leads) = sums.phasors_at(calibration, hertz) else {
            // Too far off tune: this window only tells where to tune the next.
            self.rejected = self.rejected.saturating_add(1);
            return Tuning::new(clamp_to_tunable(hertz), tuned.reference());
        };
        let pairs = Pair::SLOTS.map(|pair| between(&leads, pair));
        let reference = reference_of(&pairs);
        if self.windows == 0 {
            self.reference = reference;
        }
        self.add(sums, calibration, &leads, pairs, hertz);
        if let Some(found) = frequency {
            self.frequency.sum += found.hertz;
            let u = f64::from(found.u.get());
            self.frequency.greatest_u = self.frequency.greatest_u.max(u);
            self.frequency.count = self.frequency.count.saturating_add(1);
        }
        Tuning::new(clamp_to_tunable(hertz), Pair::SLOTS[reference].leads())
    }

    fn add(
        &mut self,
        sums: &WindowSums,
        calibration: &Calibration,
        leads: &[ComplexVolts; LEADS],
        pairs: [ComplexVolts; 3],
        hertz: f64,
    ) {
        let axis = pairs.get(self.reference).copied().unwrap_or(pairs[0]);
        let axis_size = axis.size();
        let turned = Turned {
            pairs: pairs.map(|pair| pair.against_one_of(axis, axis_size)),
            clip_wide: between(leads, Pair::ClipWide).against_one_of(axis, axis_size),
        };
        if self.follows {
            for (now, before) in turned.pairs.iter().zip(self.last.pairs) {
                self.unsteadiness = self.unsteadiness.max((*now - before).size());
            }
        }
        for (sum, now) in self.sum.pairs.iter_mut().zip(turned.pairs) {
            *sum = *sum + now;
        }
        self.sum.clip_wide = self.sum.clip_wide + turned.clip_wide;
        self.last = turned;
        self.follows = true;

        for ((place, sum), fundamental) in Pair::SLOTS.iter().zip(&mut self.spread).zip(pairs) {
            let spread: Spread = sums.spread(
                calibration,
                place.leads(),
                fundamental,
                Hertz::from_f64(hertz),
            );
            let (rms, residual) = (
                f64::from(spread.true_rms.get()),
                f64::from(spread.residual.get()),
            );
            sum.mean += f64::from(spread.mean.get());
            sum.true_square += rms * rms;
            sum.residual_square += residual * residual;
        }

        let mut largest = (ComplexVolts::ZERO, 0.0);
        let mut total = ComplexVolts::ZERO;
        let sizes = leads.map(ComplexVolts::size);
        for ((sum, lead), size) in self.leads.iter_mut().zip(leads).zip(sizes) {
            *sum += size;
            total = total + *lead;
            if size > largest.1 {
                largest = (*lead, size);
            }
        }
        for ((residue, lead), size) in self.residue_in_phase.iter_mut().zip(leads).zip(sizes) {
            *residue += f64::from(total.against_one_of(*lead, size).real().get());
        }
        let (largest, size) = largest;
        let beside = total.against_one_of(largest, size);
        self.residue_quadrature += f64::from(beside.imaginary().get());
        self.windows = self.windows.saturating_add(1);
    }

    /// The evidence of the windows so far. `calibration` is `None` in a tester that has none:
    /// then nothing is stated but the health of the frames.
    #[must_use]
    pub fn evidence(&self, calibration: Option<&Calibration>) -> Evidence {
        let mut evidence = Evidence::empty();
        evidence.health = FrameHealth {
            calibrated: calibration.is_some(),
            windows: self.windows,
            bad_frames: self.bad_frames,
            clipped_frames: self.clipped_frames,
        };
        evidence.clip_target = self.clip_target;
        let (Some(calibration), true) = (calibration, self.windows > 0) else {
            evidence.slots = Err(if self.clipped_frames > 0 {
                Missing::Clipped
            } else {
                Missing::Unsteady
            });
            return evidence;
        };
        let share = 1.0 / f64::from(self.windows);
        let largest = self.leads.iter().copied().fold(0.0, f64::max) * share;
        evidence.slots = Ok(SlotVoltages {
            pairs: core::array::from_fn(|place| self.pair(place, share)),
            reference: self.reference,
            u_gain: calibration.u_gain,
            u_floor: Volts::from_f64(libm::hypot(f64::from(FLOOR.get()), largest * STRING_TURN_U)),
            leads: self.leads.map(|sum| Volts::from_f64(sum * share)),
        });
        evidence.frequency = self.frequency.measured();
        evidence.unsteadiness = Volts::from_f64(self.unsteadiness);
        evidence.zero_sum = ZeroSum {
            in_phase: Volts::from_f64(self.least_in_phase() * share),
            quadrature: Volts::from_f64(self.residue_quadrature * share),
        };
        if self.clip_target != ClipTarget::NotConnected {
            evidence.clip_wide = Ok(phasor(self.sum.clip_wide.scale(share)));
        }
        evidence
    }

    /// The sum against the lead at earth; see [`ZeroSum`]. With the clip on an independent earth
    /// that is the clip, and an error along another lead cannot hide between their directions,
    /// which differ by degrees with an earthed computer on the cable. Leads below a tenth of the
    /// largest are open and have no direction of their own.
    fn least_in_phase(&self) -> f64 {
        let largest = self.leads.iter().copied().fold(0.0, f64::max);
        let clip = Lead::Clip.channel();
        if self.clip_target == ClipTarget::IndependentEarth && self.leads[clip] >= largest * 0.1 {
            return self.residue_in_phase[clip];
        }
        self.leads
            .iter()
            .zip(self.residue_in_phase)
            .filter(|(size, _)| **size >= largest * 0.1)
            .map(|(_, residue)| residue)
            .min_by(|a, b| a.abs().total_cmp(&b.abs()))
            .unwrap_or(0.0)
    }

    fn pair(&self, place: usize, share: f64) -> PairVoltage {
        let spread = self.spread[place];
        PairVoltage {
            fundamental: phasor(self.sum.pairs[place].scale(share)),
            true_rms: Volts::from_f64(libm::sqrt(spread.true_square * share)),
            residual: Volts::from_f64(libm::sqrt(spread.residual_square * share)),
            mean: Volts::from_f64(spread.mean * share),
        }
    }
}

impl FrequencySums {
    fn measured(&self) -> Measured<Hertz> {
        if self.count == 0 {
            return Measured::Missing(Missing::NoVoltage);
        }
        let mean = self.sum / f64::from(self.count);
        Measured::known(Hertz::from_f64(mean), Hertz::from_f64(self.greatest_u))
    }
}

/// The voltage of a pair from the phasors of the leads.
fn between(leads: &[ComplexVolts; LEADS], pair: Pair) -> ComplexVolts {
    let (first, second): (Lead, Lead) = pair.leads();
    leads[first.channel()] - leads[second.channel()]
}

/// The blades, unless another pair carries more than twice their voltage.
fn reference_of(pairs: &[ComplexVolts; 3]) -> usize {
    let [blades, ground_wide, narrow_ground] = pairs.map(ComplexVolts::size);
    if blades * 2.0 >= ground_wide.max(narrow_ground) {
        0
    } else if ground_wide >= narrow_ground {
        1
    } else {
        2
    }
}

fn clamp_to_tunable(hertz: f64) -> Hertz {
    Hertz::from_f64(hertz.clamp(*TUNABLE.start(), *TUNABLE.end()))
}

fn phasor(volts: ComplexVolts) -> Phasor {
    Phasor {
        rms: volts.rms(),
        angle: volts.angle(),
    }
}
