//! The journal: numbered records in NOR flash that survive a power cut at any byte.
//!
//! The log itself is `sequential_storage`'s queue, which checks every item by a CRC and skips
//! what a power cut left half written. On top of it this module numbers the records, finds
//! one by its number without walking the whole log, and never erases:
//!
//! ```text
//! sector 0, 1   calibration, two copies (calibration_store)
//! sector 2 ..   the queue; an item = record number (u32, little-endian), record bytes
//! ```
//! - A record is acknowledged only after it was read back.
//! - A full journal refuses the next record; it overwrites nothing. Erasing is a step of its
//!   own ([`Journal::erase`]), for a host that has verified what it pulled.
//! - Numbers are stored, not counted, and grow by one from record to record. A record that
//!   went bad later is a gap in the numbers, seen by whoever reads.
//!
//! Cost. Opening reads two bytes of every sector in use and one of every other, in two
//! passes, then one sector in full. An append is one or two page programs for each 256 bytes
//! and one read back. [`Journal::read_from`] reads one item when called in sequence, else it
//! does a binary search over the sectors (11 items for 2046 sectors) and reads at most one
//! sector of items. Bus and busy time on the virtual board, 8 MiB filled with 8184 records of
//! 900 bytes: open 12 ms; append at most 4.3 ms, the first one after opening 24 ms (the
//! library looks at every sector once); read 0.5 ms in sequence, at most 7 ms out of it.

mod error;
mod guard;
mod search;

use core::fmt;

use embedded_storage_async::nor_flash::{MultiwriteNorFlash, ReadNorFlash};
use sequential_storage::Error as StorageError;
use sequential_storage::cache::page_states::ArrayPageStates;
use sequential_storage::cache::{Cache, Uncached};
use sequential_storage::queue::{QueueConfig, QueueStorage};

use crate::calibration_store::{CALIBRATION_SECTORS, CalibrationStore};
use crate::ready::ready;
pub use error::{JournalError, OpenFailed};
use guard::Guard;

/// Most bytes of a record.
pub const MAX_RECORD_BYTES: usize = slotwise_core::record::MAX_BYTES;

/// Most sectors that the journal uses: an 8 MiB part without the calibration sectors. It
/// costs one byte of RAM each. What a larger part has beyond that stays unused.
pub const MAX_SECTORS: usize = 2048 - CALIBRATION_SECTORS;

/// Bytes of the record number in front of the record.
const NUMBER_BYTES: usize = 4;

type States = Cache<ArrayPageStates<MAX_SECTORS>, Uncached, Uncached>;

type Outcome<T, F> =
    Result<T, JournalError<<F as embedded_storage_async::nor_flash::ErrorType>::Error>>;

/// A place in the log: the sector, by its age, and a byte in it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Place {
    /// 0 = oldest sector in use.
    age: usize,
    /// Counted from the start of the sector.
    byte: u32,
}

impl Place {
    /// The first item of a sector stands behind the mark.
    const fn start_of(age: usize) -> Self {
        Self { age, byte: 1 }
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

/// The journal on a flash.
pub struct Journal<F: MultiwriteNorFlash> {
    storage: QueueStorage<Guard<F>, States>,
    /// One item: number and record.
    scratch: [u8; NUMBER_BYTES + MAX_RECORD_BYTES],
    /// Sectors of the region.
    sectors: usize,
    /// Index of the oldest sector in use.
    oldest: usize,
    /// Sectors in use, oldest to youngest; 0 = the journal is empty.
    used: usize,
    first: Option<u32>,
    last: Option<Item>,
    /// Where the record after the one read last begins, and the number of the one read last.
    cursor: Option<(u32, Place)>,
    /// A write failed half way: what stands in the flash must be looked at again.
    is_stale: bool,
}

impl<F: MultiwriteNorFlash> fmt::Debug for Journal<F> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Journal")
            .field("sectors", &self.sectors)
            .field("used", &self.used)
            .field("first", &self.first)
            .field("last", &self.last())
            .finish_non_exhaustive()
    }
}

impl<F: MultiwriteNorFlash> Journal<F> {
    const SECTOR_BYTES: u32 = F::ERASE_SIZE as u32;
    const START: u32 = CALIBRATION_SECTORS as u32 * Self::SECTOR_BYTES;

