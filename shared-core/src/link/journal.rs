//! What the host asks of the tester's journal: how it stands, that a pull was verified, and
//! that the room of verified records may be used again.
//!
//! The tester uses room again only for records that were confirmed and freed. Confirming
//! proves that the host holds the very bytes: it sends the digest of the last record, and each
//! record carries the digest of the one before. Freeing takes two steps: the tester offers a
//! token for the confirmed number, and frees when token and number come back. An offer holds
//! for [`OFFER_HOLDS`] milliseconds, for one answer, and no longer than the port is open. The
//! order of the variants is the wire format: only append.

use serde::{Deserialize, Serialize};

use super::message::JournalState;
use crate::record::{Digest, RecordNumber};

/// How long an offer holds, in milliseconds of the tester's time. Common practice, no source:
/// long enough to read a question and answer it.
pub const OFFER_HOLDS: u64 = 30_000;

/// What the host asks.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum JournalRequest {
    /// How does the journal stand?
    Report,
    /// The host holds every record up to this one, and has checked numbers and chain.
    Confirm {
        /// The last record.
        upto: RecordNumber,
        /// SHA-256 of its bytes.
        digest: Digest,
    },
    /// Offer to free what is confirmed.
    OfferFree,
    /// Free it.
    Free {
        /// The record that the offer named.
        upto: RecordNumber,
        /// The token of the offer.
        token: u32,
    },
}

/// What the tester answers.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum JournalReply {
    /// How it stands, after what was asked.
    Report(JournalReport),
    /// Repeat both to free every record up to this one.
    Offered {
        /// The last record.
        upto: RecordNumber,
        /// The token.
        token: u32,
    },
    /// It is refused, and nothing was changed.
    Refused(JournalRefusal),
}

/// How the journal stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct JournalReport {
    /// Whether records can be kept.
    pub state: JournalState,
    /// Oldest and newest record that is not freed.
    pub kept: Option<(RecordNumber, RecordNumber)>,
    /// Last record that the host has verified.
    pub confirmed: Option<RecordNumber>,
    /// Last record whose room may be used again.
    pub freed: Option<RecordNumber>,
    /// Sectors of the chip that hold records, of how many.
    pub sectors: (u16, u16),
    /// Sectors that could not be written or erased and are passed over.
    pub passed_over: u16,
}

/// Why it is refused.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum JournalRefusal {
    /// The tester's record of this number has other bytes, or there is none.
    NotTheSame,
    /// Nothing is confirmed that is not freed already.
    NothingToFree,
    /// Nothing was offered, the offer is over, or number or token are others.
    Token,
    /// The chip did not take it. What was remembered before still holds.
    NotStored,
    /// The journal's chip failed.
    Failed,
}
