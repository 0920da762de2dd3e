//! Names and signs that are the same in every language. Names are for programs and never
//! change.

use slotwise_core::evidence::Missing;
use slotwise_core::finding::{FindingCode, NextCheck};
use slotwise_core::lamps::{Lamp, Rhythm};
use slotwise_core::link::Phase;
use slotwise_core::record::BootCause;
use slotwise_core::self_test::SelfTestFailure;
use slotwise_core::slots::ClipTarget;
use slotwise_core::start::{Stage, Stop};
use slotwise_core::topology::Topology;
use slotwise_core::verdict::Outcome;

use super::{End, Severity};
use crate::chain::ChainLink;

/// A finding.
#[must_use]
pub const fn finding(code: FindingCode) -> &'static str {
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
        FindingCode::WeakHot => "weak-hot",
        FindingCode::FrameGroundMoves => "frame-ground-moves",
        FindingCode::FrameGroundSuspect => "frame-ground-suspect",
        FindingCode::FrameVoltageHigh => "frame-voltage-high",
        FindingCode::WatchNotExercised => "watch-not-exercised",
        FindingCode::NeutralToFrameHigh => "neutral-to-frame-high",
        FindingCode::NeutralToFrameSound => "neutral-to-frame-sound",
        FindingCode::SelfTestFailed => "self-test-failed",
    }
}

/// A wiring.
#[must_use]
pub const fn wiring(topology: Topology) -> &'static str {
    match topology {
        Topology::Sound => "sound",
        Topology::ReversedPolarity => "reversed-polarity",
        Topology::GroundOnHotSameLeg => "ground-on-hot-same-leg",
        Topology::GroundOnHotOtherLeg => "ground-on-hot-other-leg",
        Topology::OpenGround => "open-ground",
        Topology::ReversedOpenGround => "reversed-open-ground",
        Topology::OpenNeutral => "open-neutral",
        Topology::OpenNeutralUnderLoad => "open-neutral-under-load",
        Topology::OpenHot => "open-hot",
        Topology::SupplyOff => "supply-off",
        Topology::OpenNeutralAndGround => "open-neutral-and-ground",
        Topology::JoinedAtBox => "joined-at-box",
        Topology::ReversedAndJoined => "reversed-and-joined",
        Topology::Mirror => "mirror",
        Topology::NeutralGroundExchanged => "neutral-ground-exchanged",
        Topology::GroundOnRodOnly => "ground-on-rod-only",
        Topology::WeakNeutral => "weak-neutral",
        Topology::WeakGround => "weak-ground",
        Topology::TwoHots => "two-hots",
        Topology::TwoHotsOpenGround => "two-hots-open-ground",
        Topology::BladesOnSameHot => "blades-on-same-hot",
        Topology::HotOnGroundOnly => "hot-on-ground-only",
        Topology::OpenWideHotOnGround => "open-wide-hot-on-ground",
        Topology::LostServiceNeutral => "lost-service-neutral",
        Topology::TwoHotsGroundOnHot => "two-hots-ground-on-hot",
        Topology::ReversedGroundOnOtherLeg => "reversed-ground-on-other-leg",
        Topology::FloatingSource => "floating-source",
        Topology::AllOnSameHot => "all-on-same-hot",
        Topology::BladesOnSameHotOpenGround => "blades-on-same-hot-open-ground",
        Topology::BladesOnSameHotGroundOnOtherLeg => "blades-on-same-hot-ground-on-other-leg",
        Topology::NoHot => "no-hot",
        Topology::OpenNeutralGroundOnHot => "open-neutral-ground-on-hot",
        Topology::OpenNeutralGroundOnOtherLeg => "open-neutral-ground-on-other-leg",
        Topology::OpenNarrowHotOnWide => "open-narrow-hot-on-wide",
        Topology::HotOnWideOnly => "hot-on-wide-only",
        Topology::OpenNarrowHotOnGround => "open-narrow-hot-on-ground",
        Topology::OpenNarrowHotOnWideAndGround => "open-narrow-hot-on-wide-and-ground",
        Topology::OpenNarrowTwoHots => "open-narrow-two-hots",
        Topology::HotOnGroundBladesOpen => "hot-on-ground-blades-open",
        Topology::OpenNeutralJoined => "open-neutral-joined",
        Topology::WeakHot => "weak-hot",
        Topology::JoinedUpstream => "joined-upstream",
        Topology::ReversedAndJoinedUpstream => "reversed-and-joined-upstream",
        Topology::LostPanelBond => "lost-panel-bond",
        Topology::JoinedInAppliance => "joined-in-appliance",
    }
}

