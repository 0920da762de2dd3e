//! The journal: numbered records in NOR flash that survive a power cut at any byte.
//!
//! `items` writes, finds and checks what stands in one sector: it gives every item a CRC and skips
//! what a power cut left half written. This module numbers the records, orders the sectors,
//! goes around when the room is free, and finds a record by its number without walking the
//! whole log:
//!
//! ```text
//! sector 0, 1   calibration, two copies (calibration_store)
//! sector 2, 3   marks: how far the host has verified, how far the user gave the room free
//! sector 4 ..   head (twice); items = record number (u32, little-endian), record bytes
//! ```
//! - A record is acknowledged only after it was read back.
//! - Room is used again only for records that the host has verified *and* the user has freed
//!   ([`Journal::confirm`], [`Journal::free`]). Else a full journal refuses the next record.
//!   Before a sector is erased every item in it is looked at: one whole record that is not
//!   freed keeps the sector, whatever its head or the order of the sectors says.
//! - A sector that cannot be erased or written is passed over and counted
//!   ([`Journal::sectors_passed_over`]); what was to stand there goes to the next one.
//! - Whatever the flash held when the journal was opened, a record that was acknowledged is read
//!   again, by its number and in sequence. Sectors out of order, and records whose numbers do not
//!   fit between the heads of theirs and the next sector, are not read and not erased; such
//!   sectors are passed over and counted, too (`order`).
//! - Numbers are stored, not counted, grow by one from record to record and are never given
//!   again, also when every record is freed. A record that went bad later is a gap in the
//!   numbers, seen by whoever reads; only if all from the last head on went bad are theirs given
//!   again.
//! - An erase that the power cut can leave cells that read blank and do not hold. So once the
//!   log goes around, the first sector begun after a start is erased even if it reads blank.
//!
//! Limits: an erase cut off twice in the same sector before any record was freed is not
//! erased a third time if it reads blank. Of strange sectors that are in order the newest are
//! believed, and what does not fit to those is not read. A cell that reads now so, now otherwise
//! is found only by the CRC of its item.
//!
//! Cost. Opening reads the head of every sector twice and one sector in full. An append is one or
//! two page programs for each 256 bytes and one read back, and where a new sector begins the
//! look at it and, if it is not blank, an erase (45 ms). [`Journal::read_from`] reads one item
//! when called in sequence, else it does a binary search over the sectors and reads at most
//! one sector of items.

mod error;
mod head;
mod items;
mod marks;
mod order;
mod reading;
mod search;
mod sectors;

use core::fmt;

use embedded_storage::nor_flash::MultiwriteNorFlash;

use crate::calibration_store::{CALIBRATION_SECTORS, CalibrationStore};
pub use error::{JournalError, OpenFailed};
use head::{HEAD_BYTES, Head};
use items::ITEM_HEADER;
use marks::MARK_SECTORS;
pub use marks::Marks;
use order::Sectors;
use reading::Reading;

/// Most bytes of a record.
pub const MAX_RECORD_BYTES: usize = slotwise_core::record::MAX_BYTES;

/// Sectors in front of the records.
const SECTORS_BEFORE: usize = CALIBRATION_SECTORS + MARK_SECTORS;

/// Most sectors that the journal uses: a 16 MiB part, the largest that 24 address bits reach.
pub const MAX_SECTORS: usize = 4096 - SECTORS_BEFORE;

/// Bytes of the record number in front of the record.
const NUMBER_BYTES: usize = 4;

/// Sectors passed over in one append before it fails. An erase that never ends takes a second,
/// and a watchdog waits.
const PASSES_AN_APPEND: usize = 3;

type Outcome<T, F> = Result<T, JournalError<<F as embedded_storage::nor_flash::ErrorType>::Error>>;

/// A byte in a sector.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Place {
    /// Address of the sector.
    base: u32,
    /// Counted from the start of the sector.
    byte: u32,
}

impl Place {
    /// The first item of a sector stands behind its head.
    const fn at_start(base: u32) -> Self {
        Self {
            base,
            byte: HEAD_BYTES as u32,
        }
    }
}

/// An item that is in the scratch buffer.
#[derive(Clone, Copy, Debug)]
struct Item {
    number: u32,
    /// Bytes of the record, number not counted.
    length: usize,
    at: Place,
    /// The byte after it, in the same sector.
    end: u32,
}

