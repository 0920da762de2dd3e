//! Whether every relay of the tester's own currents opens: asked before any of them is used.
//!
//! ```text
//!  narrow ──[90 kohm]──A──B──┐                    A or B closed alone: no current
//!                     inner ground ──[R_cal]── ground hole
//!  wide ──(+-6 V, 85 Hz)──o/o┘                    tone on, both open: no current
//!                      └──o/o── clip
//! ```
//!
//! With both relays of the probe in series a welded one gives no sign: the other one still
//! switches, and every reading is right. So each is closed alone, in blocks of two line cycles
//! with open blocks between, and the voltage that a current would move is looked at as the earth
//! path is: against the mean of the two neighbours. At the same time the drive's tone runs with
//! both of its relays open; half-way its sign is turned, so that a hum at 85 Hz counts once for
//! and once against.
//!
//! A pass lasts 0.83 s. It ends when every relay was seen to open; a background that hides 10 ohm
//! costs more passes, each with the relays of the probe exchanged and the tone begun at another
//! phase, so that what keeps the pattern's time in one does not in the next. A current that three
//! passes agree on is a failed test of the tester. What five passes (4.2 s) could not tell was
//! not tested, and the path is not used.
//!
//! Limits: a relay whose leakage is below half of the current counts as open (94 kohm across a
//! contact of the probe). The relay to the clip is seen while the clip hangs free; on an earth
//! of some ohms its current is within the noise, and the reading of the drive to ground shows it:
//! two legs share the current, and it falls below the reference resistor. With no line voltage the
//! relays of the probe are not tested.

mod estimator;
pub mod pattern;
mod tally;

pub use estimator::{Estimator, Pass, Said};
pub use tally::{Tally, Then};