/// A next check.
#[must_use]
pub const fn check(next: NextCheck) -> &'static str {
    match next {
        NextCheck::None => "none",
        NextCheck::ClipOnIndependentEarth => "clip-on-independent-earth",
        NextCheck::EarthPath => "earth-path",
        NextCheck::LoadSteps => "load-steps",
        NextCheck::OpenReceptacleBox => "open-receptacle-box",
        NextCheck::BreakerAndUpstream => "breaker-and-upstream",
        NextCheck::LoadsOffAndRepeat => "loads-off-and-repeat",
        NextCheck::SupplyAtPanel => "supply-at-panel",
        NextCheck::IsolateAtPanel => "isolate-at-panel",
        NextCheck::ServiceTheTester => "service-the-tester",
        NextCheck::Repeat => "repeat",
        NextCheck::UnplugApplianceAndRepeat => "unplug-appliance-and-repeat",
        NextCheck::FrameGround => "frame-ground",
    }
}

/// What the clip was on.
#[must_use]
pub const fn clip(target: ClipTarget) -> &'static str {
    match target {
        ClipTarget::NotConnected => "not-connected",
        ClipTarget::ApplianceFrame => "appliance-frame",
        ClipTarget::IndependentEarth => "independent-earth",
    }
}

/// Every outcome.
pub const OUTCOMES: [Outcome; 6] = [
    Outcome::Proven,
    Outcome::NoFaultFound,
    Outcome::Fault,
    Outcome::Danger,
    Outcome::CannotTell,
    Outcome::TesterFault,
];

/// An outcome.
#[must_use]
pub const fn outcome(outcome: Outcome) -> &'static str {
    match outcome {
        Outcome::Proven => "proven",
        Outcome::NoFaultFound => "no-fault-found",
        Outcome::Fault => "fault",
        Outcome::Danger => "danger",
        Outcome::CannotTell => "cannot-tell",
        Outcome::TesterFault => "tester-fault",
    }
}

/// A sign that tells the outcomes apart without colour.
#[must_use]
pub const fn sign(outcome: Outcome) -> &'static str {
    match outcome {
        Outcome::Proven => "✓",
        Outcome::NoFaultFound => "○",
        Outcome::Fault => "✗",
        Outcome::Danger => "⚠",
        Outcome::CannotTell | Outcome::TesterFault => "?",
    }
}

/// A lamp.
#[must_use]
pub const fn lamp(lamp: Lamp) -> &'static str {
    match lamp {
        Lamp::LiveMetal => "live-metal",
        Lamp::WiredRight => "wired-right",
        Lamp::EarthPath => "earth-path",
        Lamp::Supply => "supply",
        Lamp::SteadyUnderLoad => "steady-under-load",
        Lamp::Proven => "proven",
    }
}

/// How a lamp is lit.
#[must_use]
pub const fn rhythm(rhythm: Rhythm) -> &'static str {
    match rhythm {
        Rhythm::Off => "off",
        Rhythm::Steady => "steady",
        Rhythm::SlowBlink => "slow-blink",
        Rhythm::FastBlink => "fast-blink",
        Rhythm::FastPulse => "fast-pulse",
    }
}

/// One letter for a narrow table: yes, unsure, no, danger, or a dot for dark.
#[must_use]
pub const fn letter(rhythm: Rhythm) -> char {
    match rhythm {
        Rhythm::Off => '·',
        Rhythm::Steady => 'Y',
        Rhythm::SlowBlink => '?',
        Rhythm::FastBlink => 'N',
        Rhythm::FastPulse => '!',
    }
}

