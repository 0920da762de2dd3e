//! The wirings behind a receptacle that this version can name, their structure, and sets of
//! them.
//!
//! A [`Wiring`] says which conductor is behind each slot, plus joins, series resistances and
//! what is wrong at panel and service; a [`Topology`] is the name of what all such structures
//! have in common that read and endanger alike. A finding carries the *set* of topologies that
//! its evidence cannot tell apart; the set is part of the result, never only its most likely
//! member.

mod set;
mod structure;
mod wiring;

pub use set::TopologySet;
pub use wiring::{Conductor, Join, Landed, Potential, Series, Supply, Wiring};

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
    /// Neutral and ground not bonded at the panel: the ground goes back to a rod only.
    LostPanelBond = 43,
    /// Neutral joined to the frame inside the appliance that is plugged in.
    JoinedInAppliance = 44,
}

impl Topology {
    /// Every topology, in bit order.
    pub const ALL: [Self; 45] = [
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
        Self::LostPanelBond,
        Self::JoinedInAppliance,
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