    /// Opens the journal of `flash` and looks for its first and last record. Writes nothing.
    ///
    /// # Errors
    /// [`OpenFailed`] with the flash in it: `Flash`, `FlashTooSmall` or `Damaged`.
    pub fn open(flash: F) -> Result<Self, OpenFailed<F, F::Error>> {
        const {
            assert!(
                F::READ_SIZE == 1 && F::WRITE_SIZE == 1,
                "the journal needs a flash that is read and written byte by byte"
            );
        }
        let capacity = flash.capacity();
        let sectors = (capacity / F::ERASE_SIZE)
            .saturating_sub(CALIBRATION_SECTORS)
            .min(MAX_SECTORS);
        let end = u32::try_from(sectors)
            .ok()
            .and_then(|sectors| sectors.checked_mul(Self::SECTOR_BYTES))
            .and_then(|bytes| bytes.checked_add(Self::START));
        let config = end.and_then(|end| QueueConfig::try_new(Self::START..end).ok());
        // The queue keeps one sector begun and finds it by its neighbours: it needs two.
        let (Some(config), true) = (config, sectors >= 2) else {
            let error = JournalError::FlashTooSmall { capacity };
            return Err(OpenFailed { flash, error });
        };
        let cache = Cache::new(ArrayPageStates::new(), Uncached, Uncached);
        let mut journal = Self {
            storage: QueueStorage::new(Guard { flash }, config, cache),
            scratch: [0; _],
            sectors,
            oldest: 0,
            used: 0,
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
        let (guard, _) = self.storage.destroy();
        guard.flash
    }

    /// Erases every sector of the journal that is not blank; numbers start at 1 again. The
    /// calibration stays. Blocks for about 45 ms a sector: up to 95 s on a full 8 MiB part.
    ///
    /// # Errors
    /// `Flash`, or `FlashTooSmall` if there is no journal region. If it is cut off, what is
    /// left may open as `Damaged`; erase again then.
    pub fn erase(flash: &mut F) -> Outcome<(), F> {
        let capacity = flash.capacity();
        let sectors = (capacity / F::ERASE_SIZE).min(MAX_SECTORS + CALIBRATION_SECTORS);
        if sectors <= CALIBRATION_SECTORS {
            return Err(JournalError::FlashTooSmall { capacity });
        }
        for sector in CALIBRATION_SECTORS..sectors {
            let base = sector as u32 * Self::SECTOR_BYTES;
            if !Self::is_blank(flash, base)? {
                ready(flash.erase(base, base + Self::SECTOR_BYTES))
                    .ok_or(JournalError::Internal)?
                    .map_err(JournalError::Flash)?;
            }
        }
        Ok(())
    }

    /// Number of the first record.
    #[must_use]
    pub const fn first(&self) -> Option<u32> {
        self.first
    }

    /// Number of the last record.
    #[must_use]
    pub const fn last(&self) -> Option<u32> {
        match self.last {
            Some(item) => Some(item.number),
            None => None,
        }
    }

    /// Sectors in use, of how many. A full journal has all in use.
    #[must_use]
    pub const fn sectors_used(&self) -> (usize, usize) {
        (self.used, self.sectors)
    }

    /// The calibration copies on the same flash.
    pub fn calibration_store(&mut self) -> CalibrationStore<'_, F> {
        CalibrationStore::new(&mut self.storage.flash().flash)
    }

    /// The number that the next record will get. After a failed append this first looks at
    /// what stands in the flash: the record that was reported as failed may be whole.
    ///
    /// # Errors
    /// `Flash`, `Damaged` or `NumbersUsedUp`.
    pub fn next_number(&mut self) -> Outcome<u32, F> {
        self.refresh()?;
        match self.last() {
            None => Ok(1),
            Some(last) => last.checked_add(1).ok_or(JournalError::NumbersUsedUp),
        }
    }

