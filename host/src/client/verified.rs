//! Whether a log that was pulled may be confirmed to its tester: it is whole, its numbers have
//! no gap, its chain holds, and it begins no later than what the tester has not been told of.
//!
//! The file on the disk is what is checked, not what came over the line: it is the file that
//! is left when the tester forgets. A record of a newer schema cannot be checked, so nothing
//! from it on is confirmed.

use slotwise_core::link::JournalReport;
use slotwise_core::record::{Digest, RecordNumber};

use crate::chain::{ChainLink, check, digest};
use crate::log_file::LogFile;

/// What may be confirmed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Verified {
    /// The last record.
    pub upto: RecordNumber,
    /// SHA-256 of its bytes.
    pub digest: Digest,
}

/// Why a log may not be confirmed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NotVerified {
    /// There is no record in it.
    #[error("there is no record in it")]
    Empty,
    /// Something of the file is not whole.
    #[error("{0} places of the file are not whole; pull again")]
    Damaged(usize),
    /// Records before it are not confirmed.
    #[error(
        "it begins at record {first}, and record {owed} is not verified yet; \
         pull with --from {owed}"
    )]
    BeginsLate {
        /// First record of the file.
        first: u32,
        /// First record that the tester was not told of.
        owed: u32,
    },
    /// A record is missing, was changed, or cannot be read by this version.
    #[error("the chain does not hold at record {0}; keep the file and have the tester checked")]
    Chain(u32),
}

/// Checks a pulled log against how its tester's journal stands.
///
/// # Errors
/// Any [`NotVerified`]; nothing may be confirmed then.
pub fn verify(log: &LogFile, report: &JournalReport) -> Result<Verified, NotVerified> {
    if !log.damages.is_empty() {
        return Err(NotVerified::Damaged(log.damages.len()));
    }
    let (Some(first), Some(last)) = (log.records.first(), log.records.last()) else {
        return Err(NotVerified::Empty);
    };
    let oldest = report
        .kept
        .map_or(RecordNumber::FIRST, |(oldest, _)| oldest);
    let owed = report
        .confirmed
        .map_or(RecordNumber::FIRST, RecordNumber::next)
        .max(oldest);
    if first.number > owed {
        return Err(NotVerified::BeginsLate {
            first: first.number.get(),
            owed: owed.get(),
        });
    }
    for (place, checked) in check(&log.records).iter().enumerate() {
        let holds = match checked.link {
            ChainLink::First | ChainLink::Begins => place == 0,
            ChainLink::Follows => true,
            ChainLink::Gap { .. } | ChainLink::Broken | ChainLink::Unread => false,
        };
        if !holds || checked.record.is_err() {
            return Err(NotVerified::Chain(checked.number.get()));
        }
    }
    Ok(Verified {
        upto: last.number,
        digest: digest(&last.bytes),
    })
}
