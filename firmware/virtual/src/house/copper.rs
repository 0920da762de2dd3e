//! Resistance of copper building wire from gauge, length and temperature.
//!
//! First principles: diameter by the AWG rule of ASTM B258, resistivity of 100 % IACS copper
//! at 20 degC (1.7241e-8 ohm m, IEC 60028), temperature by a coefficient that the caller
//! names, since three are in print (0.00393, 0.004041, 0.004). Direct current, solid wire:
//! at 60 Hz skin effect in 14 to 8 AWG is below the tables' last digit.

use crate::quantity::{Metres, OhmMetres, SquareMetres};
use core::f64::consts::PI;
use slotwise_core::units::{Celsius, Ohms};

/// Resistivity of 100 % IACS copper at 20 degC (IEC 60028).
const RESISTIVITY_20: OhmMetres = OhmMetres::new(1.7241e-8);

/// What a conductor of seven strands has of a solid one's resistance: the strands lie
/// obliquely and are 2 % longer than the conductor.
pub const SEVEN_STRANDS: f64 = 1.02;

/// Resistance of a conductor of IACS copper of this cross-section and length at 20 degC.
#[must_use]
pub fn at_20_degrees(area: SquareMetres, length: Metres) -> Ohms {
    Ohms::new(cool(area, length) as f32)
}

fn cool(area: SquareMetres, length: Metres) -> f64 {
    RESISTIVITY_20.get() * length.get() / area.get()
}

/// How copper's resistance rises with temperature: per degree, referred to 20 degC.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TemperatureCoefficient(f64);

impl TemperatureCoefficient {
    /// 100 % IACS copper, 0.00393 per degC at 20 degC (NBS Handbook 100); `R ~ 234.5 + T`.
    pub const IACS: Self = Self(1.0 / 254.5);
    /// 0.004041 per degC, of Kuphaldt, *Lessons In Electric Circuits*, volume I.
    pub const LESSONS: Self = Self(0.004041);
    /// 0.004 per degC, which the correction table of IEC 60228 reproduces.
    pub const IEC_60228: Self = Self(0.004);

    /// The factor on a resistance known at 20 degC.
    #[must_use]
    pub fn factor(self, temperature: Celsius) -> f64 {
        1.0 + self.0 * (f64::from(temperature.get()) - 20.0)
    }
}

/// A wire size by American Wire Gauge number, 18 to 4.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Gauge {
    /// Flexible cords.
    Awg18,
    /// Flexible cords.
    Awg16,
    /// 15 A branch circuits.
    Awg14,
    /// 20 A branch circuits.
    Awg12,
    /// 30 A branch circuits.
    Awg10,
    /// 40 A branch circuits.
    Awg8,
    /// Feeders.
    Awg6,
    /// Feeders.
    Awg4,
}

impl Gauge {
    const fn number(self) -> i32 {
        match self {
            Self::Awg18 => 18,
            Self::Awg16 => 16,
            Self::Awg14 => 14,
            Self::Awg12 => 12,
            Self::Awg10 => 10,
            Self::Awg8 => 8,
            Self::Awg6 => 6,
            Self::Awg4 => 4,
        }
    }

    /// Diameter of a solid wire: 0.005 inch x 92^((36 - n) / 39) (ASTM B258).
    #[must_use]
    pub fn diameter(self) -> Metres {
        let steps = f64::from(36 - self.number()) / 39.0;
        Metres::new(0.005 * 0.0254 * 92f64.powf(steps))
    }

    /// Cross-section of a solid wire.
    #[must_use]
    pub fn area(self) -> SquareMetres {
        let radius = self.diameter().get() / 2.0;
        SquareMetres::new(PI * radius * radius)
    }
}

/// One solid copper conductor.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Copper {
    /// Its size.
    pub gauge: Gauge,
    /// Its length, one way.
    pub length: Metres,
    /// Its temperature.
    pub temperature: Celsius,
}