/// What became of an item that was to be written.
enum Pushed<E> {
    /// Nothing was written.
    NoRoom,
    /// It was tried; what stands there must be looked at.
    Tried(Result<(), JournalError<E>>),
}

/// The journal on a flash.
pub struct Journal<F: MultiwriteNorFlash> {
    flash: F,
    /// One item: number and record.
    scratch: [u8; NUMBER_BYTES + MAX_RECORD_BYTES],
    /// Sectors of the region.
    sectors: usize,
    /// Index of the oldest sector in use.
    oldest: usize,
    /// Sectors in use around the ring, oldest to youngest, holes among them; 0 = none.
    used: usize,
    /// Which sectors these are, by their index: the others among them are holes.
    in_use: Sectors,
    /// Head of the youngest sector: all numbers below its own were given.
    youngest: Head,
    /// Sectors among those in use that hold nothing: they were passed over.
    holes: usize,
    /// Sectors besides that hold whole records out of order, which no journal left there.
    strange: usize,
    /// Sectors behind the youngest that were passed over since start, and the youngest then.
    passed: usize,
    passed_behind: Option<usize>,
    /// Nothing more goes into the youngest sector.
    is_sealed: bool,
    /// A sector was begun since start.
    has_begun: bool,
    marks: Marks,
    first: Option<u32>,
    last: Option<Item>,
    /// Number of the record read last, and the place behind it.
    cursor: Option<(u32, Reading)>,
    /// What stands in the flash must be looked at again.
    is_stale: bool,
}

impl<F: MultiwriteNorFlash> fmt::Debug for Journal<F> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Journal")
            .field("sectors", &self.sectors)
            .field("used", &self.used)
            .field("marks", &self.marks)
            .field("first", &self.first)
            .field("last", &self.last())
            .finish_non_exhaustive()
    }
}

impl<F: MultiwriteNorFlash> Journal<F> {
    const SECTOR_BYTES: u32 = F::ERASE_SIZE as u32;
    const START: u32 = SECTORS_BEFORE as u32 * Self::SECTOR_BYTES;
    /// Most records of a sector: empty ones.
    const MOST_IN_SECTOR: u32 = Self::SECTOR_BYTES / (ITEM_HEADER + NUMBER_BYTES) as u32;

    /// Opens the journal of `flash` and looks for its first and last record. Writes nothing.
    ///
    /// # Errors
    /// [`OpenFailed`] with the flash in it: `Flash` or `FlashTooSmall`.
    pub fn open(flash: F) -> Result<Self, OpenFailed<F, F::Error>> {
        const {
            assert!(
                F::READ_SIZE == 1 && F::WRITE_SIZE == 1,
                "the journal needs a flash that is read and written byte by byte"
            );
            assert!(
                F::ERASE_SIZE >= 4 * HEAD_BYTES && F::ERASE_SIZE.is_multiple_of(BLANK_CHUNK),
                "sectors too small, or odd"
            );
        }
        let capacity = flash.capacity();
        let sectors = (capacity / F::ERASE_SIZE)
            .saturating_sub(SECTORS_BEFORE)
            .min(MAX_SECTORS);
        // One sector to write in and one to go on to.
        if sectors < 2 {
            let error = JournalError::FlashTooSmall { capacity };
            return Err(OpenFailed { flash, error });
        }
        let mut journal = Self {
            flash,
            scratch: [0; _],
            sectors,
            oldest: 0,
            used: 0,
            in_use: Sectors::NONE,
            youngest: Head::NONE,
            holes: 0,
            strange: 0,
            passed: 0,
            passed_behind: None,
            is_sealed: false,
            has_begun: false,
            marks: Marks::default(),
            first: None,
            last: None,
            cursor: None,
            is_stale: true,
        };
        match journal.refresh() {
            Ok(()) => Ok(journal),
            Err(error) => Err(OpenFailed {
                flash: journal.close(),
                error,
            }),
        }
    }

    /// Gives the flash back.
    pub fn close(self) -> F {
        self.flash
    }

    /// Number of the first record that is not freed.
    #[must_use]
    pub const fn first(&self) -> Option<u32> {
        self.first
    }

    /// Number of the last record, freed or not.
    #[must_use]
    pub const fn last(&self) -> Option<u32> {
        match self.last {
            Some(item) => Some(item.number),
            None => None,
        }
    }

