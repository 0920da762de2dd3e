//! Earth path with the power on: 90 kohm from a blade to the inner ground node, on and off.
//!
//! R = Re(d v_g / I) - R_cal, where v_g is the inner ground node against the other blade and I
//! the probe's current. The other blade carries none of it, so its wire does not count.

use super::REFERENCE_RESISTOR;
use crate::circuit::{Phasor, Solution};
use crate::house::{HouseError, Receptacle};
use crate::tester::Specimen;
use slotwise_core::units::Ohms;

/// The probe: three resistors of 30 kohm.
const PROBE: Ohms = Ohms::new(90_000.0);

/// The blade that a probe is fed from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Blade {
    /// Narrow: hot, where the receptacle is right.
    Narrow,
    /// Wide.
    Wide,
}

/// Voltages of the inner ground node: against the blade that feeds the probe, and against the
/// other.
struct Seen {
    drive: Phasor,
    rest: Phasor,
}

/// What P1 from `blade` would read, were its interlock not there, in ohms.
///
/// # Errors
/// [`HouseError`] when the supply is none or the network has no solution.
pub fn earth_path_ohms(
    receptacle: &Receptacle,
    specimen: &Specimen,
    blade: Blade,
) -> Result<f64, HouseError> {
    let off = look(receptacle, specimen, blade, false)?;
    let on = look(receptacle, specimen, blade, true)?;
    let current = on.drive / f64::from(PROBE.get());
    let reading = ((on.rest - off.rest) / current).re;
    Ok(reading - f64::from(REFERENCE_RESISTOR.get()))
}

fn look(
    receptacle: &Receptacle,
    specimen: &Specimen,
    blade: Blade,
    switched_on: bool,
) -> Result<Seen, HouseError> {
    let mut wired = receptacle.fundamental_network(specimen, true)?;
    let [narrow, wide, ground, _] = wired.slots;
    let (fed, other) = match blade {
        Blade::Narrow => (narrow, wide),
        Blade::Wide => (wide, narrow),
    };
    let inner = wired.circuit.node("inner ground");
    wired.circuit.resistor(inner, ground, REFERENCE_RESISTOR);
    if switched_on {
        wired.circuit.resistor(fed, inner, PROBE);
    }
    let solution: Solution = wired
        .circuit
        .solve(wired.hertz)
        .map_err(|source| HouseError::Circuit { order: 1, source })?;
    Ok(Seen {
        drive: solution.voltage(fed, inner),
        rest: solution.voltage(inner, other),
    })
}
