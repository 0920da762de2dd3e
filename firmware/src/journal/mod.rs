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
//! Cost on the board (16 MHz SPI; computed): opening reads two bytes of every begun sector and one of
//! every other one, then one sector in full; an append is one or two page programs for each
//! 256 bytes and one read back; [`Journal::read_from`] costs one item when called in
//! sequence, else a binary search over the sectors (11 items for 2046 sectors) and at most
//! one sector of items.

mod error;
mod guard;

use core::fmt;

use embedded_storage_async::nor_flash::{MultiwriteNorFlash, NorFlash, ReadNorFlash};
use sequential_storage::Error as StorageError;
use sequential_storage::cache::page_states::ArrayPageStates;
use sequential_storage::cache::{Cache, Uncached};
use sequential_storage::queue::{QueueConfig, QueueStorage};

use crate::calibration_store::{CALIBRATION_SECTORS, CalibrationStore};
use crate::ready::ready;
pub use error::{JournalError, OpenFailed};
use guard::{Guard, GuardError, PageView};

/// Most bytes of a record.
pub const MAX_RECORD_BYTES: usize = slotwise_core::record::MAX_BYTES;

/// Most sectors that the journal uses: an 8 MiB part without the calibration sectors. It
/// costs one byte of RAM each. What a larger part has beyond that stays unused.
pub const MAX_SECTORS: usize = 2048 - CALIBRATION_SECTORS;

/// Bytes of the record number in front of the record.
const NUMBER_BYTES: usize = 4;

/// A sector's mark counts as set with at least this many bits 0. The library writes 00 and
/// draws the line at the same place.
const MARK_BITS: u32 = 4;

type States = Cache<ArrayPageStates<MAX_SECTORS>, Uncached, Uncached>;

type Outcome<T, F> =
    Result<T, JournalError<<F as embedded_storage_async::nor_flash::ErrorType>::Error>>;

