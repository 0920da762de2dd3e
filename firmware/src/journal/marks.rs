//! Up to which record the host has verified what it pulled, and up to which the user has said
//! that the room may be used again. Both only grow; both survive a power cut at any byte.
//!
//! Two sectors of their own take turns. An item holds both numbers; what
//! counts is the greatest whole one. Only when a sector has no more room the other is erased,
//! and only while the full one is known to hold the greatest. So a cut leaves the old numbers
//! or the new ones. A mark that is lost makes the journal keep more, never less.

use embedded_storage::nor_flash::MultiwriteNorFlash;

use super::{Journal, JournalError, Outcome, Place, Pushed};
use crate::calibration_store::CALIBRATION_SECTORS;

/// Sectors of the marks, behind those of the calibration.
pub(super) const MARK_SECTORS: usize = 2;

const ITEM_BYTES: usize = 8;

/// How far the host has come.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Marks {
    /// Last record that the host has verified; 0 = none.
    pub confirmed: u32,
    /// Last record whose room may be used again; 0 = none.
    pub freed: u32,
}

impl Marks {
    fn to_bytes(self) -> [u8; ITEM_BYTES] {
        let [c0, c1, c2, c3] = self.confirmed.to_le_bytes();
        let [f0, f1, f2, f3] = self.freed.to_le_bytes();
        [c0, c1, c2, c3, f0, f1, f2, f3]
    }

    /// Numbers that the journal wrote; none of others.
    fn from_bytes(bytes: &[u8]) -> Option<Self> {
        let &[c0, c1, c2, c3, f0, f1, f2, f3] = bytes else {
            return None;
        };
        let marks = Self {
            confirmed: u32::from_le_bytes([c0, c1, c2, c3]),
            freed: u32::from_le_bytes([f0, f1, f2, f3]),
        };
        (marks.freed <= marks.confirmed).then_some(marks)
    }
}

impl<F: MultiwriteNorFlash> Journal<F> {
    /// How far the host has verified and the user freed.
    #[must_use]
    pub const fn marks(&self) -> Marks {
        self.marks
    }

    /// Remembers that the host has verified every record up to `upto`. Durable when this
    /// returns; nothing is erased.
    ///
    /// # Errors
    /// `NoSuchRecord`, `NotStored` or `Flash`; what was remembered before stays.
    pub fn confirm(&mut self, upto: u32) -> Outcome<(), F> {
        self.refresh()?;
        if self.last().is_none_or(|last| last < upto) {
            return Err(JournalError::NoSuchRecord { number: upto });
        }
        if upto <= self.marks.confirmed {
            return Ok(());
        }
        let marks = Marks {
            confirmed: upto,
            ..self.marks
        };
        self.is_stale = true;
        self.write_marks(marks)?;
        // It was read back, and nothing else depends on it.
        self.marks = marks;
        self.is_stale = false;
        Ok(())
    }

    /// Gives the room of every record up to `upto` free: they are no longer read, and their
    /// sectors are used again when their turn comes. Durable when this returns.
    ///
    /// # Errors
    /// `NotConfirmed`, `NotStored` or `Flash`; nothing is freed then.
    pub fn free(&mut self, upto: u32) -> Outcome<(), F> {
        self.refresh()?;
        if upto > self.marks.confirmed {
            return Err(JournalError::NotConfirmed { number: upto });
        }
        if upto <= self.marks.freed {
            return Ok(());
        }
        let marks = Marks {
            freed: upto,
            ..self.marks
        };
        self.is_stale = true;
        self.write_marks(marks)?;
        self.refresh()
    }

    /// The greatest whole marks.
    pub(super) fn read_marks(&mut self) -> Outcome<Marks, F> {
        let [first, second] = [self.marks_in(0)?, self.marks_in(1)?];
        Ok(first.max(second))
    }

    /// Writes the marks and reads them back.
    pub(super) fn write_marks(&mut self, marks: Marks) -> Outcome<(), F> {
        let [first, second] = [self.marks_in(0)?, self.marks_in(1)?];
        let current = usize::from(second > first);
        if self.push_marks(current, marks)? {
            return Ok(());
        }
        // No room, or worn out there. The other sector holds nothing greater than this one.
        let other = 1 - current;
        let base = mark_base::<F>(other);
        if !Self::is_blank(&mut self.flash, base)? {
            Self::erase_sector(&mut self.flash, base)?;
        }
        if self.push_marks(other, marks)? {
            Ok(())
        } else {
            Err(JournalError::NotStored {
                number: marks.confirmed,
            })
        }
    }

    /// Pushes marks into one of the sectors; true if they stand there.
    fn push_marks(&mut self, which: usize, marks: Marks) -> Outcome<bool, F> {
        let place = Place::at_start(mark_base::<F>(which));
        let item = marks.to_bytes();
        match Self::push_item(&mut self.flash, place.base, &item)? {
            Pushed::NoRoom => Ok(false),
            Pushed::Tried(written) => match self.marks_in(which) {
                Ok(found) => Ok(found == marks),
                // It cannot be read either: the first error says more.
                Err(error) => written.and(Err(error)),
            },
        }
    }

    fn marks_in(&mut self, which: usize) -> Outcome<Marks, F> {
        let mut place = Place::at_start(mark_base::<F>(which));
        let mut greatest = Marks::default();
        while let Some((length, end)) = self.raw_item(&mut place)? {
            place.byte = end;
            let item = self.scratch.get(..length).and_then(Marks::from_bytes);
            greatest = greatest.max(item.unwrap_or_default());
        }
        Ok(greatest)
    }
}

const fn mark_base<F: MultiwriteNorFlash>(which: usize) -> u32 {
    ((CALIBRATION_SECTORS + which) * F::ERASE_SIZE) as u32
}
