//! Drive P2: resistance of a path from what a small current of our own at 85 Hz leaves on it.

mod calibration;
mod tone;

pub use calibration::{DriveCalibration, TONE};
pub use tone::tone_is_high;
