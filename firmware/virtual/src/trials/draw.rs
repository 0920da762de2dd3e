//! Draws of everything that differs from house to house and from tester to tester.

use crate::house::{Appliance, BranchCable, Gauge, House, Joint, Receptacle, Strays};
use crate::quantity::{Farads, Metres};
use crate::tester::{Specimen, Tolerance};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, LogNormal, StandardNormal};
use slotwise_core::units::{Amperes, Celsius, Hertz, Ohms, Ratio, Volts};

/// A stream of draws.
pub struct Draw(ChaCha8Rng);

impl Draw {
    /// Draws of trial `number` of the run with this seed: trials do not depend on each other,
    /// so they may run in any order.
    #[must_use]
    pub fn new(seed: u64, number: u64) -> Self {
        let mut generator = ChaCha8Rng::seed_from_u64(seed);
        generator.set_stream(number);
        Self(generator)
    }

    /// Evenly between two numbers.
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        self.0.random_range(low..=high)
    }

    /// Normal with mean 0 and deviation 1.
    pub fn normal(&mut self) -> f64 {
        self.0.sample(StandardNormal)
    }

    /// Whether something of this probability happens.
    pub fn happens(&mut self, probability: f64) -> bool {
        self.0.random_bool(probability)
    }

    /// A whole number below `end`.
    pub fn below(&mut self, end: usize) -> usize {
        self.0.random_range(0..end)
    }

    /// Around `middle`, a factor `spread` either way in two cases of three.
    fn around(&mut self, middle: f64, spread: f64) -> f64 {
        // The logarithm of a positive finite spread is finite, so the distribution exists.
        LogNormal::new(middle.ln(), spread.ln()).map_or(middle, |law| law.sample(&mut self.0))
    }

    /// A tester with parts from the usual tolerances and some barrier capacitance: alone, or
    /// with an earthed computer on its cable.
    pub fn specimen(&mut self) -> Specimen {
        let mut specimen = Specimen::draw(self.0.random(), &Tolerance::USUAL);
        let picofarads = if self.happens(0.3) {
            self.between(200.0, 1000.0)
        } else {
            self.between(10.0, 60.0)
        };
        specimen.barrier = Farads::from_pico(picofarads);
        specimen
    }

    /// The same wiring state in another house: supply, service, cable, joints, strays and
    /// loads are drawn; which slot is on what, what is joined and what is broken stays.
    pub fn house_of(&mut self, wiring: &Receptacle) -> Receptacle {
        let mut drawn = wiring.clone();
        // A state about its supply keeps it.
        let is_ordinary = (f64::from(wiring.supply.leg.get()) - 120.0).abs() < 5.0;
        if is_ordinary && wiring.house.bonded {
            drawn.supply.leg = Volts::new(self.between(115.0, 124.0) as f32);
            drawn.supply.frequency = Hertz::new(self.between(59.95, 60.05) as f32);
        }
        drawn.supply = drawn
            .supply
            .with_thd(Ratio::new(self.between(0.005, 0.05) as f32));
        drawn.house = self.house(&wiring.house);
        drawn.cable = BranchCable {
            gauge: if self.happens(0.5) {
                Gauge::Awg14
            } else {
                Gauge::Awg12
            },
            length: Metres::from_feet(self.between(20.0, 120.0)),
            temperature: Celsius::new(self.between(5.0, 45.0) as f32),
        };
        for joint in [
            &mut drawn.hot_joint,
            &mut drawn.neutral_joint,
            &mut drawn.ground_joint,
        ] {
            // Screws and splices of a sound run: some milliohms.
            if *joint == Joint::Sound {
                *joint = Joint::Weak(Ohms::new(self.around(0.004, 2.0) as f32));
            }
        }
        drawn.strays = self.strays(&wiring.strays);
        drawn
    }

    fn house(&mut self, wiring: &House) -> House {
        House {
            transformer: Ohms::new(self.around(0.018, 1.5) as f32),
            transformer_reactance: Ohms::new(self.around(0.018, 1.5) as f32),
            service: Ohms::new(self.around(0.012, 1.6) as f32),
            background: [0, 1].map(|_| Amperes::new(self.around(8.0, 2.0) as f32)),
            utility_earth: Ohms::new(self.around(5.0, 2.0) as f32),
            rod: Ohms::new(self.around(30.0, 2.0) as f32),
            ..*wiring
        }
    }

    fn strays(&mut self, of: &Strays) -> Strays {
        let mut scaled =
            |value: Farads| Farads::from_pico(value.get() * 1e12 * self.around(1.0, 2.0));
        Strays {
            hot_ground: scaled(of.hot_ground),
            neutral_ground: scaled(of.neutral_ground),
            hot_neutral: scaled(of.hot_neutral),
            across_break: scaled(of.across_break),
            neighbour: scaled(of.neighbour),
            room: scaled(of.room),
        }
    }

    /// The current of a motor that cycles: inducer and blower of a furnace, or a heater.
    pub fn load(&mut self) -> Appliance {
        Appliance::steady(self.between(4.0, 11.0) as f32)
    }
}
