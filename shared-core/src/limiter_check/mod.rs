//! Whether the current limiter in a leg of the drive still limits: asked of each leg before
//! anything is called proven.
//!
//! ```text
//!  wide ──[R_s]──(+-E, 85 Hz)──[limiter]──o/o── R_cal ── ground hole, or the clip
//! ```
//!
//! The limiter keeps line voltage on a closed leg to 2.6 mA, in either direction with parts of
//! its own. The drive's 2.0 mA never reach that, so a limiter that failed changes no reading. In
//! this test the drive's level is raised from 6.0 to 10.2 V in one half of the tone only: 3.4 mA
//! would flow, and a limiter that holds lets 2.6 through. So the tone's size rises by
//! `(2.56 + 2.0) / 4.0` = 1.14 in place of `(10.2 + 6.0) / 12.0` = 1.35; where the level does not rise, or the
//! limit is far too low, it stays at 1.0. The path's resistance, the reference resistor in it and
//! the gains drop out of the ratio.
//!
//! A pass lasts 1.2 s: a window with the plain level, one with the high half raised, one with the
//! low half, their order changed from pass to pass. Two passes must agree on a limiter that holds,
//! three on one that fails; after eight the test is given up.
//!
//! Limits: a path of more than 200 ohm takes so much of the level that a cold limiter hardly
//! acts: there the test is not made. What is tested is the current into the path at hand, with
//! 10 V across the leg; what the limiter does at 170 V peak rests on its FETs' voltage.

mod estimator;
pub mod pattern;
mod tally;

pub use estimator::{Estimator, Said};
pub use tally::{Tally, Then};
