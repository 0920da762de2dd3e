//! The load step: a load on the same receptacle comes on, and the sag is shared out.
//!
//! dv_nw = -I (Zh + Zn + Zs) and, where ground is a conductor of its own, dv_gw = -I Zn: the
//! current drops out of rho = dv_gw conj(dv_nw) / |dv_nw|^2. A few amperes: 5.

use crate::circuit::Phasor;
use crate::house::{Appliance, Duty, HouseError, Receptacle};
use crate::tester::Specimen;
use slotwise_core::units::Amperes;

/// The step of current.
pub const STEP: Amperes = Amperes::new(5.0);

/// The least sag that the rule on rho counts, in volts: some 2 A on a usual branch.
const LEAST_SAG: f64 = 0.5;

/// One load step.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Step {
    /// The ratio.
    pub rho: Phasor,
    /// RMS volts by which narrow-wide changed.
    pub sag: f64,
}

/// The step that [`STEP`] more amperes make, or none if nothing sags by half a volt. An open
/// slot carries no load: the caller has looked for one.
///
/// # Errors
/// [`HouseError`] when the supply is none or the network has no solution.
pub fn load_step(receptacle: &Receptacle, specimen: &Specimen) -> Result<Option<Step>, HouseError> {
    let before = receptacle.appliance.unwrap_or(Appliance::steady(0.0));
    let with = |current: Amperes| {
        receptacle.clone().with_appliance(Appliance {
            current,
            duty: Duty::Steady,
            ..before
        })
    };
    let off = with(before.current).solve(specimen, true)?.truth;
    let on = with(before.current + STEP).solve(specimen, true)?.truth;
    let (dnw, dgw) = (on.nw - off.nw, on.gw - off.gw);
    Ok((dnw.norm() >= LEAST_SAG).then(|| Step {
        rho: dgw * dnw.conj() / dnw.norm_sqr(),
        sag: dnw.norm(),
    }))
}
