//! The size of a voltage in 16 bits, for pages and courses.

use serde::{Deserialize, Serialize};

use crate::units::Volts;

/// The size of a voltage as it is kept: steps of 5 mV in 16 bits. The last one, 327.675 V,
/// stands for everything from there up.
#[derive(
    Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize,
)]
pub struct Level(u16);

impl Level {
    /// Steps in a volt.
    const A_VOLT: f32 = 200.0;

    /// The nearest step, at most the last one.
    #[must_use]
    pub fn of(volts: Volts) -> Self {
        // The conversion keeps to the range of 16 bits.
        Self((volts.get() * Self::A_VOLT + 0.5) as u16)
    }

    /// The level in volts.
    #[must_use]
    pub fn volts(self) -> Volts {
        Volts::new(f32::from(self.0) / Self::A_VOLT)
    }

    /// The number of the step, as it is written.
    #[must_use]
    pub const fn number(self) -> u16 {
        self.0
    }

    /// The step of this number.
    #[must_use]
    pub const fn from_number(number: u16) -> Self {
        Self(number)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_level_is_5_millivolts_and_ends_at_its_top() {
        for (volts, number) in [(0.0, 0), (0.004, 1), (120.003, 24_001), (400.0, u16::MAX)] {
            assert_eq!(Level::of(Volts::new(volts)).number(), number, "{volts} V");
        }
        for tenth in 0..3000_u16 {
            let volts = f32::from(tenth) / 10.0 + 0.013;
            let back = Level::of(Volts::new(volts)).volts().get();
            assert!((back - volts).abs() < 2.53e-3, "{volts}: {back}");
        }
    }
}