/// Marks of a sector.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Sector {
    Blank,
    Begun,
    Closed,
}

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

    /// Looks at the flash again if a write failed half way.
    fn refresh(&mut self) -> Outcome<(), F> {
        if !self.is_stale {
            return Ok(());
        }
        self.cursor = None;
        self.find_sectors()?;
        self.first = self.item_from(Place::start_of(0))?.map(|item| item.number);
        self.last = self.find_last()?;
        self.is_stale = false;
        Ok(())
    }

    /// Finds the oldest sector and how many are in use, from the marks.
    fn find_sectors(&mut self) -> Outcome<(), F> {
        let mut begun = None;
        let mut first_closed = None;
        let mut blank_after_closed = None;
        let mut before = self.sector(self.sectors - 1)?;
        for index in 0..self.sectors {
            let now = self.sector(index)?;
            match now {
                Sector::Begun => begun = begun.or(Some(index)),
                Sector::Closed => first_closed = first_closed.or(Some(index)),
                Sector::Blank if before == Sector::Closed => {
                    blank_after_closed = blank_after_closed.or(Some(index));
                }
                Sector::Blank => {}
            }
            before = now;
        }
        // The youngest sector is the begun one. Between two sectors, a power cut can leave
        // none begun: then it is the closed one before a blank one.
        let youngest = match (begun, blank_after_closed, first_closed) {
            (Some(index), _, _) => index,
            (None, Some(index), _) => (index + self.sectors - 1) % self.sectors,
            (None, None, None) => {
                self.oldest = 0;
                self.used = 0;
                return Ok(());
            }
            (None, None, Some(_)) => return Err(JournalError::Damaged),
        };
        // The oldest is the first one in use after the youngest, around the ring.
        let mut oldest = youngest;
        for step in 1..self.sectors {
            let index = (youngest + step) % self.sectors;
            if self.sector(index)? == Sector::Closed {
                oldest = index;
                break;
            }
        }
        self.oldest = oldest;
        self.used = (youngest + self.sectors - oldest) % self.sectors + 1;
        Ok(())
    }

    /// The last item of the log: in the youngest sector, or in the one before it if a power
    /// cut left the youngest without a whole item.
    fn find_last(&mut self) -> Outcome<Option<Item>, F> {
        for age in (0..self.used).rev() {
            let mut last = None;
            let mut place = Place::start_of(age);
            while let Some(item) = self.item_at(place)? {
                place.byte = item.end;
                last = Some(item);
            }
            if last.is_some() {
                return Ok(last);
            }
        }
        Ok(None)
    }

    /// The item that was pushed last, read back.
    fn find_pushed(&mut self) -> Outcome<Item, F> {
        if self.used == 0 {
            // The first item of an empty journal: the library chose the sector.
            self.find_sectors()?;
        } else if self.used < self.sectors {
            let next = self.index(self.used);
            if self.sector(next)? == Sector::Begun {
                self.used += 1;
            }
        }
        let youngest = Place::start_of(self.used.saturating_sub(1));
        let mut place = match self.last {
            Some(last) if last.at.age == youngest.age => Place {
                age: youngest.age,
                byte: last.end,
            },
            _ => youngest,
        };
        let mut pushed = None;
        while let Some(item) = self.item_at(place)? {
            place.byte = item.end;
            pushed = Some(item);
        }
        match (pushed, self.next_unstored()) {
            (Some(item), _) => Ok(item),
            (None, number) => Err(JournalError::NotStored { number }),
        }
    }

    fn next_unstored(&self) -> u32 {
        self.last().map_or(1, |last| last.saturating_add(1))
    }

    /// The age of the sector in which to look for `number`: the youngest whose first item has
    /// a number not above it; the oldest if there is none.
    fn age_holding(&mut self, number: u32) -> Outcome<usize, F> {
        let (mut low, mut high) = (0, self.used);
        while high - low > 1 {
            let middle = low + (high - low) / 2;
            // A sector without a whole item takes the number of the next one that has any.
            match self.item_from(Place::start_of(middle))? {
                Some(item) if item.number <= number && item.at.age < high => low = item.at.age,
                _ => high = middle,
            }
        }
        Ok(low)
    }

    /// The first item at or after `place`, in this sector or a younger one.
    fn item_from(&mut self, mut place: Place) -> Outcome<Option<Item>, F> {
        while place.age < self.used {
            if let Some(item) = self.item_at(place)? {
                return Ok(Some(item));
            }
            place = Place::start_of(place.age + 1);
        }
        Ok(None)
    }

    /// The first whole item at or after `place` in the same sector, read into the scratch
    /// buffer and checked.
    fn item_at(&mut self, place: Place) -> Outcome<Option<Item>, F> {
        let base = Self::START + self.index(place.age) as u32 * Self::SECTOR_BYTES;
        let mut byte = place.byte;
        while byte < Self::SECTOR_BYTES {
            let config =
                QueueConfig::try_new(0..Self::SECTOR_BYTES).map_err(|_| JournalError::Internal)?;
            let view = PageView::new(self.storage.flash(), base, byte);
            let mut queue = QueueStorage::new(view, config, Cache::new_uncached());
            let found = next_of(&mut queue, &mut self.scratch).ok_or(JournalError::Internal)?;
            let end = queue.flash().read_to();
            match found {
                Ok(None) => return Ok(None),
                Ok(Some(length)) => {
                    if let Some((number, length)) = self.number_of(length) {
                        let at = Place {
                            age: place.age,
                            byte,
                        };
                        return Ok(Some(Item {
                            number,
                            length,
                            at,
                            end,
                        }));
                    }
                    byte = end; // No record of ours: too short for a number.
                }
                // No record of ours either: too long. Its header was read, its data was not.
                Err(StorageError::BufferTooSmall(length)) => {
                    byte = end.saturating_add(u32::try_from(length).unwrap_or(u32::MAX));
                }
                Err(error) => return Err(JournalError::from_storage(error, None)),
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

    /// Index of the sector of this age.
    const fn index(&self, age: usize) -> usize {
        (self.oldest + age) % self.sectors
    }

    /// Reads the marks of a sector.
    fn sector(&mut self, index: usize) -> Outcome<Sector, F> {
        let base = Self::START + index as u32 * Self::SECTOR_BYTES;
        if !self.is_marked(base)? {
            Ok(Sector::Blank)
        } else if self.is_marked(base + Self::SECTOR_BYTES - 1)? {
            Ok(Sector::Closed)
        } else {
            Ok(Sector::Begun)
        }
    }

    fn is_marked(&mut self, address: u32) -> Outcome<bool, F> {
        let mut mark = [0xFF];
        ready(self.storage.flash().read(address, &mut mark)).ok_or(JournalError::Internal)??;
        let [mark] = mark;
        Ok(mark.count_zeros() >= MARK_BITS)
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

/// Reads the first whole item of `queue` into `buffer` and returns its length.
#[expect(
    clippy::type_complexity,
    reason = "the library's error of a view's error"
)]
fn next_of<F: NorFlash>(
    queue: &mut QueueStorage<PageView<'_, F>, Cache<Uncached, Uncached, Uncached>>,
    buffer: &mut [u8],
) -> Option<Result<Option<usize>, StorageError<GuardError<F::Error>>>> {
    let mut items = match ready(queue.iter())? {
        Ok(items) => items,
        Err(error) => return Some(Err(error)),
    };
    let found = ready(items.next(buffer))?;
    Some(found.map(|item| item.map(|item| item.len())))
}

#[cfg(test)]
mod tests;
