//! What can be wrong with records in an archive, and the check of one against the one before.

use std::fmt;

use slotwise_core::record::{Digest, RecordNumber, TesterId};

use super::Columns;
use crate::chain::digest;

/// Something wrong at one record.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fault {
    /// Of which tester.
    pub tester: TesterId,
    /// At which record.
    pub number: RecordNumber,
    /// What.
    pub kind: FaultKind,
}

impl Fault {
    /// What is wrong where a record does not follow from the one before: that one is missing (a gap
    /// behind the `earlier` one), or one of the two was changed. `None` for the oldest that is
    /// kept of a tester: what came before it is not known.
    pub(super) fn of_link(
        tester: TesterId,
        number: RecordNumber,
        is_gap: bool,
        earlier: Option<RecordNumber>,
    ) -> Option<Self> {
        let kind = match (is_gap, earlier) {
            (true, Some(earlier)) => FaultKind::Gap {
                first: earlier.next(),
            },
            (true, None) if number != RecordNumber::FIRST => return None,
            _ => FaultKind::Broken,
        };
        Some(Self {
            tester,
            number,
            kind,
        })
    }
}

/// What is wrong.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum FaultKind {
    /// The records from `first` up to the one before this are missing.
    Gap {
        /// First that is missing.
        first: RecordNumber,
    },
    /// It does not carry the digest of the record before: one of the two was changed.
    Broken,
    /// Its bytes are not those that came in.
    Changed,
    /// A column does not say what the bytes say.
    Column,
    /// Its bytes cannot be read.
    Unread(String),
    /// The same number came with other bytes.
    Conflict,
    /// The row holds what no record can.
    Row(String),
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let number = self.number.get();
        write!(f, "tester {}, record {number}: ", self.tester)?;
        match &self.kind {
            FaultKind::Gap { first } if first.get() + 1 == number => {
                write!(f, "record {} before it is missing", first.get())
            }
            FaultKind::Gap { first } => write!(
                f,
                "records {} to {} before it are missing",
                first.get(),
                number - 1
            ),
            FaultKind::Broken => {
                f.write_str("it does not follow from the record before: one of them was changed")
            }
            FaultKind::Changed => f.write_str("its bytes are not those that came in"),
            FaultKind::Column => f.write_str("a stored value differs from what the record says"),
            FaultKind::Unread(why) => write!(f, "kept, but not read: {why}"),
            FaultKind::Conflict => {
                f.write_str("it came a second time with other bytes; both are kept")
            }
            FaultKind::Row(what) => write!(f, "the row is not one of an archive: {what}"),
        }
    }
}

/// What was looked at.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Verified {
    /// Testers.
    pub testers: u64,
    /// Records.
    pub records: u64,
    /// Faults found.
    pub faults: u64,
    /// What the database says of its own file, if that is not "ok".
    pub file: Vec<String>,
}

impl Verified {
    /// Whether nothing is wrong.
    #[must_use]
    pub const fn is_whole(&self) -> bool {
        self.faults == 0 && self.file.is_empty()
    }
}

/// A row as it is stored.
#[derive(Debug)]
pub(super) struct Stored {
    pub(super) tester: TesterId,
    pub(super) number: RecordNumber,
    pub(super) sha256: [u8; 32],
    pub(super) bytes: Vec<u8>,
    pub(super) columns: Columns,
}

/// Goes through the records by tester and number.
#[derive(Debug, Default)]
pub(super) struct Walk {
    before: Option<(TesterId, RecordNumber, Digest)>,
    pub(super) testers: u64,
    pub(super) records: u64,
}

impl Walk {
    /// Checks one record; the first of a tester may be any number, as its tester may have
    /// dropped older ones, but number 1 has nothing before it.
    pub(super) fn check(&mut self, stored: &Stored, found: &mut dyn FnMut(FaultKind)) {
        let &Stored { tester, number, .. } = stored;
        let now = digest(&stored.bytes);
        if now.0 != stored.sha256 {
            found(FaultKind::Changed);
        }
        let columns = Columns::of(tester, number, &stored.bytes);
        if columns != stored.columns {
            found(FaultKind::Column);
        }
        if let Some(why) = columns.unread {
            found(FaultKind::Unread(why));
        }
        let before = self.before.filter(|(other, _, _)| *other == tester);
        if before.is_none() {
            self.testers += 1;
        }
        match (before, columns.previous) {
            (None, Some(previous)) if number == RecordNumber::FIRST => {
                if previous != Digest::default() {
                    found(FaultKind::Broken);
                }
            }
            (None, _) => {}
            (Some((_, last, of_last)), previous) => {
                if last.next() != number {
                    found(FaultKind::Gap { first: last.next() });
                } else if previous.is_some_and(|previous| previous != of_last) {
                    found(FaultKind::Broken);
                }
            }
        }
        self.records += 1;
        self.before = Some((tester, number, now));
    }
}
