//! Finding things in the log: which sectors are in use, where it begins and ends, in which
//! sector a number is, what item comes next.
//!
//! The youngest sector is the one with the greatest sequence number. In use are the sectors
//! with a record that is not freed, and the youngest. Around the ring they stand in the order
//! of their sequence, with holes: a sector that was passed over, or that keeps freed records
//! because it cannot be erased.

use embedded_storage_async::nor_flash::{MultiwriteNorFlash, NorFlash};
use sequential_storage::Error as StorageError;
use sequential_storage::cache::Cache;
use sequential_storage::queue::{QueueConfig, QueueStorage};

use super::head::{HEAD_BYTES, Head};
use super::view::{SectorView, ViewError};
use super::{
    Item, Journal, JournalError, MAX_RECORD_BYTES, NUMBER_BYTES, NoCache, Outcome, Place, Pushed,
};
use crate::ready::ready;

impl<F: MultiwriteNorFlash> Journal<F> {
    /// Looks at the flash again if something was written that was not looked at since.
    pub(super) fn refresh(&mut self) -> Outcome<(), F> {
        if !self.is_stale {
            return Ok(());
        }
        self.cursor = None;
        self.marks = self.read_marks()?;
        self.find_sectors()?;
        self.last = self.find_last()?;
        self.first = self.find_first()?;
        self.is_stale = false;
        Ok(())
    }

    /// Finds the oldest sector and how many are in use, from the heads.
    fn find_sectors(&mut self) -> Outcome<(), F> {
        let before = self.used.checked_sub(1).map(|age| self.index(age));
        let mut youngest: Option<(usize, Head)> = None;
        let mut oldest_unfreed: Option<(usize, Head)> = None;
        let mut youngest_freed: Option<(usize, Head)> = None;
        let mut in_use = 0;
        self.begun_with = 0;
        for index in 0..self.sectors {
            let Some(head) = self.head(index)? else {
                continue;
            };
            self.begun_with = self.begun_with.max(head.first);
            let is_younger = |than: Option<(usize, Head)>| {
                than.is_none_or(|(_, than)| than.sequence < head.sequence)
            };
            if is_younger(youngest) {
                youngest = Some((index, head));
            }
            if head.first > self.marks.freed {
                in_use += 1;
                if oldest_unfreed.is_none_or(|(_, than)| than.sequence > head.sequence) {
                    oldest_unfreed = Some((index, head));
                }
            } else if is_younger(youngest_freed) {
                youngest_freed = Some((index, head));
            }
        }
        let Some((youngest, head)) = youngest else {
            (self.oldest, self.used, self.holes) = (0, 0, 0);
            return Ok(());
        };
        // Numbers given to sectors whose head then failed are remembered until the next start.
        self.sequence = self.sequence.max(head.sequence);
        let mut oldest = oldest_unfreed.map_or(youngest, |(index, _)| index);
        if let Some((index, _)) = youngest_freed {
            // It began with a record that is freed and may hold some that are not.
            if self.holds_unfreed(index)? {
                oldest = index;
                in_use += 1;
            } else if index == youngest {
                in_use += 1;
            }
        }
        if before != Some(youngest) {
            self.is_sealed = false;
        }
        self.oldest = oldest;
        self.used = self.around(youngest + self.sectors - oldest) + 1;
        self.holes = self.used.saturating_sub(in_use);
        Ok(())
    }

    /// The head of the sector of this age, if it is no hole.
    fn live_head(&mut self, age: usize) -> Outcome<Option<Head>, F> {
        let head = self.head(self.index(age))?;
        // Of the freed ones only the oldest can still hold something, and the youngest is the
        // oldest when all is freed.
        Ok(head.filter(|head| age == 0 || head.first > self.marks.freed))
    }

