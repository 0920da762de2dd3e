//! The physical world: a split-phase service, a house, one branch circuit, one receptacle and
//! the tester plugged into it, solved as one network.
//!
//! ```text
//!  winding ─ service ─ panel ─ breaker ─ cable ─ joint ─ box ─ slots ─ strings ─ star
//!      │                 │bond                            │appliance            │barrier
//!    earth              rod                             frame ── clip         earth
//! ```
//!
//! This is the oracle: it knows nothing of how the tester judges, only what each terminal is
//! wired to. Limits: wires are resistances, appliances are resistances with or without
//! an interference filter, one supply.

mod bank;
mod copper;
mod driven;
mod electrode;
mod enumeration;
mod gfci;
mod jig;
mod plug_in;
mod receptacle;
mod solved;
mod supply;
mod unplugged;
mod wiring;

pub use bank::{Named, bank, find};
pub use copper::{Copper, Gauge, SEVEN_STRANDS, TemperatureCoefficient, at_20_degrees};
pub use driven::{Place, drive_response, pins_with};
pub use electrode::DrivenRod;
pub use enumeration::{CONDUCTORS, Entry, Kind, enumeration};
pub use gfci::{Gfci, Tripping, imbalance_of};
pub use jig::{CONTACT, Jig};
pub use receptacle::{
    Appliance, BranchCable, Conductor, Duty, EmiFilter, House, Joint, Landed, Receptacle, Strays,
};
pub use solved::{HarmonicPins, Solved, Truth};
pub use supply::{Drift, Harmonic, Supply};
pub use unplugged::{unplugged, unplugged_networks};
pub use wiring::Wired;

use crate::circuit::CircuitError;

/// Why a receptacle cannot be solved.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum HouseError {
    /// The network has no solution.
    #[error("the house has no solution at harmonic {order}: {source}")]
    Circuit {
        /// The harmonic at which it failed.
        order: u32,
        /// What is wrong with the network.
        source: CircuitError,
    },
    /// A frequency or voltage of the supply is none.
    #[error(
        "the supply is {volts} V at {hertz} Hz; give it a finite voltage of zero or more and a \
         frequency between 10 and 400 Hz"
    )]
    Supply {
        /// The leg's voltage.
        volts: f32,
        /// The frequency.
        hertz: f32,
    },
}
