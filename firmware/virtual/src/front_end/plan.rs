//! A plan of what the tester is plugged into and for how long, as voltages at the pins.
//!
//! The phase of the mains runs on while the tester is unplugged: every stretch takes its
//! phase from the absolute time. Plugging and switching happen between two frames; contacts
//! do not bounce. What the tester itself drives comes from its [`Outputs`], where a board has
//! connected them.

use super::Source;
use super::scene::Scene;
use crate::house::{HouseError, Receptacle, Truth};
use crate::outputs::{Driven, Outputs, PAST};
use crate::tester::Specimen;
use slotwise_core::slots::LEADS;
use slotwise_core::units::Millis;

/// One stretch of a plan.
#[derive(Clone, Debug, PartialEq)]
pub struct Stretch {
    /// What the tester is in, or nothing.
    pub receptacle: Option<Receptacle>,
    /// How long it stays there.
    pub lasts: Millis,
}

impl Stretch {
    /// In the hand for so many milliseconds.
    #[must_use]
    pub const fn unplugged(millis: u64) -> Self {
        Self {
            receptacle: None,
            lasts: Millis::new(millis),
        }
    }

    /// In `receptacle` for so many milliseconds.
    #[must_use]
    pub const fn plugged(receptacle: Receptacle, millis: u64) -> Self {
        Self {
            receptacle: Some(receptacle),
            lasts: Millis::new(millis),
        }
    }
}

/// A plan, solved.
#[derive(Clone, Debug)]
pub struct PhasorSource {
    /// First frame of each stretch and what is seen there.
    stretches: Vec<(u64, Scene)>,
    /// What the tester itself drives; nothing without a board.
    outputs: Option<Outputs>,
}

impl PhasorSource {
    /// Solves every stretch of `plan` for `specimen`. The last one lasts for ever; an empty
    /// plan is an unplugged tester.
    ///
    /// # Errors
    /// [`HouseError`] of the first stretch that has no solution.
    pub fn new(specimen: &Specimen, plan: &[Stretch]) -> Result<Self, HouseError> {
        let mut stretches = Vec::with_capacity(plan.len().max(1));
        let mut from = 0;
        for stretch in plan {
            stretches.push((from, Scene::new(specimen, stretch.receptacle.as_ref())?));
            from += frames(stretch.lasts);
        }
        if stretches.is_empty() {
            stretches.push((0, Scene::new(specimen, None)?));
        }
        Ok(Self {
            stretches,
            outputs: None,
        })
    }

    /// A tester that sits in one receptacle from frame 0 on.
    ///
    /// # Errors
    /// [`HouseError`] when the receptacle has no solution.
    pub fn plugged(specimen: &Specimen, receptacle: &Receptacle) -> Result<Self, HouseError> {
        Ok(Self {
            stretches: vec![(0, Scene::new(specimen, Some(receptacle))?)],
            outputs: None,
        })
    }

    /// The truth at frame `number`: `None` while unplugged.
    #[must_use]
    pub fn truth(&self, number: u64) -> Option<Truth> {
        let (from, scene) = &self.stretches[self.at(number)];
        scene.truth(number - from)
    }

    fn at(&self, number: u64) -> usize {
        self.stretches.partition_point(|(from, _)| *from <= number) - 1
    }
}

impl Source for PhasorSource {
    fn pins(&mut self, number: u64) -> [f64; LEADS] {
        let driven = driven_during(self.outputs.as_ref(), number);
        let stretch = self.at(number);
        let (from, scene) = &mut self.stretches[stretch];
        scene.pins(number, number - *from, &driven)
    }

    fn connect(&mut self, outputs: &Outputs) {
        self.outputs = Some(outputs.clone());
    }
}

/// What was driven during frame `number` and those before it; nothing without outputs.
pub(super) fn driven_during(outputs: Option<&Outputs>, number: u64) -> [Driven; PAST] {
    outputs.map_or_else(Default::default, |outputs| outputs.during(number))
}

/// Frames in so many milliseconds.
const fn frames(lasts: Millis) -> u64 {
    lasts.get() * slotwise_core::sample::FRAMES_PER_SECOND as u64 / 1000
}

#[cfg(test)]
mod tests {
    use super::super::{RATE, droop};
    use super::*;
    use crate::house::{Supply, find};
    use core::f64::consts::SQRT_2;
    use slotwise_core::units::{Hertz, Ratio, Volts};

