//! The virtual board: a physical world and models of the chips, so that the unmodified
//! firmware runs on a desktop.
//!
//! [`circuit`] solves networks, [`house`] wires a house and a receptacle into one,
//! [`means`] says what probe, drive and load step would read there, [`atlas`] which wirings they
//! tell apart,
//! [`tester`] holds the parts of one built tester, [`faults`] says what flows when one fails,
//! [`front_end`] makes converter codes of the
//! solved voltages, [`chips`] answers on the buses as the converter and the log memory do,
//! [`clock`] is the time they share, [`pins`] the lamps and the button, [`outputs`] the pins and
//! relays of the tester's own currents, [`frames_file`] the
//! codes as a file for an emulator in another process.
//!
//! This crate is the oracle against which the tester is judged. It therefore uses the core's
//! units, slots and samples only, and none of its estimators, limits or judgement.

pub mod atlas;
pub mod board;
pub mod chips;
pub mod circuit;
pub mod clock;
pub mod computer;
pub mod faults;
pub mod frames_file;
pub mod front_end;
pub mod house;
pub mod means;
pub mod outputs;
pub mod pins;
pub mod quantity;
pub mod serial;
pub mod tester;
pub mod trials;
