//! Findings: one statement about wiring, supply or tester each, with the set of topologies
//! that its evidence cannot tell apart and the one next check that would tell.

use serde::{Deserialize, Serialize};

use crate::topology::TopologySet;

/// What was found. The order is part of the record format: only append.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum FindingCode {
    /// The slots read as a sound receptacle reads.
    ReadsSound,
    /// Hot and neutral exchanged.
    ReversedPolarity,
    /// Ground slot open.
    OpenGround,
    /// Neutral open.
    OpenNeutral,
    /// Hot open.
    OpenHot,
    /// Ground slot on a hot conductor.
    GroundOnHot,
    /// Two hots on the blades (240 V).
    TwoHots,
    /// No voltage between any slots.
    Dead,
    /// Voltages that fit no pattern: a fault of unknown kind.
    UnknownPattern,
    /// Hot and neutral exchanged, ground joined to the hot blade: every frame live.
    ReversedAndJoined,
    /// Supply in the outer part of the tolerance: low.
    SupplyLow,
    /// Supply in the outer part of the tolerance: high.
    SupplyHigh,
    /// Supply below every tolerance of the band.
    SupplyTooLow,
    /// Supply above every tolerance of the band.
    SupplyTooHigh,
    /// Frequency outside utility supply.
    NotUtilityFrequency,
    /// The voltages moved from window to window.
    Unsteady,
    /// Earth path measured too high.
    WeakEarthPath,
    /// Earth path not told with enough certainty.
    EarthPathUnclear,
    /// Neutral and ground joined at or near the receptacle.
    JoinedNearReceptacle,
    /// A high-resistance joint in the neutral.
    WeakNeutral,
    /// The load steps do not tell where the sag is.
    LoadStepUnclear,
    /// The four string currents do not add up: tester fault.
    StringSumBroken,
    /// An input beyond full scale: no answer.
    BeyondFullScale,
    /// Frames lost or damaged: no answer.
    FramesDamaged,
    /// No valid calibration in the tester: no answer.
    NotCalibrated,
    /// The earth-path reading is below the tester's own reference resistor: tester fault.
    ReferenceResistorUnseen,
    /// The clip shows line voltage on the appliance's frame.
    LiveFrame,
    /// More voltage between neutral and ground than a sound branch has under load.
    NeutralToGroundHigh,
    /// A high-resistance joint in the hot conductor, or a weak source.
    WeakHot,
    /// The appliance's frame moves against wide as its load steps, neutral drop taken out.
    FrameGroundMoves,
    /// It may do so, or too little is known to say that it does not.
    FrameGroundSuspect,
    /// More voltage between neutral and the appliance's frame than practice accepts at idle.
    FrameVoltageHigh,
    /// The watch saw too few load steps to say anything.
    WatchNotExercised,
    /// Power off: the path from neutral to the burner is not shown to be low enough.
    NeutralToFrameHigh,
    /// Power off: the path from neutral to the burner is low.
    NeutralToFrameSound,
    /// A test of the tester by itself failed: no answer.
    SelfTestFailed,
}

impl FindingCode {
    /// The two-digit number that the button makes a lamp blink out, `11..=66` with no digit
    /// 0. First digit: 1 and 2 wiring, 3 supply, 4 path and load, 5 tester, 6 appliance.
    #[must_use]
    pub const fn number(self) -> u8 {
        match self {
            Self::ReadsSound => 11,
            Self::ReversedPolarity => 12,
            Self::OpenGround => 13,
            Self::OpenNeutral => 14,
            Self::OpenHot => 15,
            Self::GroundOnHot => 16,
            Self::TwoHots => 21,
            Self::Dead => 22,
            Self::UnknownPattern => 23,
            Self::ReversedAndJoined => 24,
            Self::SupplyLow => 31,
            Self::SupplyHigh => 32,
            Self::SupplyTooLow => 33,
            Self::SupplyTooHigh => 34,
            Self::NotUtilityFrequency => 35,
            Self::Unsteady => 36,
            Self::WeakEarthPath => 41,
            Self::EarthPathUnclear => 42,
            Self::JoinedNearReceptacle => 43,
            Self::WeakNeutral => 44,
            Self::LoadStepUnclear => 45,
            Self::StringSumBroken => 51,
            Self::BeyondFullScale => 52,
            Self::FramesDamaged => 53,
            Self::NotCalibrated => 54,
            Self::ReferenceResistorUnseen => 55,
            Self::LiveFrame => 25,
            Self::NeutralToGroundHigh => 26,
            Self::WeakHot => 46,
            Self::FrameGroundMoves => 61,
            Self::FrameGroundSuspect => 62,
            Self::FrameVoltageHigh => 63,
            Self::WatchNotExercised => 64,
            Self::NeutralToFrameHigh => 65,
            Self::NeutralToFrameSound => 66,
            Self::SelfTestFailed => 56,
        }
    }