    /// Sectors in use, of how many.
    #[must_use]
    pub const fn sectors_used(&self) -> (usize, usize) {
        (self.used, self.sectors)
    }

    /// Sectors that could not be erased or written, or hold what no journal left there, as far
    /// as that is known: among those in use, and behind them since start.
    #[must_use]
    pub const fn sectors_passed_over(&self) -> usize {
        // A strange sector may be among those passed over since start.
        let behind = if self.passed > self.strange {
            self.passed
        } else {
            self.strange
        };
        self.holes + behind
    }

    /// The calibration copies on the same flash.
    pub fn calibration_store(&mut self) -> CalibrationStore<'_, F> {
        CalibrationStore::new(&mut self.flash)
    }

    /// The number that the next record will get. After a failed append this first looks at
    /// what stands in the flash: the record that was reported as failed may be whole.
    ///
    /// # Errors
    /// `Flash` or `NumbersUsedUp`.
    pub fn next_number(&mut self) -> Outcome<u32, F> {
        self.refresh()?;
        let given = self.last().unwrap_or(0).max(self.marks.confirmed);
        // Records before the last head may have gone bad since: their numbers were given too.
        given
            .checked_add(1)
            .map(|next| next.max(self.youngest.first))
            .ok_or(JournalError::NumbersUsedUp)
    }

    /// Appends a record and returns its number. It was read back when this returns; after an
    /// error it may be there or not, which [`Journal::next_number`] finds out.
    ///
    /// # Errors
    /// `Full`, `TooLong`, `NotStored`, `NumbersUsedUp` or `Flash`. All records acknowledged
    /// before and not freed stay readable.
    pub fn append(&mut self, payload: &[u8]) -> Outcome<u32, F> {
        // A record must fit in one sector, beside the head and its item header.
        let most = MAX_RECORD_BYTES.min(Self::MOST_ITEM_BYTES.saturating_sub(NUMBER_BYTES));
        if payload.len() > most {
            return Err(JournalError::TooLong {
                length: payload.len(),
                most,
            });
        }
        let number = self.next_number()?;
        self.is_stale = true;
        let mut passes = 0;
        loop {
            if self.used > 0
                && !self.is_sealed
                && number.saturating_sub(self.youngest.first) < Self::MOST_IN_SECTOR
                && let Some(stored) = self.push_record(number, payload)?
            {
                self.first = self.first.or(Some(number));
                self.last = Some(stored);
                self.is_stale = false;
                return Ok(number);
            }
            match self.begin_sector(number, &mut passes) {
                Err(error @ JournalError::Full { .. }) => {
                    // The oldest may have been the youngest when it was freed: then its turn
                    // comes now.
                    let before = self.used;
                    let oldest = self.reading_from(0)?;
                    let is_free = match oldest {
                        Some(oldest) => !self.has_unfreed(&oldest)?,
                        None => true,
                    };
                    if before > 1 && is_free {
                        self.refresh()?;
                        self.is_stale = true;
                    }
                    if self.used >= before {
                        self.is_stale = passes > 0 || self.is_sealed;
                        return Err(error);
                    }
                }
                begun => begun?,
            }
        }
    }

    /// Writes the record into the youngest sector; `None` if it must go to another one.
    fn push_record(&mut self, number: u32, payload: &[u8]) -> Outcome<Option<Item>, F> {
        let base = Self::base(self.index(self.used.saturating_sub(1)));
        let head = number.to_le_bytes();
        let content = head.iter().chain(payload.iter());
        for (to, from) in self.scratch.iter_mut().zip(content) {
            *to = *from;
        }
        let item = self
            .scratch
            .get(..NUMBER_BYTES + payload.len())
            .ok_or(JournalError::Internal)?;
        let written = match Self::push_item(&mut self.flash, base, item)? {
            Pushed::NoRoom => return Ok(None),
            Pushed::Tried(written) => written,
        };
        // The flash may report a failure and have written all the same, or the other way round.
        let stored = match self.find_pushed(base) {
            Ok(stored) => stored,
            Err(error) => return written.and(Err(error)),
        };
        if let Some(stored) = stored
            && stored.number == number
            && self.payload(stored)? == payload
        {
            return Ok(Some(stored));
        }
        self.is_sealed = true;
        Ok(None)
    }
}

/// Bytes looked at in one go where a sector should be blank.
const BLANK_CHUNK: usize = 64;

#[cfg(test)]
mod tests;
