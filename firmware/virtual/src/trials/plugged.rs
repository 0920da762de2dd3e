//! One tester in one receptacle, solved once, and the states that a trial looks at.
//!
//! All states differ from the first by a few impedances between the terminals: an earth on the
//! clip, the probe's 90 kohm, a load more. So the house is wired and factored once at the line's
//! frequency and, for the drive, once at 85 Hz; each state is a bridge over the factors. That
//! this says the same as a network built for each state is held by the tests below.
//!
//! Limits: fundamental only; what is plugged in draws its current all the time.

use crate::circuit::{Bridge, Factored, Node, Phasor, Solution};
use crate::house::{HouseError, Receptacle, Truth, Wired};
use crate::tester::Specimen;
use slotwise_core::slots::{LEADS, Lead};
use slotwise_core::units::Amperes;

/// Frequency of the drive P2, in hertz.
const DRIVE_HERTZ: f64 = 85.0;

/// A tester in a receptacle.
pub(super) struct Plugged<'a> {
    receptacle: &'a Receptacle,
    specimen: &'a Specimen,
    wired: Wired,
    line: Factored,
}

/// What one state shows.
pub(super) struct State {
    /// What is true between the slots.
    pub truth: Truth,
    /// Volts at the converter's pins, in channel order.
    pub pins: [Phasor; LEADS],
}

/// What a current of the tester's own changes.
pub(super) struct Moved {
    /// Volts of each lead against the star before it flows.
    pub before: [Phasor; LEADS],
    /// Volts of each lead against the star while it flows.
    pub after: [Phasor; LEADS],
}

fn failed(source: crate::circuit::CircuitError) -> HouseError {
    HouseError::Circuit { order: 1, source }
}

impl<'a> Plugged<'a> {
    /// Plugs `specimen` into `receptacle`; its clip hangs free and its supply is a pure sine.
    pub(super) fn new(
        receptacle: &'a Receptacle,
        specimen: &'a Specimen,
    ) -> Result<Self, HouseError> {
        let wired = receptacle.fundamental_network(specimen, true)?;
        let line = wired.circuit.factor(wired.hertz).map_err(failed)?;
        Ok(Self {
            receptacle,
            specimen,
            wired,
            line,
        })
    }

    /// As it is plugged in.
    pub(super) fn free(&self) -> State {
        self.state(self.line.solution())
    }

    /// With the clip on an independent earth.
    pub(super) fn earthed(&self) -> Result<State, HouseError> {
        let [.., clip] = self.wired.slots;
        let earth = Bridge {
            from: clip,
            to: Node::REFERENCE,
            impedance: Phasor::new(f64::from(self.receptacle.independent_earth.get()), 0.0),
        };
        let (solution, _) = self.line.bridged(&[earth]).map_err(failed)?;
        Ok(self.state(&solution))
    }

    /// With so many amperes more at 120 V from narrow to wide.
    pub(super) fn loaded(&self, more: Amperes) -> Result<State, HouseError> {
        let bridges = self.wired.load(self.receptacle, more);
        let (solution, _) = self.line.bridged(&bridges).map_err(failed)?;
        Ok(self.state(&solution))
    }

    /// With probe P1 from narrow to the inner ground node.
    pub(super) fn probed(&self) -> Result<Moved, HouseError> {
        let [narrow, _, inner, _] = self.wired.leads;
        let probe = Bridge {
            from: narrow,
            to: inner,
            impedance: Phasor::new(
                f64::from(self.specimen.currents.probe_resistance().get()),
                0.0,
            ),
        };
        let (solution, _) = self.line.bridged(&[probe]).map_err(failed)?;
        Ok(Moved {
            before: self.leads(self.line.solution()),
            after: self.leads(&solution),
        })
    }

