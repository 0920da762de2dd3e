//! What each slot is on, in words, over a set of wirings.

use slotwise_core::topology::TopologySet;
use slotwise_core::topology::{Conductor, Potential, Wiring};

use crate::texts::Language;

/// The slots in the order of [`on`]: narrow, wide, ground.
pub(super) const SLOTS: [usize; 3] = [0, 1, 2];

/// What a slot may be on. In the order in which they are said.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum On {
    /// A hot conductor.
    Hot,
    /// The hot conductor of the other leg.
    OtherHot,
    /// Neutral.
    Neutral,
    /// The ground wire.
    GroundWire,
    /// A rod or pipe.
    RodOrPipe,
    /// No conductor of its own, but a link to the wide slot.
    Joined,
    /// Nothing.
    Nothing,
}

/// What `conductor` at `potential` is to the person who looks.
fn what(conductor: Conductor, potential: Potential) -> On {
    match (potential, conductor) {
        (Potential::Leg1, Conductor::Nothing) | (Potential::Earth, Conductor::Nothing) => {
            On::Joined
        }
        (Potential::Leg1, _) => On::Hot,
        (Potential::Leg2, _) => On::OtherHot,
        (Potential::Floating, _) => On::Nothing,
        (Potential::Earth, Conductor::EquipmentGround) => On::GroundWire,
        (Potential::Earth, Conductor::RodOrPipe) => On::RodOrPipe,
        // A hot conductor landed on the neutral bus is a neutral.
        (Potential::Earth, _) => On::Neutral,
    }
}

/// What narrow, wide and ground are on in one wiring, nothing switched on.
fn of(wiring: &Wiring) -> [On; 3] {
    let quiet = Wiring {
        load_on: false,
        ..*wiring
    };
    let [narrow, wide, ground] = quiet.potentials();
    [
        what(quiet.narrow, narrow),
        what(quiet.wide, wide),
        what(quiet.ground, ground),
    ]
}

/// For each slot, every word that a wiring of the set has for it.
pub(super) fn on(language: &dyn Language, set: TopologySet) -> [Vec<&'static str>; 3] {
    let mut all: [Vec<On>; 3] = Default::default();
    for topology in set.iter() {
        for (slot, on) in all.iter_mut().zip(of(&topology.structure())) {
            if !slot.contains(&on) {
                slot.push(on);
            }
        }
    }
    all.map(|mut slot| {
        slot.sort_unstable();
        slot.into_iter().map(|on| language.slot_on(on)).collect()
    })
}

#[cfg(test)]
mod tests {
    use slotwise_core::topology::Topology;

    use super::*;

    #[test]
    fn a_slot_is_called_by_what_it_stands_at() {
        for (topology, slots) in [
            (Topology::Sound, [On::Hot, On::Neutral, On::GroundWire]),
            (
                Topology::ReversedPolarity,
                [On::Neutral, On::Hot, On::GroundWire],
            ),
            (Topology::OpenGround, [On::Hot, On::Neutral, On::Nothing]),
            (
                Topology::GroundOnHotOtherLeg,
                [On::Hot, On::Neutral, On::OtherHot],
            ),
            (Topology::JoinedAtBox, [On::Hot, On::Neutral, On::Joined]),
            (
                Topology::ReversedAndJoined,
                [On::Neutral, On::Hot, On::Joined],
            ),
            (
                Topology::GroundOnRodOnly,
                [On::Hot, On::Neutral, On::RodOrPipe],
            ),
            // The mirror: the conductors are exchanged in the panel.
            (Topology::Mirror, [On::Neutral, On::Hot, On::Hot]),
        ] {
            assert_eq!(of(&topology.structure()), slots, "{topology:?}");
        }
    }
}
