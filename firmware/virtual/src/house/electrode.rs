//! Resistance to the far earth of a rod driven into the soil.
//!
//! H. B. Dwight, 1936 (also IEEE 142 and IEEE 81): `R = rho / (2 pi L) x (ln(4 L / a) - 1)`,
//! `a` the radius. Uniform soil, one vertical rod with its top at the surface; L is many
//! times a. Real soil is layered, wet or frozen: this gives the order, and the proof that no
//! household rod clears a breaker.

use crate::quantity::{Metres, OhmMetres};
use core::f64::consts::TAU;
use slotwise_core::units::Ohms;

/// One rod in uniform soil.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DrivenRod {
    /// How deep it is driven.
    pub length: Metres,
    /// Its diameter.
    pub diameter: Metres,
    /// Resistivity of the soil; 100 ohm m is loam.
    pub soil: OhmMetres,
}

impl DrivenRod {
    /// Its resistance to the far earth.
    #[must_use]
    pub fn resistance(&self) -> Ohms {
        let length = self.length.get();
        let radius = self.diameter.get() / 2.0;
        let shape = (4.0 * length / radius).ln() - 1.0;
        Ohms::new((self.soil.get() / (TAU * length) * shape) as f32)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rod(feet: f64, inches: f64) -> f64 {
        let rod = DrivenRod {
            length: Metres::from_feet(feet),
            diameter: Metres::from_inches(inches),
            soil: OhmMetres::new(100.0),
        };
        f64::from(rod.resistance().get())
    }

    #[test]
    fn twice_the_soil_is_twice_the_resistance() {
        let rod = |ohm_metres| DrivenRod {
            length: Metres::from_feet(8.0),
            diameter: Metres::from_inches(0.625),
            soil: OhmMetres::new(ohm_metres),
        };
        let [one, two] = [100.0, 200.0].map(|soil| rod(soil).resistance().get());
        assert!((two / one - 2.0).abs() < 1e-6);
    }

    #[test]
    fn depth_helps_and_girth_hardly() {
        assert!(rod(16.0, 0.625) < 0.6 * rod(8.0, 0.625));
        assert!(rod(8.0, 1.25) > 0.88 * rod(8.0, 0.625));
    }
}
