//! Limits of the tester's tests of itself.

use crate::units::{Ratio, Volts};

/// What passes in a test of the tester by itself.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SelfTestLimits {
    /// A channel with its inputs shorted reads at most this, either sign, at the converter's
    /// pins. Its offset error is +-175 uV typical (SBAS890D 6.5); ten times that is still
    /// 0.7 V at the slot, and nothing of it is left after calibration. The factor is common
    /// practice, no source.
    pub offset_most: Volts,
    /// Noise of a channel with its inputs shorted, RMS at the converter's pins. 5.35 uV (SBAS890D
    /// table 7-1, OSR 1024, gain 1; no largest value is given), times two for the part, times two for
    /// an estimate from sixteen conversions: a channel of twice the noise fails once in a million
    /// starts. More comes from outside: a supply without its capacitors, a reference that hums.
    /// Arithmetic.
    pub noise_most: Volts,
    /// The converter's own test voltage, as a share of full scale (SBAS890D 8.3.9).
    pub test_share: Ratio,
    /// The test voltage may read off by this share of itself. The data sheet names the voltage
    /// without a tolerance; 5 % tells a stuck bit from the third of the code down, a wrong
    /// gain and a swapped sign. Common practice, no source.
    pub test_apart: Ratio,
    /// The converter's oscillator and the microcontroller's crystal may differ by this share.
    /// +-100 ppm each with temperature and age (usual grade, from memory) are 200 ppm; 100 us of
    /// a late interrupt in a second are another 100 ppm. 500 ppm are 0.03 Hz at 60 Hz.
    /// Arithmetic.
    pub clock_apart: Ratio,
}

impl SelfTestLimits {
    /// The limits in force.
    pub const DEFAULT: Self = Self {
        offset_most: Volts::new(1.75e-3),
        noise_most: Volts::new(21.4e-6),
        test_share: Ratio::new(2.0 / 15.0),
        test_apart: Ratio::new(0.05),
        clock_apart: Ratio::new(500e-6),
    };
}
