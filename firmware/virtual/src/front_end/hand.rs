//! A tester that somebody carries from receptacle to receptacle while it runs.
//!
//! The [`Hand`] stays with the caller and plugs and unplugs; the [`HandSource`] goes to the
//! front end, perhaps in another thread. A change takes effect at the next frame; for codes
//! that repeat exactly, use a plan ([`super::PhasorSource`]) or change between frames of the
//! same thread.

use super::Source;
use super::plan::driven_during;
use super::scene::Scene;
use crate::house::{HouseError, Jig, Receptacle, Truth};
use crate::outputs::Outputs;
use crate::tester::Specimen;
use slotwise_core::slots::LEADS;
use std::sync::{Arc, Mutex, PoisonError};

struct Held {
    scene: Scene,
    /// The first frame at which this scene was seen.
    from: Option<u64>,
}

/// Plugs the tester in and out.
pub struct Hand {
    specimen: Specimen,
    held: Arc<Mutex<Held>>,
}

/// What the front end sees of it.
pub struct HandSource {
    held: Arc<Mutex<Held>>,
    outputs: Option<Outputs>,
}

impl Hand {
    /// A hand that holds `specimen`, unplugged, and the source for its front end.
    ///
    /// # Errors
    /// [`HouseError`] when the specimen's parts are none.
    pub fn new(specimen: Specimen) -> Result<(Self, HandSource), HouseError> {
        let held = Arc::new(Mutex::new(Held {
            scene: Scene::new(&specimen, None)?,
            from: None,
        }));
        let source = HandSource {
            held: Arc::clone(&held),
            outputs: None,
        };
        Ok((Self { specimen, held }, source))
    }

    /// Plugs the tester into `receptacle`.
    ///
    /// # Errors
    /// [`HouseError`] when the receptacle has no solution; the tester then stays where it is.
    pub fn plug(&self, receptacle: &Receptacle) -> Result<(), HouseError> {
        self.change(Some(receptacle))
    }

    /// Puts the tester on the fixture of a workshop.
    ///
    /// # Errors
    /// [`HouseError`] when the fixture has no solution; the tester then stays where it is.
    pub fn put_on(&self, jig: &Jig) -> Result<(), HouseError> {
        self.show(Scene::on_jig(&self.specimen, jig)?);
        Ok(())
    }

    /// Pulls the tester out.
    ///
    /// # Errors
    /// [`HouseError`] when the specimen's parts are none.
    pub fn unplug(&self) -> Result<(), HouseError> {
        self.change(None)
    }

    /// The truth at frame `number`, which must not lie before the last change: `None` while
    /// unplugged.
    #[must_use]
    pub fn truth(&self, number: u64) -> Option<Truth> {
        let held = self.held.lock().unwrap_or_else(PoisonError::into_inner);
        let from = held.from.unwrap_or(number);
        held.scene.truth(number.saturating_sub(from))
    }

    fn change(&self, receptacle: Option<&Receptacle>) -> Result<(), HouseError> {
        self.show(Scene::new(&self.specimen, receptacle)?);
        Ok(())
    }

    fn show(&self, scene: Scene) {
        let mut held = self.held.lock().unwrap_or_else(PoisonError::into_inner);
        *held = Held { scene, from: None };
    }
}

impl Source for HandSource {
    fn pins(&mut self, number: u64) -> [f64; LEADS] {
        let driven = driven_during(self.outputs.as_ref(), number);
        let mut held = self.held.lock().unwrap_or_else(PoisonError::into_inner);
        let from = *held.from.get_or_insert(number);
        held.scene
            .pins(number, number.saturating_sub(from), &driven)
    }

    fn connect(&mut self, outputs: &Outputs) {
        self.outputs = Some(outputs.clone());
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::front_end::{PhasorSource, Stretch};
    use crate::house::find;

    #[test]
    fn a_hand_shows_what_a_plan_shows() {
        let specimen = Specimen::nominal(1);
        let load = find("sound-with-load").unwrap().receptacle.clone();
        let plan = [
            Stretch::unplugged(100),
            Stretch::plugged(load.clone(), 5000),
        ];
        let mut planned = PhasorSource::new(&specimen, &plan).unwrap();
        let (hand, mut held) = Hand::new(specimen).unwrap();
        for number in 0..400 {
            assert_eq!(held.pins(number), planned.pins(number));
        }
        hand.plug(&load).unwrap();
        for number in 400..32_000 {
            assert_eq!(held.pins(number), planned.pins(number), "{number}");
        }
        assert!(hand.truth(32_000).unwrap().appliance_current.norm() > 5.0);
        hand.unplug().unwrap();
        assert!(hand.truth(32_001).is_none());
    }
}
