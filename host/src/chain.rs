//! The chain of records: each carries the SHA-256 of the bytes of the one before, so a record
//! that was changed, dropped or put in between is noticed.
//!
//! What this proves: records that hang together were not altered one by one. It proves nothing
//! against someone who makes a whole new chain; the tester holds no secret.

use sha2::{Digest as _, Sha256};
use slotwise_core::record::{Digest, Record, RecordError, RecordNumber, decode};

use crate::log_file::KeptRecord;

/// How a record hangs on the one before.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ChainLink {
    /// The tester's first record: nothing is before it.
    First,
    /// It carries the digest of the record before.
    Follows,
    /// The records before it are not in the file, so it cannot be checked.
    Begins,
    /// Records are missing between it and the one before in the file.
    Gap {
        /// How many.
        missing: u32,
    },
    /// It does not carry the digest of the record before: one of the two was changed.
    Broken,
    /// It could not be read.
    Unread,
}

impl ChainLink {
    /// Whether something is wrong.
    #[must_use]
    pub const fn is_wrong(self) -> bool {
        matches!(self, Self::Gap { .. } | Self::Broken)
    }
}

/// A record of a file, read and checked.
#[derive(Clone, Debug)]
pub struct Checked {
    /// Its number, as the frame says.
    pub number: RecordNumber,
    /// The record, or why it cannot be read.
    pub record: Result<Box<Record>, Unreadable>,
    /// How it hangs on the one before.
    pub link: ChainLink,
}

/// Why a record cannot be shown.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Unreadable {
    /// Its bytes do not decode.
    Record(RecordError),
    /// The record says another number than its frame.
    OtherNumber(RecordNumber),
}

impl std::fmt::Display for Unreadable {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Record(error) => error.fmt(f),
            Self::OtherNumber(number) => {
                write!(f, "the record calls itself number {}", number.get())
            }
        }
    }
}

/// SHA-256 of record bytes.
#[must_use]
pub fn digest(bytes: &[u8]) -> Digest {
    Digest(Sha256::digest(bytes).into())
}

/// Reads the records and checks how they hang together. They come sorted by number.
#[must_use]
pub fn check(records: &[KeptRecord]) -> Vec<Checked> {
    let mut before: Option<&KeptRecord> = None;
    let mut checked = Vec::with_capacity(records.len());
    for kept in records {
        let record = match decode(&kept.bytes) {
            Ok(record) if record.number == kept.number => Ok(Box::new(record)),
            Ok(record) => Err(Unreadable::OtherNumber(record.number)),
            Err(error) => Err(Unreadable::Record(error)),
        };
        let link = match &record {
            Ok(record) => link(record, before),
            Err(_) => ChainLink::Unread,
        };
        checked.push(Checked {
            number: kept.number,
            record,
            link,
        });
        before = Some(kept);
    }
    checked
}

fn link(record: &Record, before: Option<&KeptRecord>) -> ChainLink {
    match before {
        None if record.number == RecordNumber::FIRST => {
            if record.previous == Digest::default() {
                ChainLink::First
            } else {
                ChainLink::Broken
            }
        }
        None => ChainLink::Begins,
        Some(before) if before.number.next() == record.number => {
            if record.previous == digest(&before.bytes) {
                ChainLink::Follows
            } else {
                ChainLink::Broken
            }
        }
        Some(before) => ChainLink::Gap {
            missing: record.number.get() - before.number.get() - 1,
        },
    }
}
