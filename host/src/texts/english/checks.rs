//! The next check: what to do, at which end, and whose work it is.

use slotwise_core::finding::{FindingCode, NextCheck};
use slotwise_core::slots::ClipTarget;

use crate::texts::{CheckText, End};

/// Where a check is made.
#[must_use]
pub(super) const fn end(end: End) -> &'static str {
    match end {
        End::Receptacle => "at the receptacle",
        End::Box => "in the receptacle box",
        End::Panel => "at the panel",
        End::Service => "at the service",
        End::Appliance => "at the appliance",
        End::Tester => "at the tester",
    }
}

/// The words of `next` where it follows from `finding`: too high a voltage is looked for at the
/// service. Slots that read sound are to be tested again only where the clip is on another earth
/// and the tester could not test its limiters or see its own current go there.
#[must_use]
pub(super) const fn text(next: NextCheck, finding: FindingCode) -> CheckText {
    let (short, what, end) = match next {
        NextCheck::None => ("nothing left", "Nothing is left to check here.", None),
        NextCheck::ClipOnIndependentEarth => (
            "clip on another earth, test again",
            "Put the clip lead on an earth that does not come through this receptacle, and test \
             again. A metal cold-water pipe that enters from the ground is one. The frame of this \
             appliance is not: it hangs on the same ground slot. Clip it to bare metal, not \
             paint; if neutral to clip reads above 200 ohm or open, take another earth. Hold the \
             clip by its insulation.",
            Some(End::Receptacle),
        ),
        NextCheck::EarthPath => (
            "measure the earth path",
            "Leave the tester in until the earth-path lamp answers: it measures the resistance from \
             the ground slot back to the panel. Where it is not allowed to, an electrician measures \
             it with an earth-loop tester.",
            Some(End::Receptacle),
        ),
        NextCheck::LoadSteps => (
            "compare neutral and ground under load",
            "Leave the tester in and let the appliance's blower and inducer start and stop at least \
             three times. The tester compares what neutral and ground do at each step.",
            Some(End::Appliance),
        ),
        NextCheck::OpenReceptacleBox => (
            "electrician opens the box",
            "Have the receptacle box opened with the circuit off, locked out and proven dead, and \
             the conductors put where they belong.",
            Some(End::Box),
        ),
        NextCheck::BreakerAndUpstream => (
            "check breaker, switch and upstream",
            "Look at the breaker, at a wall switch that feeds this receptacle, and at receptacles \
             and GFCI buttons upstream; then test again.",
            Some(End::Panel),
        ),
        NextCheck::LoadsOffAndRepeat if matches!(finding, FindingCode::ReadsSound) => (
            "all loads off, test again",
            "Leave the clip where it is. Switch off and unplug every load on this circuit and test \
             again. Loads hold the neutral 3 V or more away from earth, too much for the tester to \
             send its own current there.",
            Some(End::Receptacle),
        ),
        NextCheck::LoadsOffAndRepeat => (
            "all loads off, test again",
            "Switch off and unplug every load on this circuit and test again.",
            Some(End::Receptacle),
        ),
        NextCheck::SupplyAtPanel => (
            "measure the supply",
            "Have the voltage of both legs measured at the panel, with and without load; if it is \
             wrong there too, call the utility.",
            Some(match finding {
                FindingCode::SupplyHigh | FindingCode::SupplyTooHigh => End::Service,
                _ => End::Panel,
            }),
        ),
        NextCheck::IsolateAtPanel => (
            "hands off; isolate at the panel",
            "Touch neither the appliance nor metal near it. Keep others away. Have the circuit \
             isolated at the panel.",
            Some(End::Panel),
        ),
        NextCheck::ServiceTheTester if matches!(finding, FindingCode::SelfTestFailed) => (
            "service the tester",
            "Do not use the tester. Its last record says which test it failed: pull its records. \
             Have it repaired and calibrated before it is used again.",
            Some(End::Tester),
        ),
        NextCheck::ServiceTheTester => (
            "service the tester",
            "Do not use the tester. Check its cord and inputs, calibrate it, and repeat the test.",
            Some(End::Tester),
        ),
        NextCheck::Repeat if matches!(finding, FindingCode::ReadsSound) => (
            "leave it in, test again",
            "Leave the clip where it is, seat the plug firmly, and test again. The circuit was too \
             noisy for the tester to test its own limiters, or to see its current go through the \
             clip. If it stays so, switch loads on this circuit off first.",
            Some(End::Receptacle),
        ),
        NextCheck::Repeat => (
            "leave it in, test again",
            "Seat the plug firmly, leave it in and test again; if it stays so, switch loads on this \
             circuit off first.",
            Some(End::Receptacle),
        ),
        NextCheck::UnplugApplianceAndRepeat => (
            "unplug the appliance, test again",
            "Unplug the appliance, or open its disconnect, and test again with another load. If the \
             finding goes away, neutral is joined to the frame inside the appliance.",
            Some(End::Appliance),
        ),
        NextCheck::FrameGround => (
            "check the frame's ground wire",
            "With the power off and locked out, follow the ground wire from the junction box to the \
             frame, the burner and the control board: every end tight, on bare metal and not on \
             paint, and all of them on the same ground.",
            Some(End::Appliance),
        ),
    };
    CheckText { short, what, end }
}

/// What the clip was on, in words.
#[must_use]
pub(super) const fn clip(target: ClipTarget) -> &'static str {
    match target {
        ClipTarget::NotConnected => "not connected",
        ClipTarget::ApplianceFrame => "on the appliance's frame",
        ClipTarget::IndependentEarth => "on an earth that does not come through this receptacle",
    }
}

/// The same in one word, for a table.
#[must_use]
pub(super) const fn clip_short(target: ClipTarget) -> &'static str {
    match target {
        ClipTarget::NotConnected => "free",
        ClipTarget::ApplianceFrame => "frame",
        ClipTarget::IndependentEarth => "earth",
    }
}