    /// Appends a record and returns its number. It was read back when this returns; after an
    /// error it may be there or not, which [`Journal::next_number`] finds out.
    ///
    /// # Errors
    /// `Full`, `TooLong`, `NotStored`, `NumbersUsedUp`, `Damaged` or `Flash`. All records
    /// acknowledged before stay readable.
    pub fn append(&mut self, payload: &[u8]) -> Outcome<u32, F> {
        // A record must fit in one sector: two marks and an item header stand beside it.
        let in_sector = F::ERASE_SIZE
            .saturating_sub(2 + QueueStorage::<Guard<F>, States>::item_overhead_size() as usize);
        let most = MAX_RECORD_BYTES.min(in_sector.saturating_sub(NUMBER_BYTES));
        if payload.len() > most {
            return Err(JournalError::TooLong {
                length: payload.len(),
                most,
            });
        }
        let number = self.next_number()?;
        let item = number.to_le_bytes();
        for (to, from) in self
            .scratch
            .iter_mut()
            .zip(item.iter().chain(payload.iter()))
        {
            *to = *from;
        }
        let bytes = self
            .scratch
            .get(..NUMBER_BYTES + payload.len())
            .ok_or(JournalError::Internal)?;
        self.is_stale = true;
        match ready(self.storage.push(bytes, false)) {
            None => return Err(JournalError::Internal),
            Some(Err(StorageError::FullStorage)) => {
                // Told before anything was written.
                self.is_stale = false;
                return Err(JournalError::Full { last: self.last() });
            }
            Some(Err(error)) => return Err(JournalError::from_storage(error, self.last())),
            Some(Ok(())) => {}
        }
        let stored = self.find_pushed()?;
        if stored.number != number || self.payload(stored)? != payload {
            return Err(JournalError::NotStored { number });
        }
        self.first = self.first.or(Some(number));
        self.last = Some(stored);
        self.is_stale = false;
        Ok(number)
    }

    /// Copies the last record into `buffer` and returns its length; `None` if the journal is
    /// empty.
    ///
    /// # Errors
    /// `BufferTooSmall`, `Flash` or `Damaged`.
    pub fn last_payload(&mut self, buffer: &mut [u8]) -> Outcome<Option<usize>, F> {
        self.refresh()?;
        let Some(last) = self.last else {
            return Ok(None);
        };
        match self.item_at(last.at)? {
            Some(item) if item.number == last.number => self.hand_out(item, buffer).map(Some),
            _ => Err(JournalError::Damaged),
        }
    }

    /// Copies the first record with a number of at least `number` into `buffer` and returns
    /// its number and length; `None` if there is none. Called with the number after the one
    /// it returned last, it goes on where it stopped.
    ///
    /// # Errors
    /// `BufferTooSmall`, `Flash` or `Damaged`.
    pub fn read_from(
        &mut self,
        number: u32,
        buffer: &mut [u8],
    ) -> Outcome<Option<(u32, usize)>, F> {
        self.refresh()?;
        if self.last().is_none_or(|last| last < number) {
            return Ok(None);
        }
        let mut place = match self.cursor {
            Some((before, place)) if before.checked_add(1) == Some(number) => place,
            _ => Place::start_of(self.age_holding(number)?),
        };
        while let Some(item) = self.item_from(place)? {
            place = Place {
                age: item.at.age,
                byte: item.end,
            };
            if item.number >= number {
                let length = self.hand_out(item, buffer)?;
                self.cursor = Some((item.number, place));
                return Ok(Some((item.number, length)));
            }
        }
        Ok(None)
    }

    /// Number and record length of the item of `length` bytes in the scratch buffer.
    fn number_of(&self, length: usize) -> Option<(u32, usize)> {
        let (number, _) = self.scratch.get(..length)?.split_first_chunk()?;
        Some((u32::from_le_bytes(*number), length - NUMBER_BYTES))
    }

    /// The record of the item that is in the scratch buffer.
    fn payload(&self, item: Item) -> Outcome<&[u8], F> {
        self.scratch
            .get(NUMBER_BYTES..NUMBER_BYTES + item.length)
            .ok_or(JournalError::Internal)
    }

    fn hand_out(&self, item: Item, buffer: &mut [u8]) -> Outcome<usize, F> {
        let payload = self.payload(item)?;
        buffer
            .get_mut(..payload.len())
            .ok_or(JournalError::BufferTooSmall {
                number: item.number,
                length: item.length,
            })?
            .copy_from_slice(payload);
        Ok(item.length)
    }

    fn is_blank(flash: &mut F, base: u32) -> Outcome<bool, F> {
        const CHUNK: usize = 64;
        let mut place = base;
        while place < base + Self::SECTOR_BYTES {
            let mut bytes = [0; CHUNK];
            ready(flash.read(place, &mut bytes))
                .ok_or(JournalError::Internal)?
                .map_err(JournalError::Flash)?;
            if bytes.iter().any(|byte| *byte != 0xFF) {
                return Ok(false);
            }
            place += CHUNK as u32;
        }
        Ok(true)
    }
}

#[cfg(test)]
mod tests;