/// Why a value is missing.
#[must_use]
pub const fn missing(reason: Missing) -> &'static str {
    match reason {
        Missing::NotAsked => "not-asked",
        Missing::NoVoltage => "no-voltage",
        Missing::ClipFree => "clip-free",
        Missing::Refused => "refused",
        Missing::Unsteady => "unsteady",
        Missing::Clipped => "clipped",
        Missing::BeyondRange => "beyond-range",
        Missing::NoCurrent => "no-current",
        Missing::RelaysUntested => "relays-untested",
        Missing::LimiterUntested => "limiter-untested",
    }
}

/// Why the tester started.
#[must_use]
pub const fn boot(cause: BootCause) -> &'static str {
    match cause {
        BootCause::PowerOn => "power-on",
        BootCause::Watchdog => "watchdog",
        BootCause::Panic => "panic",
        BootCause::PowerDip => "power-dip",
        BootCause::ResetPin => "reset-pin",
        BootCause::Debugger => "debugger",
        BootCause::BootLoader => "boot-loader",
    }
}

/// What ended a run of the tester's program.
#[must_use]
pub const fn stop(how: Stop) -> &'static str {
    match how {
        Stop::Panic { .. } => "panic",
        Stop::Fault { .. } => "fault",
        Stop::Watchdog { .. } => "watchdog",
    }
}

/// A stage of the tester's program.
#[must_use]
pub const fn stage(stage: Stage) -> &'static str {
    match stage {
        Stage::Frames => "frames",
        Stage::Poll => "poll",
        Stage::Lamps => "lamps",
        Stage::Link => "link",
        Stage::Stimulator => "stimulator",
    }
}

/// Which test of itself the tester failed.
#[must_use]
pub const fn self_test(failure: SelfTestFailure) -> &'static str {
    match failure {
        SelfTestFailure::Image { .. } => "image",
        SelfTestFailure::Memory { .. } => "memory",
        SelfTestFailure::Register { .. } => "converter-register",
        SelfTestFailure::ShortedInput { .. } => "shorted-input",
        SelfTestFailure::TestVoltage { .. } => "test-voltage",
        SelfTestFailure::NoConversions { .. } => "no-conversions",
        SelfTestFailure::Clock { .. } => "clock",
        SelfTestFailure::Stack { .. } => "stack",
        SelfTestFailure::RelayClosed { .. } => "relay-closed",
        SelfTestFailure::NoisyInput { .. } => "noisy-input",
        SelfTestFailure::LimiterFails { .. } => "limiter-fails",
    }
}

/// How a record hangs on the one before.
#[must_use]
pub const fn chain(link: ChainLink) -> &'static str {
    match link {
        ChainLink::First => "first",
        ChainLink::Follows => "follows",
        ChainLink::Begins => "begins",
        ChainLink::Gap { .. } => "gap",
        ChainLink::Broken => "broken",
        ChainLink::Unread => "unread",
    }
}

/// The place of a check.
#[must_use]
pub const fn end(end: End) -> &'static str {
    match end {
        End::Receptacle => "receptacle",
        End::Box => "box",
        End::Panel => "panel",
        End::Service => "service",
        End::Appliance => "appliance",
        End::Tester => "tester",
    }
}

/// How dangerous.
#[must_use]
pub const fn severity(severity: Severity) -> &'static str {
    match severity {
        Severity::MetalMayBeLive => "metal-may-be-live",
        Severity::OneFaultAway => "one-fault-away",
        Severity::Damage => "damage",
        Severity::NotByItself => "not-by-itself",
        Severity::NoneFound => "none-found",
        Severity::Untold => "untold",
    }
}

/// What a tester is doing.
#[must_use]
pub const fn phase(phase: Phase) -> &'static str {
    match phase {
        Phase::Wiring => "wiring",
        Phase::EarthPath => "earth-path",
        Phase::NeutralAndGround => "neutral-and-ground",
        Phase::Steady => "steady",
        Phase::LoadCycle => "load-cycle",
        Phase::Waiting => "waiting",
        Phase::TesterFault => "tester-fault",
        Phase::NeutralToClip => "neutral-to-clip",
    }
}
