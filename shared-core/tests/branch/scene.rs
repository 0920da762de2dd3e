//! Loads over time on a branch, as beats of windows and as frames of the converter.

use core::f64::consts::{SQRT_2, TAU};

use slotwise_core::calibration::{Calibration, ChannelCalibration};
use slotwise_core::drive::DriveCalibration;
use slotwise_core::evidence::Phasor;
use slotwise_core::front_end::{NOMINAL_VOLTS_PER_CODE, response};
use slotwise_core::limits::Limits;
use slotwise_core::load_step::Beat;
use slotwise_core::sample::{AdcCode, Frame};
use slotwise_core::slots::Lead;
use slotwise_core::units::{Celsius, Hertz, Millis, Ohms, Radians, Ratio, UnixSeconds, Volts};
use slotwise_core::window::{Accumulator, Tuning};

use super::{Branch, C, Rng};

/// Seconds of a window.
const WINDOW: f64 = 0.2;

/// A load on the branch.
#[derive(Clone, Debug)]
pub(crate) struct Load {
    pub(crate) amperes: f64,
    /// Angle by which its current lags, radians.
    pub(crate) lag: f64,
    /// Current at the start against that later, and the seconds in which the rest decays to 1/e.
    pub(crate) inrush: f64,
    pub(crate) settles: f64,
    /// Seconds in which it rises evenly.
    pub(crate) ramp: f64,
    /// Leakage from its winding to the frame, amperes.
    pub(crate) leakage: f64,
    /// From when to when it is on, seconds.
    pub(crate) on: Vec<(f64, f64)>,
}

impl Load {
    /// A heater.
    pub(crate) fn heater(amperes: f64, on: Vec<(f64, f64)>) -> Self {
        Self {
            amperes,
            lag: 0.0,
            inrush: 1.0,
            settles: 0.1,
            ramp: 0.0,
            leakage: 0.0,
            on,
        }
    }

    /// An induction motor started across the line: five times the current for some 0.2 s.
    pub(crate) fn motor(amperes: f64, on: Vec<(f64, f64)>) -> Self {
        Self {
            lag: 0.7,
            inrush: 5.0,
            settles: 0.15,
            leakage: 0.4e-3,
            ..Self::heater(amperes, on)
        }
    }

    /// A motor behind a converter that runs up over `ramp` seconds.
    pub(crate) fn run_up(amperes: f64, ramp: f64, on: Vec<(f64, f64)>) -> Self {
        Self {
            lag: 0.3,
            ramp,
            leakage: 0.3e-3,
            ..Self::heater(amperes, on)
        }
    }

    /// Any of them.
    pub(crate) fn draw(rng: &mut Rng, amperes: f64, on: Vec<(f64, f64)>) -> Self {
        let mut load = match (rng.unit() * 3.0) as u32 {
            0 => Self::heater(amperes, on),
            1 => Self::motor(amperes, on),
            _ => Self::run_up(amperes, rng.between(0.2, 3.0), on),
        };
        if load.inrush > 1.0 {
            load.lag = rng.between(0.2, 1.0);
            load.inrush = rng.between(2.0, 7.0);
            load.settles = rng.between(0.05, 0.4);
        }
        load
    }

    /// Current and leakage at a time.
    fn at(&self, time: f64) -> (C, C) {
        let Some((start, _)) = self.on.iter().find(|(a, b)| (*a..*b).contains(&time)) else {
            return (C::default(), C::default());
        };
        let since = time - start;
        let risen = if since < self.ramp {
            since / self.ramp
        } else {
            1.0
        };
        let starting = (-since / self.settles).exp() * (self.inrush - 1.0);
        // A rotor at rest lags more.
        let lag = self.lag + (1.1 - self.lag) * (starting / self.inrush);
        let size = self.amperes * risen * (1.0 + starting);
        // The winding's capacitance to the frame leads by a quarter turn, some of it is film.
        (
            C::from_polar(size, -lag),
            C::from_polar(self.leakage * risen, 1.3),
        )
    }
}

/// Everything that happens at a receptacle.
#[derive(Clone, Debug)]
pub(crate) struct Scene {
    pub(crate) branch: Branch,
    pub(crate) loads: Vec<Load>,
    /// Loads elsewhere in the house: from when on, and by how many amperes.
    pub(crate) elsewhere: Vec<(f64, f64)>,
    /// Unrest of the supply, volts from window to window; of small loads on this branch,
    /// amperes.
    pub(crate) unrest: f64,
    pub(crate) small_loads: f64,
    pub(crate) hertz: f64,
    /// Steps of the line frequency's random walk, hertz a window.
    pub(crate) walk: f64,
    /// Leakage that is there all the time, amperes.
    pub(crate) idle_leakage: f64,
    pub(crate) has_clip: bool,
}

impl Scene {
    pub(crate) fn new(branch: Branch, loads: Vec<Load>) -> Self {
        Self {
            branch,
            loads,
            elsewhere: Vec::new(),
            unrest: 0.01,
            small_loads: 0.005,
            hertz: 60.0,
            walk: 2e-4,
            idle_leakage: 0.1e-3,
            has_clip: true,
        }
    }

