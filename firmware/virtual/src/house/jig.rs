//! The fixture of a workshop: a tester whose leads are joined by resistances, and a source whose
//! voltage is known.
//!
//! The source floats, as behind an isolating transformer; nothing but the tester's own stray
//! capacitances ties it to earth. Each contact has [`CONTACT`].

use super::{HarmonicPins, HouseError, Supply, Wired, unplugged_networks};
use crate::circuit::{Branch, Phasor};
use crate::quantity::Henries;
use crate::tester::Specimen;
use slotwise_core::slots::Lead;
use slotwise_core::units::{Ohms, Volts};

/// A plug-in contact of the fixture.
pub const CONTACT: Ohms = Ohms::new(0.005);

/// Resistance behind the source: a small transformer.
const SOURCE: Ohms = Ohms::new(2.0);

/// What the tester's leads are on.
#[derive(Clone, Debug, PartialEq)]
pub struct Jig {
    joins: Vec<(Lead, Lead, Ohms)>,
    source: Option<(Lead, Lead)>,
    supply: Supply,
}

impl Jig {
    /// All leads joined, no voltage.
    #[must_use]
    pub fn shorted() -> Self {
        Self {
            joins: Lead::ALL
                .into_iter()
                .filter(|lead| *lead != Lead::Wide)
                .map(|lead| (Lead::Wide, lead, CONTACT))
                .collect(),
            source: None,
            supply: Supply::ordinary(),
        }
    }

    /// `lead` at the voltage of `supply` against the other three, which are joined.
    #[must_use]
    pub fn applied(lead: Lead, supply: Supply) -> Self {
        let hub = if lead == Lead::Wide {
            Lead::Narrow
        } else {
            Lead::Wide
        };
        Self {
            joins: Lead::ALL
                .into_iter()
                .filter(|other| *other != lead && *other != hub)
                .map(|other| (hub, other, CONTACT))
                .collect(),
            source: Some((lead, hub)),
            supply,
        }
    }

    /// A resistance from wide to clip, the other leads free.
    #[must_use]
    pub fn resistor(ohms: Ohms) -> Self {
        Self {
            joins: vec![(Lead::Wide, Lead::Clip, ohms)],
            source: None,
            supply: Supply::ordinary(),
        }
    }

    /// The supply of the room, and of the source.
    #[must_use]
    pub const fn supply(&self) -> &Supply {
        &self.supply
    }

    /// What the pins see, harmonic by harmonic.
    ///
    /// # Errors
    /// [`HouseError`] when the network has no solution.
    pub fn solve(&self, specimen: &Specimen) -> Result<Vec<HarmonicPins>, HouseError> {
        self.networks(&self.supply, specimen)
            .into_iter()
            .map(|wired| {
                let order = wired.order;
                let solution = wired
                    .circuit
                    .solve(wired.hertz)
                    .map_err(|source| HouseError::Circuit { order, source })?;
                let pins = wired
                    .pins
                    .map(|[plus, minus]| solution.voltage(plus, minus));
                Ok(HarmonicPins { order, pins })
            })
            .collect()
    }

    /// True RMS at the terminals of the source, as a perfect meter shows it; 0 V without one.
    ///
    /// # Errors
    /// [`HouseError`] when the network has no solution.
    pub fn volts(&self, specimen: &Specimen) -> Result<Volts, HouseError> {
        let Some((plus, minus)) = self.source else {
            return Ok(Volts::ZERO);
        };
        let mut square = 0.0;
        for wired in self.networks(&self.supply, specimen) {
            let order = wired.order;
            let solution = wired
                .circuit
                .solve(wired.hertz)
                .map_err(|source| HouseError::Circuit { order, source })?;
            let [plus, minus] = [plus, minus].map(|lead| wired.slots[lead.channel()]);
            square += solution.voltage(plus, minus).norm_sqr();
        }
        Ok(Volts::from_f64(square.sqrt()))
    }

    /// The networks, one a harmonic of `supply`, fundamental first.
    pub(crate) fn networks(&self, supply: &Supply, specimen: &Specimen) -> Vec<Wired> {
        let emfs = core::iter::once(supply.fundamental())
            .chain(supply.overtones().map(|(_, emf)| emf))
            .collect::<Vec<Phasor>>();
        let mut networks = unplugged_networks(supply, specimen);
        for (wired, emf) in networks.iter_mut().zip(emfs) {
            for &(from, to, ohms) in &self.joins {
                let [from, to] = [from, to].map(|lead| wired.slots[lead.channel()]);
                wired.circuit.resistor(from, to, ohms);
            }
            if let Some((plus, minus)) = self.source {
                let [plus, minus] = [plus, minus].map(|lead| wired.slots[lead.channel()]);
                let _: Branch = wired
                    .circuit
                    .source(plus, minus, emf, SOURCE, Henries::new(0.0));
            }
        }
        networks
    }
}
