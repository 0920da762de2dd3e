//! What each finding is called, what it means for a gas appliance and for a person, and what
//! is to be left to an electrician.

use slotwise_core::finding::FindingCode;

/// The words of one finding.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct FindingText {
    /// Its name in the trade.
    pub title: &'static str,
    /// What it means.
    pub meaning: &'static str,
    /// What can hurt, if anything can.
    pub danger: Option<&'static str>,
    /// What to leave to a licensed electrician, if it is electrician's work.
    pub electrician: Option<&'static str>,
}

/// A name for programs; never changes.
#[must_use]
pub const fn code(code: FindingCode) -> &'static str {
    match code {
        FindingCode::ReadsSound => "reads-sound",
        FindingCode::ReversedPolarity => "reversed-polarity",
        FindingCode::OpenGround => "open-ground",
        FindingCode::OpenNeutral => "open-neutral",
        FindingCode::OpenHot => "open-hot",
        FindingCode::GroundOnHot => "ground-on-hot",
        FindingCode::TwoHots => "two-hots",
        FindingCode::Dead => "dead",
        FindingCode::UnknownPattern => "unknown-pattern",
        FindingCode::ReversedAndJoined => "reversed-and-joined",
        FindingCode::SupplyLow => "supply-low",
        FindingCode::SupplyHigh => "supply-high",
        FindingCode::SupplyTooLow => "supply-too-low",
        FindingCode::SupplyTooHigh => "supply-too-high",
        FindingCode::NotUtilityFrequency => "not-utility-frequency",
        FindingCode::Unsteady => "unsteady",
        FindingCode::WeakEarthPath => "weak-earth-path",
        FindingCode::EarthPathUnclear => "earth-path-unclear",
        FindingCode::JoinedNearReceptacle => "joined-near-receptacle",
        FindingCode::WeakNeutral => "weak-neutral",
        FindingCode::LoadStepUnclear => "load-step-unclear",
        FindingCode::StringSumBroken => "string-sum-broken",
        FindingCode::BeyondFullScale => "beyond-full-scale",
        FindingCode::FramesDamaged => "frames-damaged",
        FindingCode::NotCalibrated => "not-calibrated",
        FindingCode::ReferenceResistorUnseen => "reference-resistor-unseen",
        FindingCode::LiveFrame => "live-frame",
        FindingCode::NeutralToGroundHigh => "neutral-to-ground-high",
    }
}

const fn plain(title: &'static str, meaning: &'static str) -> FindingText {
    FindingText {
        title,
        meaning,
        danger: None,
        electrician: None,
    }
}

const LIVE_METAL: &str =
    "The appliance's frame, its pipes and every metal part on this ground may carry line voltage.";

const OPEN_BOX: &str =
    "Opening the receptacle box and putting the wiring right, with the circuit off and locked out.";

