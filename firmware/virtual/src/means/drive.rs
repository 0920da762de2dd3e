//! Neutral and ground together: a low-voltage 85 Hz drive between wide and the inner ground
//! node, the line's own frequency filtered out.
//!
//! 85 Hz stands five whole bins of 5 Hz from the line, so the supply's sources are dead to it
//! and only its wires remain: R = Re(v / I) - R_cal.

use super::dead;
use crate::circuit::{Node, Phasor};
use crate::house::{HouseError, Receptacle};
use crate::quantity::Henries;
use crate::tester::Specimen;

/// Frequency of the drive, in hertz.
const HERTZ: f64 = 85.0;

/// What P2 would read, were its interlock not there, in ohms.
///
/// # Errors
/// [`HouseError`] when the supply is none or the network has no solution.
pub fn loop_ohms(receptacle: &Receptacle, specimen: &Specimen) -> Result<f64, HouseError> {
    let mut wired = dead(receptacle).fundamental_network(specimen, true)?;
    let [_, wide, inner, _]: [Node; 4] = wired.leads;
    let parts = &specimen.currents;
    let drive = wired.circuit.source(
        wide,
        inner,
        Phasor::new(f64::from(parts.drive_level.get()), 0.0),
        parts.drive_source,
        Henries::new(0.0),
    );
    let solution = wired
        .circuit
        .solve(HERTZ)
        .map_err(|source| HouseError::Circuit { order: 1, source })?;
    let reading = (solution.voltage(wide, inner) / solution.current(drive)).re;
    Ok(reading - f64::from(parts.reference.get()))
}
