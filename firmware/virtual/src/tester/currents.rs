//! The parts that the tester's own currents flow through, and how they are put into a network.
//!
//! ```text
//!  narrow ──[30k]─[30k]─[30k]──A──B──┐                probe P1
//!                                    inner ground ──[R_cal]── ground hole
//!  wide ──(+E or -E)──[R_s]──o/o─────┤                drive P2, to the ground hole
//!                        └───o/o── clip               drive P2, to the clip
//! ```
//!
//! High on the tone's pin makes wide positive. Limits: an open relay is no connection (its 50 pF
//! or so would pass 1 uA from a live slot); the two-way limiter of the drive is not modelled, so
//! a drive that is closed onto line voltage draws V / R_s here and 3 mA at most in the tester;
//! self-heating of the probe (0.16 W) is left out.

use crate::circuit::{Circuit, Node, Phasor};
use crate::quantity::Henries;
use slotwise_core::units::{Ohms, Volts};

/// Parts of probe and drive.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CurrentParts {
    /// Between the ground pin and the inner ground node: R_cal.
    pub reference: Ohms,
    /// The probe's three resistors.
    pub probe: [Ohms; 3],
    /// Level E of the drive, its path open.
    pub drive_level: Volts,
    /// Resistance behind it, R_s.
    pub drive_source: Ohms,
}

impl CurrentParts {
    /// Every part at its nominal value: 90 kohm, 10.0 ohm, 6 V behind 3 kohm.
    pub const NOMINAL: Self = Self {
        reference: Ohms::new(10.0),
        probe: [Ohms::new(30_000.0); 3],
        drive_level: Volts::new(6.0),
        drive_source: Ohms::new(3_000.0),
    };

    /// The probe as one resistance.
    #[must_use]
    pub fn probe_resistance(&self) -> Ohms {
        let [one, other, third] = self.probe;
        one + other + third
    }
}

/// Which of the tester's own paths are closed.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub struct Paths {
    /// P1: both relays.
    pub probe: bool,
    /// P2 to the inner ground node.
    pub drive_to_ground: bool,
    /// P2 to the clip.
    pub drive_to_clip: bool,
}

impl Paths {
    /// None.
    pub const NONE: Self = Self {
        probe: false,
        drive_to_ground: false,
        drive_to_clip: false,
    };

    /// Whether the drive is on any path.
    #[must_use]
    pub const fn has_drive(self) -> bool {
        self.drive_to_ground || self.drive_to_clip
    }

    /// Puts what is closed between `leads`: narrow, wide, inner ground, clip. The drive stands
    /// at `drive` volts. With both its relays closed, ground and clip are joined.
    pub(crate) fn place(
        self,
        circuit: &mut Circuit,
        parts: &CurrentParts,
        [narrow, wide, inner, clip]: [Node; 4],
        drive: Phasor,
    ) {
        if self.probe {
            circuit.resistor(narrow, inner, parts.probe_resistance());
        }
        let far = match (self.drive_to_ground, self.drive_to_clip) {
            (false, false) => return,
            (true, false) => inner,
            (false, true) => clip,
            (true, true) => {
                circuit.join(inner, clip);
                inner
            }
        };
        circuit.source(wide, far, drive, parts.drive_source, Henries::new(0.0));
    }
}
