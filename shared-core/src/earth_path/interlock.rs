//! Whether the probe may be closed at all: asked before, on calibrated values at rest. The fast
//! check, a peak on every frame, runs in the converter's interrupt.
//!
//! With the ground slot open the probe would lift every frame on it towards line through its
//! 90 kohm, and somebody may hold one. So the ground must stand near neutral before.

use crate::evidence::{Evidence, Missing};
use crate::limits::Limits;

/// Whether the probe may be closed after what a test has measured so far.
///
/// # Errors
/// Why not: voltages that were not measured, too little of them to drive a current
/// ([`Missing::NoVoltage`]), or too much ([`Missing::Refused`]).
pub fn may_close(evidence: &Evidence, limits: &Limits) -> Result<(), Missing> {
    let slots = evidence.slots?;
    let rest = slots.ground_wide().fundamental.rms;
    let drive = slots.narrow_ground().fundamental.rms;
    let limits = &limits.probe;
    // Written so that a NaN refuses.
    if !(rest < limits.rest_most && drive < limits.drive_most) {
        Err(Missing::Refused)
    } else if drive < limits.voltage_least {
        Err(Missing::NoVoltage)
    } else {
        Ok(())
    }
}
