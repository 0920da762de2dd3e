//! The receptacles of Larkfield Terrace, an invented row of small houses with gas furnaces in
//! utility closets, built in three phases with different wiring.
//!
//! Each entry is one wiring state under a short name, at a place, with how it came about. The
//! clip's target in an entry is what a careful technician would have clipped there; change it
//! with [`Receptacle::with_clip`].

use super::Gauge;
use super::receptacle::Conductor::{Ground, Leg1, Leg2, Neutral, Nothing, Rod};
use super::receptacle::{Appliance, BranchCable, House, Joint, Landed, Receptacle};
use super::supply::Supply;
use crate::quantity::Metres;
use slotwise_core::slots::ClipTarget::{ApplianceFrame, IndependentEarth};
use slotwise_core::units::{Amperes, Celsius, Hertz, Ohms, Volts};
use std::sync::OnceLock;

/// A receptacle of the terrace.
#[derive(Clone, Debug, PartialEq)]
pub struct Named {
    /// Its short name, lower case with hyphens.
    pub name: &'static str,
    /// Where it is.
    pub place: &'static str,
    /// How its wiring came about.
    pub story: &'static str,
    /// What is behind it.
    pub receptacle: Receptacle,
}

/// All receptacles of the terrace, by number.
#[must_use]
pub fn bank() -> &'static [Named] {
    static BANK: OnceLock<Vec<Named>> = OnceLock::new();
    BANK.get_or_init(|| {
        let mut all = first_phase();
        all.extend(second_phase());
        all.extend(third_phase());
        all
    })
}

/// The receptacle of this name.
#[must_use]
pub fn find(name: &str) -> Option<&'static Named> {
    bank().iter().find(|named| named.name == name)
}

const fn named(
    name: &'static str,
    place: &'static str,
    story: &'static str,
    receptacle: Receptacle,
) -> Named {
    Named {
        name,
        place,
        story,
        receptacle,
    }
}

/// The jumper of a joined box: a short piece of wire between two terminals.
const JUMPER: Option<Ohms> = Some(Ohms::new(0.005));

fn sound() -> Receptacle {
    Receptacle::sound()
}

/// Numbers 1 to 4: two-wire cable without a ground, improved later by several hands.
fn first_phase() -> Vec<Named> {
    vec![
        named(
            "sound",
            "Number 1, furnace closet",
            "Rewired in full last year; nothing wrong.",
            sound().with_clip(IndependentEarth),
        ),
        named(
            "open-ground",
            "Number 2, furnace closet",
            "A three-slot receptacle on the old two-wire cable; the ground terminal is bare.",
            sound().with_slots(Leg1, Neutral, Nothing),
        ),
        named(
            "joined-at-box",
            "Number 3, furnace closet",
            "Two-wire cable; a piece of wire joins the ground terminal to the neutral one.",
            Receptacle {
                jumper: JUMPER,
                ..sound()
                    .with_slots(Leg1, Neutral, Nothing)
                    .with_clip(IndependentEarth)
            },
        ),
        named(
            "reversed-and-joined",
            "Number 4, furnace closet",
            "As at Number 3, but hot and neutral are exchanged: the furnace's frame is live.",
            Receptacle {
                jumper: JUMPER,
                ..sound()
                    .with_slots(Neutral, Leg1, Nothing)
                    .with_clip(IndependentEarth)
            },
        ),
        named(
            "ground-on-rod",
            "Number 4, back porch",
            "A wire from the ground terminal to a rod in the flower bed, none to the panel.",
            sound()
                .with_slots(Leg1, Neutral, Rod(Ohms::new(25.0)))
                .with_clip(IndependentEarth),
        ),
    ]
}

/// Numbers 5 to 8: grounded cable, hurried work.
fn second_phase() -> Vec<Named> {
    vec![
        named(
            "reversed-polarity",
            "Number 5, furnace closet",
            "Black and white wires exchanged when the receptacle was replaced.",
            sound().with_slots(Neutral, Leg1, Ground),
        ),
        named(
            "open-neutral",
            "Number 6, furnace closet",
            "The neutral slipped out of its push-in terminal; nothing else is plugged in.",
            Receptacle {
                neutral_joint: Joint::Open,
                ..sound()
            },
        ),
        named(
            "open-neutral-with-load",
            "Number 6, laundry corner",
            "The neutral is open and a heater on the same receptacle is switched on.",
            Receptacle {
                neutral_joint: Joint::Open,
                ..sound().with_appliance(Appliance::steady(6.0))
            },
        ),
        named(
            "open-hot",
            "Number 7, furnace closet",
            "The hot wire broke where the cable clamp cut it.",
            Receptacle {
                hot_joint: Joint::Open,
                ..sound()
            },
        ),
        named(
            "weak-neutral",
            "Number 7, hall",
            "A loose neutral screw, 1 ohm when warm; a vacuum cleaner comes and goes.",
            Receptacle {
                neutral_joint: Joint::Weak(Ohms::new(1.0)),
                ..sound()
                    .with_appliance(Appliance::cycling(6.0, 6, 6))
                    .with_clip(IndependentEarth)
            },
        ),
        named(
            "weak-ground",
            "Number 8, furnace closet",
            "The ground wire hangs by one strand under a painted clamp: 10 ohm.",
            Receptacle {
                ground_joint: Joint::Weak(Ohms::new(10.0)),
                ..sound()
            },
        ),
        named(
            "ground-on-hot",
            "Number 8, workshop",
            "The bare ground was cut short and the black wire put on its terminal as well.",
            sound()
                .with_slots(Leg1, Neutral, Leg1)
                .with_clip(IndependentEarth),
        ),
    ]
}

