//! What the tester sees while it sits in one place: the steady states between which appliance
//! and outputs switch, and the frames in which they do.
//!
//! A state is the network with some paths of the tester closed, solved harmonic by harmonic; it
//! is solved when it is met first. Solved at the nominal frequency: a supply that wanders by
//! 1 Hz is wrong by 4e-5 of the fundamental. The appliance switches between two frames and
//! leaves no trace in the ones after; the tester's own outputs do, see [`super::switched`].
//!
//! The drive's square wave meets a network that is resistive to it: its response is solved at
//! 85 Hz and taken as a resistance for the whole wave, string and converter apart. Where the
//! drive is allowed that is right to 5e-4 of the reading, on an open path, where stray capacitance
//! loads the source, to 3e-2 of the level (`house::driven` tests both).

use super::switched::{SPAN, STEADY, forgotten, sine_weights};
use super::{RATE, droop};
use crate::circuit::Phasor;
use crate::house::{
    Appliance, HarmonicPins, HouseError, Receptacle, Supply, Truth, drive_response, pins_with,
    unplugged,
};
use crate::outputs::{Driven, PAST};
use crate::tester::{Paths, Specimen};
use core::f64::consts::SQRT_2;
use slotwise_core::slots::LEADS;

/// The drive's frequency.
const DRIVE_HERTZ: f64 = 85.0;

/// One place, solved for its appliance off and on; the rest when it is met.
#[derive(Clone, Debug)]
pub(super) struct Scene {
    specimen: Specimen,
    receptacle: Option<Receptacle>,
    supply: Supply,
    idle: State,
    running: Option<(Appliance, State)>,
    /// Appliance, paths, and what is seen then.
    closed: Vec<(bool, Paths, Closed)>,
    orders: Vec<Order>,
    forgotten: [[f64; PAST - 1]; LEADS],
}

#[derive(Clone, Debug)]
struct State {
    /// Orders, and peak volts at the pins with the filter's droop in them.
    harmonics: Vec<(u32, [Phasor; LEADS])>,
    truth: Option<Truth>,
}

/// A state with some path closed.
#[derive(Clone, Debug)]
struct Closed {
    state: State,
    /// Steady volts at the pins while the drive stands high.
    drive: [f64; LEADS],
}

/// What is the same for one harmonic in every state.
#[derive(Clone, Debug)]
struct Order {
    droop: f64,
    /// Weights in the three frames against the droop.
    weights: [Phasor; SPAN],
}

impl State {
    fn new(harmonics: &[HarmonicPins], truth: Option<Truth>, supply: &Supply) -> Self {
        let hertz = f64::from(supply.frequency.get());
        let mut harmonics: Vec<_> = harmonics
            .iter()
            .map(|harmonic| {
                let scale = SQRT_2 * droop(hertz * f64::from(harmonic.order));
                (harmonic.order, harmonic.pins.map(|pin| pin * scale))
            })
            .collect();
        harmonics.sort_by_key(|(order, _)| *order);
        Self { harmonics, truth }
    }

    /// Volts at the pins where the fundamental has turned by `turn`, each harmonic weighted.
    fn volts(&self, turn: Phasor, weight: impl Fn(usize) -> Phasor) -> [f64; LEADS] {
        let mut volts = [0.0; LEADS];
        let (mut power, mut turned) = (0, Phasor::new(1.0, 0.0));
        for (index, (order, pins)) in self.harmonics.iter().enumerate() {
            turned *= turn.powu(order - power);
            power = *order;
            let turned = turned * weight(index);
            for (sum, pin) in volts.iter_mut().zip(pins) {
                *sum += (pin * turned).re;
            }
        }
        volts
    }
}

impl Scene {
    pub(super) fn new(
        specimen: &Specimen,
        receptacle: Option<&Receptacle>,
    ) -> Result<Self, HouseError> {
        let supply = receptacle.map_or_else(Supply::ordinary, |place| place.supply.clone());
        let (idle, running) = match receptacle {
            None => (
                State::new(&unplugged(&supply, specimen)?, None, &supply),
                None,
            ),
            Some(receptacle) => {
                let state = |on| {
                    let solved = receptacle.solve(specimen, on)?;
                    Ok(State::new(solved.harmonics(), Some(solved.truth), &supply))
                };
                let idle = state(false)?;
                let running = match receptacle.appliance {
                    Some(appliance) => Some((appliance, state(true)?)),
                    None => None,
                };
                (idle, running)
            }
        };
        let hertz = f64::from(supply.frequency.get());
        let orders = idle.harmonics.iter().map(|(order, _)| {
            let hertz = hertz * f64::from(*order);
            let droop = droop(hertz);
            Order {
                droop,
                weights: sine_weights(hertz).map(|weight| weight / droop),
            }
        });
        Ok(Self {
            orders: orders.collect(),
            forgotten: specimen.strings.each_ref().map(forgotten),
            specimen: specimen.clone(),
            receptacle: receptacle.cloned(),
            supply,
            idle,
            running,
            closed: Vec::new(),
        })
    }

