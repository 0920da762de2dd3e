//! Earth path with the power on: what the current of probe P1 moves.
//!
//! ```text
//!  narrow ──[90 kohm]──o/o──┐                     I = v_ng / 90 kohm, 1.33 mA at 120 V
//!                     inner ground ──[R_cal]──── ground hole ── R ── wide, through the panel
//! ```
//!
//! The probe is closed and opened in blocks of two line cycles ([`pattern`]). With `s` its
//! state, the voltage of the inner ground node against wide is `v_gw = background + s I (R_cal
//! + R)`. The background is the drop of all other loads' current on the neutral: volts, against
//! the 1.33 mV of an ohm, and it steps whenever a load switches. So not the mean of all blocks
//! on is compared with the mean of all off, but every block with the mean of its two
//! neighbours (second difference), and differences far from the rest are given no weight.
//! `R = Re(d v_gw / I) - R_cal`.
//!
//! The same frames give `R_hot + R_ground = -Re(d v_ng / I) - R_cal`, with a far larger
//! uncertainty: `v_ng` carries all that the supply does.
//!
//! Limits: it reads the loop from ground through the panel to the wide slot less the drop on
//! the neutral, which carries none of the probe's current: the earth path alone. A load that
//! modulates at 7-15 Hz makes it unsure; then its own standard error says so and it asks for
//! more time, up to 16 s. Reactance is not read.

pub(crate) mod block;
mod estimator;
mod fit;
mod interlock;
pub mod pattern;

pub use estimator::Estimator;
pub use interlock::may_close;
pub use pattern::is_closed;

use crate::evidence::{Measured, Missing};
use crate::units::{Millis, Ohms, Ratio};

/// The probe's resistance: three resistors of 30 kohm.
pub const PROBE: Ohms = Ohms::new(90_000.0);

/// ... and how far it may be off: 1 % resistors. As a rectangle, 0.58 % of the reading.
pub const PROBE_TOLERANCE: Ratio = Ratio::new(0.01);

/// Tolerance of the reference resistor.
pub const REFERENCE_TOLERANCE: Ratio = Ratio::new(0.001);

/// Blocks after which the result is first looked at: 3.99 s. The next looks are at twice and
/// four times as many: a result that is looked at all the time would be taken at the moment
/// when its standard error happens to be low.
const FIRST_LOOK: u16 = 120;

/// What the probe found.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct EarthPath {
    /// Resistance of the earth path. [`Missing::Unsteady`]: cannot tell, as yet or at all.
    pub earth_path: Measured<Ohms>,
    /// Resistance of hot conductor, source and earth path together.
    pub hot_and_ground: Measured<Ohms>,
    /// The standard error of the fit behind [`Self::earth_path`], where there was one.
    pub standard_error: Option<Ohms>,
    /// Share of the differences that were given no weight.
    pub rejected: Ratio,
    /// Blocks gone by.
    pub blocks: u16,
    /// How long that took.
    pub lasted: Millis,
}

/// Whether the probe has run for long enough.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Enough {
    /// The result stands.
    Yes,
    /// Not yet: go on with the pattern.
    More,
    /// It will not be told: what is missing stays missing.
    GiveUp,
}

impl EarthPath {
    /// Whether to go on.
    #[must_use]
    pub const fn enough(&self) -> Enough {
        match self.earth_path {
            _ if self.blocks < FIRST_LOOK => Enough::More,
            Measured::Known(_) => Enough::Yes,
            Measured::Missing(Missing::Unsteady) if (self.blocks as usize) < pattern::BLOCKS => {
                Enough::More
            }
            Measured::Missing(_) => Enough::GiveUp,
        }
    }
}
