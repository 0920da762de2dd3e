//! The wirings behind a receptacle that this version can name, and sets of them.
//!
//! A topology says which conductor is behind each slot, plus joins and breaks. A finding
//! carries the *set* of topologies that its evidence cannot tell apart; the set is part of
//! the result, never only its most likely member.

use serde::{Deserialize, Serialize};

/// One wiring state. The discriminant is its bit in a [`TopologySet`] and part of the record
/// format: never renumber, only append.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[repr(u8)]
pub enum Topology {
    /// Hot, neutral and equipment ground each where they belong.
    Sound = 0,
    /// Hot and neutral exchanged, ground where it belongs.
    ReversedPolarity = 1,
    /// Ground slot on the hot conductor of the same leg; blades where they belong.
    GroundOnHotSameLeg = 2,
    /// Ground slot on the hot conductor of the other leg.
    GroundOnHotOtherLeg = 3,
    /// Ground slot on nothing.
    OpenGround = 4,
    /// Hot and neutral exchanged, ground slot on nothing.
    ReversedOpenGround = 5,
    /// Wide slot on nothing, no load on it.
    OpenNeutral = 6,
    /// Neutral open upstream, pulled up to hot by a load that is on.
    OpenNeutralUnderLoad = 7,
    /// Narrow slot on nothing.
    OpenHot = 8,
    /// Breaker off or tripped, or the receptacle is switched.
    SupplyOff = 9,
    /// Neutral and ground both open.
    OpenNeutralAndGround = 10,
    /// Neutral and ground joined at or near the receptacle; no separate ground.
    JoinedAtBox = 11,
    /// Hot and neutral exchanged upstream, ground joined to the wide slot: every frame live.
    ReversedAndJoined = 12,
    /// Both the hot and the earthed bus exchanged: neutral on narrow, hot on wide and ground.
    Mirror = 13,
    /// Neutral and equipment ground exchanged at the box. Cannot be seen at this receptacle.
    NeutralGroundExchanged = 14,
    /// Ground slot on a rod or pipe only, no conductor back to the panel.
    GroundOnRodOnly = 15,
    /// A high-resistance joint in the neutral.
    WeakNeutral = 16,
    /// A high-resistance joint in the equipment grounding conductor.
    WeakGround = 17,
    /// Both blades on hot conductors of different legs, ground where it belongs.
    TwoHots = 18,
    /// Both blades on hot conductors of different legs, ground slot on nothing.
    TwoHotsOpenGround = 19,
    /// Both blades on the same hot conductor.
    BladesOnSameHot = 20,
    /// Both blades on neutral or earth, ground slot on hot.
    HotOnGroundOnly = 21,
    /// Wide slot on nothing, neutral or earth on narrow, hot on the ground slot.
    OpenWideHotOnGround = 22,
    /// Neutral of the service lost: the two legs share 240 V by their loads.
    LostServiceNeutral = 23,
    /// Two hots, one of them on the ground slot too.
    TwoHotsGroundOnHot = 24,
    /// Hot and neutral exchanged, ground slot on the hot of the other leg.
    ReversedGroundOnOtherLeg = 25,
    /// Fed by an inverter or generator with a floating output.
    FloatingSource = 26,
    /// All three slots on the same hot conductor; nothing between them.
    AllOnSameHot = 27,
    /// Both blades on the same hot conductor, ground slot on nothing.
    BladesOnSameHotOpenGround = 28,
    /// Both blades on the same hot conductor, ground slot on the hot of the other leg.
    BladesOnSameHotGroundOnOtherLeg = 29,
    /// No slot on a hot conductor.
    NoHot = 30,
    /// Wide slot on nothing, ground slot on the same hot conductor as narrow.
    OpenNeutralGroundOnHot = 31,
    /// Wide slot on nothing, ground slot on the hot of the other leg.
    OpenNeutralGroundOnOtherLeg = 32,
    /// Narrow slot on nothing, hot on wide, ground where it belongs.
    OpenNarrowHotOnWide = 33,
    /// Hot on the wide slot, the other two on nothing.
    HotOnWideOnly = 34,
    /// Narrow slot on nothing, wide on neutral or earth, hot on the ground slot.
    OpenNarrowHotOnGround = 35,
    /// Narrow slot on nothing, the same hot conductor on wide and ground.
    OpenNarrowHotOnWideAndGround = 36,
    /// Narrow slot on nothing, hots of different legs on wide and ground.
    OpenNarrowTwoHots = 37,
    /// Hot on the ground slot, both blades on nothing.
    HotOnGroundBladesOpen = 38,
    /// Neutral open, ground joined to the wide slot: every frame is live as soon as something is
    /// switched on.
    OpenNeutralJoined = 39,
    /// A high-resistance joint in the hot conductor.
    WeakHot = 40,
    /// Ground joined to neutral in a box upstream, no ground conductor beyond it.
    JoinedUpstream = 41,
    /// Hot and neutral exchanged upstream of a box in which the ground is joined to the wide
    /// slot's conductor: every frame live.
    ReversedAndJoinedUpstream = 42,
}

