//! One built tester: what its parts turned out to be.
//!
//! A specimen is drawn from tolerances by a seed, so a unit can be built again. It knows its
//! own true gains, which is what a perfect factory calibration would find.

use super::{CODES_PER_VOLT, CurrentParts, SensingString};
use crate::front_end::droop;
use crate::quantity::Farads;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use slotwise_core::slots::{LEADS, Lead};
use slotwise_core::units::{Ohms, Ratio};

/// What is allowed to differ from part to part. Each part is drawn evenly within it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tolerance {
    /// The resistors of the strings, of probe and drive, and the drive's level.
    pub resistors: Ratio,
    /// The filter capacitors.
    pub capacitors: Ratio,
    /// Gain error of the converter, reference included.
    pub converter_gain: Ratio,
    /// Offset of the converter, in microvolts at the pins.
    pub converter_offset_microvolts: f32,
}

impl Tolerance {
    /// Every part at its nominal value.
    pub const NONE: Self = Self {
        resistors: Ratio::new(0.0),
        capacitors: Ratio::new(0.0),
        converter_gain: Ratio::new(0.0),
        converter_offset_microvolts: 0.0,
    };

    /// The parts that the hardware notes ask for: 0.1 % resistors, 5 % capacitors; converter
    /// gain 0.1 % and offset 175 uV (its datasheet, section 6.5).
    pub const USUAL: Self = Self {
        resistors: Ratio::new(0.001),
        capacitors: Ratio::new(0.05),
        converter_gain: Ratio::new(0.001),
        converter_offset_microvolts: 175.0,
    };
}

/// Errors of one converter channel.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ConverterChannel {
    /// True gain against nominal.
    pub gain: f64,
    /// Offset in volts at the pins.
    pub offset_volts: f64,
}

/// One built tester.
#[derive(Clone, Debug, PartialEq)]
pub struct Specimen {
    /// The strings, in channel order.
    pub strings: [SensingString; LEADS],
    /// The converter's channels.
    pub converter: [ConverterChannel; LEADS],
    /// What probe and drive are made of.
    pub currents: CurrentParts,
    /// White noise of the converter, volts RMS at the pins, each conversion.
    pub noise_volts: f64,
    /// Capacitance from the star over the isolation barrier to earth: 30 pF alone, about
    /// 1 nF with an earthed computer on the cable.
    pub barrier: Farads,
    /// Capacitance between any two conductors of the tester's own cord.
    pub cord: Farads,
    /// The seed of its noise.
    pub seed: u64,
}

impl Specimen {
    /// Noise of the converter at gain 1 and 4 kSPS: 5.35 uV RMS (datasheet Table 7-1).
    pub const NOISE_VOLTS: f64 = 5.35e-6;

    /// A tester with nominal parts and the usual noise.
    #[must_use]
    pub fn nominal(seed: u64) -> Self {
        Self::draw(seed, &Tolerance::NONE)
    }

    /// A tester whose parts are drawn from `tolerance` by `seed`.
    #[must_use]
    pub fn draw(seed: u64, tolerance: &Tolerance) -> Self {
        let mut draw = Draw(ChaCha8Rng::seed_from_u64(seed));
        let strings = core::array::from_fn(|_| draw.string(tolerance));
        let converter = core::array::from_fn(|_| ConverterChannel {
            gain: draw.within(tolerance.converter_gain),
            offset_volts: f64::from(tolerance.converter_offset_microvolts) * 1e-6 * draw.even(),
        });
        // Drawn apart, so that strings and converter of a seed do not depend on them.
        let mut apart = ChaCha8Rng::seed_from_u64(seed);
        apart.set_stream(2);
        Self {
            strings,
            converter,
            currents: Draw(apart).currents(tolerance),
            noise_volts: Self::NOISE_VOLTS,
            barrier: Farads::from_pico(30.0),
            cord: Farads::from_pico(120.0),
            seed,
        }
    }

    /// The same tester without noise: codes repeat exactly and differ from the truth by half
    /// a code at most.
    #[must_use]
    pub const fn without_noise(mut self) -> Self {
        self.noise_volts = 0.0;
        self
    }