    /// Every code, in record order.
    pub const ALL: [Self; 36] = [
        Self::ReadsSound,
        Self::ReversedPolarity,
        Self::OpenGround,
        Self::OpenNeutral,
        Self::OpenHot,
        Self::GroundOnHot,
        Self::TwoHots,
        Self::Dead,
        Self::UnknownPattern,
        Self::ReversedAndJoined,
        Self::SupplyLow,
        Self::SupplyHigh,
        Self::SupplyTooLow,
        Self::SupplyTooHigh,
        Self::NotUtilityFrequency,
        Self::Unsteady,
        Self::WeakEarthPath,
        Self::EarthPathUnclear,
        Self::JoinedNearReceptacle,
        Self::WeakNeutral,
        Self::LoadStepUnclear,
        Self::StringSumBroken,
        Self::BeyondFullScale,
        Self::FramesDamaged,
        Self::NotCalibrated,
        Self::ReferenceResistorUnseen,
        Self::LiveFrame,
        Self::NeutralToGroundHigh,
        Self::WeakHot,
        Self::FrameGroundMoves,
        Self::FrameGroundSuspect,
        Self::FrameVoltageHigh,
        Self::WatchNotExercised,
        Self::NeutralToFrameHigh,
        Self::NeutralToFrameSound,
        Self::SelfTestFailed,
    ];
}

/// The one check that would tell the rivals of a finding apart, or settle it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum NextCheck {
    /// Nothing is left to check.
    None,
    /// Put the clip on an earth that does not come through this receptacle and test again.
    ClipOnIndependentEarth,
    /// Measure the resistance of the earth path.
    EarthPath,
    /// Let the appliance's motors cycle and watch the load steps.
    LoadSteps,
    /// An electrician opens the receptacle box, power off and locked out.
    OpenReceptacleBox,
    /// Check the breaker, the switch and the receptacles upstream.
    BreakerAndUpstream,
    /// Switch every load on the circuit off and test again.
    LoadsOffAndRepeat,
    /// Measure the supply at the panel.
    SupplyAtPanel,
    /// Keep hands off; an electrician isolates the circuit at the panel.
    IsolateAtPanel,
    /// Do not use the tester; check and calibrate it.
    ServiceTheTester,
    /// Leave the tester plugged in and test again.
    Repeat,
    /// Unplug the appliance and test again: is the join inside it?
    UnplugApplianceAndRepeat,
    /// Check the ground wire from receptacle or junction box to the appliance's frame, burner
    /// and control board.
    FrameGround,
}

/// One finding.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Finding {
    /// What was found.
    pub code: FindingCode,
    /// The topologies that would give the same evidence; empty where the finding is not
    /// about topology.
    pub rivals: TopologySet,
    /// The next check that would tell.
    pub next: NextCheck,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_number_is_unique_and_has_two_digits_that_can_be_blinked() {
        for (index, code) in FindingCode::ALL.iter().enumerate() {
            assert_eq!(*code as usize, index);
            let (tens, units) = (code.number() / 10, code.number() % 10);
            assert!(
                (1..=6).contains(&tens) && (1..=6).contains(&units),
                "{code:?}"
            );
            for other in &FindingCode::ALL[index + 1..] {
                assert_ne!(code.number(), other.number(), "{code:?} {other:?}");
            }
        }
    }
}
