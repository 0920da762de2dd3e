//! Finding things in the log: which sectors are in use, where it begins and ends, in which
//! sector a number is, what item comes next.
//!
//! The sectors in use are one run of the ring, oldest to youngest; all but the youngest are
//! closed. Numbers only grow along it. Both are what a binary search needs.

use embedded_storage_async::nor_flash::{MultiwriteNorFlash, NorFlash, ReadNorFlash};
use sequential_storage::Error as StorageError;
use sequential_storage::cache::{Cache, Uncached};
use sequential_storage::queue::{QueueConfig, QueueStorage};

use super::guard::{GuardError, PageView};
use super::{Item, Journal, JournalError, Outcome, Place};
use crate::ready::ready;

/// A sector's mark counts as set with at least this many bits 0. The library writes 00 and
/// draws the line at the same place.
const MARK_BITS: u32 = 4;

/// Marks of a sector.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Sector {
    Blank,
    Begun,
    Closed,
}

impl<F: MultiwriteNorFlash> Journal<F> {
    /// Looks at the flash again if a write failed half way.
    pub(super) fn refresh(&mut self) -> Outcome<(), F> {
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
    pub(super) fn find_pushed(&mut self) -> Outcome<Item, F> {
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
        pushed.ok_or(JournalError::NotStored {
            number: self.last().map_or(1, |last| last.saturating_add(1)),
        })
    }

    /// The age of the sector in which to look for `number`: the youngest whose first item has
    /// a number not above it; the oldest if there is none.
    pub(super) fn age_holding(&mut self, number: u32) -> Outcome<usize, F> {
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
    pub(super) fn item_from(&mut self, mut place: Place) -> Outcome<Option<Item>, F> {
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
    pub(super) fn item_at(&mut self, place: Place) -> Outcome<Option<Item>, F> {
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