impl Copper {
    /// Its resistance, by the IACS coefficient.
    #[must_use]
    pub fn resistance(&self) -> Ohms {
        self.resistance_by(TemperatureCoefficient::IACS)
    }

    /// Its resistance, by a coefficient of the caller's choice.
    #[must_use]
    pub fn resistance_by(&self, coefficient: TemperatureCoefficient) -> Ohms {
        let cool = cool(self.gauge.area(), self.length);
        Ohms::new((cool * coefficient.factor(self.temperature)) as f32)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn per_kft(gauge: Gauge, temperature: f32) -> f64 {
        let wire = Copper {
            gauge,
            length: Metres::from_feet(1000.0),
            temperature: Celsius::new(temperature),
        };
        f64::from(wire.resistance().get())
    }

    #[test]
    fn diameters_are_those_of_the_wire_table() {
        // Kuphaldt, Lessons In Electric Circuits, Reference: citable.sml, in inches.
        for (gauge, inches) in [
            (Gauge::Awg14, 0.06408),
            (Gauge::Awg12, 0.08081),
            (Gauge::Awg10, 0.1019),
            (Gauge::Awg8, 0.1285),
            (Gauge::Awg6, 0.1620),
            (Gauge::Awg4, 0.2043),
        ] {
            let got = gauge.diameter().get() / 0.0254;
            assert!((got / inches - 1.0).abs() < 3e-4, "{gauge:?} {got}");
        }
    }

    #[test]
    fn table_8_of_the_nec_is_met_at_75_degrees() {
        // NFPA 70 (NEC) Chapter 9 Table 8, uncoated solid copper, DC, 75 degC, ohm/kft.
        // Worst known: 0.39 % at 10 AWG, where the table has three digits.
        for (gauge, table) in [
            (Gauge::Awg18, 7.77),
            (Gauge::Awg16, 4.89),
            (Gauge::Awg14, 3.07),
            (Gauge::Awg12, 1.93),
            (Gauge::Awg10, 1.21),
            (Gauge::Awg8, 0.764),
        ] {
            let got = per_kft(gauge, 75.0);
            assert!((got / table - 1.0).abs() < 0.004, "{gauge:?} {got} {table}");
        }
    }

    #[test]
    fn cool_wire_is_82_per_cent_of_table_8() {
        let ratio = per_kft(Gauge::Awg14, 20.0) / per_kft(Gauge::Awg14, 75.0);
        assert!((ratio - 254.5 / 309.5).abs() < 1e-6, "{ratio}");
    }

    #[test]
    fn fifty_feet_of_14_awg_out_and_back() {
        // References section "Three things": 0.307 ohm hot, 0.253 ohm at 20 degC.
        assert!((per_kft(Gauge::Awg14, 75.0) * 0.1 - 0.307).abs() < 0.001);
        assert!((per_kft(Gauge::Awg14, 20.0) * 0.1 - 0.2525).abs() < 0.001);
    }

    #[test]
    fn the_worked_temperature_example_holds_with_its_own_coefficient() {
        // Kuphaldt, Lessons volume I: 15 ohm at 20 degC is 15.909 ohm at 35 degC.
        let factor = TemperatureCoefficient::LESSONS.factor(Celsius::new(35.0));
        assert!((15.0 * factor - 15.909).abs() < 0.0005);
    }

    #[test]
    fn the_correction_table_of_iec_60228_is_a_third_coefficient() {
        // IEC 60228 divides by the factor: Kt(5) = 1.064, Kt(40) = 0.926, Kt(75) = 0.820.
        for (celsius, kt) in [(5.0, 1.064), (40.0, 0.926), (75.0, 0.820)] {
            let factor = TemperatureCoefficient::IEC_60228.factor(Celsius::new(celsius));
            assert!((1.0 / factor - kt).abs() < 0.0006, "{celsius} {factor}");
        }
    }
}