    /// The last item of the log: in the youngest sector, or in one before it if a power cut
    /// left the youngest without a whole item.
    fn find_last(&mut self) -> Outcome<Option<Item>, F> {
        for age in (0..self.used).rev() {
            if self.live_head(age)?.is_none() {
                continue;
            }
            let mut last = None;
            let mut place = Place::at_start(Self::base(self.index(age)));
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

    /// Number of the first record that is not freed.
    fn find_first(&mut self) -> Outcome<Option<u32>, F> {
        let (mut age, mut byte) = (0, HEAD_BYTES as u32);
        while let Some((item, found_age)) = self.item_from(age, byte)? {
            if item.number > self.marks.freed {
                return Ok(Some(item.number));
            }
            (age, byte) = (found_age, item.end);
        }
        Ok(None)
    }

    /// The item that was pushed last into this sector, read back.
    pub(super) fn find_pushed(&mut self, base: u32) -> Outcome<Option<Item>, F> {
        let mut place = match self.last {
            Some(last) if last.at.base == base => Place {
                base,
                byte: last.end,
            },
            _ => Place::at_start(base),
        };
        let mut pushed = None;
        while let Some(item) = self.item_at(place)? {
            place.byte = item.end;
            pushed = Some(item);
        }
        Ok(pushed)
    }

    /// The age of the sector in which to look for `number`: the youngest that began with a
    /// number not above it; the oldest if there is none.
    pub(super) fn age_holding(&mut self, number: u32) -> Outcome<usize, F> {
        let (mut low, mut high) = (0, self.used);
        while high - low > 1 {
            let middle = low + (high - low) / 2;
            let mut found = None;
            // A hole takes the number of the next sector that is none.
            for age in middle..high {
                if let Some(head) = self.live_head(age)? {
                    found = Some((age, head));
                    break;
                }
            }
            match found {
                Some((age, head)) if head.first <= number => low = age,
                _ => high = middle,
            }
        }
        Ok(low)
    }

    /// The first item at or after this byte of the sector of this age, in it or a younger one,
    /// and the age of its sector.
    pub(super) fn item_from(&mut self, age: usize, byte: u32) -> Outcome<Option<(Item, usize)>, F> {
        let (mut age, mut byte) = (age, byte);
        while age < self.used {
            // Behind a first item the head was looked at.
            let is_live = byte > HEAD_BYTES as u32 || self.live_head(age)?.is_some();
            if is_live {
                let base = Self::base(self.index(age));
                if let Some(item) = self.item_at(Place { base, byte })? {
                    return Ok(Some((item, age)));
                }
            }
            (age, byte) = (age + 1, HEAD_BYTES as u32);
        }
        Ok(None)
    }

    /// The first record at or after `place` in the same sector, read into the scratch buffer
    /// and checked.
    pub(super) fn item_at(&mut self, mut place: Place) -> Outcome<Option<Item>, F> {
        while let Some((length, end)) = self.raw_item(&mut place)? {
            let number = self.scratch.first_chunk().copied();
            if let (Some(number), Some(length)) = (number, length.checked_sub(NUMBER_BYTES)) {
                return Ok(Some(Item {
                    number: u32::from_le_bytes(number),
                    length,
                    at: place,
                    end,
                }));
            }
            place.byte = end; // No record of ours: too short for a number.
        }
        Ok(None)
    }

    /// Length and end of the first whole item at or after `place` in the same sector, read
    /// into the scratch buffer and checked. `place` is moved to where it was looked for last.
    pub(super) fn raw_item(&mut self, place: &mut Place) -> Outcome<Option<(usize, u32)>, F> {
        while place.byte < Self::SECTOR_BYTES {
            let view = SectorView::new(&mut self.flash, place.base, place.byte);
            let mut queue = QueueStorage::new(view, Self::page_config()?, Cache::new_uncached());
            let found = next_of(&mut queue, &mut self.scratch).ok_or(JournalError::Internal)?;
            let end = queue.flash().read_to();
            match found {
                Ok(None) => return Ok(None),
                Ok(Some(length)) => return Ok(Some((length, end))),
                // Nothing of ours: too long. Its header was read, its data was not.
                Err(StorageError::BufferTooSmall(length)) => {
                    place.byte = end.saturating_add(u32::try_from(length).unwrap_or(u32::MAX));
                }
                Err(error) => return Err(JournalError::from_storage(error)),
            }
        }
        Ok(None)
    }

    /// Writes an item behind those of a sector. What stands there afterwards is not looked at.
    pub(super) fn push_item(flash: &mut F, base: u32, item: &[u8]) -> Outcome<Pushed<F::Error>, F> {
        let view = SectorView::new(flash, base, HEAD_BYTES as u32);
        let mut queue = QueueStorage::new(view, Self::page_config()?, NoCache::new_uncached());
        let outcome = ready(queue.push(item, false)).ok_or(JournalError::Internal)?;
        Ok(match outcome {
            Ok(()) => Pushed::Tried(Ok(())),
            // Full, or full of what a power cut left: told before anything was written.
            Err(
                StorageError::FullStorage
                | StorageError::Storage {
                    value: ViewError::Refused,
                    ..
                },
            ) => Pushed::NoRoom,
            Err(error) => Pushed::Tried(Err(JournalError::from_storage(error))),
        })
    }

    fn page_config<'f>() -> Outcome<QueueConfig<SectorView<'f, F>>, F>
    where
        F: 'f,
    {
        QueueConfig::try_new(0..SectorView::<F>::ERASE_SIZE as u32)
            .map_err(|_| JournalError::Internal)
    }

    /// Index of the sector of this age.
    pub(super) const fn index(&self, age: usize) -> usize {
        self.around(self.oldest + age)
    }

    /// `place`, counted on from the first sector after the last. There are always sectors.
    const fn around(&self, place: usize) -> usize {
        match place.checked_rem(self.sectors) {
            Some(index) => index,
            None => 0,
        }
    }

    /// Address of the sector with this index.
    pub(super) const fn base(index: usize) -> u32 {
        Self::START + index as u32 * Self::SECTOR_BYTES
    }
}

/// Reads the first whole item of `queue` into `buffer` and returns its length.
#[expect(
    clippy::type_complexity,
    reason = "the library's error of a view's error"
)]
fn next_of<F: NorFlash>(
    queue: &mut QueueStorage<SectorView<'_, F>, NoCache>,
    buffer: &mut [u8; NUMBER_BYTES + MAX_RECORD_BYTES],
) -> Option<Result<Option<usize>, StorageError<ViewError<F::Error>>>> {
    let mut items = match ready(queue.iter())? {
        Ok(items) => items,
        Err(error) => return Some(Err(error)),
    };
    let found = ready(items.next(buffer))?;
    Some(found.map(|item| item.map(|item| item.len())))
}
