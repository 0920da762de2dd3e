//! What a finding does to an appliance's flame sensing and to its control board.
//!
//! The circuit behind these words: the board puts alternating voltage on a rod in the flame.
//! The flame passes current better one way than the other, so a little direct current flows
//! from rod to burner, and from there through the appliance's frame and its ground back to the
//! board's transformer and neutral. Sources, all trade literature:
//!
//! - 1-10 uA DC, measured in series with the rod: "Microamp Measurement Technique", a trade
//!   training text. Two appliances' service sheets have 1.8-4 uA with a least of 1, and 1.5 uA or
//!   more with a drop-out at 0.4 or less; makers withheld.
//! - "Poor furnace ground" and "poor burner ground to furnace" as causes of a low signal: one of
//!   the same sheets. The ground is the signal's way back: trade texts on flame sensing.
//! - Hot on the door switch, neutral at the frame's potential, "if they are backward flip them";
//!   loose and painted ground points: a distributor's tip, "Troubleshooting Ground and Phase
//!   Issues".
//! - With a poor ground the flame burns a few seconds only: a general article on grounding and
//!   line-polarity faults.
//!
//! Practice without a source is marked so at its line. Arithmetic: 10 uA through 10 ohm is
//! 0.1 mV, so a few ohms of ground do not weaken the signal; volts on the frame do.

use slotwise_core::finding::FindingCode;

const TESTER: &str =
    "Nothing is said about the appliance. Change no part of it on the word of this test.";

/// What `code` does to flame sensing and the control board.
#[must_use]
pub(super) const fn text(code: FindingCode) -> &'static str {
    match code {
        FindingCode::ReadsSound => {
            "Nothing was found here that disturbs flame sensing. It needs a real ground and the \
             right polarity: make the next check before the board is blamed."
        }
        FindingCode::ReversedPolarity => {
            "The flame circuit is referred to neutral. With hot and neutral exchanged many boards \
             refuse to start or sense no flame, and lock out. Switches then break the neutral: \
             parts inside stay live when the appliance is off."
        }
        FindingCode::OpenGround => {
            "The flame signal is some 1 to 10 µA of direct current, and it returns through the \
             frame's ground. Without that ground it is missing, low or drifting. The burner lights, \
             burns a few seconds, and the board locks out."
        }
        // Practice: a board fed through another load; no source.
        FindingCode::OpenNeutral => {
            "The board has no supply, or too little through another load. It stays dark or starts \
             again and again. That is no reason to change it."
        }
        FindingCode::OpenHot => {
            "The board has no supply and senses nothing. A dark board is no reason to change it."
        }
        FindingCode::GroundOnHot => {
            "Frame and burner are the flame signal's way back, and they are live. The board senses \
             no flame or locks out, and it may be damaged."
        }
        FindingCode::TwoHots => {
            "Transformer, board and igniter get twice their voltage. Have them looked at before the \
             appliance runs again."
        }
        FindingCode::Dead => {
            "The board has no supply, so neither it nor its flame rod can be judged."
        }
        FindingCode::UnknownPattern => {
            "What this wiring does to the board cannot be told. Leave the appliance unplugged."
        }
        // That some run is arithmetic: line and frame differ as they should, both moved by 120 V
        // against earth.
        FindingCode::ReversedAndJoined => {
            "The flame circuit sees its usual voltages, so the appliance may start, sense its flame \
             and run. That it runs proves nothing: its frame is live."
        }
        // Practice: sagging relays and igniters; no source.
        FindingCode::SupplyLow => {
            "The igniter glows weaker, and the flame signal falls with the supply. Relays may \
             chatter when motors start."
        }
        FindingCode::SupplyHigh => {
            "Flame sensing is hardly touched. Transformer, igniter and motors run hotter and wear \
             out sooner."
        }
        FindingCode::SupplyTooLow => {
            "The board may drop out and start again. The igniter may stay too cold to light, and \
             the flame signal may be too weak to hold."
        }
        FindingCode::SupplyTooHigh => {
            "Transformer, board and igniter may burn out. Flame sensing says nothing until the \
             voltage is right."
        }
        FindingCode::NotUtilityFrequency => {
            "If the source floats, the flame signal has no way back to neutral, and the board may \
             sense no flame. Never cure that with a jumper in the appliance."
        }
        FindingCode::Unsteady => {
            "A joint that makes and breaks resets the board and interrupts the flame signal. \
             Lockouts that come and go fit this."
        }
        FindingCode::WeakEarthPath => {
            "A few ohms do not weaken the flame signal. But leakage of motors lifts the frame on \
             such a ground, and the signal drifts. A joint that is poor today may be open tomorrow."
        }
        FindingCode::EarthPathUnclear => {
            "Whether the flame signal has a good way back is not known. Compare the flame signal \
             with motors off and with motors on."
        }
        FindingCode::JoinedNearReceptacle => {
            "Flame sensing works over the joint, so it hides the missing ground. The neutral's drop \
             stands on the frame: the signal moves when loads come on."
        }
        FindingCode::WeakNeutral => {
            "The board's supply sags when the blower or inducer starts: resets, chattering relays, \
             lockouts. Frame and neutral drift apart, and the flame signal with them."
        }
        FindingCode::LoadStepUnclear => {
            "Whether the flame signal has a ground of its own is not known. Lockouts that come with the \
             blower are a reason to repeat the load steps."
        }
        FindingCode::BeyondFullScale => {
            "Leave the appliance unplugged until the voltage is known. Its board may not be made \
             for it."
        }
        FindingCode::StringSumBroken
        | FindingCode::FramesDamaged
        | FindingCode::NotCalibrated
        | FindingCode::ReferenceResistorUnseen
        | FindingCode::SelfTestFailed => TESTER,
        FindingCode::LiveFrame => {
            "The frame is not at the ground slot's potential, so the flame signal has no way back. \
             Once isolated, look at the appliance's ground points: loose, painted over, or missing."
        }
        // "Idle neutral to 24 V common below 2 V and steady" is practice without a source, so no
        // number is given.
        FindingCode::NeutralToGroundHigh => {
            "The flame circuit is referred to neutral and returns through the ground. Volts between \
             the two disturb a signal of microamps: it reads wrong, and lockouts come and go with \
             the loads."
        }
        FindingCode::WeakHot => {
            "The board's supply sags when the blower or inducer starts: resets, chattering relays, a \
             weak igniter. The flame signal falls with the supply."
        }
        FindingCode::FrameGroundMoves => {
            "The burner is the flame signal's way back, and it is not held at ground. The signal \
             drops or drifts when inducer and blower start: lockouts that come with the motors."
        }
        FindingCode::FrameGroundSuspect => {
            "Whether the burner is held at ground is not known. Compare the flame signal with motors \
             off and with motors on."
        }
        FindingCode::FrameVoltageHigh => {
            "Volts between neutral and the 24 V common disturb a signal of microamps. The board may \
             read a flame wrong, or none."
        }
        FindingCode::WatchNotExercised => {
            "Nothing is said of flame sensing under load. Let the burner start three times while the \
             tester watches."
        }
        FindingCode::NeutralToFrameHigh => {
            "The flame signal returns from the burner to neutral. More than 10 ohm points to a loose, \
             painted or missing ground in the appliance or on the way to it."
        }
        FindingCode::NeutralToFrameSound => {
            "The flame signal has its way back to neutral with the power off. That does not show \
             that it comes over a ground wire of its own, nor that it holds while motors run."
        }
    }
}
