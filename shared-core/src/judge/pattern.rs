//! Rungs 3 and 4: the pattern of the three slot voltages, and the set of topologies that
//! give it.
//!
//! Each pair is put into a class by its size; the classes of the three pairs name the pattern.
//! Model: an open slot floats at what the other two strings hold it, so its voltages are
//! phantom halves; a driven slot does not care for the strings. The sets are held
//! against a computed enumeration of 190 wirings (`tests/tests/atlas.rs`): whatever is behind
//! the slots, it is in the set that is named.

use crate::evidence::{PairVoltage, SlotVoltages};
use crate::finding::{Finding, FindingCode, NextCheck};
use crate::limits::Limits;
use crate::slots::Lead;
use crate::topology::{Topology, TopologySet};
use crate::units::Volts;

/// Size of a pair's voltage.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Class {
    /// No voltage at all.
    Dead,
    /// A voltage that a sound neutral or ground may carry.
    NearZero,
    /// More than that, less than a hot against neutral.
    Between,
    /// One hot leg against neutral or earth.
    Live,
    /// Two hot legs.
    TwoHots,
    /// Beyond two hot legs, or between one and two.
    Odd,
}

impl Class {
    fn of(pair: &PairVoltage, limits: &Limits) -> Self {
        let rms = pair.fundamental.rms;
        if rms < limits.dead {
            Self::Dead
        } else if rms < limits.near_zero {
            Self::NearZero
        } else if rms < limits.live_low {
            Self::Between
        } else if rms <= limits.live_high {
            Self::Live
        } else if rms >= limits.two_hots_low && rms <= limits.two_hots_high {
            Self::TwoHots
        } else {
            Self::Odd
        }
    }

    const fn is_low(self) -> bool {
        matches!(self, Self::Dead | Self::NearZero)
    }
}

/// Names the pattern of the slot voltages.
pub(super) fn read(slots: &SlotVoltages, limits: &Limits) -> Finding {
    use Class::{Between, Live, Odd, TwoHots};

    let [nw, gw, ng] = slots.pairs.each_ref().map(|pair| Class::of(pair, limits));
    let is_open = |lead| lead_is_open(slots, lead, limits);
    match (nw, gw, ng) {
        _ if all_dead(slots, limits) => dead(),
        (Live, gw, Live) if gw.is_low() => reads_sound(),
        (Live, Live, ng) if ng.is_low() => reversed_or_ground_on_hot(),
        (Live, Live, TwoHots) => ground_on_hot(&[
            Topology::GroundOnHotOtherLeg,
            Topology::OpenNeutralGroundOnOtherLeg,
        ]),
        (Live, TwoHots, Live) => ground_on_hot(&[
            Topology::ReversedGroundOnOtherLeg,
            Topology::OpenNarrowTwoHots,
        ]),
        (Live, Between | Live, Between | Live) if is_open(Lead::Ground) => open_ground(),
        (Between | Live, Between | Live, Live) if is_open(Lead::Wide) => open_neutral(),
        (Between | Live, Live, Between | Live) if is_open(Lead::Narrow) => open_narrow(),
        (nw, Live, Live) if nw.is_low() => blades_alike(),
        (nw, TwoHots, TwoHots) if nw.is_low() => {
            ground_on_hot(&[Topology::BladesOnSameHotGroundOnOtherLeg])
        }
        (TwoHots, Live, Live) => two_hots(),
        (TwoHots, TwoHots, other) | (TwoHots, other, TwoHots) if other.is_low() => {
            ground_on_hot(&[Topology::TwoHotsGroundOnHot])
        }
        (Live, Between, Live) if gw_rms(slots) < limits.touchable => neutral_to_ground_high(),
        _ if is_open_hot(slots, limits) => open_hot(),
        (Between, gw, Between) if gw.is_low() && only_narrow_and_clip(slots, limits) => {
            hot_on_narrow_only()
        }
        // Narrow floats at the star, which the clip's string holds away from wide and ground.
        (Between, gw, Between) if gw.is_low() && is_open(Lead::Narrow) => {
            ground_on_hot(&[Topology::OpenNarrowHotOnWideAndGround])
        }
        // Shaped like a sound receptacle, at a voltage that no sound supply has.
        (Between, gw, Between) if gw.is_low() => supply_off_its_neutral(FindingCode::SupplyTooLow),
        (Odd, gw, Odd) if gw.is_low() => supply_off_its_neutral(FindingCode::SupplyTooHigh),
        _ => unknown(),
    }
}

