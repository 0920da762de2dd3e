//! Beginning and erasing sectors: the only place where something can be lost, so each step
//! looks at what stands there before and after.

use embedded_storage::nor_flash::MultiwriteNorFlash;

use super::head::{Head, SEQUENCE_MOST};
use super::{BLANK_CHUNK, Journal, JournalError, Outcome, PASSES_AN_APPEND, Place};
use super::{MAX_SECTORS, SECTORS_BEFORE};
use crate::calibration_store::CALIBRATION_SECTORS;

/// What became of a sector that was to be begun.
enum Begun {
    Ready,
    /// It cannot be erased or written.
    Worn,
    /// A whole record that is not freed stands in it.
    Needed,
}

impl<F: MultiwriteNorFlash> Journal<F> {
    /// Erases every sector of the journal that is not blank; numbers start at 1 again. The
    /// calibration stays. Blocks for about 45 ms a sector: up to 95 s on a full 8 MiB part.
    ///
    /// # Errors
    /// `Flash`, or `FlashTooSmall` if there is no journal region. If it is cut off, erase
    /// again.
    pub fn erase(flash: &mut F) -> Outcome<(), F> {
        let capacity = flash.capacity();
        let sectors = (capacity / F::ERASE_SIZE).min(MAX_SECTORS + SECTORS_BEFORE);
        if sectors <= CALIBRATION_SECTORS {
            return Err(JournalError::FlashTooSmall { capacity });
        }
        // The marks first: left behind they would hide the records of the next journal.
        for sector in CALIBRATION_SECTORS..sectors {
            let base = sector as u32 * Self::SECTOR_BYTES;
            if !Self::is_blank(flash, base)? {
                Self::erase_sector(flash, base)?;
            }
        }
        Ok(())
    }

    /// Begins the next sector that can be: behind the youngest, around the ring, up to the
    /// oldest in use. `passes` counts those passed over in this append.
    pub(super) fn begin_sector(&mut self, number: u32, passes: &mut usize) -> Outcome<(), F> {
        let youngest = self
            .used
            .checked_sub(1)
            .map(|youngest| self.index(youngest));
        if self.passed_behind != youngest {
            self.passed = 0;
            self.passed_behind = youngest;
        }
        while self.used + self.passed < self.sectors {
            if *passes >= PASSES_AN_APPEND {
                return Err(JournalError::NotStored { number });
            }
            let index = self.index(self.used + self.passed);
            match self.prepare(index, number)? {
                Begun::Ready => {
                    self.holes += self.passed;
                    self.strange = self.strange.saturating_sub(self.passed);
                    for passed in self.used..self.used + self.passed {
                        self.in_use.remove(self.index(passed));
                    }
                    self.in_use.add(index);
                    self.youngest = Head {
                        sequence: self.next_sequence()?,
                        first: number,
                    };
                    self.used += self.passed + 1;
                    self.passed = 0;
                    self.passed_behind = Some(index);
                    self.is_sealed = false;
                    self.has_begun = true;
                    return Ok(());
                }
                Begun::Worn | Begun::Needed => {
                    self.passed += 1;
                    *passes += 1;
                }
            }
        }
        Err(JournalError::Full { last: self.last() })
    }

    /// The sequence number of the sector to begin next. It counts the sectors passed over, too:
    /// so it grows as the place around the ring does, by which `order` knows a sector of ours.
    fn next_sequence(&self) -> Outcome<u32, F> {
        let step = u32::try_from(self.passed + 1).map_err(|_| JournalError::Internal)?;
        self.youngest
            .sequence
            .checked_add(step)
            .filter(|sequence| *sequence <= SEQUENCE_MOST)
            .ok_or(JournalError::NumbersUsedUp)
    }

    /// Makes a sector ready for its first item.
    fn prepare(&mut self, index: usize, number: u32) -> Outcome<Begun, F> {
        let base = Self::base(index);
        // After a start the first one may have been at its erase when the power failed.
        let is_doubtful = self.marks.freed > 0 && !self.has_begun;
        if is_doubtful || !Self::is_blank(&mut self.flash, base)? {
            if self.holds_unfreed(index)? {
                return Ok(Begun::Needed);
            }
            // What the flash says of it counts less than what stands there afterwards.
            let _ = Self::erase_sector(&mut self.flash, base);
            if !Self::is_blank(&mut self.flash, base)? {
                return Ok(Begun::Worn);
            }
        }
        let head = Head {
            sequence: self.next_sequence()?,
            first: number,
        };
        Ok(if self.write_head(index, head)? {
            Begun::Ready
        } else {
            Begun::Worn
        })
    }

    /// Whether a whole record that is not freed stands in a sector, whatever its head says and
    /// whether it belongs there or not.
    pub(super) fn holds_unfreed(&mut self, index: usize) -> Outcome<bool, F> {
        let mut place = Place::at_start(Self::base(index));
        while let Some(item) = self.item_at(place)? {
            if item.number > self.marks.freed {
                return Ok(true);
            }
            place.byte = item.end;
        }
        Ok(false)
    }

    pub(super) fn erase_sector(flash: &mut F, base: u32) -> Outcome<(), F> {
        flash
            .erase(base, base + Self::SECTOR_BYTES)
            .map_err(JournalError::Flash)
    }

    pub(super) fn is_blank(flash: &mut F, base: u32) -> Outcome<bool, F> {
        let mut place = base;
        while place < base + Self::SECTOR_BYTES {
            let mut bytes = [0; BLANK_CHUNK];
            flash.read(place, &mut bytes).map_err(JournalError::Flash)?;
            if bytes.iter().any(|byte| *byte != 0xFF) {
                return Ok(false);
            }
            place += BLANK_CHUNK as u32;
        }
        Ok(true)
    }
}
