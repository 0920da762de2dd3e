//! Reading records, by number and in sequence. That an item stands in the flash is no reason to believe
//! it: it counts where its number fits between the heads of its sector and the next one in use, and
//! rises.

use embedded_storage::nor_flash::MultiwriteNorFlash;

use super::head::{HEAD_BYTES, Head};
use super::{Item, Journal, JournalError, NUMBER_BYTES, Outcome, Place};

/// A place to read on from, in a sector that is in use.
#[derive(Clone, Copy, Debug)]
pub(super) struct Reading {
    /// Age of the sector.
    pub(super) age: usize,
    /// Address of the sector.
    pub(super) base: u32,
    /// Counted from the start of the sector.
    pub(super) byte: u32,
    /// The number in the sector's head.
    pub(super) first: u32,
    /// Age of the next sector in use, and the number in its head.
    pub(super) next: Option<(usize, u32)>,
}

impl<F: MultiwriteNorFlash> Journal<F> {
    /// Copies the last record into `buffer` and returns its length; `None` if there is none.
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

    /// Copies the first record that is not freed and has a number of at least `number` into
    /// `buffer` and returns its number and length; `None` if there is none. Called with the
    /// number after the one it returned last, it goes on where it stopped.
    ///
    /// # Errors
    /// `BufferTooSmall` or `Flash`.
    pub fn read_from(
        &mut self,
        number: u32,
        buffer: &mut [u8],
    ) -> Outcome<Option<(u32, usize)>, F> {
        self.refresh()?;
        let Some(unfreed) = self.marks.freed.checked_add(1) else {
            return Ok(None);
        };
        let number = number.max(unfreed);
        if self.last().is_none_or(|last| last < number) {
            return Ok(None);
        }
        let reading = match self.cursor {
            Some((before, reading)) if before.checked_add(1) == Some(number) => Some(reading),
            _ => {
                let age = self.age_holding(number)?;
                self.reading_from(age)?
            }
        };
        let Some((item, reading)) = self.record_from(reading, number)? else {
            return Ok(None);
        };
        let length = self.hand_out(item, buffer)?;
        self.cursor = Some((item.number, reading));
        Ok(Some((item.number, length)))
    }

    /// The record of the item that is in the scratch buffer.
    pub(super) fn payload(&self, item: Item) -> Outcome<&[u8], F> {
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

    /// The age of the sector in which to look for `number`: the youngest that began with a
    /// number not above it; the oldest if there is none.
    pub(super) fn age_holding(&mut self, number: u32) -> Outcome<usize, F> {
        let (mut low, mut high) = (0, self.used);
        while high - low > 1 {
            let middle = low + (high - low) / 2;
            // A hole takes the number of the next sector that is none.
            let found = self.live_from(middle, high)?;
            match found {
                Some((age, head)) if head.first <= number => low = age,
                _ => high = middle,
            }
        }
        Ok(low)
    }

    /// The first sector at or above this age and below `end` that is in use, and its head.
    fn live_from(&mut self, age: usize, end: usize) -> Outcome<Option<(usize, Head)>, F> {
        for age in age..end {
            let index = self.index(age);
            if self.in_use.has(index)
                && let Some(head) = self.head(index)?
            {
                return Ok(Some((age, head)));
            }
        }
        Ok(None)
    }

    /// Where to begin reading at the first sector in use at or above this age.
    pub(super) fn reading_from(&mut self, age: usize) -> Outcome<Option<Reading>, F> {
        let Some((age, head)) = self.live_from(age, self.used)? else {
            return Ok(None);
        };
        self.reading_at(age, head.first).map(Some)
    }

    fn reading_at(&mut self, age: usize, first: u32) -> Outcome<Reading, F> {
        let next = self.live_from(age + 1, self.used)?;
        Ok(Reading {
            age,
            base: Self::base(self.index(age)),
            byte: HEAD_BYTES as u32,
            first,
            next: next.map(|(age, head)| (age, head.first)),
        })
    }

    /// The next record with a number of at least `least`, in this sector or a younger one, and
    /// where to go on behind it.
    pub(super) fn record_from(
        &mut self,
        reading: Option<Reading>,
        least: u32,
    ) -> Outcome<Option<(Item, Reading)>, F> {
        let Some(mut reading) = reading else {
            return Ok(None);
        };
        loop {
            if let Some(item) = self.record_in(&reading, least)? {
                reading.byte = item.end;
                return Ok(Some((item, reading)));
            }
            let Some((age, first)) = reading.next else {
                return Ok(None);
            };
            reading = self.reading_at(age, first)?;
        }
    }

    /// The next record of this sector with a number of at least `least` that belongs in it.
    pub(super) fn record_in(&mut self, reading: &Reading, least: u32) -> Outcome<Option<Item>, F> {
        let mut place = Place {
            base: reading.base,
            byte: reading.byte,
        };
        while let Some(item) = self.item_at(place)? {
            if item.number >= least && Self::belongs(reading, item.number) {
                return Ok(Some(item));
            }
            place.byte = item.end;
        }
        Ok(None)
    }

    /// Whether a record of this number can have been written into this sector: not below the
    /// head's number, not at or above the next one's, and no more than the room allows.
    fn belongs(reading: &Reading, number: u32) -> bool {
        number
            .checked_sub(reading.first)
            .is_some_and(|place| place < Self::MOST_IN_SECTOR)
            && reading.next.is_none_or(|(_, next)| number < next)
    }

    /// Whether a record that belongs into this sector is not freed.
    pub(super) fn has_unfreed(&mut self, reading: &Reading) -> Outcome<bool, F> {
        let Some(least) = self.marks.freed.checked_add(1) else {
            return Ok(false);
        };
        Ok(self.record_in(reading, least)?.is_some())
    }
}