    /// What one ampere of the drive P2, from wide to the inner ground node, does to the leads.
    /// The line's own voltage is no part of it: it is filtered out.
    pub(super) fn driven(&self) -> Result<Moved, HouseError> {
        let [_, wide, inner, _] = self.wired.leads;
        let circuit = &self.wired.circuit;
        let factored = circuit
            .factor_like(&self.line, DRIVE_HERTZ)
            .map_err(failed)?;
        let solution = factored.one_ampere(wide, inner).map_err(failed)?;
        Ok(Moved {
            before: [Phasor::new(0.0, 0.0); LEADS],
            after: self.leads(&solution),
        })
    }

    /// What one ampere of the drive P2, from wide to the clip on an independent earth, does to the
    /// leads. The clip's string is 1 Mohm beside it and left out: 1e-5 of an earth of 10 ohm.
    pub(super) fn driven_to_earth(&self) -> Result<Moved, HouseError> {
        let [_, wide, ..] = self.wired.leads;
        let factored = self
            .wired
            .circuit
            .factor_like(&self.line, DRIVE_HERTZ)
            .map_err(failed)?;
        let solution = factored.one_ampere(wide, Node::REFERENCE).map_err(failed)?;
        let mut after = self.leads(&solution);
        let star = solution.voltage(self.wired.star, Node::REFERENCE);
        let earth = self.receptacle.independent_earth + self.specimen.currents.clip_reference;
        after[Lead::Clip.channel()] = -Phasor::new(f64::from(earth.get()), 0.0) - star;
        Ok(Moved {
            before: [Phasor::new(0.0, 0.0); LEADS],
            after,
        })
    }

    fn leads(&self, solution: &Solution) -> [Phasor; LEADS] {
        self.wired
            .leads
            .map(|lead| solution.voltage(lead, self.wired.star))
    }