impl Topology {
    /// Every topology, in bit order.
    pub const ALL: [Self; 43] = [
        Self::Sound,
        Self::ReversedPolarity,
        Self::GroundOnHotSameLeg,
        Self::GroundOnHotOtherLeg,
        Self::OpenGround,
        Self::ReversedOpenGround,
        Self::OpenNeutral,
        Self::OpenNeutralUnderLoad,
        Self::OpenHot,
        Self::SupplyOff,
        Self::OpenNeutralAndGround,
        Self::JoinedAtBox,
        Self::ReversedAndJoined,
        Self::Mirror,
        Self::NeutralGroundExchanged,
        Self::GroundOnRodOnly,
        Self::WeakNeutral,
        Self::WeakGround,
        Self::TwoHots,
        Self::TwoHotsOpenGround,
        Self::BladesOnSameHot,
        Self::HotOnGroundOnly,
        Self::OpenWideHotOnGround,
        Self::LostServiceNeutral,
        Self::TwoHotsGroundOnHot,
        Self::ReversedGroundOnOtherLeg,
        Self::FloatingSource,
        Self::AllOnSameHot,
        Self::BladesOnSameHotOpenGround,
        Self::BladesOnSameHotGroundOnOtherLeg,
        Self::NoHot,
        Self::OpenNeutralGroundOnHot,
        Self::OpenNeutralGroundOnOtherLeg,
        Self::OpenNarrowHotOnWide,
        Self::HotOnWideOnly,
        Self::OpenNarrowHotOnGround,
        Self::OpenNarrowHotOnWideAndGround,
        Self::OpenNarrowTwoHots,
        Self::HotOnGroundBladesOpen,
        Self::OpenNeutralJoined,
        Self::WeakHot,
        Self::JoinedUpstream,
        Self::ReversedAndJoinedUpstream,
    ];

    /// Whether the ground slot, and so every frame on it, is on a hot conductor.
    #[must_use]
    pub const fn energises_ground(self) -> bool {
        matches!(
            self,
            Self::GroundOnHotSameLeg
                | Self::GroundOnHotOtherLeg
                | Self::ReversedAndJoined
                | Self::Mirror
                | Self::HotOnGroundOnly
                | Self::OpenWideHotOnGround
                | Self::TwoHotsGroundOnHot
                | Self::ReversedGroundOnOtherLeg
                | Self::AllOnSameHot
                | Self::BladesOnSameHotGroundOnOtherLeg
                | Self::OpenNeutralGroundOnHot
                | Self::OpenNeutralGroundOnOtherLeg
                | Self::OpenNarrowHotOnGround
                | Self::OpenNarrowHotOnWideAndGround
                | Self::OpenNarrowTwoHots
                | Self::HotOnGroundBladesOpen
                | Self::OpenNeutralJoined
                | Self::ReversedAndJoinedUpstream
        )
    }
}

/// A set of topologies.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct TopologySet(u64);

impl TopologySet {
    /// The empty set.
    pub const EMPTY: Self = Self(0);

    /// The set of these members.
    #[must_use]
    pub const fn of(members: &[Topology]) -> Self {
        let mut bits = 0;
        let mut index = 0;
        while index < members.len() {
            bits |= 1 << members[index] as u8;
            index += 1;
        }
        Self(bits)
    }

    /// Whether `member` is in the set.
    #[must_use]
    pub const fn contains(self, member: Topology) -> bool {
        self.0 & (1 << member as u8) != 0
    }

    /// The set with `member` in it.
    #[must_use]
    pub const fn with(self, member: Topology) -> Self {
        Self(self.0 | 1 << member as u8)
    }

    /// The members that are in both sets.
    #[must_use]
    pub const fn intersection(self, other: Self) -> Self {
        Self(self.0 & other.0)
    }

    /// The members that are in this set and not in `other`.
    #[must_use]
    pub const fn without(self, other: Self) -> Self {
        Self(self.0 & !other.0)
    }

    /// Number of members.
    #[must_use]
    pub const fn len(self) -> u32 {
        self.0.count_ones()
    }

    /// Whether there is no member.
    #[must_use]
    pub const fn is_empty(self) -> bool {
        self.0 == 0
    }

    /// The members, in bit order. Bits of a newer version are passed over.
    pub fn iter(self) -> impl Iterator<Item = Topology> {
        Topology::ALL
            .into_iter()
            .filter(move |&member| self.contains(member))
    }

    /// Whether metal counts as live until the set is told apart: a member energises the ground
    /// slot, and it is not as well that the supply is off. (Whatever has no voltage between its
    /// slots may be live as a whole; that is said of it, and it is no alarm by itself.)
    #[must_use]
    pub fn endangers(self) -> bool {
        self.may_energise_ground() && !self.contains(Topology::SupplyOff)
    }

    /// Whether any member energises the ground slot.
    #[must_use]
    pub fn may_energise_ground(self) -> bool {
        self.iter().any(Topology::energises_ground)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_topology_has_its_own_bit_in_listing_order() {
        for (index, topology) in Topology::ALL.into_iter().enumerate() {
            assert_eq!(topology as usize, index);
        }
        assert_eq!(TopologySet::of(&Topology::ALL).len(), 43);
    }

    #[test]
    fn a_set_gives_back_what_was_put_in() {
        let set = TopologySet::of(&[Topology::Mirror, Topology::Sound]);
        assert!(set.contains(Topology::Sound) && set.contains(Topology::Mirror));
        assert!(!set.contains(Topology::OpenHot));
        assert!(set.iter().eq([Topology::Sound, Topology::Mirror]));
        assert!(set.may_energise_ground());
        let rest = set.without(TopologySet::of(&[Topology::Mirror]));
        assert!(rest.iter().eq([Topology::Sound]));
        assert!(!rest.may_energise_ground());
        assert!(set.endangers() && !TopologySet::of(&Topology::ALL).endangers());
    }
}