    /// Narrow, ground and clip against wide at a time; the axis turns with the supply.
    fn volts(&self, time: f64, unrest: C, small: C) -> [C; 3] {
        let (mut current, mut leakage) = (small, C::from_polar(self.idle_leakage, 1.3));
        for load in &self.loads {
            let (more, leaks) = load.at(time);
            current += more;
            leakage += leaks;
        }
        let house: f64 = self
            .elsewhere
            .iter()
            .filter(|(start, _)| time >= *start)
            .map(|(_, amperes)| amperes)
            .sum();
        let drop = self.branch.drop();
        let nw = drop.nw * current - self.branch.source * house + 120.0 + unrest;
        let gw = drop.gw * current;
        [nw, gw, gw + leakage * self.branch.frame]
    }

    /// The beats of `seconds`, straight from the voltages: Hann-weighted means of 16 instants a
    /// window, and the noise that a window of the converter leaves (95 uV a lead).
    pub(crate) fn beats(&self, seconds: f64, rng: &mut Rng) -> Vec<Beat> {
        let count = (seconds / WINDOW) as u64;
        let (mut turns, mut hertz) = (rng.unit(), self.hertz);
        (1..=count)
            .map(|number| {
                let start = (number - 1) as f64 * WINDOW;
                let unrest = rng.complex_normal() * self.unrest;
                let small = C::new(rng.normal() * self.small_loads, 0.0);
                let mut sum = [C::default(); 3];
                for instant in 0..16 {
                    let share = (f64::from(instant) + 0.5) / 16.0;
                    let weight = (core::f64::consts::PI * share).sin().powi(2) / 8.0;
                    let now = self.volts(start + share * WINDOW, unrest, small);
                    for (sum, now) in sum.iter_mut().zip(now) {
                        *sum += now * weight;
                    }
                }
                turns += (hertz - 60.0) * WINDOW;
                hertz += rng.normal() * self.walk;
                let axis = C::from_polar(1.0, turns * TAU);
                let wide = rng.complex_normal() * 67e-6;
                let [nw, gw, cw] =
                    sum.map(|volts| phasor(volts * axis + rng.complex_normal() * 67e-6 - wide));
                Beat::new(Millis::new(number * 200), nw, gw, cw)
            })
            .collect()
    }

    /// The beats of `seconds` by way of frames, accumulator and calibration: 2 % third and 1.5 %
    /// fifth harmonic, 2.2 mV of noise a sample.
    pub(crate) fn measured_beats(&self, seconds: f64, rng: &mut Rng) -> Vec<Beat> {
        let calibration = nominal();
        let blades = (Lead::Narrow, Lead::Wide);
        let mut accumulator = Accumulator::new(Tuning::NOMINAL);
        let mut beats = Vec::new();
        let mut volts = [C::default(); 3];
        let gains = [1.0, 3.0, 5.0].map(|order| response(Hertz::from_f64(self.hertz * order)));
        let mut unrest = C::default();
        for n in 0..(seconds * 4000.0) as u64 {
            let time = n as f64 / 4000.0;
            if n % 400 == 0 {
                unrest = rng.complex_normal() * self.unrest;
            }
            if n % 10 == 0 {
                volts = self.volts(time, unrest, C::default());
            }
            let angle = TAU * self.hertz * time + 0.4;
            let turn = C::from_polar(SQRT_2 * gains[0], angle);
            let third = 2.4 * SQRT_2 * gains[1] * (3.0 * angle + 0.7).cos();
            let fifth = 1.8 * SQRT_2 * gains[2] * (5.0 * angle + 2.1).cos();
            let [nw, gw, cw] = volts.map(|volts| (volts * turn).re);
            let slots = [nw + third + fifth, 0.0, gw, cw];
            let held = if self.has_clip { 4 } else { 3 };
            let star = slots.iter().take(held).sum::<f64>() / held as f64;
            let mut frame = Frame::default();
            for (channel, code) in frame.codes.iter_mut().enumerate() {
                let volts = if channel < held {
                    slots[channel] - star
                } else {
                    0.0
                };
                let noisy = volts + rng.normal() * 2.2e-3;
                *code = AdcCode::saturating((noisy / NOMINAL_VOLTS_PER_CODE).round() as i32);
            }
            if accumulator.push(&frame) {
                let sums = accumulator.sums();
                let at = Millis::new((n + 1) / 4);
                beats.push(Beat::of_window(sums, &calibration, &Limits::DEFAULT, at).unwrap());
                let found = sums.frequency(&calibration, Volts::new(3.0)).unwrap();
                accumulator.restart(Tuning::new(found.value, blades));
            }
        }
        beats
    }
}

/// A tester without errors.
pub(crate) fn nominal() -> Calibration {
    Calibration {
        channels: [ChannelCalibration {
            offset: 0,
            gain: 1.0,
        }; 4],
        u_gain: Ratio::new(0.001),
        drive: DriveCalibration::NOMINAL,
        reference: Ohms::new(10.0),
        done: UnixSeconds::new(1_790_000_000),
        temperature: Celsius::new(23.0),
    }
}

pub(crate) fn phasor(volts: C) -> Phasor {
    Phasor {
        rms: Volts::from_f64(volts.norm()),
        angle: Radians::from_f64(volts.arg()),
    }
}

/// Times at which a load comes on and goes off, `count` switchings in all, from `first` on and
/// at least `apart` seconds apart.
pub(crate) fn cycles(rng: &mut Rng, first: f64, apart: f64, count: usize) -> Vec<(f64, f64)> {
    let mut time = first;
    let mut edges = Vec::new();
    for _ in 0..count {
        edges.push(time + rng.unit());
        time += apart + rng.between(1.0, 3.0);
    }
    if !edges.len().is_multiple_of(2) {
        edges.push(f64::INFINITY);
    }
    edges.chunks(2).map(|edge| (edge[0], edge[1])).collect()
}
