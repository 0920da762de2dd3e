//! How dangerous a finding is. Judged once, here, for every language; the verdict itself is the
//! core's.

use slotwise_core::finding::{Finding, FindingCode};

/// How dangerous, gravest first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Severity {
    /// Metal that people touch may be at line voltage now.
    MetalMayBeLive,
    /// One more fault, and somebody is hurt or something burns.
    OneFaultAway,
    /// Something on this circuit may be damaged.
    Damage,
    /// Not told; to be taken as dangerous.
    Untold,
    /// No danger by itself.
    NotByItself,
    /// No danger was found.
    NoneFound,
}

impl Severity {
    /// Every one.
    pub const ALL: [Self; 6] = [
        Self::MetalMayBeLive,
        Self::OneFaultAway,
        Self::Damage,
        Self::Untold,
        Self::NotByItself,
        Self::NoneFound,
    ];

    /// How dangerous `finding` is. A wiring whose rivals put the ground slot on a hot conductor
    /// counts as live metal until they are ruled out, as in the verdict.
    #[must_use]
    pub fn of(finding: &Finding) -> Self {
        let unless_ground_live = |otherwise: Self| {
            if finding.rivals.endangers() {
                Self::MetalMayBeLive
            } else {
                otherwise
            }
        };
        match finding.code {
            FindingCode::GroundOnHot | FindingCode::ReversedAndJoined | FindingCode::LiveFrame => {
                Self::MetalMayBeLive
            }
            FindingCode::ReversedPolarity | FindingCode::OpenNeutral | FindingCode::OpenGround => {
                unless_ground_live(Self::OneFaultAway)
            }
            FindingCode::TwoHots => unless_ground_live(Self::Damage),
            FindingCode::OpenHot | FindingCode::Dead => unless_ground_live(Self::Untold),
            FindingCode::WeakEarthPath
            | FindingCode::JoinedNearReceptacle
            | FindingCode::WeakNeutral
            | FindingCode::NeutralToGroundHigh
            | FindingCode::WeakHot
            | FindingCode::FrameGroundMoves
            | FindingCode::FrameVoltageHigh
            | FindingCode::NeutralToFrameHigh
            | FindingCode::SupplyTooLow => Self::OneFaultAway,
            FindingCode::SupplyTooHigh => Self::Damage,
            FindingCode::SupplyLow | FindingCode::SupplyHigh | FindingCode::NeutralToFrameSound => {
                Self::NotByItself
            }
            FindingCode::ReadsSound => Self::NoneFound,
            FindingCode::UnknownPattern
            | FindingCode::NotUtilityFrequency
            | FindingCode::Unsteady
            | FindingCode::EarthPathUnclear
            | FindingCode::LoadStepUnclear
            | FindingCode::FrameGroundSuspect
            | FindingCode::WatchNotExercised
            | FindingCode::StringSumBroken
            | FindingCode::BeyondFullScale
            | FindingCode::FramesDamaged
            | FindingCode::NotCalibrated
            | FindingCode::ReferenceResistorUnseen
            | FindingCode::SelfTestFailed => Self::Untold,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use slotwise_core::finding::NextCheck;
    use slotwise_core::topology::{Topology, TopologySet};

    #[test]
    fn a_rival_with_a_live_ground_is_live_metal_until_it_is_ruled_out() {
        let with = |rivals: &[Topology]| {
            Severity::of(&Finding {
                code: FindingCode::ReversedPolarity,
                rivals: TopologySet::of(rivals),
                next: NextCheck::OpenReceptacleBox,
            })
        };
        assert_eq!(with(&[Topology::ReversedPolarity]), Severity::OneFaultAway);
        assert_eq!(
            with(&[Topology::ReversedPolarity, Topology::GroundOnHotSameLeg]),
            Severity::MetalMayBeLive
        );
    }
}
