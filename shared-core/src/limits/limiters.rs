//! Limits of the test of the drive's current limiters ([`crate::limiter_check`]).
//!
//! Model: plain level 6.0 V behind 3.0 kohm, 2.0 mA both ways; raised in one half of the tone to
//! 10.2 V, where a working limiter passes 2.56 mA at 25 degC, 2.29 at 50 and 2.83 at 0
//! (`hardware/theory.md`, ngspice). The size of the tone rises by `(I / 2.0 mA + 1) / 2`. The level
//! follows its pin within 0.3 ms of the 5.9 that a half lasts.

use crate::units::{Ohms, Ratio, Volts};

/// What counts as a limiter that holds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LimiterLimits {
    /// The drive's raised level as designed; the reading rests on it only through
    /// [`Self::held_most`]. Resistors of the level's reference, 0.1 V left over the coupler:
    /// 2.495 x (1 + 14 / 4.32) less that. Arithmetic.
    pub raised_level: Volts,
    /// Least rise of the tone's size. A whole limiter rises by 1.056 at the least (50 degC, FETs that cut
    /// off at -1.4 V; ngspice), a failed one that passes too little by 1.030 at the most, and a level
    /// that does not rise stays at 1.00.
    pub held_least: Ratio,
    /// Most rise. A whole limiter rises by 1.222 at the most (0 degC, -3.1 V; ngspice), one of 2.83 mA by
    /// 1.25 over a path of [`Self::path_most`]. One that does not limit: 1.35, with 0.2 V over the
    /// coupler and levels of 0.5 % 1.32. Arithmetic.
    pub held_most: Ratio,
    /// Path above which the test is not made, see [`Self::held_most`]. No path so long is proven
    /// to be anything: twenty times the 10 ohm of neutral to burner, and more than a rod has that
    /// NEC 250.53 lets stand alone (25 ohm). Judgement.
    pub path_most: Ohms,
    /// Share of the plain reading at right angles to the tone, in any of the three windows, from
    /// which a pass tells nothing. What stands at right angles is one draw of the noise; the gap
    /// from 1.28 to 1.32 is one and a half times this. Judgement, held against drawn passes in
    /// the tests.
    pub noisy: Ratio,
    /// Passes after which the test is given up: 9.6 s, less than the earth path may take. Judgement.
    pub passes: u8,
    /// Passes that must agree on a limiter that holds, beyond those that speak against it. A load
    /// that switches leaves its step in one window, along the tone as well as across it: chance
    /// has to strike twice. Judgement, as above.
    pub holding: u8,
    /// Passes that must agree on a limiter that fails, likewise. As for the relays.
    pub agreeing: u8,
}

impl LimiterLimits {
    /// The limits in force.
    pub const DEFAULT: Self = Self {
        raised_level: Volts::new(10.2),
        held_least: Ratio::new(1.04),
        held_most: Ratio::new(1.28),
        path_most: Ohms::new(200.0),
        noisy: Ratio::new(0.025),
        passes: 8,
        holding: 2,
        agreeing: 3,
    };
}
