//! Which sectors are the journal's, and in which order: decided from the heads alone, the same
//! at every start, whatever else stands in the flash.
//!
//! The youngest is the one with the greatest sequence number. A sector that was begun `d` places
//! before it around the ring has a sequence number that is less, by no more than `d`
//! ([`Journal::next_sequence`] counts what was passed over). Going back from the youngest, a sector
//! counts if that holds and if neither its sequence nor its record number is above the ones of the
//! sector that counted before it. So the record numbers of the heads rise with the age, and the
//! next sector to be begun fits in front of all of them: what is appended is always found.
//!
//! In use are the sectors that count and have a record that is not freed, and the youngest. Those
//! between them are holes: passed over, or strange. What a strange sector holds is not read, and is
//! not erased as long as it could be a record that is not freed.
//!
//! Limits: of two sets of sectors that are each in order the one with the greatest sequence number is
//! taken for the journal's.

use embedded_storage::nor_flash::MultiwriteNorFlash;

use super::head::{HEAD_BYTES, Head};
use super::reading::Reading;
use super::{Journal, MAX_SECTORS, Outcome};

/// A set of sectors, by their index.
#[derive(Clone, Debug)]
pub(super) struct Sectors([u32; MAX_SECTORS.div_ceil(32)]);

impl Sectors {
    pub(super) const NONE: Self = Self([0; _]);

    pub(super) fn has(&self, index: usize) -> bool {
        self.0
            .get(index / 32)
            .is_some_and(|word| word & Self::bit(index) != 0)
    }

    pub(super) fn add(&mut self, index: usize) {
        if let Some(word) = self.0.get_mut(index / 32) {
            *word |= Self::bit(index);
        }
    }

    pub(super) fn remove(&mut self, index: usize) {
        if let Some(word) = self.0.get_mut(index / 32) {
            *word &= !Self::bit(index);
        }
    }

    const fn bit(index: usize) -> u32 {
        1 << (index % 32)
    }
}

impl<F: MultiwriteNorFlash> Journal<F> {
    /// Finds the oldest sector in use, which are in use, and how many are passed over.
    pub(super) fn find_sectors(&mut self) -> Outcome<(), F> {
        let before = self.used.checked_sub(1).map(|age| self.index(age));
        self.in_use = Sectors::NONE;
        (self.oldest, self.used, self.holes, self.strange) = (0, 0, 0, 0);
        let Some((youngest, head)) = self.find_youngest()? else {
            self.youngest = Head::NONE;
            return Ok(());
        };
        self.youngest = head;
        self.in_use.add(youngest);
        if before != Some(youngest) {
            self.is_sealed = false;
        }
        let mut count = 1;
        let mut farthest = 0;
        let mut after = head;
        let mut is_freed = head.first <= self.marks.freed;
        for distance in 1..self.sectors {
            let index = self.around(youngest + self.sectors - distance);
            let Some(head) = self.head(index)? else {
                continue;
            };
            let behind = self.youngest.sequence.saturating_sub(head.sequence) as usize;
            let counts =
                behind <= distance && head.sequence < after.sequence && head.first <= after.first;
            // In those before one that began with a freed record all are freed.
            let is_needed = if !counts || is_freed {
                false
            } else if head.first > self.marks.freed {
                true
            } else {
                is_freed = true;
                // It began with a record that is freed and may hold some that are not.
                self.has_unfreed(&Reading {
                    age: 0,
                    base: Self::base(index),
                    byte: HEAD_BYTES as u32,
                    first: head.first,
                    next: Some((0, after.first)),
                })?
            };
            if counts {
                after = head;
            }
            if is_needed {
                self.in_use.add(index);
                count += 1;
                farthest = distance;
                // Those met so far are holes.
                self.strange = 0;
            } else if !counts && self.holds_unfreed(index)? {
                self.strange += 1;
            }
        }
        self.oldest = self.around(youngest + self.sectors - farthest);
        self.used = farthest + 1;
        self.holes = self.used - count;
        Ok(())
    }

    /// The sector with the greatest sequence number, the first of two that have the same.
    fn find_youngest(&mut self) -> Outcome<Option<(usize, Head)>, F> {
        let mut youngest: Option<(usize, Head)> = None;
        for index in 0..self.sectors {
            if let Some(head) = self.head(index)?
                && youngest.is_none_or(|(_, than)| than.sequence < head.sequence)
            {
                youngest = Some((index, head));
            }
        }
        Ok(youngest)
    }
}
