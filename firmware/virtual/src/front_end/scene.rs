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
    Appliance, HarmonicPins, HouseError, Jig, Place, Receptacle, Supply, Truth, drive_response,
    pins_with, unplugged,
};
use crate::outputs::{Driven, PAST};
use crate::tester::{Paths, Specimen};
use core::f64::consts::SQRT_2;
use slotwise_core::slots::{LEADS, Lead};

/// The drive's frequency.
const DRIVE_HERTZ: f64 = 85.0;

/// One place, solved for its appliance off and on; the rest when it is met.
#[derive(Clone, Debug)]
pub(super) struct Scene {
    specimen: Specimen,
    receptacle: Option<Receptacle>,
    jig: Option<Jig>,
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
    /// Steady volts at the pins for one volt of drive, and the amperes that it sends.
    drive: [f64; LEADS],
    amperes: f64,
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
        Ok(Self::of(
            specimen,
            receptacle.cloned(),
            supply,
            idle,
            running,
        ))
    }

    /// The tester on the fixture of a workshop.
    pub(super) fn on_jig(specimen: &Specimen, jig: &Jig) -> Result<Self, HouseError> {
        let supply = jig.supply().clone();
        let idle = State::new(&jig.solve(specimen)?, None, &supply);
        let mut scene = Self::of(specimen, None, supply, idle, None);
        scene.jig = Some(jig.clone());
        Ok(scene)
    }

    fn of(
        specimen: &Specimen,
        receptacle: Option<Receptacle>,
        supply: Supply,
        idle: State,
        running: Option<(Appliance, State)>,
    ) -> Self {
        let hertz = f64::from(supply.frequency.get());
        let orders = idle.harmonics.iter().map(|(order, _)| {
            let hertz = hertz * f64::from(*order);
            let droop = droop(hertz);
            Order {
                droop,
                weights: sine_weights(hertz).map(|weight| weight / droop),
            }
        });
        Self {
            orders: orders.collect(),
            forgotten: specimen.strings.each_ref().map(forgotten),
            specimen: specimen.clone(),
            receptacle,
            jig: None,
            supply,
            idle,
            running,
            closed: Vec::new(),
        }
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
        let place = match &self.jig {
            Some(jig) => Place::Jig(jig),
            None => Place::from(self.receptacle.as_ref()),
        };
        let supply = &self.supply;
        let harmonics = pins_with(place, supply, &self.specimen, on, paths)?;
        let drive = if paths.has_drive() {
            let response = drive_response(place, supply, &self.specimen, on, paths, DRIVE_HERTZ)?;
            let leads: [f64; LEADS] = core::array::from_fn(|channel| {
                (response[channel] / self.specimen.strings[channel].gain(DRIVE_HERTZ)).re
            });
            // One volt less what the path takes of it is over the source.
            let far = if paths.drive_to_clip {
                Lead::Clip
            } else {
                Lead::Ground
            };
            let path = leads[Lead::Wide.channel()] - leads[far.channel()];
            let amperes = (1.0 - path) / f64::from(self.specimen.currents.drive_source.get());
            let pins = core::array::from_fn(|channel| {
                leads[channel] * self.specimen.strings[channel].steady_gain()
            });
            (pins, amperes)
        } else {
            ([0.0; LEADS], 0.0)
        };
        let (drive, amperes) = drive;
        Ok(Closed {
            state: State::new(&harmonics, None, supply),
            drive,
            amperes,
        })
    }

    fn state(&self, on: bool, paths: Paths) -> &State {
        self.find(on, paths)
            .map_or_else(|| self.at_rest(on), |closed| &closed.state)
    }

    /// Steady volts of the drive at the pins.
    fn drive(&self, on: bool, then: Driven) -> [f64; LEADS] {
        let parts = &self.specimen.currents;
        let level = if then.raised {
            parts.drive_raised
        } else {
            parts.drive_level
        };
        let level = f64::from(level.get());
        let sign = if then.high { 1.0 } else { -1.0 };
        self.find(on, then.paths).map_or([0.0; LEADS], |closed| {
            let amperes = level * closed.amperes;
            let level = level * parts.let_through(then.paths, then.high, amperes);
            closed.drive.map(|volts| sign * level * volts)
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
mod tests;
