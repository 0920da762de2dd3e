//! Why a value is missing, and other words of the evidence.

use slotwise_core::evidence::Missing;
use slotwise_core::record::BootCause;

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
    }
}

/// Why the tester started.
#[must_use]
pub(super) const fn boot(cause: BootCause) -> &'static str {
    match cause {
        BootCause::PowerOn => "tester switched on",
        BootCause::Watchdog => "tester restarted by its watchdog",
        BootCause::Panic => "tester restarted after an error of its program",
    }
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
