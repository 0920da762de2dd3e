//! What each wiring is called.

use slotwise_core::topology::Topology;

/// The wiring in plain words.
#[must_use]
pub(super) const fn text(topology: Topology) -> &'static str {
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
        Topology::AllOnSameHot => "all three slots on the same hot conductor",
        Topology::BladesOnSameHotOpenGround => "both blades on the same hot conductor, ground open",
        Topology::BladesOnSameHotGroundOnOtherLeg => {
            "both blades on the same hot conductor, ground slot on the hot of the other leg"
        }
        Topology::NoHot => "no slot on a hot conductor",
        Topology::OpenNeutralGroundOnHot => "neutral open, ground slot on the hot conductor",
        Topology::OpenNeutralGroundOnOtherLeg => {
            "neutral open, ground slot on the hot of the other leg"
        }
        Topology::OpenNarrowHotOnWide => "narrow slot open, hot on the wide one",
        Topology::HotOnWideOnly => "hot on the wide slot, the other two open",
        Topology::OpenNarrowHotOnGround => "narrow slot open, hot on the ground slot",
        Topology::OpenNarrowHotOnWideAndGround => {
            "narrow slot open, hot on the wide and the ground slot: every frame live"
        }
        Topology::OpenNarrowTwoHots => {
            "narrow slot open, hots of both legs on the wide and the ground slot"
        }
        Topology::HotOnGroundBladesOpen => "hot on the ground slot, both blades open",
        Topology::OpenNeutralJoined => {
            "neutral open, ground joined to the wide slot: every frame live once something is on"
        }
        Topology::WeakHot => "a poor joint in the hot conductor",
        Topology::JoinedUpstream => "neutral and ground joined in a box upstream",
        Topology::ReversedAndJoinedUpstream => {
            "hot and neutral exchanged, the ground joined to the hot one in a box upstream: every frame live"
        }
        Topology::LostPanelBond => {
            "neutral and ground not bonded at the panel, the ground on its electrode only"
        }
        Topology::JoinedInAppliance => "neutral joined to the frame inside the appliance",
    }
}
