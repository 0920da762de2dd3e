//! The tester as it is built: the parts of its four strings and of its converter, with the
//! tolerances that one built specimen drew; and the parts of its own currents.
//!
//! The circuit is the one of the hardware notes: every lead reaches the floating star through
//! 3 x 330 kohm and 2.4 kohm; the voltage over the 2.4 kohm goes through 1 kohm / 1 kohm /
//! 10 nF to one converter input of 300 kohm.

mod currents;
mod specimen;
mod string;

pub use currents::{CurrentParts, Paths};
pub use specimen::{ConverterChannel, Specimen, Tolerance};
pub use string::SensingString;

/// Full scale of the converter at its pins, in volts, at gain 1.
pub const FULL_SCALE_VOLTS: f64 = 1.2;

/// Codes for one volt at the pins: 2^23 / 1.2.
pub const CODES_PER_VOLT: f64 = 8_388_608.0 / FULL_SCALE_VOLTS;
