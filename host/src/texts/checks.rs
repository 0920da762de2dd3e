//! The next check: what to do, at which end, and whose work it is.

use slotwise_core::finding::{FindingCode, NextCheck};
use slotwise_core::slots::ClipTarget;

/// The place of a check.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum End {
    /// Here, from outside, with the tester.
    Receptacle,
    /// Inside the receptacle box.
    Box,
    /// At the panel.
    Panel,
    /// At the service: meter, utility.
    Service,
    /// At the appliance.
    Appliance,
    /// At the tester itself.
    Tester,
}

impl End {
    /// Where, in words.
    #[must_use]
    pub const fn text(self) -> &'static str {
        match self {
            Self::Receptacle => "at the receptacle",
            Self::Box => "in the receptacle box",
            Self::Panel => "at the panel",
            Self::Service => "at the service",
            Self::Appliance => "at the appliance",
            Self::Tester => "at the tester",
        }
    }

    /// A name for programs; never changes.
    #[must_use]
    pub const fn code(self) -> &'static str {
        match self {
            Self::Receptacle => "receptacle",
            Self::Box => "box",
            Self::Panel => "panel",
            Self::Service => "service",
            Self::Appliance => "appliance",
            Self::Tester => "tester",
        }
    }
}

/// The words of one check.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct CheckText {
    /// A few words for a table.
    pub short: &'static str,
    /// What to do.
    pub what: &'static str,
    /// Where. `None` if nothing is left to do.
    pub end: Option<End>,
    /// Whether it is electrician's work.
    pub electrician: bool,
}

/// A name for programs; never changes.
#[must_use]
pub const fn code(next: NextCheck) -> &'static str {
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
    }
}

/// The words of `next` where it follows from `finding`: too high a voltage is looked for at
/// the service, a load that sags at the appliance's own steps.
#[must_use]
pub const fn text(next: NextCheck, finding: FindingCode) -> CheckText {
    let (short, what, end, electrician) = match next {
        NextCheck::None => (
            "nothing left",
            "Nothing is left to check here.",
            None,
            false,
        ),
        NextCheck::ClipOnIndependentEarth => (
            "clip on another earth, test again",
            "Put the clip lead on an earth that does not come through this receptacle, such as a \
             metal cold-water pipe that enters from the ground, and test again. The frame of this \
             appliance will not do: it hangs on the same ground slot. Hold the clip by its \
             insulation.",
            Some(End::Receptacle),
            false,
        ),
        NextCheck::EarthPath => (
            "measure the earth path",
            "Measure the resistance from the ground slot back to the panel. This version of the \
             tester has no probe for it yet: an electrician measures it with an earth-loop tester.",
            Some(End::Receptacle),
            true,
        ),
        NextCheck::LoadSteps => (
            "compare neutral and ground under load",
            "Let the appliance's blower and inducer start and stop at least three times and compare \
             the drop in neutral and ground. This version of the tester does not evaluate load \
             steps by itself yet: an electrician looks for a joint between neutral and ground.",
            Some(End::Appliance),
            true,
        ),
        NextCheck::OpenReceptacleBox => (
            "electrician opens the box",
            "Have the receptacle box opened with the circuit off, locked out and proven dead, and \
             the conductors put where they belong.",
            Some(End::Box),
            true,
        ),
        NextCheck::BreakerAndUpstream => (
            "check breaker, switch and upstream",
            "Look at the breaker, at a wall switch that feeds this receptacle, and at receptacles \
             and GFCI buttons upstream; then test again.",
            Some(End::Panel),
            false,
        ),
        NextCheck::LoadsOffAndRepeat => (
            "all loads off, test again",
            "Switch off and unplug every load on this circuit and test again.",
            Some(End::Receptacle),
            false,
        ),
        NextCheck::SupplyAtPanel => (
            "measure the supply",
            "Have the voltage of both legs measured at the panel, with and without load; if it is \
             wrong there too, call the utility.",
            Some(match finding {
                FindingCode::SupplyHigh | FindingCode::SupplyTooHigh => End::Service,
                _ => End::Panel,
            }),
            true,
        ),
        NextCheck::IsolateAtPanel => (
            "hands off; isolate at the panel",
            "Touch neither the appliance nor metal near it. Keep others away. Have the circuit \
             isolated at the panel.",
            Some(End::Panel),
            true,
        ),
        NextCheck::ServiceTheTester => (
            "service the tester",
            "Do not use the tester. Check its cord and inputs, calibrate it, and repeat the test.",
            Some(End::Tester),
            false,
        ),
        NextCheck::Repeat => (
            "leave it in, test again",
            "Seat the plug firmly, leave it in and test again; if it stays so, switch loads on this \
             circuit off first.",
            Some(End::Receptacle),
            false,
        ),
    };
    CheckText {
        short,
        what,
        end,
        electrician,
    }
}

/// What the clip was on, in words.
#[must_use]
pub const fn clip(target: ClipTarget) -> &'static str {
    match target {
        ClipTarget::NotConnected => "not connected",
        ClipTarget::ApplianceFrame => "on the appliance's frame",
        ClipTarget::IndependentEarth => "on an earth that does not come through this receptacle",
    }
}

/// The same in one word, for a table.
#[must_use]
pub const fn clip_short(target: ClipTarget) -> &'static str {
    match target {
        ClipTarget::NotConnected => "free",
        ClipTarget::ApplianceFrame => "frame",
        ClipTarget::IndependentEarth => "earth",
    }
}

/// A name for programs; never changes.
#[must_use]
pub const fn clip_code(target: ClipTarget) -> &'static str {
    match target {
        ClipTarget::NotConnected => "not-connected",
        ClipTarget::ApplianceFrame => "appliance-frame",
        ClipTarget::IndependentEarth => "independent-earth",
    }
}
