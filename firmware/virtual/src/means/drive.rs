//! Neutral and ground together, and neutral to an independent earth: a low-voltage 85 Hz drive
//! between wide and the inner ground node, or the clip, the line's own frequency filtered out.
//!
//! 85 Hz stands five whole bins of 5 Hz from the line, so the supply's sources are dead to it
//! and only its wires remain: R = Re(v / I) - R_cal.

use super::dead;
use crate::circuit::Phasor;
use crate::house::{HouseError, Receptacle};
use crate::quantity::Henries;
use crate::tester::Specimen;
use slotwise_core::slots::{ClipTarget, Lead};
use slotwise_core::units::Ohms;

/// Frequency of the drive, in hertz.
const HERTZ: f64 = 85.0;

/// What P2 to ground would read, were its interlock not there, in ohms.
///
/// # Errors
/// [`HouseError`] when the supply is none or the network has no solution.
pub fn loop_ohms(receptacle: &Receptacle, specimen: &Specimen) -> Result<f64, HouseError> {
    ohms(
        receptacle,
        specimen,
        Lead::Ground,
        specimen.currents.reference,
    )
}

/// What P2 to the clip would read, the clip on an independent earth, were its interlock not there,
/// in ohms.
///
/// # Errors
/// [`HouseError`] when the supply is none or the network has no solution.
pub fn earth_ohms(receptacle: &Receptacle, specimen: &Specimen) -> Result<f64, HouseError> {
    let earthed = receptacle.clone().with_clip(ClipTarget::IndependentEarth);
    ohms(
        &earthed,
        specimen,
        Lead::Clip,
        specimen.currents.clip_reference,
    )
}

/// From wide to `far`, less the resistor that is in that lead.
fn ohms(
    receptacle: &Receptacle,
    specimen: &Specimen,
    far: Lead,
    in_lead: Ohms,
) -> Result<f64, HouseError> {
    let mut wired = dead(receptacle).fundamental_network(specimen, true)?;
    let [wide, far] = [Lead::Wide, far].map(|lead| wired.leads[lead.channel()]);
    let parts = &specimen.currents;
    let drive = wired.circuit.source(
        wide,
        far,
        Phasor::new(f64::from(parts.drive_level.get()), 0.0),
        parts.drive_source,
        Henries::new(0.0),
    );
    let solution = wired
        .circuit
        .solve(HERTZ)
        .map_err(|source| HouseError::Circuit { order: 1, source })?;
    let reading = (solution.voltage(wide, far) / solution.current(drive)).re;
    Ok(reading - f64::from(in_lead.get()))
}
