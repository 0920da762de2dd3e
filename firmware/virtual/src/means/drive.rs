//! Neutral and ground together: a low-voltage 85 Hz drive between wide and the inner ground
//! node, the line's own frequency filtered out.
//!
//! 85 Hz stands five whole bins of 5 Hz from the line, so the supply's sources are dead to it
//! and only its wires remain: R = Re(v / I) - R_cal.

use super::{REFERENCE_RESISTOR, dead};
use crate::circuit::{Node, Phasor};
use crate::house::{HouseError, Receptacle};
use crate::quantity::Henries;
use crate::tester::Specimen;
use slotwise_core::units::Ohms;

/// Frequency of the drive, in hertz.
const HERTZ: f64 = 85.0;

/// Open-circuit voltage and resistance of the drive: 6 V behind 3 kohm are 2 mA.
const VOLTS: f64 = 6.0;
const LIMITER: Ohms = Ohms::new(3_000.0);

/// What P2 would read, were its interlock not there, in ohms.
///
/// # Errors
/// [`HouseError`] when the supply is none or the network has no solution.
pub fn loop_ohms(receptacle: &Receptacle, specimen: &Specimen) -> Result<f64, HouseError> {
    let mut wired = dead(receptacle).fundamental_network(specimen, true)?;
    let [_, wide, ground, _]: [Node; 4] = wired.slots;
    let inner = wired.circuit.node("inner ground");
    wired.circuit.resistor(inner, ground, REFERENCE_RESISTOR);
    let drive = wired.circuit.source(
        wide,
        inner,
        Phasor::new(VOLTS, 0.0),
        LIMITER,
        Henries::new(0.0),
    );
    let solution = wired
        .circuit
        .solve(HERTZ)
        .map_err(|source| HouseError::Circuit { order: 1, source })?;
    let reading = (solution.voltage(wide, inner) / solution.current(drive)).re;
    Ok(reading - f64::from(REFERENCE_RESISTOR.get()))
}
