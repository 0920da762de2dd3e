//! The plainest structure of every topology: one fault, leg 1, no load unless the fault needs
//! one. A report draws it; tests hold names, potentials and rival sets against it.

use super::Topology;
use super::wiring::{Conductor, Join, Landed, Series, Supply, Wiring};
use crate::units::Ohms;

/// A joint that is weak beyond doubt.
const WEAK: Series = Series::Weak(Ohms::new(10.0));

impl Topology {
    /// The plainest wiring of this name.
    #[must_use]
    pub const fn structure(self) -> Wiring {
        use Conductor::{EquipmentGround as G, HotLeg1 as L1, HotLeg2 as L2, Neutral as N};
        use Conductor::{Nothing as O, RodOrPipe as R};
        const fn on(narrow: Conductor, wide: Conductor, ground: Conductor) -> Wiring {
            Wiring::SOUND.with_slots(narrow, wide, ground)
        }
        let sound = Wiring::SOUND;
        match self {
            Self::Sound => sound,
            Self::ReversedPolarity => on(N, L1, G),
            Self::GroundOnHotSameLeg => on(L1, N, L1),
            Self::GroundOnHotOtherLeg => on(L1, N, L2),
            Self::OpenGround => on(L1, N, O),
            Self::ReversedOpenGround => on(N, L1, O),
            Self::OpenNeutral => on(L1, O, G),
            Self::OpenNeutralUnderLoad => Wiring {
                neutral_series: Series::Open,
                load_on: true,
                ..sound
            },
            Self::OpenHot => on(O, N, G),
            Self::SupplyOff => Wiring {
                supply: Supply::BreakerOff,
                ..sound
            },
            Self::OpenNeutralAndGround => on(L1, O, O),
            Self::JoinedAtBox => joined(on(L1, N, O), Join::AtBox),
            Self::ReversedAndJoined => joined(on(N, L1, O), Join::AtBox),
            Self::Mirror => landed(sound, Landed::BusesExchanged),
            Self::NeutralGroundExchanged => on(L1, G, N),
            Self::GroundOnRodOnly => on(L1, N, R),
            Self::WeakNeutral => Wiring {
                neutral_series: WEAK,
                ..sound
            },
            Self::WeakGround => Wiring {
                ground_series: WEAK,
                ..sound
            },
            Self::TwoHots => on(L1, L2, G),
            Self::TwoHotsOpenGround => on(L1, L2, O),
            Self::BladesOnSameHot => on(L1, L1, G),
            Self::HotOnGroundOnly => on(N, N, L1),
            Self::OpenWideHotOnGround => on(N, O, L1),
            Self::LostServiceNeutral => Wiring {
                supply: Supply::ServiceNeutralLost,
                ..sound
            },
            Self::TwoHotsGroundOnHot => on(L1, L2, L1),
            Self::ReversedGroundOnOtherLeg => on(N, L1, L2),
            Self::FloatingSource => Wiring {
                supply: Supply::Floating,
                ..sound
            },
            Self::AllOnSameHot => on(L1, L1, L1),
            Self::BladesOnSameHotOpenGround => on(L1, L1, O),
            Self::BladesOnSameHotGroundOnOtherLeg => on(L1, L1, L2),
            Self::NoHot => on(N, N, G),
            Self::OpenNeutralGroundOnHot => on(L1, O, L1),
            Self::OpenNeutralGroundOnOtherLeg => on(L1, O, L2),
            Self::OpenNarrowHotOnWide => on(O, L1, G),
            Self::HotOnWideOnly => on(O, L1, O),
            Self::OpenNarrowHotOnGround => on(O, N, L1),
            Self::OpenNarrowHotOnWideAndGround => on(O, L1, L1),
            Self::OpenNarrowTwoHots => on(O, L1, L2),
            Self::HotOnGroundBladesOpen => on(O, O, L1),
            Self::OpenNeutralJoined => Wiring {
                neutral_series: Series::Open,
                load_on: true,
                ..joined(on(L1, N, O), Join::AtBox)
            },
            Self::WeakHot => Wiring {
                hot_series: WEAK,
                ..sound
            },
            Self::JoinedUpstream => joined(sound, Join::Upstream),
            Self::ReversedAndJoinedUpstream => {
                landed(joined(sound, Join::Upstream), Landed::HotNeutralExchanged)
            }
            Self::LostPanelBond => Wiring {
                supply: Supply::PanelBondLost,
                ..sound
            },
            Self::JoinedInAppliance => joined(sound, Join::InAppliance),
        }
    }
}

const fn joined(wiring: Wiring, join: Join) -> Wiring {
    Wiring {
        join: Some(join),
        ..wiring
    }
}

const fn landed(wiring: Wiring, landed: Landed) -> Wiring {
    Wiring { landed, ..wiring }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_structure_has_the_name_it_was_made_for() {
        for topology in Topology::ALL {
            assert_eq!(topology.structure().topology(), topology);
        }
    }

    #[test]
    fn a_name_energises_the_ground_where_its_structure_does() {
        for topology in Topology::ALL {
            assert_eq!(
                topology.energises_ground(),
                topology.structure().energises_ground(),
                "{topology:?}"
            );
        }
    }
}