    /// Volts of `lead` against the star for each code, at 60 Hz, of string and converter; the
    /// droop of the converter's filter is left to the reader of the codes.
    #[must_use]
    pub fn true_gain(&self, lead: Lead) -> f64 {
        let channel = lead.channel();
        let pins = self.strings[channel].gain(60.0).norm() * self.converter[channel].gain;
        1.0 / (pins * CODES_PER_VOLT)
    }

    /// As [`Self::true_gain`] at another frequency and with the filter's droop in it: volts
    /// of a sine of `hertz` for each code of the sine that arrives.
    #[must_use]
    pub fn true_gain_at(&self, lead: Lead, hertz: f64) -> f64 {
        let channel = lead.channel();
        let pins = self.strings[channel].gain(hertz).norm() * self.converter[channel].gain;
        1.0 / (pins * CODES_PER_VOLT * droop(hertz))
    }

    /// The code of `lead` when nothing is applied, before noise and rounding.
    #[must_use]
    pub fn offset_code(&self, lead: Lead) -> f64 {
        self.converter[lead.channel()].offset_volts * CODES_PER_VOLT
    }
}

struct Draw(ChaCha8Rng);

impl Draw {
    /// Evenly between -1 and 1.
    fn even(&mut self) -> f64 {
        self.0.random_range(-1.0..=1.0)
    }

    fn within(&mut self, tolerance: Ratio) -> f64 {
        1.0 + f64::from(tolerance.get()) * self.even()
    }

    fn resistor(&mut self, nominal: Ohms, tolerance: &Tolerance) -> Ohms {
        nominal * self.within(tolerance.resistors) as f32
    }

    fn currents(&mut self, tolerance: &Tolerance) -> CurrentParts {
        let nominal = CurrentParts::NOMINAL;
        CurrentParts {
            reference: self.resistor(nominal.reference, tolerance),
            probe: nominal.probe.map(|ohms| self.resistor(ohms, tolerance)),
            drive_level: nominal.drive_level * self.within(tolerance.resistors) as f32,
            drive_source: self.resistor(nominal.drive_source, tolerance),
            clip_reference: self.resistor(nominal.clip_reference, tolerance),
            drive_raised: nominal.drive_raised * self.within(tolerance.resistors) as f32,
            limits: nominal.limits,
        }
    }

    fn string(&mut self, tolerance: &Tolerance) -> SensingString {
        let nominal = SensingString::NOMINAL;
        SensingString {
            chain: self.resistor(nominal.chain, tolerance),
            foot: self.resistor(nominal.foot, tolerance),
            filter: nominal.filter.map(|ohms| self.resistor(ohms, tolerance)),
            capacitor: Farads::new(nominal.capacitor.get() * self.within(tolerance.capacitors)),
            input: nominal.input,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_nominal_tester_reads_60_microvolts_a_code() {
        // Hardware notes section 4: 1 code = 60 uV at the slot.
        let specimen = Specimen::nominal(1);
        for lead in Lead::ALL {
            assert!((specimen.true_gain(lead) - 60.03e-6).abs() < 0.01e-6);
            assert_eq!(specimen.offset_code(lead), 0.0);
        }
    }

    #[test]
    fn the_same_seed_builds_the_same_tester() {
        let usual = Tolerance::USUAL;
        assert_eq!(Specimen::draw(7, &usual), Specimen::draw(7, &usual));
        assert_ne!(
            Specimen::draw(7, &usual).strings,
            Specimen::draw(8, &usual).strings
        );
    }

    #[test]
    fn a_drawn_tester_stays_within_its_tolerances() {
        for seed in 0..200 {
            let specimen = Specimen::draw(seed, &Tolerance::USUAL);
            for lead in Lead::ALL {
                let error = specimen.true_gain(lead) / Specimen::nominal(0).true_gain(lead) - 1.0;
                // chain 0.1 + foot 0.1 + converter 0.1 %, and 2e-5 of capacitor.
                assert!(error.abs() < 0.0031, "{error}");
                assert!(specimen.offset_code(lead).abs() <= 175e-6 * CODES_PER_VOLT);
            }
        }
    }

    #[test]
    fn droop_makes_a_code_worth_more_volts() {
        let specimen = Specimen::nominal(1);
        let ratio = specimen.true_gain_at(Lead::Wide, 60.0) / specimen.true_gain(Lead::Wide);
        assert!((ratio - 1.0 / droop(60.0)).abs() < 1e-12);
    }
}