/// Numbers 9 to 12: multiwire circuits, heat pumps, a long feeder.
fn third_phase() -> Vec<Named> {
    vec![
        named(
            "ground-on-other-leg",
            "Number 9, furnace closet",
            "A multiwire circuit whose red wire was taken for a ground.",
            sound().with_slots(Leg1, Neutral, Leg2),
        ),
        named(
            "volts-240",
            "Number 9, window unit",
            "A 120 V receptacle put on the 240 V circuit of a removed window unit.",
            sound().with_slots(Leg1, Leg2, Ground),
        ),
        named(
            "breaker-off",
            "Number 10, furnace closet",
            "The breaker has tripped.",
            Receptacle {
                breaker_on: false,
                ..sound()
            },
        ),
        named(
            "supply-low",
            "Number 11, furnace closet",
            "The last house on an overloaded transformer, at supper time.",
            sound()
                .with_supply(Supply {
                    leg: Volts::new(101.5),
                    ..Supply::ordinary()
                })
                .with_clip(IndependentEarth),
        ),
        named(
            "sagging",
            "Number 11, attic",
            "A long run of thin wire and a corroded splice; the blower draws 9 A by turns.",
            Receptacle {
                hot_joint: Joint::Weak(Ohms::new(0.8)),
                cable: BranchCable {
                    gauge: Gauge::Awg14,
                    length: Metres::from_feet(110.0),
                    temperature: Celsius::new(45.0),
                },
                ..sound()
                    .with_appliance(Appliance::cycling(9.0, 6, 6))
                    .with_clip(ApplianceFrame)
            },
        ),
        named(
            "sound-with-load",
            "Number 12, furnace closet",
            "Nothing wrong; the furnace's blower comes and goes.",
            sound()
                .with_appliance(Appliance::cycling(6.0, 6, 6))
                .with_clip(IndependentEarth),
        ),
        named(
            "buses-exchanged",
            "Number 12, shed",
            "Both wires exchanged at the shed's panel: hot on wide and ground, all frames live.",
            Receptacle {
                landed: Landed::BusesExchanged,
                ..sound().with_clip(IndependentEarth)
            },
        ),
        named(
            "lost-service-neutral",
            "Number 12, kitchen",
            "The service neutral has parted; the two legs share 240 V by what is switched on.",
            Receptacle {
                house: House {
                    service_neutral: Joint::Open,
                    background: [Amperes::new(28.0), Amperes::new(12.0)],
                    ..House::default()
                },
                ..sound().with_clip(IndependentEarth)
            },
        ),
        named(
            "generator",
            "Number 10, back porch",
            "A portable generator with a floating output, while the street is dark.",
            Receptacle {
                house: House {
                    bonded: false,
                    background: [Amperes::new(4.0), Amperes::new(4.0)],
                    ..House::default()
                },
                ..sound().with_supply(
                    Supply {
                        frequency: Hertz::new(61.2),
                        ..Supply::ordinary()
                    }
                    .with_thd(slotwise_core::units::Ratio::new(0.06)),
                )
            },
        ),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    #[test]
    fn names_are_unique_and_kebab_case() {
        let names: BTreeSet<_> = bank().iter().map(|named| named.name).collect();
        assert_eq!(names.len(), bank().len());
        for name in names {
            assert!(
                name.chars()
                    .all(|c| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-'),
                "{name}"
            );
        }
    }

    #[test]
    fn every_house_of_the_terrace_is_visited() {
        for number in 1..=12 {
            let house = format!("Number {number},");
            assert!(
                bank().iter().any(|named| named.place.starts_with(&house)),
                "{house}"
            );
        }
    }

    #[test]
    fn a_name_finds_its_receptacle() {
        assert_eq!(
            find("reversed-polarity").unwrap().place,
            "Number 5, furnace closet"
        );
        assert!(find("no-such-receptacle").is_none());
    }
}
