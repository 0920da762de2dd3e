//! What the core calls each wiring of the enumeration.
//!
//! A slot counts by what its conductor is at: one of the two hots, earth (neutral or ground),
//! or nothing. Which of neutral and ground it is matters only where the core has a name for it.

use slotwise_core::topology::Topology;
use slotwise_virtual::house::{Conductor, Entry, Kind};

/// What a slot is at.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum At {
    Hot(u8),
    Earth,
    Open,
}

impl From<Conductor> for At {
    fn from(conductor: Conductor) -> Self {
        match conductor {
            Conductor::Leg1 => Self::Hot(1),
            Conductor::Leg2 => Self::Hot(2),
            Conductor::Neutral | Conductor::Ground | Conductor::Rod(_) => Self::Earth,
            Conductor::Nothing => Self::Open,
        }
    }
}

/// The core's name of `entry`; none for a fault that has no name yet.
#[must_use]
pub fn topology(entry: &Entry) -> Option<Topology> {
    match entry.kind {
        Kind::Slots([Conductor::Leg1 | Conductor::Leg2, wide, ground]) => {
            Some(match (wide, ground) {
                (Conductor::Neutral, Conductor::Ground) => Topology::Sound,
                (Conductor::Ground, Conductor::Neutral) => Topology::NeutralGroundExchanged,
                _ => of_slots(entry.receptacle.narrow, wide, ground),
            })
        }
        Kind::Slots([narrow, wide, ground]) => Some(of_slots(narrow, wide, ground)),
        Kind::Joined([narrow, wide]) => Some(of_joined(narrow, wide)),
        Kind::Fault => of_fault(&entry.name),
    }
}

fn of_slots(narrow: Conductor, wide: Conductor, ground: Conductor) -> Topology {
    use At::{Earth, Hot, Open};
    match (At::from(narrow), At::from(wide), At::from(ground)) {
        (Hot(_), Earth, Earth) => Topology::JoinedAtBox,
        (Hot(_), Earth, Open) => Topology::OpenGround,
        (Hot(n), Earth, Hot(g)) if n == g => Topology::GroundOnHotSameLeg,
        (Hot(_), Earth, Hot(_)) => Topology::GroundOnHotOtherLeg,
        (Hot(_), Open, Earth) => Topology::OpenNeutral,
        (Hot(_), Open, Open) => Topology::OpenNeutralAndGround,
        (Hot(n), Open, Hot(g)) if n == g => Topology::OpenNeutralGroundOnHot,
        (Hot(_), Open, Hot(_)) => Topology::OpenNeutralGroundOnOtherLeg,
        (Hot(n), Hot(w), Earth) if n == w => Topology::BladesOnSameHot,
        (Hot(n), Hot(w), Open) if n == w => Topology::BladesOnSameHotOpenGround,
        (Hot(n), Hot(w), Hot(g)) if n == w && w == g => Topology::AllOnSameHot,
        (Hot(n), Hot(w), Hot(_)) if n == w => Topology::BladesOnSameHotGroundOnOtherLeg,
        (Hot(_), Hot(_), Earth) => Topology::TwoHots,
        (Hot(_), Hot(_), Open) => Topology::TwoHotsOpenGround,
        (Hot(_), Hot(_), Hot(_)) => Topology::TwoHotsGroundOnHot,
        (Earth, Hot(_), Earth) => Topology::ReversedPolarity,
        (Earth, Hot(_), Open) => Topology::ReversedOpenGround,
        (Earth, Hot(w), Hot(g)) if w == g => Topology::ReversedAndJoined,
        (Earth, Hot(_), Hot(_)) => Topology::ReversedGroundOnOtherLeg,
        (Earth, Earth, Hot(_)) => Topology::HotOnGroundOnly,
        (Earth, Open, Hot(_)) => Topology::OpenWideHotOnGround,
        (Open, Hot(_), Earth) => Topology::OpenNarrowHotOnWide,
        (Open, Hot(_), Open) => Topology::HotOnWideOnly,
        (Open, Hot(w), Hot(g)) if w == g => Topology::OpenNarrowHotOnWideAndGround,
        (Open, Hot(_), Hot(_)) => Topology::OpenNarrowTwoHots,
        (Open, Earth, Hot(_)) => Topology::OpenNarrowHotOnGround,
        (Open, Open, Hot(_)) => Topology::HotOnGroundBladesOpen,
        (Open, Earth, Earth) => Topology::OpenHot,
        (Earth, Earth | Open, Earth | Open) | (Open, Earth, Open) | (Open, Open, _) => {
            Topology::NoHot
        }
    }
}

/// The ground hole is at what wide is at.
fn of_joined(narrow: Conductor, wide: Conductor) -> Topology {
    match (At::from(narrow), At::from(wide)) {
        (At::Hot(_), At::Open) => Topology::OpenNeutralJoined,
        _ => of_slots(narrow, wide, wide),
    }
}

fn of_fault(name: &str) -> Option<Topology> {
    let starts = |with: &str| name.starts_with(with);
    Some(match name {
        _ if starts("neutral-joint-") => Topology::WeakNeutral,
        _ if starts("ground-joint-") => Topology::WeakGround,
        _ if starts("hot-joint-") => Topology::WeakHot,
        _ if starts("ground-on-rod-") => Topology::GroundOnRodOnly,
        _ if starts("lost-service-neutral-") => Topology::LostServiceNeutral,
        _ if starts("breaker-off") => Topology::SupplyOff,
        "reversed-ground-on-rod" | "exchanged-in-panel" => Topology::ReversedPolarity,
        // A rod is a neutral of many ohms.
        "wide-on-rod" => Topology::WeakNeutral,
        "floating-generator" => Topology::FloatingSource,
        "neutral-broken" => Topology::OpenNeutral,
        "neutral-broken-with-load" => Topology::OpenNeutralUnderLoad,
        "neutral-broken-joined-with-load" => Topology::OpenNeutralJoined,
        "hot-broken" | "hot-broken-with-load" => Topology::OpenHot,
        "ground-broken" | "ground-broken-leaking" => Topology::OpenGround,
        "neutral-and-ground-broken" | "neutral-and-ground-broken-with-load" => {
            Topology::OpenNeutralAndGround
        }
        "buses-exchanged" => Topology::Mirror,
        "ground-on-breaker" => Topology::GroundOnHotSameLeg,
        "joined-upstream" => Topology::JoinedUpstream,
        "reversed-and-joined-upstream" => Topology::ReversedAndJoinedUpstream,
        "joined-beside-ground" => Topology::JoinedAtBox,
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use slotwise_virtual::house::enumeration;
    use std::collections::BTreeSet;

    #[test]
    fn every_wiring_has_a_name_and_every_name_a_wiring() {
        let mut named = BTreeSet::new();
        for entry in enumeration() {
            let topology = topology(entry);
            assert!(topology.is_some(), "{}", entry.name);
            named.extend(topology.map(|topology| topology as u8));
        }
        let all: BTreeSet<u8> = Topology::ALL.map(|topology| topology as u8).into();
        assert_eq!(named, all);
    }
}
