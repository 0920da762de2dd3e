//! Looking at the flash: where the log begins and ends, and which records stand in a sector.

use embedded_storage::nor_flash::MultiwriteNorFlash;

use super::{Item, Journal, NUMBER_BYTES, Outcome, Place};

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
