//! Thresholds of the load steps that are looked for, and of the load-cycle watch: the clip on
//! the appliance's frame, or on the common of its 24 V side, while its own motors cycle.

use crate::units::{Millis, Volts};

/// Limits of load steps and watch.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WatchLimits {
    /// A change of `v_nw` between the medians of one second before and one second after is a
    /// load step from this size up. About 1.5 A on a usual branch; the noise of such a
    /// difference is 0.1 mV, the unrest of a supply some tens of millivolts. Judgement, no
    /// source.
    pub step: Volts,
    /// Fewer steps than this: the appliance was not exercised, which is never a pass. The
    /// median of three is the first that one odd step cannot move. Judgement, no source.
    pub least_steps: u16,
    /// Statistic b above this: the frame ground moves with the load. A frame ground of 1 kohm
    /// under the smallest leakage step that a motor is taken to make, 0.2 mA, moves 0.2 V;
    /// a sound one of 1 ohm under the 0.75 mA that UL 101 allows a fixed appliance (from
    /// memory) moves 0.75 mV. Arithmetic.
    pub shift_moves: Volts,
    /// Statistic b above this: suspect. Half of [`Self::shift_moves`]; judgement, no source.
    pub shift_suspect: Volts,
    /// Most that the clip may stand against wide, whatever the load does. Common practice of
    /// the trade for idle neutral to 24 V common, no source.
    pub clip_highest: Volts,
    /// Longest watch: 30 minutes, some five heating cycles. Judgement, no source.
    pub longest: Millis,
}

impl WatchLimits {
    /// The limits in force unless others are asked for.
    pub const DEFAULT: Self = Self {
        step: Volts::new(0.4),
        least_steps: 3,
        shift_moves: Volts::new(0.10),
        shift_suspect: Volts::new(0.05),
        clip_highest: Volts::new(2.0),
        longest: Millis::new(30 * 60 * 1000),
    };
}

impl Default for WatchLimits {
    fn default() -> Self {
        Self::DEFAULT
    }
}