    fn appliance_is_on(&self, since_plugged: u64) -> bool {
        let millis = since_plugged * 1000 / u64::from(slotwise_core::sample::FRAMES_PER_SECOND);
        matches!(&self.running, Some((appliance, _)) if appliance.is_on(millis))
    }

    fn at_rest(&self, appliance_on: bool) -> &State {
        match &self.running {
            Some((_, running)) if appliance_on => running,
            _ => &self.idle,
        }
    }

    pub(super) fn truth(&self, since_plugged: u64) -> Option<Truth> {
        self.at_rest(self.appliance_is_on(since_plugged)).truth
    }

    /// Volts at the pins at frame `number`, `since_plugged` frames after the plug went in.
    ///
    /// # Panics
    /// If the place has no solution with a path closed, although it has one with all open.
    pub(super) fn pins(
        &mut self,
        number: u64,
        since_plugged: u64,
        driven: &[Driven; PAST],
    ) -> [f64; LEADS] {
        let on = self.appliance_is_on(since_plugged);
        if driven.iter().all(|then| then.paths == Paths::NONE) {
            let (turn, amplitude) = self.supply_at(number as f64);
            let whole = |_| Phasor::new(1.0, 0.0);
            return self
                .at_rest(on)
                .volts(turn, whole)
                .map(|sum| sum * amplitude);
        }
        for then in driven {
            self.meet(on, then.paths);
        }
        self.switched(number as f64, on, driven)
    }

    /// The supply's turn and amplitude at the instant that frame `number` stands for.
    fn supply_at(&self, number: f64) -> (Phasor, f64) {
        let seconds = number / RATE;
        let turn = Phasor::from_polar(1.0, self.supply.phase(seconds));
        (turn, self.supply.amplitude_at(seconds))
    }

    /// Solves a state that has not been met yet.
    fn meet(&mut self, on: bool, paths: Paths) {
        if paths == Paths::NONE || self.find(on, paths).is_some() {
            return;
        }
        let closed = self
            .solve(on, paths)
            .unwrap_or_else(|error| panic!("the place has no solution with {paths:?}: {error}"));
        self.closed.push((on, paths, closed));
    }

    fn find(&self, on: bool, paths: Paths) -> Option<&Closed> {
        self.closed
            .iter()
            .find(|(its_on, its_paths, _)| (*its_on, *its_paths) == (on, paths))
            .map(|(_, _, closed)| closed)
    }

    fn solve(&self, on: bool, paths: Paths) -> Result<Closed, HouseError> {
        let (place, supply) = (self.receptacle.as_ref(), &self.supply);
        let harmonics = pins_with(place, supply, &self.specimen, on, paths)?;
        let drive = if paths.has_drive() {
            let response = drive_response(place, supply, &self.specimen, on, paths, DRIVE_HERTZ)?;
            let level = f64::from(self.specimen.currents.drive_level.get());
            core::array::from_fn(|channel| {
                let string = &self.specimen.strings[channel];
                let lead = (response[channel] / string.gain(DRIVE_HERTZ)).re;
                level * lead * string.steady_gain()
            })
        } else {
            [0.0; LEADS]
        };
        Ok(Closed {
            state: State::new(&harmonics, None, supply),
            drive,
        })
    }

    fn state(&self, on: bool, paths: Paths) -> &State {
        self.find(on, paths)
            .map_or_else(|| self.at_rest(on), |closed| &closed.state)
    }

    /// Steady volts of the drive at the pins.
    fn drive(&self, on: bool, then: Driven) -> [f64; LEADS] {
        let sign = if then.high { 1.0 } else { -1.0 };
        self.find(on, then.paths).map_or([0.0; LEADS], |closed| {
            closed.drive.map(|volts| sign * volts)
        })
    }

