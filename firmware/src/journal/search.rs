//! Looking at the flash: where the log begins and ends, and what items stand in a sector, through the
//! storage library.

use embedded_storage_async::nor_flash::{MultiwriteNorFlash, NorFlash};
use sequential_storage::Error as StorageError;
use sequential_storage::cache::Cache;
use sequential_storage::queue::{QueueConfig, QueueStorage};

use super::head::HEAD_BYTES;
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

    /// The youngest record, freed or not: in the youngest sector, or in one before it if a power
    /// cut left the youngest without a whole item.
    fn find_last(&mut self) -> Outcome<Option<Item>, F> {
        for age in (0..self.used).rev() {
            let Some(mut reading) = self.reading_from(age)?.filter(|at| at.age == age) else {
                continue;
            };
            let mut last = None;
            let mut least = 0;
            while let Some(item) = self.record_in(&reading, least)? {
                reading.byte = item.end;
                last = Some(item);
                match item.number.checked_add(1) {
                    Some(next) => least = next,
                    None => break,
                }
            }
            if last.is_some() {
                return Ok(last);
            }
        }
        Ok(None)
    }

    /// Number of the first record that is not freed.
    fn find_first(&mut self) -> Outcome<Option<u32>, F> {
        let Some(least) = self.marks.freed.checked_add(1) else {
            return Ok(None);
        };
        let reading = self.reading_from(0)?;
        Ok(self
            .record_from(reading, least)?
            .map(|(item, _)| item.number))
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
    pub(super) const fn around(&self, place: usize) -> usize {
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
