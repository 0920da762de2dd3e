//! Earth path with the power on: 90 kohm from a blade to the inner ground node, on and off.
//!
//! R = Re(d v_g / I) - R_cal, where v_g is the inner ground node against the other blade and I
//! the probe's current. The other blade carries none of it, so its wire does not count.

use crate::circuit::{Node, Phasor, Solution};
use crate::house::{HouseError, Receptacle, Wired, imbalance_of};
use crate::tester::Specimen;
use slotwise_core::units::Amperes;

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
    let current = on.drive / f64::from(specimen.currents.probe_resistance().get());
    let reading = ((on.rest - off.rest) / current).re;
    Ok(reading - f64::from(specimen.currents.reference.get()))
}

/// What an interrupter upstream sees while P1 from `blade` is switched on, were its interlock
/// not there, all harmonics together; none where the receptacle has no interrupter.
///
/// # Errors
/// [`HouseError`] when the supply is none or the network has no solution.
pub fn imbalance_while_probed(
    receptacle: &Receptacle,
    specimen: &Specimen,
    blade: Blade,
) -> Result<Option<Amperes>, HouseError> {
    let mut networks = receptacle.networks(specimen, true)?;
    for wired in &mut networks {
        fit(wired, specimen, blade, true);
    }
    imbalance_of(&networks)
}

/// Puts the probe into the network if it is `switched_on`: the node that feeds it, the inner
/// ground node, the other blade.
fn fit(wired: &mut Wired, specimen: &Specimen, blade: Blade, switched_on: bool) -> [Node; 3] {
    let [narrow, wide, inner, _] = wired.leads;
    let (fed, other) = match blade {
        Blade::Narrow => (narrow, wide),
        Blade::Wide => (wide, narrow),
    };
    if switched_on {
        let probe = specimen.currents.probe_resistance();
        wired.circuit.resistor(fed, inner, probe);
    }
    [fed, inner, other]
}

fn look(
    receptacle: &Receptacle,
    specimen: &Specimen,
    blade: Blade,
    switched_on: bool,
) -> Result<Seen, HouseError> {
    let mut wired = receptacle.fundamental_network(specimen, true)?;
    let [fed, inner, other] = fit(&mut wired, specimen, blade, switched_on);
    let solution: Solution = wired
        .circuit
        .solve(wired.hertz)
        .map_err(|source| HouseError::Circuit { order: 1, source })?;
    Ok(Seen {
        drive: solution.voltage(fed, inner),
        rest: solution.voltage(inner, other),
    })
}