    /// Volts at the pins while something is closed, or was a moment ago.
    fn switched(&self, number: f64, on: bool, driven: &[Driven; PAST]) -> [f64; LEADS] {
        let mut volts = [0.0; LEADS];
        let mut add = |more: [f64; LEADS], weight: f64| {
            for (sum, more) in volts.iter_mut().zip(more) {
                *sum += more * weight;
            }
        };
        let (turn, amplitude) = self.supply_at(number);
        for (frame, then) in driven.iter().take(SPAN).enumerate() {
            let weight = |index: usize| self.orders[index].weights[frame];
            add(self.state(on, then.paths).volts(turn, weight), amplitude);
            add(self.drive(on, *then), STEADY[frame]);
        }
        for (back, pair) in driven.windows(2).enumerate() {
            let &[new, old] = pair else { continue };
            if new == old {
                continue;
            }
            // The change happened at the beginning of the conversion `back` frames ago; the
            // instant that a frame stands for is 1.5 frames before its conversion's end.
            let (turn, amplitude) = self.supply_at(number + 1.5 - (back + 1) as f64);
            let undrooped = |index: usize| Phasor::new(1.0 / self.orders[index].droop, 0.0);
            let at = |then: Driven| {
                let mains = self.state(on, then.paths).volts(turn, undrooped);
                let drive = self.drive(on, then);
                core::array::from_fn(|channel| mains[channel] * amplitude + drive[channel])
            };
            let (old, new): ([f64; LEADS], [f64; LEADS]) = (at(old), at(new));
            let left = core::array::from_fn(|channel| {
                (old[channel] - new[channel]) * self.forgotten[channel][back]
            });
            add(left, 1.0);
        }
        volts
    }
}

#[cfg(test)]
mod tests {
    use super::super::{PhasorSource, Source};
    use super::*;
    use crate::house::find;
    use crate::outputs::Outputs;
    use core::f64::consts::TAU;
    use slotwise_core::units::{Hertz, Volts};

    const PROBE: Paths = Paths {
        probe: true,
        ..Paths::NONE
    };
    const TO_GROUND: Paths = Paths {
        drive_to_ground: true,
        ..Paths::NONE
    };

    fn sound() -> Receptacle {
        let mut receptacle = find("sound").unwrap().receptacle.clone();
        receptacle.supply = Supply::pure(Volts::new(120.0), Hertz::new(60.0));
        receptacle
    }

    /// Runs the probe's pins so that its contacts are closed in the conversions `from..until`.
    fn close_probe(outputs: &Outputs, from: u64, until: u64) {
        for number in from - 3..until {
            let held = number < until - 1;
            outputs.set_during(number, [(number + from) % 2 == 1, held, false, false, false]);
        }
        let paths = |number| outputs.during(number)[0].paths;
        assert_eq!(
            [from - 1, from, until - 1, until].map(|number| paths(number).probe),
            [false, true, true, false]
        );
    }

    /// The converter's filter and the string's pole, by brute force over 3000 points: `steady`
    /// is what the pin settles to at a time in frames, `changes` when that changes.
    fn brute(number: f64, pole: f64, changes: &[f64], steady: impl Fn(usize, f64) -> f64) -> f64 {
        const STEPS: i32 = 3000;
        let pin = |time: f64| {
            // From the first change on: what is left of each change decays by itself.
            let now = changes.iter().filter(|&&change| change < time).count();
            let mut volts = steady(now, time);
            for (index, change) in changes.iter().take(now).enumerate() {
                let step = steady(index, *change) - steady(index + 1, *change);
                volts += step * ((change - time) / pole).exp();
            }
            volts
        };
        (0..STEPS)
            .map(|step| {
                let x = (f64::from(step) + 0.5) * 3.0 / f64::from(STEPS);
                let weight = match x {
                    x if x < 1.0 => x * x / 2.0,
                    x if x < 2.0 => (-2.0 * x * x + 6.0 * x - 3.0) / 2.0,
                    x => (3.0 - x).powi(2) / 2.0,
                };
                weight * pin(number - x) * 3.0 / f64::from(STEPS)
            })
            .sum()
    }

