//! The parts that the tester's own currents flow through, and how they are put into a network.
//!
//! ```text
//!  narrow ──[30k]─[30k]─[30k]──A──B──┐                probe P1
//!                                    inner ground ──[R_cal]── ground hole
//!  wide ──(+E or -E)──[R_s]──o/o─────┤                drive P2, to the ground hole
//!                        └───o/o── inner clip ──[10]── clip lead        drive P2, to the clip
//! ```
//!
//! High on the tone's pin makes wide positive. The two-way limiter of a leg holds what the drive's
//! own level sends, see [`CurrentParts::let_through`]. Limits: an open relay is no connection (its
//! 50 pF or so would pass 1 uA from a live slot); the limiter does not act on the line, so
//! a drive that is closed onto line voltage draws V / R_s here and 3 mA at most in the tester;
//! self-heating of the probe (0.16 W) is left out.

use crate::circuit::{Circuit, Node, Phasor};
use crate::quantity::Henries;
use slotwise_core::units::{Amperes, Ohms, Volts};

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
    /// Its raised level.
    pub drive_raised: Volts,
    /// In the clip lead, between the clip and the inner clip node.
    pub clip_reference: Ohms,
    /// What the limiter of each leg lets through, to ground and to the clip, each while the tone
    /// is high and while it is low. Infinity: it has failed.
    pub limits: [[Amperes; 2]; 2],
}

/// What a limiter lets through: its typical figure at 25 degC (`hardware/theory.md`, ngspice).
const LIMIT: Amperes = Amperes::new(2.56e-3);

impl CurrentParts {
    /// Every part at its nominal value: 90 kohm, 10.0 ohm twice, 6 V and 10.2 V behind 3 kohm.
    pub const NOMINAL: Self = Self {
        reference: Ohms::new(10.0),
        probe: [Ohms::new(30_000.0); 3],
        drive_level: Volts::new(6.0),
        drive_source: Ohms::new(3_000.0),
        drive_raised: Volts::new(10.2),
        clip_reference: Ohms::new(10.0),
        limits: [[LIMIT; 2]; 2],
    };

    /// The share of the drive's own current that the limiter of the closed leg lets through, where
    /// `amperes` would flow without it. With both legs closed none acts: they share the current.
    #[must_use]
    pub fn let_through(&self, paths: Paths, high: bool, amperes: f64) -> f64 {
        let leg = match (paths.drive_to_ground, paths.drive_to_clip) {
            (true, false) => self.limits[0],
            (false, true) => self.limits[1],
            _ => return 1.0,
        };
        let limit = f64::from(leg[usize::from(!high)].get());
        if amperes.abs() > limit {
            limit / amperes.abs()
        } else {
            1.0
        }
    }

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
