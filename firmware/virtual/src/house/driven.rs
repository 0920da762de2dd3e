//! The tester's own currents in a house: what the pins show with probe or drive closed.
//!
//! With the power's sources on, the closed path is one more part of the network, harmonic by
//! harmonic. What the drive itself does is solved with the power's sources dead and one volt of
//! drive; both add up, since the network is linear.

use super::{HarmonicPins, HouseError, Jig, Receptacle, Supply, Wired, unplugged_networks};
use crate::circuit::Phasor;
use crate::tester::{Paths, Specimen};
use slotwise_core::slots::LEADS;
use slotwise_core::units::Volts;

/// Where a tester is.
#[derive(Clone, Copy, Debug)]
pub enum Place<'a> {
    /// In the hand, in a room.
    Room,
    /// In a receptacle.
    Receptacle(&'a Receptacle),
    /// On the fixture of the workshop.
    Jig(&'a Jig),
}

impl<'a> From<Option<&'a Receptacle>> for Place<'a> {
    fn from(receptacle: Option<&'a Receptacle>) -> Self {
        receptacle.map_or(Self::Room, Self::Receptacle)
    }
}

/// What the pins see of the power, harmonic by harmonic, with `paths` closed and the drive at
/// zero volts; unplugged in a room of `supply` without a receptacle.
///
/// # Errors
/// [`HouseError`] when the supply is none or the network has no solution.
pub fn pins_with<'a>(
    place: impl Into<Place<'a>>,
    supply: &Supply,
    specimen: &Specimen,
    appliance_on: bool,
    paths: Paths,
) -> Result<Vec<HarmonicPins>, HouseError> {
    networks(place.into(), supply, specimen, appliance_on)?
        .into_iter()
        .map(|mut wired| {
            wired.connect(specimen, paths, Phasor::new(0.0, 0.0));
            let hertz = wired.hertz;
            let pins = solve(&wired, hertz)?;
            Ok(HarmonicPins {
                order: wired.order,
                pins,
            })
        })
        .collect()
}

/// What the pins see of one volt of drive at `hertz`, the power's sources dead, as RMS phasors.
///
/// # Errors
/// [`HouseError`] when the supply is none or the network has no solution.
pub fn drive_response<'a>(
    place: impl Into<Place<'a>>,
    supply: &Supply,
    specimen: &Specimen,
    appliance_on: bool,
    paths: Paths,
    hertz: f64,
) -> Result<[Phasor; LEADS], HouseError> {
    let dead = Supply::pure(Volts::ZERO, supply.frequency);
    let place = place.into();
    let receptacle = match place {
        Place::Receptacle(receptacle) => Some(receptacle.clone().with_supply(dead.clone())),
        Place::Room | Place::Jig(_) => None,
    };
    let place = receptacle.as_ref().map_or(place, Place::Receptacle);
    let mut networks = networks(place, &dead, specimen, appliance_on)?;
    // A supply without harmonics has one network.
    let mut wired = networks.swap_remove(0);
    wired.connect(specimen, paths, Phasor::new(1.0, 0.0));
    solve(&wired, hertz)
}

fn networks(
    place: Place<'_>,
    supply: &Supply,
    specimen: &Specimen,
    appliance_on: bool,
) -> Result<Vec<Wired>, HouseError> {
    match place {
        Place::Receptacle(receptacle) => receptacle.networks(specimen, appliance_on),
        Place::Room => Ok(unplugged_networks(supply, specimen)),
        Place::Jig(jig) => Ok(jig.networks(supply, specimen)),
    }
}

fn solve(wired: &Wired, hertz: f64) -> Result<[Phasor; LEADS], HouseError> {
    let order = wired.order;
    let solution = wired
        .circuit
        .solve(hertz)
        .map_err(|source| HouseError::Circuit { order, source })?;
    Ok(wired
        .pins
        .map(|[plus, minus]| solution.voltage(plus, minus)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::house::bank;
    use slotwise_core::slots::Lead;

    const TO_GROUND: Paths = Paths {
        drive_to_ground: true,
        ..Paths::NONE
    };

    /// Lead against star at one volt of drive, the string's own gain taken out.
    fn leads(receptacle: &Receptacle, specimen: &Specimen, hertz: f64) -> [Phasor; LEADS] {
        let supply = &receptacle.supply;
        let pins = drive_response(Some(receptacle), supply, specimen, false, TO_GROUND, hertz);
        let pins = pins.unwrap();
        core::array::from_fn(|channel| pins[channel] / specimen.strings[channel].gain(hertz))
    }

    /// The reason why the front end may treat the square wave as a resistive network's.
    #[test]
    fn every_house_is_resistive_to_the_drive() {
        let specimen = Specimen::nominal(1);
        let mut closed = 0;
        for named in bank() {
            let [low, high] = [85.0, 425.0].map(|hertz| {
                let leads = leads(&named.receptacle, &specimen, hertz);
                leads[Lead::Wide.channel()] - leads[Lead::Ground.channel()]
            });
            let ohms = 3_000.0 * low.re / (1.0 - low.re);
            let (reactive, bent) = (low.im.abs() / low.re, (high - low).norm() / low.re);
            let truth = named.receptacle.solve(&specimen, false).unwrap().truth;
            println!("{}: {ohms:.2} ohm, {reactive:.1e}, {bent:.1e}", named.name);
            // A path of copper, joints and earth, where the drive is allowed; one through the
            // transformer's winding, where it is not; one that is open, where 3 kohm work into
            // the nanofarads of a cable: a share of the level.
            let limits = match (ohms < 1_000.0, truth.gw.norm() < 3.0) {
                (true, true) => (1e-4, 5e-4),
                (true, false) => (5e-3, 2e-2),
                _ => (1e-2, 3e-2),
            };
            assert!(reactive < limits.0 && bent < limits.1, "{}", named.name);
            closed += usize::from(limits.0 < 1e-3);
        }
        assert!(closed >= 8, "{closed}");
    }

    #[test]
    fn a_sound_path_takes_its_share_of_the_level() {
        // E (R + R_cal) / (R + R_cal + R_s): R of copper, joints and bond is a few tenths.
        let specimen = Specimen::nominal(1);
        let sound = bank()
            .iter()
            .find(|named| named.name == "sound")
            .unwrap()
            .receptacle
            .clone();
        let leads = leads(&sound, &specimen, 85.0);
        let share = (leads[1] - leads[2]).re;
        let ohms = share / (1.0 - share) * 3_000.0;
        assert!((10.2..10.6).contains(&ohms), "{ohms}");
    }
}