    #[test]
    fn a_closing_probe_looks_as_the_filters_make_it() {
        let specimen = Specimen::nominal(1);
        let receptacle = sound();
        let mut source = PhasorSource::plugged(&specimen, &receptacle).unwrap();
        let outputs = Outputs::new();
        source.connect(&outputs);
        close_probe(&outputs, 100, 140);
        let pins = |paths| {
            pins_with(
                Some(&receptacle),
                &receptacle.supply,
                &specimen,
                false,
                paths,
            )
            .unwrap()[0]
                .pins
        };
        let (rest, closed) = (pins(Paths::NONE), pins(PROBE));
        let pole = specimen.strings[0].time_constant() * RATE;
        for number in 95..150_u64 {
            let got = source.pins(number);
            for channel in 0..LEADS {
                let steady = |changes: usize, time: f64| {
                    let pin = if changes == 1 { closed } else { rest }[channel];
                    // The instant that a time stands for: 1.5 frames of group delay.
                    let angle = TAU * 60.0 * (time + 1.5) / RATE + pin.arg();
                    SQRT_2 * pin.norm() * angle.cos()
                };
                // Conversion 100 begins at time 99.
                let expected = brute(number as f64, pole, &[99.0, 139.0], steady);
                let error = (got[channel] - expected).abs();
                // One code is 143 nV.
                assert!(
                    error < 50e-9,
                    "{number} {channel}: {} {expected}",
                    got[channel]
                );
            }
        }
    }

    #[test]
    fn the_tone_looks_as_the_filters_make_it() {
        let specimen = Specimen::nominal(1);
        let mut receptacle = sound();
        receptacle.supply = Supply::pure(Volts::ZERO, Hertz::new(60.0));
        let mut source = PhasorSource::plugged(&specimen, &receptacle).unwrap();
        let outputs = Outputs::new();
        source.connect(&outputs);
        let high = |number: u64| (number / 23).is_multiple_of(2);
        for number in 20..300 {
            outputs.set_during(number, [false, false, true, false, high(number)]);
        }
        let response = drive_response(
            Some(&receptacle),
            &receptacle.supply,
            &specimen,
            false,
            TO_GROUND,
            85.0,
        )
        .unwrap();
        let string = specimen.strings[2];
        let pole = string.time_constant() * RATE;
        let changes: Vec<f64> = (2..13).map(|turn| f64::from(23 * turn - 1)).collect();
        for number in 60..290_u64 {
            let got = source.pins(number);
            let level = 6.0 * (response[2] / string.gain(85.0)).re * string.steady_gain();
            let steady = |changes: usize, _| if changes % 2 == 0 { -level } else { level };
            let expected = brute(number as f64, pole, &changes, steady);
            let error = (got[2] - expected).abs();
            assert!(error < 5e-9, "{number}: {} {expected}", got[2]);
            // Wide stands positive while the tone is high: ground below the star.
            assert!(level < 0.0);
        }
    }

    #[test]
    fn the_steady_state_of_the_probe_is_that_of_its_means() {
        // R = Re(dV / I): the pins say the same as the means' own network.
        let specimen = Specimen::nominal(1);
        let receptacle = sound();
        let leads = |paths| {
            let supply = &receptacle.supply;
            let solved = pins_with(Some(&receptacle), supply, &specimen, false, paths).unwrap();
            let gain = specimen.strings[0].gain(60.0);
            solved[0].pins.map(|pin| pin / gain)
        };
        let (rest, closed) = (leads(Paths::NONE), leads(PROBE));
        let moved = (closed[2] - closed[1]) - (rest[2] - rest[1]);
        let current = (closed[0] - closed[2]) / 90_000.0;
        let ohms = (moved / current).re - 10.0;
        let expected =
            crate::means::earth_path_ohms(&receptacle, &specimen, crate::means::Blade::Narrow);
        assert!((ohms - expected.unwrap()).abs() < 1e-3, "{ohms}");
        assert!(ohms > 0.1 && ohms < 0.3, "{ohms}");
    }

    #[test]
    fn a_free_tester_can_close_its_paths_too() {
        let specimen = Specimen::nominal(1);
        let mut source = PhasorSource::new(&specimen, &[]).unwrap();
        let outputs = Outputs::new();
        source.connect(&outputs);
        close_probe(&outputs, 10, 100);
        let gain = specimen.strings[0].steady_gain();
        for number in 0..120 {
            for pin in source.pins(number) {
                assert!(pin.abs() / gain < 1.0, "{number} {pin}");
            }
        }
        for number in 120..200 {
            outputs.set_during(number, [false, false, true, false, number % 40 < 20]);
        }
        // 6 V of drive into nothing but strings: wide and ground against each other.
        let pins = source.pins(155);
        let apart = (pins[1] - pins[2]).abs() / gain;
        assert!((apart - 6.0).abs() < 0.3, "{apart}");
    }
}
