//! Why a value is missing, and other words of the evidence.

use slotwise_core::evidence::Missing;
use slotwise_core::record::BootCause;
use slotwise_core::self_test::{Relay, SelfTestFailure};
use slotwise_core::slots::Lead;
use slotwise_core::stimulus::DrivePath;

use crate::chain::ChainLink;

/// Why a value is missing.
#[must_use]
pub(super) const fn missing(reason: Missing) -> &'static str {
    match reason {
        Missing::NotAsked => "not measured in this test",
        Missing::NoVoltage => "no voltage to measure it with",
        Missing::ClipFree => "the clip hangs free",
        Missing::Refused => "refused: the current for it would not have been safe here",
        Missing::Unsteady => "it moved too much to be stated",
        Missing::Clipped => "beyond full scale",
        Missing::BeyondRange => "beyond what the tester can measure: open, or all but open",
        Missing::NoCurrent => "the tester's own current did not flow",
        Missing::RelaysUntested => {
            "the tester could not test its relays: the voltage moved too much"
        }
        Missing::LimiterUntested => {
            "the tester could not test its current limiter in this leg, so the reading does not count"
        }
    }
}

/// Why the tester started.
#[must_use]
pub(super) const fn boot(cause: BootCause) -> &'static str {
    match cause {
        BootCause::PowerOn => "tester switched on",
        BootCause::Watchdog => "tester restarted by its watchdog",
        BootCause::Panic => "tester restarted after an error of its program",
        BootCause::PowerDip => "tester restarted: its supply dipped",
        BootCause::ResetPin => "tester restarted by its reset pin",
        BootCause::Debugger => "tester restarted by a debug probe",
        BootCause::BootLoader => "tester restarted by its boot loader, as after an update",
    }
}

const fn lead_name(lead: Lead) -> &'static str {
    match lead {
        Lead::Narrow => "narrow slot's",
        Lead::Wide => "wide slot's",
        Lead::Ground => "ground slot's",
        Lead::Clip => "clip's",
    }
}

const fn relay_name(relay: Relay) -> &'static str {
    match relay {
        Relay::ProbeA => "probe's relay A",
        Relay::ProbeB => "probe's relay B",
        Relay::DriveToGround => "drive's relay to ground",
        Relay::DriveToClip => "drive's relay to the clip",
    }
}

/// A limiter of the drive: how the current rose with the level raised one way round.
fn limiter(path: DrivePath, high: bool, permille: i32, passes: [i32; 2]) -> String {
    let leg = match path {
        DrivePath::WideToGround => "to ground",
        DrivePath::WideToClip => "to the clip",
    };
    let sign = if high { "positive" } else { "negative" };
    let fails = if permille > passes[1] {
        "does not hold"
    } else {
        "acts too early, or the raised voltage for its test does not come"
    };
    let [rise, least, most] = [permille, passes[0], passes[1]].map(|one| f64::from(one) / 1000.0);
    format!(
        "its own current limiter in the leg {leg}, wide blade {sign}, {fails} (current raised to \
         {rise:.2} times; {least:.2} to {most:.2} passes). Do not use the tester; do steps 15a and \
         15b of hardware/checks.md"
    )
}

/// Which test of itself the tester failed, and by how much.
#[must_use]
pub(super) fn self_test(failure: SelfTestFailure) -> String {
    let what = match failure {
        SelfTestFailure::Image { found, expected } => {
            format!("its program was changed (check word {found:08x}, built as {expected:08x})")
        }
        SelfTestFailure::Memory {
            address,
            found,
            expected,
        } => format!("memory at {address:08x} held {found:08x} instead of {expected:08x}"),
        SelfTestFailure::Register {
            register,
            found,
            expected,
        } => {
            format!("converter register {register:02x} held {found:04x} instead of {expected:04x}")
        }
        SelfTestFailure::ShortedInput { lead, code, most } => format!(
            "the {} input, shorted, reads {code} (at most {most})",
            lead_name(lead)
        ),
        SelfTestFailure::TestVoltage {
            lead,
            code,
            least,
            most,
        } => format!(
            "the {} input reads its test voltage as {code} ({least} to {most} passes)",
            lead_name(lead)
        ),
        SelfTestFailure::NoConversions { bad } => {
            format!("{bad} conversions of its test voltages did not come whole")
        }
        SelfTestFailure::Clock {
            apart_ppm,
            most_ppm,
        } => format!("its clocks differ by {apart_ppm} ppm (at most {most_ppm})"),
        SelfTestFailure::Stack { untouched, guard } => {
            format!("its stack left {untouched} of {guard} guard bytes untouched")
        }
        SelfTestFailure::RelayClosed {
            relay,
            milliohms,
            most_milliohms,
        } => format!(
            "the {} does not open (current through it reads {} ohm; up to {} counts as none)",
            relay_name(relay),
            milliohms / 1000,
            most_milliohms / 1000
        ),
        SelfTestFailure::NoisyInput { lead, rms, most } => format!(
            "the {} input, shorted, scatters by {rms} (at most {most})",
            lead_name(lead)
        ),
        SelfTestFailure::LimiterFails {
            path,
            high,
            permille,
            least_permille,
            most_permille,
        } => limiter(path, high, permille, [least_permille, most_permille]),
    };
    format!("tester failed its self-test: {what}")
}

/// How a record hangs on the one before.
#[must_use]
pub(super) fn chain(link: ChainLink) -> String {
    match link {
        ChainLink::First => "the tester's first record".to_owned(),
        ChainLink::Follows => "follows the record before, unchanged".to_owned(),
        ChainLink::Begins => "the record before is not in this file".to_owned(),
        ChainLink::Gap { missing: 1 } => "one record is missing before it".to_owned(),
        ChainLink::Gap { missing } => format!("{missing} records are missing before it"),
        ChainLink::Broken => {
            "does not follow the record before: one of the two was changed".to_owned()
        }
        ChainLink::Unread => "not readable, so not checked".to_owned(),
    }
}