/// The words of `code`.
#[must_use]
pub const fn text(code: FindingCode) -> FindingText {
    match code {
        FindingCode::ReadsSound => plain(
            "Reads sound",
            "As a sound receptacle does: line voltage from narrow to wide and from narrow to ground, \
             next to nothing from ground to wide. Several faults read the same; they are listed, and the next check \
             tells more of them apart.",
        ),
        FindingCode::ReversedPolarity => FindingText {
            title: "Reversed polarity, or the ground slot on hot",
            meaning: "The wide slot and the ground slot differ by line voltage. Usually hot and \
                      neutral are exchanged; a ground slot wired to hot reads the same from the \
                      three slots. A furnace board that looks for flame through the ground will \
                      lock out or not see its flame.",
            danger: Some(
                "Until it is told which of the two it is, take it that the appliance's frame may \
                 be live.",
            ),
            electrician: Some(OPEN_BOX),
        },
        FindingCode::OpenGround => FindingText {
            title: "Open ground",
            meaning: "The ground slot is connected to nothing. Its voltages are phantom halves \
                      that come through the tester itself. Flame sensing needs this ground: the \
                      appliance may light and lock out.",
            danger: Some(
                "A fault inside the appliance would put its frame at line voltage, and no breaker \
                 would trip.",
            ),
            electrician: Some(OPEN_BOX),
        },
        FindingCode::OpenNeutral => FindingText {
            title: "Open neutral",
            meaning: "The neutral does not come back. Nothing on this receptacle runs, or it runs \
                      wrong.",
            danger: Some(
                "Through any load that is switched on, the wide slot is pulled up to hot. A dead \
                 appliance on this receptacle is not a safe one.",
            ),
            electrician: Some(
                "Finding the break: this box, the receptacles before it, or the neutral bar of the \
                 panel.",
            ),
        },
        FindingCode::OpenHot => FindingText {
            title: "Open hot",
            meaning: "No supply on the narrow slot; only a trace is left. A breaker, a switch, or \
                      a joint on the way here is open.",
            danger: Some(
                "Little voltage between the slots does not mean safe: the break may close, and a \
                 slot may still be live against earth.",
            ),
            electrician: Some("Any break that is not the breaker or a switch."),
        },
        FindingCode::GroundOnHot => FindingText {
            title: "Ground slot on a hot conductor",
            meaning: "The ground slot itself carries line voltage.",
            danger: Some(LIVE_METAL),
            electrician: Some(
                "All of it: isolating the circuit at the panel and rewiring the box.",
            ),
        },
        FindingCode::TwoHots => FindingText {
            title: "Two hots: 240 V between the blades",
            meaning: "Both blades are on hot conductors of different legs. An appliance made for \
                      120 V is destroyed by it.",
            danger: Some("Both slots are live. Switching a single pole leaves the other one live."),
            electrician: Some(OPEN_BOX),
        },
        FindingCode::Dead => FindingText {
            title: "No voltage between the slots",
            meaning: "Nothing measurable between narrow, wide and ground: breaker off, receptacle \
                      switched off, or more than one conductor open.",
            danger: Some(
                "No voltage between the slots does not mean safe: all of them may still be live \
                 against earth. This tester never says that something is safe to touch.",
            ),
            electrician: Some(
                "Proving it dead with an approved voltage detector before anybody touches a wire.",
            ),
        },
        FindingCode::UnknownPattern => FindingText {
            title: "A fault of unknown kind",
            meaning: "These three voltages fit no wiring that this version knows.",
            danger: Some("Any slot may be live, the ground slot too."),
            electrician: Some("Finding out what is wired here, from the panel on."),
        },
        FindingCode::ReversedAndJoined => FindingText {
            title: "Hot and neutral exchanged, and the ground with them",
            meaning: "The slots read sound, but an earth from elsewhere says that the wide slot and \
                      the ground slot stand at line voltage. A three-slot test can never see this.",
            danger: Some(LIVE_METAL),
            electrician: Some(
                "All of it: isolating the circuit at the panel and rewiring the box.",
            ),
        },
        FindingCode::SupplyLow => plain(
            "Supply low",
            "The voltage is at the lower edge of its tolerance. Control boards and igniters may \
             misbehave; note whether it falls further when loads come on.",
        ),
        FindingCode::SupplyHigh => plain(
            "Supply high",
            "The voltage is at the upper edge of its tolerance. Motors and transformers run hotter.",
        ),
        FindingCode::SupplyTooLow => FindingText {
            title: "Supply too low",
            meaning: "The voltage is below every tolerance of the band in force. A poor joint, a \
                      long thin circuit, or the utility.",
            danger: Some("A poor joint under load gets hot."),
            electrician: Some("Tracing the drop from the panel to this box."),
        },
        FindingCode::SupplyTooHigh => FindingText {
            title: "Supply too high",
            meaning: "The voltage is above every tolerance of the band in force. A lost service \
                      neutral does this on one leg while the other leg is low.",
            danger: Some("Appliances on this leg may burn out. Switch sensitive ones off."),
            electrician: Some(
                "Checking the neutral at the panel and at the service; the utility if it is theirs.",
            ),
        },
        FindingCode::NotUtilityFrequency => plain(
            "Not the utility's frequency",
            "A generator or an inverter feeds this receptacle, or the supply is disturbed. Its \
             output may float, and then none of the wiring answers hold.",
        ),
        FindingCode::Unsteady => plain(
            "Voltages moved during the test",
            "The voltages changed from one moment of the test to the next, so they say nothing \
             certain: a loose plug or joint, or a load switching.",
        ),
        FindingCode::WeakEarthPath => FindingText {
            title: "Earth path too high",
            meaning: "The way from the ground slot back to the panel has too much resistance. Flame \
                      sensing works poorly over it, and a breaker may not trip.",
            danger: Some("A fault to the frame would leave the frame live for a long time."),
            electrician: Some(OPEN_BOX),
        },
        FindingCode::EarthPathUnclear => plain(
            "Earth path not clear",
            "The resistance of the earth path could not be told well enough; something on the \
             circuit was switching.",
        ),
        FindingCode::JoinedNearReceptacle => FindingText {
            title: "Neutral and ground joined near this receptacle",
            meaning: "Under load, ground follows neutral: the ground slot is jumpered to neutral at \
                      or near the box instead of having a conductor of its own.",
            danger: Some(
                "If hot and neutral are exchanged upstream as well, every frame on this receptacle \
                 is live, and three slots cannot show it.",
            ),
            electrician: Some(OPEN_BOX),
        },
        FindingCode::WeakNeutral => FindingText {
            title: "Poor joint in the neutral",
            meaning: "Under load most of the drop is in the neutral: a loose or burnt joint.",
            danger: Some("Such a joint gets hot, and when it opens the wide slot goes to hot."),
            electrician: Some(
                "Finding the joint: this box, the receptacles before it, the neutral bar.",
            ),
        },
        FindingCode::LoadStepUnclear => plain(
            "Load steps do not tell",
            "The load steps seen were too few, too small or did not agree, so they do not say \
             whether neutral and ground are separate.",
        ),
        FindingCode::StringSumBroken => plain(
            "Tester fault: its four inputs do not add up",
            "The currents into the tester's four inputs must add up to nothing and do not. One of \
             its input strings is broken.",
        ),
        FindingCode::BeyondFullScale => FindingText {
            title: "Beyond the tester's range",
            meaning: "An input was beyond full scale. Either the voltage is far above any household \
                      supply, or an input of the tester is broken.",
            danger: Some(
                "The voltage may be higher than this tester or the appliance is made for.",
            ),
            electrician: None,
        },
        FindingCode::FramesDamaged => plain(
            "Tester fault: its converter's data are damaged",
            "Too many readings failed their check word on the way inside the tester.",
        ),
        FindingCode::NotCalibrated => plain(
            "Tester not calibrated",
            "The tester holds no valid calibration and so states no voltages.",
        ),
        FindingCode::ReferenceResistorUnseen => plain(
            "Tester fault: earth path reads less than its own resistor",
            "The earth-path reading lies below the resistor built into the tester, so the probe did \
             not measure.",
        ),
        FindingCode::LiveFrame => FindingText {
            title: "The appliance's frame is live",
            meaning: "The clip on the frame shows line voltage against the ground slot.",
            danger: Some(LIVE_METAL),
            electrician: Some("All of it, and the appliance's own wiring before it runs again."),
        },
        FindingCode::NeutralToGroundHigh => FindingText {
            title: "Voltage between neutral and ground",
            meaning: "Neutral and ground differ by more than loads on a sound circuit make them \
                      differ: a poor joint in the neutral, a shared neutral, or a supply that is not \
                      tied to earth. Flame sensing suffers from it.",
            danger: Some("A neutral joint that gets worse opens, and the wide slot goes to hot."),
            electrician: Some(
                "Finding the joint: this box, the receptacles before it, the neutral bar.",
            ),
        },
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::HashSet;

    #[test]
    fn codes_and_titles_are_all_different_and_short_enough_for_a_table() {
        let mut codes = HashSet::new();
        let mut titles = HashSet::new();
        for finding in FindingCode::ALL {
            assert!(codes.insert(code(finding)), "{finding:?}");
            assert!(titles.insert(text(finding).title), "{finding:?}");
            assert!(text(finding).title.len() <= 60, "{finding:?}");
        }
    }

    #[test]
    fn no_sentence_calls_anything_safe() {
        for finding in FindingCode::ALL {
            let words = text(finding);
            let all = [Some(words.title), Some(words.meaning), words.danger];
            for sentence in all.into_iter().flatten() {
                let calls_safe = sentence
                    .replace("does not mean safe", "")
                    .replace("never says that something is safe", "")
                    .replace("is not a safe one", "")
                    .contains("safe");
                assert!(!calls_safe, "{finding:?}: {sentence}");
            }
        }
    }

    #[test]
    fn whatever_may_energise_metal_says_so() {
        for finding in [
            FindingCode::GroundOnHot,
            FindingCode::ReversedAndJoined,
            FindingCode::LiveFrame,
            FindingCode::ReversedPolarity,
            FindingCode::JoinedNearReceptacle,
        ] {
            let danger = text(finding).danger.expect("a danger");
            assert!(danger.contains("frame"), "{finding:?}");
        }
    }
}
