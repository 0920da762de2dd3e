//! What the tester itself does to the receptacle while it measures: the two currents that it
//! can drive, and the mark that every frame carries of them.
//!
//! ```text
//!  narrow ──[3 x 30k]──o/o──o/o──┐  probe P1: two relays in series
//!                                inner ground ──[R_cal]── ground hole
//!  wide ──[limiter]──(85 Hz)──o/o┤  drive P2, to the ground hole
//!                             o/o── clip      drive P2, to the clip
//! ```
//!
//! Outputs change between two frames only. The mark says what was switched on while the frame
//! was converted and where in its pattern that was, so that a lost frame shifts nothing: an
//! estimator that sees the count jump drops what it has in hand.

use serde::{Deserialize, Serialize};

/// What the main loop asks the outputs to do.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Order {
    /// Everything off.
    #[default]
    Rest,
    /// Probe P1 by its pattern, until told otherwise or dropped.
    Probe,
    /// Drive P2 on this path, until told otherwise or dropped.
    Drive(DrivePath),
    /// A pass of the test of the relays: each relay of the probe alone, the drive's tone with
    /// both of its own open.
    Relays {
        /// Which pass: every second one exchanges the relays.
        pass: u8,
        /// Whether the relays of the probe take part. The ground must stand near wide then.
        probe: bool,
    },
    /// A pass of the test of the limiter in a leg of the drive, closed on this path: its level
    /// raised in one half of the tone, then in the other.
    Limiter {
        /// Which leg.
        path: DrivePath,
        /// Which pass: each begins at another level.
        pass: u8,
    },
}

/// A relay of the probe.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum ProbeRelay {
    /// The one behind the charge pump.
    A,
    /// The one that a level holds.
    B,
}

/// Between which leads the drive P2 is closed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum DrivePath {
    /// Wide slot to ground hole: neutral and equipment ground together.
    WideToGround,
    /// Wide slot to the clip: neutral to the appliance's burner, power off, or to an independent
    /// earth.
    WideToClip,
}

/// What was switched on while a frame was converted.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Applied {
    /// Nothing.
    #[default]
    Nothing,
    /// The probe's pattern runs.
    Probe {
        /// Frames since the pattern began, lost ones counted.
        frame: u32,
        /// Whether both relays are closed.
        closed: bool,
    },
    /// The drive runs.
    Drive {
        /// Frames since the drive was closed, lost ones counted.
        frame: u32,
        /// Where it is closed.
        path: DrivePath,
        /// Sign of its square wave.
        high: bool,
    },
    /// A pass of the test of the relays runs; what is closed in it follows from the order.
    Relays {
        /// Frames since the pass began, lost ones counted.
        frame: u32,
    },
    /// A pass of the test of a limiter runs; how the level stands follows from the order.
    Limiter {
        /// Frames since the pass began, lost ones counted.
        frame: u32,
        /// Where the drive is closed.
        path: DrivePath,
        /// Sign of its square wave.
        high: bool,
    },
    /// An interlock opened everything; it stays open until [`Order::Rest`] was given.
    Dropped(Interlock),
}

/// Which interlock opened the outputs.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Interlock {
    /// The ground slot or the clip rose against wide: it may be a frame that somebody holds.
    Voltage,
    /// Frames were damaged or lost: nobody watches the voltage.
    Blind,
}
