//! Every wiring of one receptacle that the atlas looks at.
//!
//! 125 ways to put each of three slots on leg 1, leg 2, neutral, ground or nothing; 25 more
//! with the ground hole joined to the wide slot and on no conductor of its own; 40 faults that
//! are no matter of which slot is on what: joints, rods, breaks with a load on, conductors
//! landed wrong in the panel, joins upstream, the service's neutral, a floating generator.
//!
//! Nothing is left out by symmetry. The legs differ in sign and, here, in the load of the rest
//! of the house, so a wiring and its mirror over the legs are two entries that fall into one
//! class. Limits: one fault a receptacle but for the few named pairs; one cable length.

mod faults;

use super::receptacle::Conductor::{self, Ground, Leg1, Leg2, Neutral, Nothing, Rod};
use super::receptacle::Receptacle;
use slotwise_core::units::Ohms;
use std::sync::OnceLock;

/// What a slot may be on in the enumeration.
pub const CONDUCTORS: [Conductor; 5] = [Leg1, Leg2, Neutral, Ground, Nothing];

/// The jumper of a joined box: a short piece of wire between two terminals.
const JUMPER: Ohms = Ohms::new(0.005);

/// Which part of the enumeration an entry is of.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Kind {
    /// Narrow, wide and ground hole on these.
    Slots([Conductor; 3]),
    /// Narrow and wide on these, the ground hole joined to wide by a jumper.
    Joined([Conductor; 2]),
    /// A fault that no choice of conductors makes.
    Fault,
}

/// One wiring.
#[derive(Clone, Debug, PartialEq)]
pub struct Entry {
    /// Its stable name, lower case with hyphens.
    pub name: String,
    /// How it is wired, in words.
    pub wired: String,
    /// Which part of the enumeration it is of.
    pub kind: Kind,
    /// What is behind it.
    pub receptacle: Receptacle,
}

/// Every wiring, in the order slots, joined, faults.
#[must_use]
pub fn enumeration() -> &'static [Entry] {
    static ALL: OnceLock<Vec<Entry>> = OnceLock::new();
    ALL.get_or_init(|| {
        let mut all = slots();
        all.extend(joined());
        all.extend(faults::faults());
        all
    })
}

fn slots() -> Vec<Entry> {
    let mut all = Vec::new();
    for narrow in CONDUCTORS {
        for wide in CONDUCTORS {
            for ground in CONDUCTORS {
                let on = [narrow, wide, ground];
                let [n, w, g] = on.map(short);
                let [narrow_on, wide_on, ground_on] = on.map(long);
                all.push(Entry {
                    name: format!("{n}-{w}-{g}"),
                    wired: format!("narrow {narrow_on}, wide {wide_on}, ground hole {ground_on}"),
                    kind: Kind::Slots(on),
                    receptacle: Receptacle::sound().with_slots(narrow, wide, ground),
                });
            }
        }
    }
    all
}

fn joined() -> Vec<Entry> {
    let mut all = Vec::new();
    for narrow in CONDUCTORS {
        for wide in CONDUCTORS {
            let [n, w] = [narrow, wide].map(short);
            let [narrow_on, wide_on] = [narrow, wide].map(long);
            all.push(Entry {
                name: format!("{n}-{w}-joined"),
                wired: format!("narrow {narrow_on}, wide {wide_on}, ground hole joined to wide"),
                kind: Kind::Joined([narrow, wide]),
                receptacle: Receptacle {
                    jumper: Some(JUMPER),
                    ..Receptacle::sound().with_slots(narrow, wide, Nothing)
                },
            });
        }
    }
    all
}

const fn short(conductor: Conductor) -> &'static str {
    match conductor {
        Leg1 => "leg1",
        Leg2 => "leg2",
        Neutral => "neutral",
        Ground => "ground",
        Rod(_) => "rod",
        Nothing => "open",
    }
}

const fn long(conductor: Conductor) -> &'static str {
    match conductor {
        Leg1 => "on hot of leg 1",
        Leg2 => "on hot of leg 2",
        Neutral => "on neutral",
        Ground => "on ground",
        Rod(_) => "on a rod",
        Nothing => "on nothing",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    #[test]
    fn there_are_125_and_25_and_40() {
        let count =
            |is: fn(&Kind) -> bool| enumeration().iter().filter(|entry| is(&entry.kind)).count();
        assert_eq!(count(|kind| matches!(kind, Kind::Slots(_))), 125);
        assert_eq!(count(|kind| matches!(kind, Kind::Joined(_))), 25);
        assert_eq!(count(|kind| matches!(kind, Kind::Fault)), 40);
    }

    #[test]
    fn names_and_wirings_are_unique() {
        let names: BTreeSet<_> = enumeration().iter().map(|entry| &entry.name).collect();
        assert_eq!(names.len(), enumeration().len());
        let wired: BTreeSet<_> = enumeration().iter().map(|entry| &entry.wired).collect();
        assert_eq!(wired.len(), enumeration().len());
        for name in names {
            assert!(
                name.chars()
                    .all(|c| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-'),
                "{name}"
            );
        }
    }
}
