//! What each wiring is called.

use slotwise_core::topology::{Topology, TopologySet};

/// The wiring in plain words.
#[must_use]
pub const fn text(topology: Topology) -> &'static str {
    match topology {
        Topology::Sound => "wired right",
        Topology::ReversedPolarity => "hot and neutral exchanged",
        Topology::GroundOnHotSameLeg => "ground slot on the hot conductor",
        Topology::GroundOnHotOtherLeg => "ground slot on the hot of the other leg",
        Topology::OpenGround => "ground open",
        Topology::ReversedOpenGround => "hot and neutral exchanged, ground open",
        Topology::OpenNeutral => "neutral open, nothing switched on",
        Topology::OpenNeutralUnderLoad => "neutral open upstream, a load switched on",
        Topology::OpenHot => "hot open",
        Topology::SupplyOff => "breaker or switch off",
        Topology::OpenNeutralAndGround => "neutral and ground both open",
        Topology::JoinedAtBox => "neutral and ground joined at or near the receptacle",
        Topology::ReversedAndJoined => {
            "hot and neutral exchanged upstream, ground joined to the wide slot: every frame live"
        }
        Topology::Mirror => {
            "hot on the wide and the ground slot, neutral on the narrow one: every frame live"
        }
        Topology::NeutralGroundExchanged => "neutral and ground exchanged at the box",
        Topology::GroundOnRodOnly => "ground on a rod or pipe only, no conductor to the panel",
        Topology::WeakNeutral => "a poor joint in the neutral",
        Topology::WeakGround => "a poor joint in the ground",
        Topology::TwoHots => "both blades hot, 240 V between them",
        Topology::TwoHotsOpenGround => "both blades hot, 240 V between them, ground open",
        Topology::BladesOnSameHot => "both blades on the same hot conductor",
        Topology::HotOnGroundOnly => "both blades on neutral or earth, hot on the ground slot",
        Topology::OpenWideHotOnGround => "wide slot open, hot on the ground slot",
        Topology::LostServiceNeutral => "neutral of the service lost",
        Topology::TwoHotsGroundOnHot => "both blades hot, one of the hots on the ground slot too",
        Topology::ReversedGroundOnOtherLeg => {
            "hot and neutral exchanged, ground slot on the hot of the other leg"
        }
        Topology::FloatingSource => "generator or inverter with a floating output",
    }
}

/// A name for programs; never changes.
#[must_use]
pub const fn code(topology: Topology) -> &'static str {
    match topology {
        Topology::Sound => "sound",
        Topology::ReversedPolarity => "reversed-polarity",
        Topology::GroundOnHotSameLeg => "ground-on-hot-same-leg",
        Topology::GroundOnHotOtherLeg => "ground-on-hot-other-leg",
        Topology::OpenGround => "open-ground",
        Topology::ReversedOpenGround => "reversed-open-ground",
        Topology::OpenNeutral => "open-neutral",
        Topology::OpenNeutralUnderLoad => "open-neutral-under-load",
        Topology::OpenHot => "open-hot",
        Topology::SupplyOff => "supply-off",
        Topology::OpenNeutralAndGround => "open-neutral-and-ground",
        Topology::JoinedAtBox => "joined-at-box",
        Topology::ReversedAndJoined => "reversed-and-joined",
        Topology::Mirror => "mirror",
        Topology::NeutralGroundExchanged => "neutral-ground-exchanged",
        Topology::GroundOnRodOnly => "ground-on-rod-only",
        Topology::WeakNeutral => "weak-neutral",
        Topology::WeakGround => "weak-ground",
        Topology::TwoHots => "two-hots",
        Topology::TwoHotsOpenGround => "two-hots-open-ground",
        Topology::BladesOnSameHot => "blades-on-same-hot",
        Topology::HotOnGroundOnly => "hot-on-ground-only",
        Topology::OpenWideHotOnGround => "open-wide-hot-on-ground",
        Topology::LostServiceNeutral => "lost-service-neutral",
        Topology::TwoHotsGroundOnHot => "two-hots-ground-on-hot",
        Topology::ReversedGroundOnOtherLeg => "reversed-ground-on-other-leg",
        Topology::FloatingSource => "floating-source",
    }
}

/// The members of a set, in words. Where the set is everything that this version knows, that
/// is said instead of a list.
#[must_use]
pub fn rivals(set: TopologySet) -> Vec<&'static str> {
    if set == TopologySet::of(&Topology::ALL) {
        return vec!["any wiring fault that this version knows, and others"];
    }
    set.iter().map(text).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::HashSet;

    #[test]
    fn every_wiring_has_a_name_of_its_own() {
        let texts: HashSet<_> = Topology::ALL.into_iter().map(text).collect();
        let codes: HashSet<_> = Topology::ALL.into_iter().map(code).collect();
        assert_eq!(texts.len(), Topology::ALL.len());
        assert_eq!(codes.len(), Topology::ALL.len());
    }

    #[test]
    fn the_set_of_everything_is_not_listed_one_by_one() {
        assert_eq!(rivals(TopologySet::of(&Topology::ALL)).len(), 1);
        assert_eq!(
            rivals(TopologySet::of(&[Topology::Sound, Topology::Mirror])).len(),
            2
        );
    }
}
