//! Solves a receptacle harmonic by harmonic: the voltages at the converter's pins, and the
//! truth between the slots against which a tester's reading is held.

use super::HouseError;
use super::receptacle::Receptacle;
use super::wiring::{RATED_VOLTS, Wired};
use crate::circuit::{Phasor, Solution};
use crate::tester::Specimen;
use core::f64::consts::TAU;
use slotwise_core::slots::{LEADS, Pair};

/// Voltages at the converter's pins at one harmonic.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HarmonicPins {
    /// Order of the harmonic; 1 is the fundamental.
    pub order: u32,
    /// RMS volts at the pins, in channel order, after the string, before the converter.
    pub pins: [Phasor; LEADS],
}

/// The voltages that truly stand between the slots, with the tester plugged in.
///
/// Phasors are RMS volts of the fundamental; their common reference is the electromotive
/// force of leg 1.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Truth {
    /// Narrow against wide.
    pub nw: Phasor,
    /// Ground against wide.
    pub gw: Phasor,
    /// Narrow against ground.
    pub ng: Phasor,
    /// Clip against wide.
    pub cw: Phasor,
    /// The star against the far earth.
    pub star: Phasor,
    /// Current of each lead into its string, RMS amperes, in channel order.
    pub lead_currents: [Phasor; LEADS],
    /// Current out of the narrow slot into the appliance's load, its leak and its filter's
    /// capacitors left out; RMS amperes.
    pub appliance_current: Phasor,
    /// Line frequency at time zero, in hertz.
    pub frequency: f64,
    /// RMS of narrow against wide, harmonics included.
    pub nw_rms: f64,
}

impl Truth {
    /// The true phasor of `pair`.
    #[must_use]
    pub fn pair(&self, pair: Pair) -> Phasor {
        match pair {
            Pair::NarrowWide => self.nw,
            Pair::GroundWide => self.gw,
            Pair::NarrowGround => self.ng,
            Pair::ClipWide => self.cw,
            Pair::ClipGround => self.cw - self.gw,
        }
    }
}

/// One state of a receptacle, solved.
#[derive(Clone, Debug, PartialEq)]
pub struct Solved {
    /// What the converter sees, harmonic by harmonic, fundamental first.
    harmonics: Vec<HarmonicPins>,
    /// What is true.
    pub truth: Truth,
}

impl Solved {
    /// What the converter sees, harmonic by harmonic, fundamental first.
    #[must_use]
    pub fn harmonics(&self) -> &[HarmonicPins] {
        &self.harmonics
    }

    /// The pins' phasors of the fundamental.
    #[must_use]
    pub fn fundamental(&self) -> [Phasor; LEADS] {
        self.harmonics[0].pins
    }
}

impl Receptacle {
    /// Solves the receptacle with `specimen` plugged into it, its appliance drawing current
    /// if `appliance_on`.
    ///
    /// # Errors
    /// [`HouseError`] when the supply is none or the network has no solution.
    pub fn solve(&self, specimen: &Specimen, appliance_on: bool) -> Result<Solved, HouseError> {
        self.check_supply()?;
        let solve = |harmonic: (u32, Phasor)| {
            let wired = Wired::build(self, specimen, harmonic, appliance_on);
            let order = wired.order;
            let solution = wired
                .circuit
                .solve(wired.hertz)
                .map_err(|source| HouseError::Circuit { order, source })?;
            let pins = wired
                .pins
                .map(|[plus, minus]| solution.voltage(plus, minus));
            Ok((wired, solution, HarmonicPins { order, pins }))
        };
        let (wired, solution, pins) = solve((1, self.supply.fundamental()))?;
        let mut truth = self.truth(&wired, &solution, specimen, appliance_on);
        let mut harmonics = vec![pins];
        let mut square = truth.nw.norm_sqr();
        for harmonic in self.supply.overtones() {
            let (wired, solution, pins) = solve(harmonic)?;
            square += solution.voltage(wired.slots[0], wired.slots[1]).norm_sqr();
            harmonics.push(pins);
        }
        truth.nw_rms = square.sqrt();
        Ok(Solved { harmonics, truth })
    }

    /// The networks that [`Self::solve`] solves, one a harmonic, fundamental first.
    ///
    /// # Errors
    /// [`HouseError`] when the supply is none.
    pub fn networks(
        &self,
        specimen: &Specimen,
        appliance_on: bool,
    ) -> Result<Vec<Wired>, HouseError> {
        self.check_supply()?;
        Ok(core::iter::once((1, self.supply.fundamental()))
            .chain(self.supply.overtones())
            .map(|harmonic| Wired::build(self, specimen, harmonic, appliance_on))
            .collect())
    }

    /// The first of [`Self::networks`]. Parts can be added to it before it is solved.
    ///
    /// # Errors
    /// [`HouseError`] when the supply is none.
    pub fn fundamental_network(
        &self,
        specimen: &Specimen,
        appliance_on: bool,
    ) -> Result<Wired, HouseError> {
        self.check_supply()?;
        let fundamental = (1, self.supply.fundamental());
        Ok(Wired::build(self, specimen, fundamental, appliance_on))
    }

    /// What `solution` of the network `wired` says between the slots.
    pub(crate) fn truth(
        &self,
        wired: &Wired,
        solution: &Solution,
        specimen: &Specimen,
        appliance_on: bool,
    ) -> Truth {
        let [narrow, wide, ground, clip] = wired.slots;
        let nw = solution.voltage(narrow, wide);
        let frequency = f64::from(self.supply.frequency.get());
        let lead_currents = core::array::from_fn(|channel| {
            // What the pins show, carried back over the filter to the foot; the rest of the
            // lead's voltage stands over the chain.
            let string = &specimen.strings[channel];
            let [plus, minus] = wired.pins[channel];
            let filter = f64::from(string.filter[0].get() + string.filter[1].get());
            let admittance = Phasor::new(
                1.0 / f64::from(string.input.get()),
                TAU * frequency * string.capacitor.get(),
            );
            let foot = solution.voltage(plus, minus) * (1.0 + admittance * filter);
            let lead = solution.voltage(wired.leads[channel], wired.star);
            (lead - foot) / f64::from(string.chain.get())
        });
        let drawn = match self.appliance {
            Some(appliance) if appliance_on => appliance.current.get() / RATED_VOLTS,
            _ => 0.0,
        };
        Truth {
            nw,
            gw: solution.voltage(ground, wide),
            ng: solution.voltage(narrow, ground),
            cw: solution.voltage(clip, wide),
            star: solution.potential(wired.star),
            lead_currents,
            appliance_current: nw * f64::from(drawn),
            frequency,
            nw_rms: nw.norm(),
        }
    }

    fn check_supply(&self) -> Result<(), HouseError> {
        let (volts, hertz) = (self.supply.leg.get(), self.supply.frequency.get());
        if volts.is_finite() && volts >= 0.0 && (10.0..=400.0).contains(&hertz) {
            Ok(())
        } else {
            Err(HouseError::Supply { volts, hertz })
        }
    }
}
