//! English words of visits and notes. Articles of the NEC are named from memory.

use slotwise_core::finding::FindingCode;

use super::findings;
use crate::texts::{NoteText, VisitTexts};
use crate::visits::{NoteFinding, Question};

pub(super) const VISITS: VisitTexts = VisitTexts {
    no_place: "(no site yet)",
    no_clock: "no clock",
    place: "Site, appliance",
    when: "When (UTC)",
    tester: "Tester",
    records: "Records",
    tests: "Tests",
    answer: "Gravest",
    finding: "Finding",
    note: "Note",
    photos: "Photos",
    as_shown: "Hand meter readings are judged as the meter showed them; its own error is not in \
               the answer.",
    explains: "Explains record",
    weights: ["as it should be", "look again", "put right"],
    none: "There are no tests and no notes here. `slotwise archive import` takes logs in.",
};

/// What to answer to.
pub(super) const fn question(question: Question) -> &'static str {
    match question {
        Question::Joined => "Where do neutral and ground meet?",
        Question::Electrode => "What is the grounding electrode?",
        Question::Bonds => "Are all bonds (service, water, gas, telephone) tied to that one?",
        Question::GroundWire => "What carries the ground from the receptacle to the panel?",
        Question::Landing => "What is the ground wire landed on in the appliance?",
        Question::Inducer => "Are inducer and control board on the same ground?",
    }
}

