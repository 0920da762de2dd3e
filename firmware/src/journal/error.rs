//! Why the journal could not do what was asked.

use core::fmt;

/// Why the journal could not do what was asked. `E` is the error of the flash.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum JournalError<E> {
    /// The flash failed.
    Flash(E),
    /// The flash has too few sectors for a journal.
    FlashTooSmall {
        /// Its size in bytes.
        capacity: usize,
    },
    /// A record that was there reads as another now.
    Damaged,
    /// No room for another record. Nothing was overwritten.
    Full {
        /// Number of the last record.
        last: Option<u32>,
    },
    /// The record is longer than a journal entry may be.
    TooLong {
        /// Its length in bytes.
        length: usize,
        /// The most that fits.
        most: usize,
    },
    /// The caller's buffer is too small for the record.
    BufferTooSmall {
        /// Number of the record.
        number: u32,
        /// Its length in bytes.
        length: usize,
    },
    /// The record was written but does not read back.
    NotStored {
        /// Number that the record was to have.
        number: u32,
    },
    /// There is no record with this number.
    NoSuchRecord {
        /// The number.
        number: u32,
    },
    /// The host has not verified this record.
    NotConfirmed {
        /// Its number.
        number: u32,
    },
    /// The last possible number, 4294967295, is taken.
    NumbersUsedUp,
    /// A buffer is smaller than what was measured to fit it.
    Internal,
}

impl<E: fmt::Display> fmt::Display for JournalError<E> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Flash(error) => write!(f, "journal: {error}"),
            Self::FlashTooSmall { capacity } => write!(
                f,
                "journal: a flash of {capacity} bytes has no room for it; fit a larger part"
            ),
            Self::Damaged => f.write_str(
                "journal: a record does not read as before; pull what can be read and have the \
                 log memory checked",
            ),
            Self::Full { last: Some(last) } => write!(
                f,
                "journal: full after record {last}, nothing was overwritten; pull and verify \
                 the records, then free them"
            ),
            Self::Full { last: None } => f.write_str(
                "journal: no room for a record although it holds none; have the log memory checked",
            ),
            Self::TooLong { length, most } => write!(
                f,
                "journal: a record of {length} bytes is longer than {most}; this is a program \
                 error, report it"
            ),
            Self::BufferTooSmall { number, length } => write!(
                f,
                "journal: record {number} has {length} bytes, more than the buffer; this is a \
                 program error, report it"
            ),
            Self::NotStored { number } => write!(
                f,
                "journal: record {number} does not read back after it was written; repeat the \
                 test, replace the flash if it happens again"
            ),
            Self::NoSuchRecord { number } => write!(f, "journal: there is no record {number}"),
            Self::NotConfirmed { number } => write!(
                f,
                "journal: record {number} is not verified; pull and verify it first"
            ),
            Self::NumbersUsedUp => {
                f.write_str("journal: record numbers are used up; erase the journal")
            }
            Self::Internal => f.write_str("journal: the program contradicts itself; report it"),
        }
    }
}

impl<E: fmt::Display + fmt::Debug> core::error::Error for JournalError<E> {}

/// A journal that could not be opened, and the flash it was to be on.
pub struct OpenFailed<F, E> {
    /// The flash, untouched.
    pub flash: F,
    /// Why.
    pub error: JournalError<E>,
}

impl<F, E: fmt::Debug> fmt::Debug for OpenFailed<F, E> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("OpenFailed")
            .field("error", &self.error)
            .finish_non_exhaustive()
    }
}

impl<F, E: fmt::Display> fmt::Display for OpenFailed<F, E> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(&self.error, f)
    }
}

impl<F, E: fmt::Display + fmt::Debug> core::error::Error for OpenFailed<F, E> {}
