//! The tester in the hand, plugged into nothing: what its leads pick up from the room.
//!
//! Each lead has about a picofarad to some live wire in the walls; the star's barrier
//! capacitance gives the current its way to earth. So an unplugged tester reads a few tens of
//! millivolts of line frequency, not zero.

use super::{HarmonicPins, HouseError, Supply, Wired};
use crate::circuit::{Circuit, Node, Phasor};
use crate::quantity::{Farads, Henries};
use crate::tester::Specimen;
use slotwise_core::units::Ohms;

/// Capacitance of each lead to the live wiring of the room, in picofarads; judgement.
const TO_LIVE_WIRING: [f64; 4] = [0.8, 1.0, 0.9, 1.3];

/// Solves the unplugged tester in a room that `supply` feeds.
///
/// # Errors
/// [`HouseError`] when the specimen's parts are none.
pub fn unplugged(supply: &Supply, specimen: &Specimen) -> Result<Vec<HarmonicPins>, HouseError> {
    unplugged_networks(supply, specimen)
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

/// The networks that [`unplugged`] solves, one a harmonic, fundamental first. Parts can be
/// added to them before they are solved.
#[must_use]
pub fn unplugged_networks(supply: &Supply, specimen: &Specimen) -> Vec<Wired> {
    core::iter::once((1, supply.fundamental()))
        .chain(supply.overtones())
        .map(|harmonic| wire(supply, specimen, harmonic))
        .collect()
}

fn wire(supply: &Supply, specimen: &Specimen, (order, emf): (u32, Phasor)) -> Wired {
    let mut circuit = Circuit::new();
    let live = circuit.node("live wiring of the room");
    circuit.source(live, Node::REFERENCE, emf, Ohms::ZERO, Henries::new(0.0));
    let star = circuit.node("star");
    circuit.capacitor(star, Node::REFERENCE, specimen.barrier);
    let names = ["narrow", "wide", "ground", "clip"];
    let slots = names.map(|name| circuit.node(name));
    for (slot, picofarads) in slots.into_iter().zip(TO_LIVE_WIRING) {
        circuit.capacitor(live, slot, Farads::from_pico(picofarads));
    }
    for (one, other) in [(0, 1), (0, 2), (1, 2)] {
        circuit.capacitor(slots[one], slots[other], specimen.cord);
    }
    let [narrow, wide, ground, clip] = slots;
    let inner = circuit.node("inner ground");
    circuit.resistor(inner, ground, specimen.currents.reference);
    let inner_clip = circuit.node("inner clip");
    circuit.resistor(inner_clip, clip, specimen.currents.clip_reference);
    let leads = [narrow, wide, inner, inner_clip];
    let pins: [[Node; 2]; 4] = core::array::from_fn(|channel| {
        specimen.strings[channel].place(&mut circuit, names[channel], leads[channel], star)
    });
    Wired {
        circuit,
        order,
        hertz: f64::from(supply.frequency.get()) * f64::from(order),
        slots,
        leads,
        star,
        pins,
        sensed: Vec::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_unplugged_tester_reads_less_than_a_quarter_of_a_volt() {
        let specimen = Specimen::nominal(0);
        let harmonics = unplugged(&Supply::ordinary(), &specimen).unwrap();
        for pin in harmonics[0].pins {
            let volts = pin.norm() / specimen.strings[0].gain(60.0).norm();
            assert!(volts > 1e-4 && volts < 0.25, "{volts}");
        }
    }
}