pub(super) fn text(finding: NoteFinding) -> NoteText {
    let (title, meaning) = match finding {
        NoteFinding::CommonFine => (
            "Neutral to 24 V common within 2 V",
            "Within common practice for an idle appliance.",
        ),
        NoteFinding::CommonHigh => (
            "Neutral to 24 V common above 2 V",
            "Common practice accepts 2 V with the appliance idle. Look for a poor ground or neutral \
             joint, or a transformer whose common is not tied to the frame.",
        ),
        NoteFinding::BurnerFine => (
            "Power off: neutral to burner within 10 ohm",
            "Within common practice. It says nothing of polarity, and nothing of what happens under \
             load.",
        ),
        NoteFinding::BurnerHigh => (
            "Power off: neutral to burner above 10 ohm",
            "Flame current has no good way back. Follow it from burner to frame, frame to ground \
             wire, ground wire to panel.",
        ),
        NoteFinding::SupplyFine => (
            "Hot to neutral in the band",
            "The voltage is within the tolerance that was asked for.",
        ),
        NoteFinding::Supply(code) => supply(code),
        NoteFinding::NeutralToGroundFine => (
            "Neutral to ground below 5 V",
            "No more than loads on a sound circuit make. A neutral and a ground joined nearby read \
             like this too.",
        ),
        NoteFinding::NeutralToGroundHigh => (
            "Neutral to ground 5 V or more",
            "Look for a poor neutral joint or a shared neutral; let a licensed electrician do it.",
        ),
        NoteFinding::HotToGroundLow => (
            "No supply voltage from hot to ground",
            "The ground is open, or hot and neutral are exchanged. Do not use the receptacle; plug \
             the tester in.",
        ),
        NoteFinding::HotToGroundFine => (
            "Supply voltage from hot to ground",
            "The ground has a way back. How good a way, a meter does not tell: even a rod in the \
             earth shows full voltage.",
        ),
        NoteFinding::JoinedAtPanelOnly => (
            "Neutral and ground joined at the panel only",
            "That is where they belong together (NEC 250.24).",
        ),
        NoteFinding::JoinedAtReceptacle => (
            "Neutral and ground joined at the receptacle",
            "Neutral current runs in the ground, and a neutral that opens makes every frame on it \
             live. Take the link out; have the ground wire back to the panel checked first.",
        ),
        NoteFinding::JoinedInSubpanel => (
            "Neutral and ground joined in a subpanel",
            "Neutral current runs in the ground. They belong together at the service only \
             (NEC 250.24(A)(5)): leave it to a licensed electrician.",
        ),
        NoteFinding::JoinedInAppliance => (
            "Neutral and ground joined in the appliance",
            "Its frame carries neutral current, and a neutral that opens makes the frame live. Take \
             the link out by the appliance's wiring diagram.",
        ),
        NoteFinding::JoinedNowhere => (
            "Neutral and ground not joined at the panel",
            "A fault to ground has no way back and no breaker opens. Leave it to a licensed \
             electrician, now.",
        ),
        NoteFinding::RodOnly => (
            "Ground goes to a rod only",
            "Earth is no way back: through a rod of 25 ohm a dead short to the frame draws 4.8 A, \
             and a 15 A breaker never opens (NEC 250.4(A)(5)). The receptacle shows full voltage \
             all the same. Run a ground wire to the panel.",
        ),
        NoteFinding::WireAllTheWay => (
            "Ground wire all the way",
            "A wire of its own goes back to the panel.",
        ),
        NoteFinding::NotAWire => (
            "Pipe, conduit or cable jacket stands in for the ground wire",
            "Its joints come loose and rust, and flame sensing feels that long before a breaker \
             does. For the appliance, run a ground wire all the way.",
        ),
        NoteFinding::NoGroundWire => (
            "No ground at all",
            "Nothing carries a fault back. Run a ground wire to the panel.",
        ),
        NoteFinding::ElectrodeRod => (
            "The electrode is a rod",
            "Fine for lightning and the utility, if the ground wires go to the panel and not to it \
             alone.",
        ),
        NoteFinding::ElectrodePipe => (
            "The electrode is a buried metal water pipe",
            "Ten feet or more of it in the earth make it one; it needs a second electrode beside \
             it (NEC 250.52(A)(1), 250.53(D)).",
        ),
        NoteFinding::ElectrodePipeUnfit => (
            "The pipe is no electrode",
            "Less than ten feet of metal in the earth, a plastic piece, or a gas pipe: none of them \
             is an electrode (NEC 250.52). Have one put in.",
        ),
        NoteFinding::ElectrodeOther => (
            "Another kind of electrode",
            "Steel in concrete, a plate or a ring can be one; let a licensed electrician say so.",
        ),
        NoteFinding::NoElectrode => (
            "No grounding electrode found",
            "The service needs one (NEC 250.50). Leave it to a licensed electrician.",
        ),
        NoteFinding::BondsTogether => (
            "Every bond tied to the one electrode",
            "As it should be (NEC 250.50, 250.58).",
        ),
        NoteFinding::BondsApart => (
            "A bond goes to another electrode",
            "Two electrodes that are not tied together stand at different voltages, and the \
             difference appears between metal parts (NEC 250.58). Have them tied together.",
        ),
        NoteFinding::BareMetal => (
            "Ground landed on bare metal",
            "As it should be (NEC 250.12).",
        ),
        NoteFinding::OnPaint => (
            "Ground landed on paint",
            "Paint insulates. Scrape to bare metal under the lug and tighten it (NEC 250.12).",
        ),
        NoteFinding::InducerSame => (
            "Inducer and control board on the same ground",
            "As it should be.",
        ),
        NoteFinding::InducerApart => (
            "Inducer and control board on different grounds",
            "The voltage between the two grounds is added to the flame signal. Bring both to the \
             same point of the frame.",
        ),
        NoteFinding::NotLooked(question) => return not_looked(question),
    };
    NoteText { title, meaning }
}

fn supply(code: FindingCode) -> (&'static str, &'static str) {
    let words = findings::text(code);
    (words.title, words.meaning)
}

const fn not_looked(question: Question) -> NoteText {
    NoteText {
        title: match question {
            Question::Joined => "Not looked at: where neutral and ground meet",
            Question::Electrode => "Not looked at: the grounding electrode",
            Question::Bonds => "Not looked at: the bonds",
            Question::GroundWire => "Not looked at: the ground wire",
            Question::Landing => "Not looked at: where the ground is landed",
            Question::Inducer => "Not looked at: the ground of the inducer",
        },
        meaning: "Nothing is known of it.",
    }
}
