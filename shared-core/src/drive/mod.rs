//! Drive P2: resistance of a path from what a small current of our own at 85 Hz leaves on it.
//!
//! ```text
//!  wide ──[R_s]──(+-E, 85 Hz)──o/o── inner ground ──[R_cal]── ground hole
//!                              o/o── [10 ohm]── clip
//! ```
//!
//! About 2 mA through neutral and equipment ground, with the power on or off, through the
//! neutral and the appliance's burner with the power off, or from the neutral to an independent
//! earth. 85 Hz stands 25 Hz from the line, so
//! that the line is filtered out and its sources are dead to the measurement. High makes wide
//! positive.
//!
//! `tone` makes the sequence that the drive follows, `lock_in` sums frames against it
//! ([`Estimator::push`], integers only), `robust` and `estimator` make ohms of the windows,
//! `interlock` says where the drive may be used ([`may_close`], [`may_stay`]).

mod calibration;
mod estimator;
mod interlock;
pub(crate) mod lock_in;
mod robust;
mod tone;

pub use calibration::{DriveCalibration, TONE};
pub use estimator::{Estimator, MOST_WINDOWS, NORMAL_WINDOWS, SETTLE};
pub(crate) use estimator::{leads, share_of_window};
pub use interlock::{may_close, may_stay};
pub use tone::tone_is_high;
