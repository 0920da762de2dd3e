//! The parts of the tester that a current into ground passes through, at their nominal values.
//!
//! The board as it stands on paper is in `hardware/`, with a table of its own over every part
//! (`hardware/faults.csv`): there both legs of the drive share a resistor, which takes the worst
//! row here, two legs driving at once, from 3.99 to 3.2 mA. The designs here bound it from above.

use slotwise_core::units::{Amperes, Ohms, Volts};

/// Values of the parts, and what the logic of the relays keeps apart.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Design {
    /// Each of the three high resistors of a string.
    pub string: Ohms,
    /// Foot of a string.
    pub foot: Ohms,
    /// Between ground hole and inner ground node.
    pub reference: Ohms,
    /// Each of the three resistors of probe P1.
    pub probe: Ohms,
    /// Level of drive P2, its path open.
    pub level: Volts,
    /// Level when its regulator has failed: its supply.
    pub level_failed: Volts,
    /// Whether P2 has a stage that its paths have in common, before the relays; each path has one
    /// of its own behind its relay in any case. A stage is a resistor and a two-way limiter.
    pub common: bool,
    /// The resistor of a stage.
    pub source: Ohms,
    /// What else a stage has: two sense resistors of 220 ohm and two transistors of 60 ohm.
    pub limiter: Ohms,
    /// Most that a limiter lets pass. 0.65 V of a base and emitter at 25 degC over 220 ohm are
    /// 2.95 mA; 2 mV/K more at 0 degC make 3.2 mA (from memory).
    pub limit: Amperes,
    /// Whether the logic opens both relays of P2 while relay B of P1 is to be closed. Without
    /// it, the relay to the clip is only kept apart from the one to ground.
    pub apart: bool,
}

impl Design {
    /// As first drawn: probe 3 x 30 kohm, one limiter in each path of the drive, P1 and the
    /// drive to the clip not kept apart.
    pub const DRAWN: Self = Self {
        string: Ohms::new(330_000.0),
        foot: Ohms::new(2_400.0),
        reference: Ohms::new(10.0),
        probe: Ohms::new(30_000.0),
        level: Volts::new(6.0),
        level_failed: Volts::new(12.0),
        common: false,
        source: Ohms::new(2_440.0),
        limiter: Ohms::new(560.0),
        limit: Amperes::new(0.003_2),
        apart: false,
    };

    /// As drawn, and the logic opens both relays of P2 while P1 is to be closed: no single
    /// failure reaches 4 mA.
    pub const APART: Self = Self {
        apart: true,
        ..Self::DRAWN
    };

    /// No failure of a resistor, a limiter, the regulator or the barrier reaches 4 mA even while
    /// the firmware closes whatever the logic lets pass: probe 3 x 36 kohm, and a stage in common
    /// before the relays, so that every path has two limiters in series and both paths together
    /// no more than one of them lets pass. The
    /// resistance of a path stays 3 kohm. Ground hole and clip still have two stages between
    /// them, one behind each relay.
    pub const PROPOSED: Self = Self {
        probe: Ohms::new(36_000.0),
        common: true,
        source: Ohms::new(940.0),
        ..Self::APART
    };
}
