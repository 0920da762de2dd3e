//! Every word on the display, in one place, in which language.
//!
//! Short words for a screen of 21 characters a line; the sentences are the host's. Where a
//! finding's name there fits a line, it is the same here, and a test holds them together. A second
//! language is one more [`Words`]; its matches are exhaustive, so a new finding does not compile
//! without its word. Characters are those of ISO 8859-1.

use slotwise_core::evidence::Missing;
use slotwise_core::finding::{FindingCode, NextCheck};
use slotwise_core::link::{ClockChip, JournalState, Phase};
use slotwise_core::verdict::Outcome;

/// The words of one language. Lengths are those that fit; a test holds them.
#[derive(Clone, Copy, Debug)]
pub struct Words {
    /// An outcome, for the top line; at most 18 characters. Those of danger and tester fault stand
    /// large: at most 12.
    pub outcome: fn(Outcome) -> &'static str,
    /// Second line of a danger; at most 14 characters.
    pub hands_off: &'static str,
    /// Last line of a danger: what to do before anything else; at most 21 characters.
    pub breaker_off: &'static str,
    /// A finding; at most 21 characters, as all that is not said otherwise.
    pub finding: fn(FindingCode) -> &'static str,
    /// The next check.
    pub next: fn(NextCheck) -> &'static str,
    /// Why a resistance is missing; at most 15 characters.
    pub missing: fn(Missing) -> &'static str,
    /// Symbols of narrow to wide, ground to wide, narrow to ground; 3 characters each.
    pub symbols: [&'static str; 3],
    /// Before the earth path; at most 5 characters.
    pub earth: &'static str,
    /// Before neutral to clip, power off; at most 5 characters.
    pub clip: &'static str,
    /// Said where a resistance was measured and is not clear.
    pub unclear: &'static str,
    /// Before the first thing that is not proven; at most 10 characters with its space.
    pub unproven: &'static str,
    /// Polarity, earth path, separate ground: not proven; at most 11 characters, and 10 for those
    /// after which others may follow.
    pub unproven_of: [&'static str; 3],
    /// Every step of the ladder held.
    pub all_held: &'static str,
    /// Said where no voltage was found.
    pub not_dead: &'static str,
    /// Voltages that are missing.
    pub no_voltages: &'static str,
    /// What the tester is doing while an answer may still change.
    pub doing: fn(Phase) -> Option<&'static str>,
    /// Before minutes and seconds of a load-cycle watch; 6 characters with its space.
    pub watch: &'static str,
    /// Before the count of its steps; 7 characters with its spaces.
    pub steps: &'static str,
    /// Top line and two lines of a tester that has no answer yet.
    pub no_answer: [&'static str; 3],
    /// Top line and three lines of a tester without voltage.
    pub waiting: [&'static str; 4],
    /// Top line and two lines while raw readings are taken.
    pub raw: [&'static str; 3],
    /// Under a tester fault: what it means for the receptacle.
    pub untested: &'static str,
    /// What is wrong with the journal, if anything is.
    pub journal: fn(JournalState) -> Option<&'static str>,
    /// Why there is no time.
    pub no_clock: fn(ClockChip) -> &'static str,
}

/// English.
pub const ENGLISH: Words = Words {
    outcome,
    hands_off: "HANDS OFF",
    breaker_off: "Switch breaker off",
    finding,
    next,
    missing,
    symbols: ["n-w", "g-w", "n-g"],
    earth: "earth",
    clip: "clip",
    unclear: "cannot tell",
    unproven: "unproven: ",
    unproven_of: ["polarity", "earth path", "sep. ground"],
    all_held: "every step held",
    not_dead: "not shown to be dead!",
    no_voltages: "no voltages",
    doing,
    watch: "watch ",
    steps: " steps ",
    no_answer: ["TESTING", "No answer yet:", "treat it as untested."],
    waiting: [
        "NO VOLTAGE",
        "Not shown to be dead:",
        "a slot may be live",
        "against earth.",
    ],
    raw: ["CALIBRATING", "Raw readings only,", "nothing is tested."],
    untested: "Receptacle untested.",
    journal,
    no_clock,
};

const fn outcome(outcome: Outcome) -> &'static str {
    match outcome {
        Outcome::Proven => "PROVEN",
        Outcome::NoFaultFound => "NO FAULT FOUND YET",
        Outcome::Fault => "FAULT",
        Outcome::Danger => "LIVE METAL!",
        Outcome::CannotTell => "CANNOT TELL",
        Outcome::TesterFault => "TESTER FAULT",
    }
}

const fn finding(code: FindingCode) -> &'static str {
    match code {
        FindingCode::ReadsSound => "Reads sound",
        FindingCode::ReversedPolarity => "Reversed, or gnd hot",
        FindingCode::OpenGround => "Open ground",
        FindingCode::OpenNeutral => "Open neutral",
        FindingCode::OpenHot => "Open hot",
        FindingCode::GroundOnHot => "Ground slot on hot",
        FindingCode::TwoHots => "Two hots: 240 V",
        FindingCode::Dead => "No voltage at slots",
        FindingCode::UnknownPattern => "Unknown fault",
        FindingCode::ReversedAndJoined => "Reversed, and gnd hot",
        FindingCode::SupplyLow => "Supply low",
        FindingCode::SupplyHigh => "Supply high",
        FindingCode::SupplyTooLow => "Supply too low",
        FindingCode::SupplyTooHigh => "Supply too high",
        FindingCode::NotUtilityFrequency => "Not utility's hertz",
        FindingCode::Unsteady => "Voltages moved",
        FindingCode::WeakEarthPath => "Earth path too high",
        FindingCode::EarthPathUnclear => "Earth path not clear",
        FindingCode::JoinedNearReceptacle => "Neutral-ground joined",
        FindingCode::WeakNeutral => "Poor neutral joint",
        FindingCode::LoadStepUnclear => "Load steps don't tell",
        FindingCode::StringSumBroken => "Inputs do not add up",
        FindingCode::BeyondFullScale => "Beyond its range",
        FindingCode::FramesDamaged => "Converter data bad",
        FindingCode::NotCalibrated => "Tester not calibrated",
        FindingCode::ReferenceResistorUnseen => "Path reads too little",
        FindingCode::LiveFrame => "Appliance frame live",
        FindingCode::NeutralToGroundHigh => "Neutral-ground volts",
        FindingCode::WeakHot => "Poor hot joint",
        FindingCode::FrameGroundMoves => "Frame ground moves",
        FindingCode::FrameGroundSuspect => "Frame ground unsure",
        FindingCode::FrameVoltageHigh => "Neutral-frame volts",
        FindingCode::WatchNotExercised => "Too few load steps",
        FindingCode::NeutralToFrameHigh => "Burner over 10 ohm",
        FindingCode::NeutralToFrameSound => "Burner within 10 ohm",
        FindingCode::SelfTestFailed => "Self-test failed",
    }
}

const fn next(next: NextCheck) -> &'static str {
    match next {
        NextCheck::None => "nothing left to check",
        NextCheck::ClipOnIndependentEarth => "Clip to other earth",
        NextCheck::EarthPath => "Measure earth path",
        NextCheck::LoadSteps => "Let appliance cycle",
        NextCheck::OpenReceptacleBox => "Electrician: open box",
        NextCheck::BreakerAndUpstream => "Breaker and upstream",
        NextCheck::LoadsOffAndRepeat => "Loads off, test again",
        NextCheck::SupplyAtPanel => "Measure at the panel",
        NextCheck::IsolateAtPanel => "Isolate at the panel",
        NextCheck::ServiceTheTester => "Service the tester",
        NextCheck::Repeat => "Leave in, test again",
        NextCheck::UnplugApplianceAndRepeat => "Unplug load, repeat",
        NextCheck::FrameGround => "Check frame's ground",
    }
}

const fn missing(reason: Missing) -> &'static str {
    match reason {
        Missing::NotAsked => "not measured",
        Missing::NoVoltage => "no voltage",
        Missing::ClipFree => "clip hangs free",
        Missing::Refused => "refused, unsafe",
        Missing::Unsteady => "cannot tell",
        Missing::Clipped => "beyond range",
        Missing::BeyondRange => "open or nearly",
        Missing::NoCurrent => "no current",
        Missing::RelaysUntested => "relays untested",
        Missing::LimiterUntested => "no limiter test",
    }
}

const fn doing(phase: Phase) -> Option<&'static str> {
    match phase {
        Phase::Wiring => Some("...testing wiring"),
        Phase::EarthPath => Some("...testing earth path"),
        Phase::NeutralAndGround => Some("...testing neutral"),
        Phase::NeutralToClip => Some("...testing to clip"),
        Phase::Steady | Phase::LoadCycle | Phase::Waiting | Phase::TesterFault => None,
    }
}

const fn journal(state: JournalState) -> Option<&'static str> {
    match state {
        JournalState::Writable => None,
        JournalState::Full => Some("Journal full: pull it"),
        JournalState::Failed => Some("No records are kept"),
    }
}

const fn no_clock(chip: ClockChip) -> &'static str {
    match chip {
        ClockChip::NotAsked | ClockChip::Running | ClockChip::Setting => "no time",
        ClockChip::Stopped | ClockChip::NotATime => "clock not set",
        ClockChip::Absent => "no clock chip",
        ClockChip::BusStuck | ClockChip::BusFault | ClockChip::NotTaken => "clock chip faulty",
    }
}