    fn state(&self, solution: &Solution) -> State {
        State {
            truth: self
                .receptacle
                .truth(&self.wired, solution, self.specimen, true),
            pins: self
                .wired
                .pins
                .map(|[plus, minus]| solution.voltage(plus, minus)),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::Draw;
    use super::*;
    use crate::house::{Appliance, bank, enumeration};
    use crate::means::{Blade, earth_ohms, earth_path_ohms, loop_ohms, open_slots};
    use slotwise_core::slots::ClipTarget;

    /// Every wiring in a drawn house with a drawn tester.
    fn trials() -> impl Iterator<Item = (String, Receptacle, Specimen)> {
        let entries = enumeration()
            .iter()
            .map(|entry| (entry.name.clone(), &entry.receptacle));
        let terrace = bank()
            .iter()
            .map(|named| (named.name.to_owned(), &named.receptacle));
        (0..)
            .zip(entries.chain(terrace))
            .map(|(number, (name, wiring))| {
                let mut draw = Draw::new(5, number);
                let specimen = draw.specimen();
                let mut receptacle = draw.house_of(wiring).with_clip(ClipTarget::NotConnected);
                receptacle.supply.harmonics.clear();
                (name, receptacle, specimen)
            })
    }

    /// How far a voltage of the factored path is from that of a network built for the state: as
    /// a share of it, of 1 V where it is less: 1 nV is allowed. A window's noise is 95 uV.
    fn apart(one: Phasor, other: Phasor) -> f64 {
        (one - other).norm() / other.norm().max(1.0)
    }

    /// The worst of all states, with its name.
    struct Worst(f64, String);

    impl Worst {
        fn hold(&mut self, off: f64, name: &str) {
            if off > self.0 || off.is_nan() {
                *self = Self(off, name.to_owned());
            }
        }

        fn states(&mut self, name: &str, one: &State, other: &crate::house::Solved) {
            let (here, there) = (&one.truth, &other.truth);
            let pairs = [
                (here.nw, there.nw),
                (here.gw, there.gw),
                (here.ng, there.ng),
                (here.cw, there.cw),
            ];
            let pins = one.pins.into_iter().zip(other.fundamental());
            for (here, there) in pairs.into_iter().chain(pins) {
                self.hold(apart(here, there), name);
            }
        }
    }

    #[test]
    fn a_bridge_is_the_network_built_for_the_state() {
        let mut worst = Worst(0.0, String::new());
        let mut seen = 0;
        for (name, receptacle, specimen) in trials() {
            let plugged = Plugged::new(&receptacle, &specimen).unwrap();
            let solve = |receptacle: &Receptacle| receptacle.solve(&specimen, true).unwrap();
            worst.states(&name, &plugged.free(), &solve(&receptacle));
            let earthed = receptacle.clone().with_clip(ClipTarget::IndependentEarth);
            worst.states(&name, &plugged.earthed().unwrap(), &solve(&earthed));
            seen += 1;
            let more = Amperes::new(2.0);
            let before = receptacle.appliance.unwrap_or(Appliance::steady(0.0));
            // The ohms of a part are a single: of 9 A and 2 A they would differ from those of
            // 11 A in the eighth digit.
            // An open slot carries no load, in a trial neither.
            let is_open = open_slots(&plugged.free().truth).contains(&true);
            if is_open || before.current == Amperes::new(9.0) {
                continue;
            }
            let loaded = receptacle.clone().with_appliance(Appliance {
                current: before.current + more,
                ..before
            });
            worst.states(&name, &plugged.loaded(more).unwrap(), &solve(&loaded));
        }
        println!("{seen} wirings, worst {:.1e} at {}", worst.0, worst.1);
        assert!(seen > 200);
        assert!(worst.0 < 1e-9, "{:.1e} at {}", worst.0, worst.1);
    }

    #[test]
    fn probe_and_drive_read_what_their_parts_in_the_network_read() {
        let mut worst = Worst(0.0, String::new());
        for (name, receptacle, specimen) in trials() {
            let plugged = Plugged::new(&receptacle, &specimen).unwrap();
            let reference = f64::from(specimen.currents.reference.get());
            let change = |leads: &[Phasor; LEADS], one: Lead, other: Lead| {
                leads[one.channel()] - leads[other.channel()]
            };
            let drive = plugged.driven().unwrap();
            let p2 = change(&drive.after, Lead::Wide, Lead::Ground).re - reference;
            let built = loop_ohms(&receptacle, &specimen).unwrap();
            // Ohms beyond the reference resistor: the reading is a difference to it.
            let share = |one: f64, other: f64| (one - other).abs() / (other.abs() + reference);
            worst.hold(share(p2, built), &format!("{name}: P2 {p2} {built}"));

            let to_earth = plugged.driven_to_earth().unwrap();
            let lead = f64::from(specimen.currents.clip_reference.get());
            let p2 = change(&to_earth.after, Lead::Wide, Lead::Clip).re - lead;
            let built = earth_ohms(&receptacle, &specimen).unwrap();
            // The clip's string and the star lie beside the path: 1 Mohm. A path through the
            // house's strays alone is not one that the drive reads.
            if built < 1_000.0 {
                let off = share(p2, built) - 2.0 * (built + 20.0) / 1e6;
                worst.hold(off.max(0.0), &format!("{name}: P2 to earth {p2} {built}"));
            }

            let probe = plugged.probed().unwrap();
            let [before, after] =
                [probe.before, probe.after].map(|leads| change(&leads, Lead::Ground, Lead::Wide));
            let drop = change(&probe.after, Lead::Narrow, Lead::Ground);
            if drop.norm() < 20.0 {
                continue;
            }
            let current = drop / f64::from(specimen.currents.probe_resistance().get());
            let p1 = ((after - before) / current).re - reference;
            let built = earth_path_ohms(&receptacle, &specimen, Blade::Narrow).unwrap();
            worst.hold(share(p1, built), &format!("{name}: P1 {p1} {built}"));
        }
        println!("worst {:.1e} at {}", worst.0, worst.1);
        assert!(worst.0 < 1e-9, "{:.1e} at {}", worst.0, worst.1);
    }
}
