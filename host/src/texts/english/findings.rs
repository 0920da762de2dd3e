//! What each finding is called, what it means, what can hurt, and what is to be left to an
//! electrician. What it does to the appliance is in `appliance`.

use slotwise_core::finding::FindingCode;

use super::appliance;
use crate::texts::FindingText;

const LIVE_METAL: &str =
    "The appliance's frame, its pipes and every metal part on this ground may carry line voltage.";

const OPEN_BOX: &str =
    "Opening the receptacle box and putting the wiring right, with the circuit off and locked out.";

const REWIRE: &str = "All of it: isolating the circuit at the panel and rewiring the box.";

const NEUTRAL_JOINT: &str =
    "Finding the joint: this box, the receptacles before it, the neutral bar.";

const PANEL_VOLTAGE: &str = "Measuring both legs at the panel, with and without load.";

const CIRCUIT: &str = "Anything inside a box, the panel or the service.";

const TESTER: &str = "Nothing: this is the tester's own fault. The receptacle stays untested.";

/// The words of `code`.
#[must_use]
pub(super) const fn text(code: FindingCode) -> FindingText {
    let (title, meaning, danger, electrician) = match code {
        FindingCode::ReadsSound => (
            "Reads sound",
            "As a sound receptacle does: line voltage from narrow to wide and from narrow to \
             ground, next to nothing from ground to wide. Several faults read the same. They are \
             listed, and the next check tells more of them apart.",
            None,
            CIRCUIT,
        ),
        FindingCode::ReversedPolarity => (
            "Reversed polarity, or the ground slot on hot",
            "The wide slot and the ground slot differ by line voltage. Usually hot and neutral are \
             exchanged. A ground slot wired to hot reads the same from the three slots.",
            Some(
                "While a ground slot on hot is among the wirings below, take it that the \
                 appliance's frame is live.",
            ),
            OPEN_BOX,
        ),
        FindingCode::OpenGround => (
            "Open ground",
            "The ground slot is connected to nothing. Its voltages are phantom halves that come \
             through the tester itself.",
            Some(
                "A fault inside the appliance would put its frame at line voltage, and no breaker \
                 would trip.",
            ),
            OPEN_BOX,
        ),
        FindingCode::OpenNeutral => (
            "Open neutral",
            "The neutral does not come back. Nothing on this receptacle runs, or it runs wrong.",
            Some(
                "Through any load that is switched on, the wide slot is pulled up to hot. A dead \
                 appliance on this receptacle is not a safe one.",
            ),
            "Finding the break: this box, the receptacles before it, or the neutral bar of the \
             panel.",
        ),
        FindingCode::OpenHot => (
            "Open hot",
            "No supply on the narrow slot; only a trace is left. A breaker, a switch, or a joint on \
             the way here is open.",
            Some(
                "Little voltage between the slots does not mean safe. The break may close, and a \
                 slot may still be live against earth.",
            ),
            "Any break that is not the breaker or a switch.",
        ),
        FindingCode::GroundOnHot => (
            "Ground slot on a hot conductor",
            "The ground slot itself carries line voltage.",
            Some(LIVE_METAL),
            REWIRE,
        ),
        FindingCode::TwoHots => (
            "Two hots: 240 V between the blades",
            "Both blades are on hot conductors of different legs. An appliance made for 120 V is \
             destroyed by it.",
            Some("Both slots are live. Switching a single pole leaves the other one live."),
            OPEN_BOX,
        ),
        FindingCode::Dead => (
            "No voltage between the slots",
            "Nothing measurable between narrow, wide and ground. The breaker is off, the receptacle \
             is switched off, or more than one conductor is open.",
            Some(
                "No voltage between the slots does not mean safe: all of them may still be live \
                 against earth. This tester never says that something is safe to touch.",
            ),
            "Proving it dead with an approved voltage detector before anybody touches a wire.",
        ),
        FindingCode::UnknownPattern => (
            "A fault of unknown kind",
            "These three voltages fit no wiring that this version knows.",
            Some("Any slot may be live, the ground slot too."),
            "Finding out what is wired here, from the panel on.",
        ),
        FindingCode::ReversedAndJoined => (
            "Hot and neutral exchanged, and the ground with them",
            "The slots read sound, but an earth from elsewhere says that the wide slot and the \
             ground slot stand at line voltage. A three-slot test can never see this.",
            Some(LIVE_METAL),
            REWIRE,
        ),
        FindingCode::SupplyLow => (
            "Supply low",
            "The voltage is at the lower edge of its tolerance. Note whether it falls further when \
             loads come on.",
            None,
            PANEL_VOLTAGE,
        ),
        FindingCode::SupplyHigh => (
            "Supply high",
            "The voltage is at the upper edge of its tolerance.",
            None,
            PANEL_VOLTAGE,
        ),
        FindingCode::SupplyTooLow => (
            "Supply too low",
            "The voltage is below every tolerance of the band in force. A poor joint, a long thin \
             circuit, or the utility.",
            Some("A poor joint under load gets hot."),
            "Tracing the drop from the panel to this box.",
        ),
        FindingCode::SupplyTooHigh => (
            "Supply too high",
            "The voltage is above every tolerance of the band in force. A lost service neutral does \
             this on one leg while the other leg is low.",
            Some("Appliances on this leg may burn out. Switch sensitive ones off."),
            "Checking the neutral at the panel and at the service; the utility if it is theirs.",
        ),
        FindingCode::NotUtilityFrequency => (
            "Not the utility's frequency",
            "A generator or an inverter feeds this receptacle, or the supply is disturbed. Its \
             output may float, and then none of the wiring answers hold.",
            None,
            "Tying a generator or inverter to earth, and its transfer switch.",
        ),
        FindingCode::Unsteady => (
            "Voltages moved during the test",
            "The voltages changed from one moment of the test to the next, so they say nothing \
             certain. A loose plug or joint, or a load switching.",
            None,
            "Finding a loose joint, if it stays so with the plug seated and loads off.",
        ),
        FindingCode::WeakEarthPath => (
            "Earth path too high",
            "The way from the ground slot back to the panel has too much resistance. A breaker may \
             not trip on a fault.",
            Some("A fault to the frame would leave the frame live for a long time."),
            OPEN_BOX,
        ),
        FindingCode::EarthPathUnclear => (
            "Earth path not clear",
            "The resistance of the earth path could not be told well enough, or the tester could not \
             test its own relays or limiter. Something on the circuit was switching.",
            None,
            "Measuring the earth path with an earth-loop tester, if it stays unclear.",
        ),
        FindingCode::JoinedNearReceptacle => (
            "Neutral and ground joined near this receptacle",
            "Under load, ground follows neutral. The ground slot is jumpered to neutral at or near \
             the box instead of having a conductor of its own.",
            Some(
                "If hot and neutral are exchanged upstream as well, every frame on this receptacle \
                 is live, and three slots cannot show it.",
            ),
            OPEN_BOX,
        ),
        FindingCode::WeakNeutral => (
            "Poor joint in the neutral",
            "Under load most of the drop is in the neutral: a loose or burnt joint.",
            Some("Such a joint gets hot, and when it opens the wide slot goes to hot."),
            NEUTRAL_JOINT,
        ),
        FindingCode::LoadStepUnclear => (
            "Load steps do not tell",
            "The load steps seen were too few, too small or did not agree. They do not say whether \
             neutral and ground are separate.",
            None,
            "Looking for a joint between neutral and ground, if repeating does not tell.",
        ),
        FindingCode::StringSumBroken => (
            "Tester fault: its four inputs do not add up",
            "The currents into the tester's four inputs must add up to nothing and do not. One of \
             its input strings is broken.",
            None,
            TESTER,
        ),
        FindingCode::BeyondFullScale => (
            "Beyond the tester's range",
            "An input was beyond full scale. Either the voltage is far above any household supply, \
             or an input of the tester is broken.",
            Some("The voltage may be higher than this tester or the appliance is made for."),
            "Measuring the voltage at the panel, if another tester says the same.",
        ),
        FindingCode::FramesDamaged => (
            "Tester fault: its converter's data are damaged",
            "Too many readings failed their check word on the way inside the tester.",
            None,
            TESTER,
        ),
        FindingCode::NotCalibrated => (
            "Tester not calibrated",
            "The tester holds no valid calibration and so states no voltages.",
            None,
            TESTER,
        ),
        FindingCode::ReferenceResistorUnseen => (
            "Tester fault: a path reads less than it can have",
            "A resistance reading lies below the resistor built into the tester, or below any \
             wiring, so the tester's own current did not flow.",
            None,
            TESTER,
        ),
        FindingCode::SelfTestFailed => (
            "Tester fault: it failed a test of itself",
            "A test that the tester makes of its own program, memory, clocks, converter, relays or \
             current limiters failed. It says nothing of the receptacle until it starts again and \
             passes.",
            None,
            TESTER,
        ),
        FindingCode::LiveFrame => (
            "The appliance's frame is live",
            "The clip on the frame shows line voltage against the ground slot.",
            Some(LIVE_METAL),
            "All of it, and the appliance's own wiring before it runs again.",
        ),
        FindingCode::NeutralToGroundHigh => (
            "Voltage between neutral and ground",
            "Neutral and ground differ by more than loads on a sound circuit make them differ. A \
             poor joint in the neutral, a shared neutral, or a supply that is not tied to earth.",
            Some("A neutral joint that gets worse opens, and the wide slot goes to hot."),
            NEUTRAL_JOINT,
        ),
        FindingCode::WeakHot => (
            "Poor joint in the hot conductor",
            "The way from the supply to the narrow slot has more resistance than a sound circuit. A \
             loose or burnt joint in the hot conductor, a worn breaker, or a weak supply.",
            Some("Such a joint gets hot under load and can start a fire."),
            "Finding the joint: this box, the receptacles before it, the breaker and its screw.",
        ),
        FindingCode::FrameGroundMoves => (
            "The frame's ground moves with the load",
            "When the appliance's motors start and stop, its frame moves against the receptacle's \
             ground. The ground wire between the two is open or poor.",
            Some("A fault inside the appliance would leave its frame live."),
            "Wiring between the receptacle or junction box and the appliance.",
        ),
        FindingCode::FrameGroundSuspect => (
            "The frame's ground is not shown to be steady",
            "The frame moved a little against the receptacle's ground at the load steps, or too \
             unevenly to say that it does not.",
            None,
            CIRCUIT,
        ),
        FindingCode::FrameVoltageHigh => (
            "Too much voltage between neutral and frame",
            "With the appliance idle, its frame or 24 V common stands more than 2 V away from \
             neutral. Common practice accepts less.",
            Some("Where it comes from is not known; it may rise when a joint opens."),
            NEUTRAL_JOINT,
        ),
        FindingCode::WatchNotExercised => (
            "The watch saw too few load steps",
            "The appliance's motors did not start and stop often enough while the tester watched, \
             so nothing is said of the frame's ground under load.",
            None,
            CIRCUIT,
        ),
        FindingCode::NeutralToFrameHigh => (
            "Power off: neutral to burner above 10 ohm",
            "The resistance between neutral and what the clip is on is not shown to be 10 ohm or \
             less, the limit of common practice.",
            Some("With an open ground a fault inside the appliance would leave its frame live."),
            "Wiring between the receptacle or junction box and the appliance.",
        ),
        FindingCode::NeutralToFrameSound => (
            "Power off: neutral to burner 10 ohm or less",
            "The resistance between neutral and what the clip is on is within 10 ohm, the limit of \
             common practice. It says nothing of polarity and nothing of what happens under load.",
            None,
            CIRCUIT,
        ),
    };
    FindingText {
        title,
        meaning,
        danger,
        appliance: appliance::text(code),
        electrician,
    }
}
