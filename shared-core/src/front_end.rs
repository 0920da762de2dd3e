//! The path from a slot to the converter's code: string, filter, converter response.
//!
//! Each lead reaches the star through 3 x 330 kohm and 2.4 kohm; the voltage across the
//! 2.4 kohm goes through a 1 kohm / 1 kohm / 10 nF filter into the converter's 300 kohm input
//! of +-1.2 V full scale. The values are those of `hardware/`; tolerances and drift are the
//! calibration's business. Limits: the filter is taken as one real pole, right to 1e-6 below
//! 2 kHz.

use core::f64::consts::PI;

use crate::sample::FRAMES_PER_SECOND;
use crate::units::Hertz;

/// String resistance from the slot to the sense resistor, ohms: 3 x 330k.
const STRING: f64 = 990e3;
/// Sense resistor, ohms.
const SENSE: f64 = 2.4e3;
/// Filter resistance, both legs, ohms.
const FILTER: f64 = 2e3;
/// Input resistance of the converter, ohms (SBAS890D 6.5, typical).
const INPUT: f64 = 300e3;
/// Filter capacitor across the input, farads.
const FILTER_CAPACITANCE: f64 = 10e-9;
/// Converter full scale, volts at code 2^23.
const FULL_SCALE: f64 = 1.2;

/// Sense resistor in parallel with the filter and the converter's input.
const LOADED_SENSE: f64 = SENSE * (FILTER + INPUT) / (SENSE + FILTER + INPUT);

/// Nominal gain at 0 Hz, slot to converter pins: 2.38348e-3.
pub const NOMINAL_GAIN: f64 = LOADED_SENSE / (STRING + LOADED_SENSE) * INPUT / (FILTER + INPUT);

/// Nominal volts at the slot for one code, at 0 Hz: 60.0 uV.
pub const NOMINAL_VOLTS_PER_CODE: f64 = FULL_SCALE / 8_388_608.0 / NOMINAL_GAIN;

/// Time constant of the filter: capacitor times the resistance it sees (filter legs and the
/// sense resistor's source resistance in parallel with the input): 43.3 us.
pub(crate) const FILTER_SECONDS: f64 = {
    let source = FILTER + SENSE * STRING / (SENSE + STRING);
    FILTER_CAPACITANCE * source * INPUT / (source + INPUT)
};

/// Gain at `frequency` against the gain at 0 Hz: filter pole times the sinc3 response of the
/// converter, `|sin(pi f / fs) / (pi f / fs)|^3`.
///
/// At 60 Hz 0.99876: -0.11 % sinc3, -0.01 % pole. Valid from 0 Hz to 2 kHz.
#[must_use]
pub fn response(frequency: Hertz) -> f64 {
    let hertz = f64::from(frequency.get());
    let angle = PI * hertz / f64::from(FRAMES_PER_SECOND);
    let sinc = if angle == 0.0 {
        1.0
    } else {
        libm::sin(angle) / angle
    };
    let pole = 2.0 * PI * hertz * FILTER_SECONDS;
    sinc * sinc * sinc / libm::sqrt(1.0 + pole * pole)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nominal_gain_is_that_of_the_worked_circuit() {
        // Worked circuit of the hardware notes: hand value 2.38347e-3 at 0 Hz.
        assert!((NOMINAL_GAIN - 2.38347e-3).abs() < 2e-8, "{NOMINAL_GAIN}");
        // 285.98 mV rms at the pins for 120 V, 60 Hz.
        let pole = response(Hertz::new(60.0)) / sinc3(60.0);
        assert!((120.0 * NOMINAL_GAIN * pole - 0.28598).abs() < 2e-5);
    }

    #[test]
    fn droop_is_that_of_a_sinc3_at_4_ksps() {
        // Computed table of the converter notes: -0.11, -1.0, -2.7, -12.7 %.
        for (hertz, percent, tolerance) in [
            (60.0, -0.11, 0.005),
            (180.0, -1.0, 0.05),
            (300.0, -2.7, 0.06),
            (660.0, -12.7, 0.1),
        ] {
            let droop = (sinc3(hertz) - 1.0) * 100.0;
            assert!((droop - percent).abs() < tolerance, "{hertz} Hz {droop} %");
        }
        assert!((response(Hertz::ZERO) - 1.0).abs() < 1e-12);
    }

    #[test]
    fn the_filter_turns_60_hz_by_the_worked_angle() {
        let degrees = libm::atan(2.0 * PI * 60.0 * FILTER_SECONDS) * 180.0 / PI;
        assert!((degrees - 0.935).abs() < 0.005, "{degrees}");
    }

    fn sinc3(hertz: f64) -> f64 {
        let angle = PI * hertz / 4000.0;
        (angle.sin() / angle).powi(3)
    }
}
