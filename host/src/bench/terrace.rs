//! The receptacles of Larkfield Terrace by name or house number, and the way of the tour.

use slotwise_core::slots::ClipTarget;
use slotwise_core::units::Millis;
use slotwise_virtual::house::{Named, Receptacle, bank, find};

use crate::error::Error;

/// A receptacle that the tester is carried to.
#[derive(Clone, Debug)]
pub struct Stop {
    /// Short name.
    pub name: String,
    /// Where it is.
    pub place: String,
    /// How its wiring came about.
    pub story: String,
    /// What is behind it, and what the technician puts the clip on.
    pub receptacle: Receptacle,
    /// How long the tester stays after its test, for the load steps of what runs there.
    pub stays: Millis,
}

impl From<&Named> for Stop {
    fn from(named: &Named) -> Self {
        Self {
            name: named.name.to_owned(),
            place: named.place.to_owned(),
            story: named.story.to_owned(),
            receptacle: named.receptacle.clone(),
            stays: Millis::default(),
        }
    }
}

/// At the furnace that comes and goes, until it has done so a few times.
const FIVE_CYCLES: Millis = Millis::new(65_000);

/// One receptacle of each house; at Number 4 the same one twice, since only the clip on another
/// earth shows what is wrong there; at Number 12 two, the first with a furnace that runs.
const WAY: [(&str, Clip); 14] = [
    ("sound", Clip::AsUsual),
    ("open-ground", Clip::AsUsual),
    ("joined-at-box", Clip::AsUsual),
    ("reversed-and-joined", Clip::Free),
    ("reversed-and-joined", Clip::AsUsual),
    ("reversed-polarity", Clip::AsUsual),
    ("open-neutral-with-load", Clip::AsUsual),
    ("open-hot", Clip::AsUsual),
    ("ground-on-hot", Clip::AsUsual),
    ("volts-240", Clip::AsUsual),
    ("breaker-off", Clip::AsUsual),
    ("supply-low", Clip::AsUsual),
    ("sound-with-load", Clip::AsUsual),
    ("lost-service-neutral", Clip::AsUsual),
];

#[derive(Clone, Copy)]
enum Clip {
    /// As the receptacle's entry says.
    AsUsual,
    /// Hanging free.
    Free,
}

/// The stops of the tour, or every receptacle of the terrace.
///
/// # Errors
/// [`Error::NoSuchReceptacle`] if a stop is not on the terrace.
pub fn stops(all: bool) -> Result<Vec<Stop>, Error> {
    if all {
        return Ok(bank().iter().map(Stop::from).collect());
    }
    WAY.into_iter()
        .map(|(name, clip)| {
            let mut stop = Stop::from(named(name)?);
            if let Clip::Free = clip {
                stop.receptacle.clip = ClipTarget::NotConnected;
            }
            if name == "sound-with-load" {
                stop.stays = FIVE_CYCLES;
            }
            Ok(stop)
        })
        .collect()
}

/// The receptacle called `name`, or the first one of the house of that number.
///
/// # Errors
/// [`Error::NoSuchReceptacle`].
pub fn named(name: &str) -> Result<&'static Named, Error> {
    let of_house = || {
        let house = name.parse::<u32>().ok()?;
        let place = format!("Number {house},");
        bank().iter().find(|named| named.place.starts_with(&place))
    };
    find(name)
        .or_else(of_house)
        .ok_or_else(|| Error::NoSuchReceptacle(name.to_owned()))
}

/// Site and appliance of a stop, as an office would call them: "Number 12, furnace closet" is
/// the furnace closet of Larkfield Terrace 12.
#[must_use]
pub fn site_of(stop: &Stop) -> (String, String) {
    // A scenario's place is anybody's words; an archive takes names of a hundred letters.
    let short = |words: &str| words.chars().take(100).collect::<String>();
    match stop.place.split_once(", ") {
        Some((house, room)) => match house.strip_prefix("Number ") {
            Some(number) => (short(&format!("Larkfield Terrace {number}")), short(room)),
            None => (short(house), short(room)),
        },
        None => (short(&stop.place), "receptacle".to_owned()),
    }
}

/// All receptacles.
#[must_use]
pub fn all() -> &'static [Named] {
    bank()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_tour_stops_at_every_house_in_order() {
        let stops = stops(false).unwrap();
        let mut houses: Vec<u32> = stops
            .iter()
            .map(|stop| {
                let number = stop.place.trim_start_matches("Number ");
                number.split(',').next().unwrap().parse().unwrap()
            })
            .collect();
        houses.dedup();
        assert_eq!(houses, (1..=12).collect::<Vec<u32>>());
    }

    #[test]
    fn a_receptacle_is_found_by_name_and_by_house() {
        assert_eq!(
            named("reversed-polarity").unwrap().name,
            "reversed-polarity"
        );
        assert!(named("5").unwrap().place.starts_with("Number 5,"));
        assert!(named("13").is_err());
        assert!(named("nowhere").is_err());
    }
}