/// Dead in every respect: a DC or a high-frequency voltage between the slots is not dead.
fn all_dead(slots: &SlotVoltages, limits: &Limits) -> bool {
    slots.pairs.iter().all(|pair| {
        pair.fundamental.rms < limits.dead
            && pair.true_rms < limits.dead
            && pair.mean.abs() < limits.dead
    })
}

/// An open slot draws no string current: its lead stands near the star.
pub(super) fn lead_is_open(slots: &SlotVoltages, lead: Lead, limits: &Limits) -> bool {
    let size = |lead: Lead| slots.leads[lead.channel()].get();
    let largest = [Lead::Narrow, Lead::Wide, Lead::Ground]
        .into_iter()
        .map(size)
        .fold(0.0, f32::max);
    size(lead) <= largest * limits.open_lead_share.get()
}

/// The string currents of narrow and clip are one current, and the other two slots draw none.
fn only_narrow_and_clip(slots: &SlotVoltages, limits: &Limits) -> bool {
    let size = |lead: Lead| slots.leads[lead.channel()].get();
    let (narrow, clip) = (size(Lead::Narrow), size(Lead::Clip));
    let odd = narrow * limits.open_lead_share.get() * 0.5;
    lead_is_open(slots, Lead::Wide, limits)
        && lead_is_open(slots, Lead::Ground, limits)
        && (narrow - clip).abs() <= odd
}

fn gw_rms(slots: &SlotVoltages) -> Volts {
    slots.ground_wide().fundamental.rms
}

/// A trace of voltage on the narrow slot, neutral and ground together.
fn is_open_hot(slots: &SlotVoltages, limits: &Limits) -> bool {
    let [nw, gw, ng] = slots.pairs.each_ref().map(|pair| pair.fundamental.rms);
    gw < limits.near_zero && nw < limits.open_hot_high && ng < limits.open_hot_high && {
        // Harmonics and DC beyond the trace itself would be something else.
        slots
            .pairs
            .iter()
            .all(|pair| pair.true_rms < limits.open_hot_high)
    }
}

const fn finding(code: FindingCode, rivals: &[Topology], next: NextCheck) -> Finding {
    Finding {
        code,
        rivals: TopologySet::of(rivals),
        next,
    }
}

const fn dead() -> Finding {
    finding(
        FindingCode::Dead,
        &NOTHING_BETWEEN,
        NextCheck::BreakerAndUpstream,
    )
}

/// Whatever leaves no voltage between the slots: nothing is hot, or everything is, or the only
/// hot slot pulls open ones along with it. A trace is left of some; which, the strays decide.
const NOTHING_BETWEEN: [Topology; 11] = [
    Topology::SupplyOff,
    Topology::OpenHot,
    Topology::OpenNeutralAndGround,
    Topology::AllOnSameHot,
    Topology::BladesOnSameHotOpenGround,
    Topology::NoHot,
    Topology::OpenNeutralGroundOnHot,
    Topology::HotOnWideOnly,
    Topology::OpenNarrowHotOnWideAndGround,
    Topology::HotOnGroundBladesOpen,
    Topology::OpenNeutralJoined,
];