    #[test]
    fn stretches_follow_one_another_at_their_frames() {
        let specimen = Specimen::nominal(1);
        let sound = find("sound").unwrap().receptacle.clone();
        let reversed = find("reversed-polarity").unwrap().receptacle.clone();
        let plan = [
            Stretch::unplugged(500),
            Stretch::plugged(sound, 1000),
            Stretch::unplugged(250),
            Stretch::plugged(reversed, 1000),
        ];
        let source = PhasorSource::new(&specimen, &plan).unwrap();
        assert!(source.truth(0).is_none() && source.truth(1999).is_none());
        assert!(source.truth(2000).unwrap().gw.norm() < 0.1);
        assert!(source.truth(5999).is_some() && source.truth(6000).is_none());
        assert!(source.truth(7000).unwrap().gw.norm() > 110.0);
        // The last stretch goes on.
        assert!(source.truth(1_000_000).is_some());
    }

    #[test]
    fn an_appliance_that_cycles_changes_the_truth() {
        let specimen = Specimen::nominal(1);
        let receptacle = &find("sound-with-load").unwrap().receptacle;
        let source = PhasorSource::plugged(&specimen, receptacle).unwrap();
        let [idle, running] = [0, 24_000].map(|frame| source.truth(frame).unwrap());
        assert_eq!(idle.appliance_current.norm(), 0.0);
        assert!((running.appliance_current.norm() - 5.9).abs() < 0.1);
        assert!(running.nw.norm() < idle.nw.norm() - 1.0);
    }

    #[test]
    fn the_phase_runs_on_over_a_change_of_receptacle() {
        let specimen = Specimen::nominal(1);
        let sound = find("sound").unwrap().receptacle.clone();
        let plan = [
            Stretch::plugged(sound.clone(), 100),
            Stretch::plugged(sound.clone(), 100),
        ];
        let mut twice = PhasorSource::new(&specimen, &plan).unwrap();
        let mut once = PhasorSource::plugged(&specimen, &sound).unwrap();
        for number in [0, 399, 400, 401, 799] {
            assert_eq!(twice.pins(number), once.pins(number));
        }
    }

    #[test]
    fn a_supply_that_wanders_takes_the_voltages_along() {
        let specimen = Specimen::nominal(1);
        let mut receptacle = find("sound").unwrap().receptacle.clone();
        receptacle.supply = Supply::pure(Volts::new(120.0), Hertz::new(60.0));
        let mut still = PhasorSource::plugged(&specimen, &receptacle).unwrap();
        receptacle.supply.drift.amplitude_swing = Ratio::new(0.02);
        receptacle.supply.drift.period_seconds = 4.0;
        let mut swinging = PhasorSource::plugged(&specimen, &receptacle).unwrap();
        // A quarter and three quarters of the period, at a crest of the mains.
        for (frame, factor) in [(4000, 1.02), (8000, 1.0), (12_000, 0.98)] {
            let ratio = swinging.pins(frame)[0] / still.pins(frame)[0];
            assert!((ratio - factor).abs() < 1e-9, "{frame} {ratio}");
        }
    }

    #[test]
    fn one_channel_is_the_sum_of_its_harmonics() {
        // Against a direct sum with its own trigonometry.
        let specimen = Specimen::nominal(1);
        let mut receptacle = find("sound").unwrap().receptacle.clone();
        receptacle.supply =
            Supply::pure(Volts::new(119.0), Hertz::new(59.7)).with_thd(Ratio::new(0.05));
        let solved = receptacle.solve(&specimen, false).unwrap();
        let mut source = PhasorSource::plugged(&specimen, &receptacle).unwrap();
        let hertz = f64::from(receptacle.supply.frequency.get());
        for number in [0, 1, 77, 3999, 400_000] {
            let t = number as f64 / RATE;
            let expected: f64 = solved
                .harmonics()
                .iter()
                .map(|harmonic| {
                    let f = hertz * f64::from(harmonic.order);
                    let pin = harmonic.pins[0];
                    let angle = core::f64::consts::TAU * f * t + pin.arg();
                    SQRT_2 * pin.norm() * droop(f) * angle.cos()
                })
                .sum();
            let got = source.pins(number)[0];
            assert!((got - expected).abs() < 1e-9, "{number} {got} {expected}");
        }
    }
}
