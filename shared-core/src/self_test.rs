//! What a test of the tester by itself found wrong, with the value it found: the record's form.
//!
//! The tests run in `slotwise-firmware`; their limits are in [`crate::limits::SelfTestLimits`].
//! A failure is no measurement of a receptacle and carries none: a tester that failed answers
//! nothing until a start in which every test passes.

use serde::{Deserialize, Serialize};

use crate::slots::Lead;
use crate::stimulus::DrivePath;

/// A relay of the tester's own currents.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Relay {
    /// Relay A of probe P1.
    ProbeA,
    /// Relay B of probe P1.
    ProbeB,
    /// Relay of drive P2 to the inner ground node.
    DriveToGround,
    /// Relay of drive P2 to the clip.
    DriveToClip,
}

impl Relay {
    /// All four, in order.
    pub const ALL: [Self; 4] = [
        Self::ProbeA,
        Self::ProbeB,
        Self::DriveToGround,
        Self::DriveToClip,
    ];
}

/// A test of the tester by itself that failed. The order is part of the record format: only
/// append.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum SelfTestFailure {
    /// The program in flash is not what was built.
    Image {
        /// Check word found.
        found: u32,
        /// Check word that the build left.
        expected: u32,
    },
    /// A word of memory does not hold what was written.
    Memory {
        /// Its address.
        address: u32,
        /// What it held.
        found: u32,
        /// What was written.
        expected: u32,
    },
    /// A setting of the converter does not read what was written.
    Register {
        /// The register's address.
        register: u8,
        /// What it held.
        found: u16,
        /// What was written.
        expected: u16,
    },
    /// A converter's channel with its inputs shorted reads too far from zero.
    ShortedInput {
        /// The channel's lead.
        lead: Lead,
        /// Mean of the codes read.
        code: i32,
        /// Largest that passes, either sign.
        most: i32,
    },
    /// A converter's channel reads its test voltage wrong.
    TestVoltage {
        /// The channel's lead.
        lead: Lead,
        /// Mean of the codes read.
        code: i32,
        /// Least that passes.
        least: i32,
        /// Largest that passes.
        most: i32,
    },
    /// The converter gave no whole conversions while its inputs were switched.
    NoConversions {
        /// Conversions that came damaged or not at all.
        bad: u16,
    },
    /// The converter's clock and the microcontroller's disagree.
    Clock {
        /// How much faster frames come than they should, millionths.
        apart_ppm: i32,
        /// Largest that passes, either sign.
        most_ppm: i32,
    },
    /// The stack has grown into its guard.
    Stack {
        /// Bytes of the guard that are untouched.
        untouched: u32,
        /// Bytes of the guard.
        guard: u32,
    },
    /// A relay is closed that was not ordered to be: welded, or its drive stuck.
    RelayClosed {
        /// Which.
        relay: Relay,
        /// What the current through it reads; of the drive to a clip that hangs free, what would
        /// take as much of its level.
        milliohms: i32,
        /// Largest that counts as no current.
        most_milliohms: i32,
    },
    /// A converter's channel with its inputs shorted scatters too much.
    NoisyInput {
        /// The channel's lead.
        lead: Lead,
        /// RMS scatter of the codes read, whole codes.
        rms: u32,
        /// Largest that passes.
        most: u32,
    },
    /// A current limiter of the drive does not limit, or the drive's level does not rise.
    LimiterFails {
        /// In which leg.
        path: DrivePath,
        /// Whether that is while the tone stands high.
        high: bool,
        /// By how much the tone's size rose with the level raised in that half, thousandths.
        permille: i32,
        /// Least that passes.
        least_permille: i32,
        /// Largest that passes.
        most_permille: i32,
    },
}