const fn reads_sound() -> Finding {
    finding(
        FindingCode::ReadsSound,
        &[
            Topology::Sound,
            Topology::JoinedAtBox,
            Topology::ReversedAndJoined,
            Topology::Mirror,
            Topology::NeutralGroundExchanged,
            Topology::GroundOnRodOnly,
            Topology::WeakNeutral,
            Topology::WeakGround,
            Topology::LostServiceNeutral,
            Topology::WeakHot,
            Topology::JoinedUpstream,
            Topology::ReversedAndJoinedUpstream,
            Topology::LostPanelBond,
            Topology::JoinedInAppliance,
        ],
        NextCheck::ClipOnIndependentEarth,
    )
}

const fn reversed_or_ground_on_hot() -> Finding {
    finding(
        FindingCode::ReversedPolarity,
        &[Topology::ReversedPolarity, Topology::GroundOnHotSameLeg],
        NextCheck::ClipOnIndependentEarth,
    )
}

const fn ground_on_hot(rivals: &[Topology]) -> Finding {
    finding(FindingCode::GroundOnHot, rivals, NextCheck::IsolateAtPanel)
}

const fn open_ground() -> Finding {
    finding(
        FindingCode::OpenGround,
        &[
            Topology::OpenGround,
            Topology::ReversedOpenGround,
            Topology::FloatingSource,
        ],
        NextCheck::OpenReceptacleBox,
    )
}

const fn open_neutral() -> Finding {
    finding(
        FindingCode::OpenNeutral,
        &[Topology::OpenNeutral, Topology::OpenWideHotOnGround],
        NextCheck::ClipOnIndependentEarth,
    )
}

/// Narrow floats half way between the hot slot and the earthed one; which of wide and ground is
/// the hot one, the slots do not say.
const fn open_narrow() -> Finding {
    finding(
        FindingCode::ReversedPolarity,
        &[
            Topology::OpenNarrowHotOnWide,
            Topology::OpenNarrowHotOnGround,
        ],
        NextCheck::ClipOnIndependentEarth,
    )
}

/// Wide and ground float together away from the hot slot: the clip's string pulls them.
const fn hot_on_narrow_only() -> Finding {
    finding(
        FindingCode::OpenNeutral,
        &[Topology::OpenNeutralAndGround, Topology::OpenNeutralJoined],
        NextCheck::OpenReceptacleBox,
    )
}

/// Both blades alike and the ground slot at line voltage against them.
const fn blades_alike() -> Finding {
    finding(
        FindingCode::OpenNeutral,
        &[
            Topology::OpenNeutralUnderLoad,
            Topology::BladesOnSameHot,
            Topology::HotOnGroundOnly,
        ],
        NextCheck::LoadsOffAndRepeat,
    )
}

const fn two_hots() -> Finding {
    finding(
        FindingCode::TwoHots,
        &[Topology::TwoHots, Topology::TwoHotsOpenGround],
        NextCheck::OpenReceptacleBox,
    )
}

const fn open_hot() -> Finding {
    finding(
        FindingCode::OpenHot,
        &NOTHING_BETWEEN,
        NextCheck::BreakerAndUpstream,
    )
}

/// A lost service neutral lets the legs share 240 V by their loads; a hot joint that is all
/// but open, with a load on, leaves as little.
const fn supply_off_its_neutral(code: FindingCode) -> Finding {
    finding(
        code,
        &[Topology::LostServiceNeutral, Topology::OpenHot],
        NextCheck::SupplyAtPanel,
    )
}

/// Shaped like a sound receptacle, but neutral and ground stand apart: a heavy load on a long
/// branch, or a joint in the neutral, or a ground that carries current.
const fn neutral_to_ground_high() -> Finding {
    finding(
        FindingCode::NeutralToGroundHigh,
        &[
            Topology::Sound,
            Topology::WeakNeutral,
            Topology::WeakGround,
            Topology::GroundOnRodOnly,
            Topology::LostServiceNeutral,
            Topology::LostPanelBond,
        ],
        NextCheck::LoadsOffAndRepeat,
    )
}

const fn unknown() -> Finding {
    finding(
        FindingCode::UnknownPattern,
        &Topology::ALL,
        NextCheck::IsolateAtPanel,
    )
}
