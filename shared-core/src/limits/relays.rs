//! Limits of the test of the tester's own relays, one at a time ([`crate::relay_check`]).
//!
//! Probe, one relay ordered: a welded partner lets the whole current flow, which moves the inner
//! ground node by `I (R_cal + R)`, so it reads 10 ohm or more. Two sound relays let through what
//! an open one's capacitance and leakage do: 100 pF are 26 Mohm at 60 Hz, 4.5 uA, 0.034 ohm and at
//! right angles; 1 uA of leakage 0.008 ohm (both of the relay's class, from memory). Noise of the
//! converter: 2.2 mV a frame are 0.28 ohm a difference of blocks, 0.11 ohm in the median of six.
//!
//! Drive, no relay ordered: a welded relay to ground lets 2 mA into the reference resistor, 10 ohm
//! or more again. One to the clip lifts a clip that hangs free to 0.99 of the level, where 100 pF
//! against the string's 1 Mohm lift it by 0.05.

use crate::units::{Ohms, Ratio};

/// What counts as a current through a relay that was not to be closed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RelayLimits {
    /// A reading above this is a current, one below it none, with [`Self::sigmas`] to spare on
    /// either side. Half of the reference resistor, the least that a current reads: arithmetic.
    pub flows: Ohms,
    /// Share of the drive's level on a lead above which the lead follows the drive. Between the
    /// 0.05 of a sound relay and the 0.99 of a welded one: arithmetic.
    pub follows: Ratio,
    /// A current of the drive through copper has next to no reactance; with more than this share
    /// of its real part it is a hum. The angle whose tangent it is, 7 degrees either way, is small
    /// against the fifth of a turn that keeps a hum from fitting three passes: arithmetic, see
    /// [`crate::relay_check::pattern::tone`].
    pub reactance_share: Ratio,
    /// ... and is the same in both windows, to this share of it. A load that switches leaves 1 % of
    /// its step in one of them. Judgement.
    pub apart_share: Ratio,
    /// Standard uncertainties between a reading and [`Self::flows`]. Three passes must agree on
    /// a current, so chance has to strike three times: judgement.
    pub sigmas: Ratio,
    /// Least standard uncertainty of a median of six differences: 0.28 ohm of noise each, 1.25
    /// for the median, over the root of six are 0.14. Arithmetic.
    pub least_u: Ohms,
    /// Passes after which the test is given up: 4.2 s. A background that hides 10 ohm for that
    /// long hides the 0.15 ohm of [`super::Limits::earth_path_u`] too. Judgement.
    pub passes: u8,
    /// Passes that must agree on a current beyond those that saw none. The pattern changes from
    /// pass to pass, so that nothing else can keep step with three.
    pub agreeing: u8,
}

impl RelayLimits {
    /// The limits in force.
    pub const DEFAULT: Self = Self {
        flows: Ohms::new(5.0),
        follows: Ratio::new(1.0 / 3.0),
        reactance_share: Ratio::new(0.125),
        apart_share: Ratio::new(0.4),
        sigmas: Ratio::new(4.0),
        least_u: Ohms::new(0.14),
        passes: 5,
        agreeing: 3,
    };
}
