//! Which conversion a frame on the bus carries: the two-deep store between the modulator and
//! the bus, and the faults that a test injects into it.
//!
//! Conversion `n` is complete at `n` x 250 us of simulated time. The store holds the newest
//! two that were not read; a reader that pauses loses the ones before and is then one
//! behind until it reads twice (datasheet section 8.5.1.9.1).

use slotwise_core::sample::AdcCode;
use slotwise_core::slots::LEADS;
use std::collections::BTreeSet;

/// Conversions that the store holds.
const DEPTH: u64 = 2;

/// What the converter has done on the bus.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct AdcCounts {
    /// Frames that carried a new conversion.
    pub delivered: u64,
    /// Frames that repeated the one before, since none was new.
    pub repeated: u64,
    /// Conversions that were overwritten before anybody read them.
    pub overwritten: u64,
    /// Resets, spontaneous ones included.
    pub resets: u64,
}

/// Faults that a test has asked for, by number of the conversion.
#[derive(Default)]
pub(super) struct Faults {
    pub(super) corrupted: BTreeSet<u64>,
    pub(super) dropped: BTreeSet<u64>,
    pub(super) bus_errors: BTreeSet<u64>,
    pub(super) restarts: BTreeSet<u64>,
    pub(super) stuck: [Option<AdcCode>; LEADS],
    pub(super) skewed: [i32; LEADS],
    /// Noise beside the front end's, volts RMS at the pins.
    pub(super) noisy: [f64; LEADS],
}

/// The store.
pub(super) struct Store {
    /// Conversions up to this one are before the last reset.
    epoch: u64,
    /// The newest conversion that was delivered or lost.
    through: u64,
}

/// What the next frame carries.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Next {
    /// The conversion.
    pub(super) number: u64,
    /// How many conversions after the last reset it is, from 1.
    pub(super) since_reset: u64,
    /// Conversions that were lost before it.
    pub(super) overwritten: u64,
}

impl Store {
    pub(super) const fn new(newest: u64) -> Self {
        Self {
            epoch: newest,
            through: newest,
        }
    }

    /// The conversion that a frame at this time would carry, if any is new.
    pub(super) fn next(&self, newest: u64, dropped: &BTreeSet<u64>) -> Option<Next> {
        let first = (self.through + 1).max((newest + 1).saturating_sub(DEPTH));
        let number = (first..=newest).find(|number| !dropped.contains(number))?;
        let overwritten = (self.through + 1..first)
            .filter(|number| !dropped.contains(number))
            .count() as u64;
        Some(Next {
            number,
            since_reset: number - self.epoch,
            overwritten,
        })
    }

    /// The frame that carried `next` was read.
    pub(super) const fn read(&mut self, next: Next) {
        self.through = next.number;
    }

    /// Whether `number` is after the last reset.
    pub(super) const fn is_current(&self, number: u64) -> bool {
        number > self.epoch
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_reader_in_time_gets_every_conversion() {
        let (mut store, none) = (Store::new(10), BTreeSet::new());
        assert_eq!(store.next(10, &none), None);
        for newest in 11..20 {
            let next = store.next(newest, &none).unwrap();
            assert_eq!((next.number, next.overwritten), (newest, 0));
            assert_eq!(next.since_reset, newest - 10);
            store.read(next);
            assert_eq!(store.next(newest, &none), None);
        }
    }

    #[test]
    fn a_pause_loses_all_but_two_and_leaves_the_reader_behind() {
        let (mut store, none) = (Store::new(0), BTreeSet::new());
        let next = store.next(10, &none).unwrap();
        assert_eq!((next.number, next.overwritten), (9, 8));
        store.read(next);
        let behind = store.next(11, &none).unwrap();
        assert_eq!(behind.number, 10);
        store.read(behind);
        let caught_up = store.next(11, &none).unwrap();
        assert_eq!(caught_up.number, 11);
    }

    #[test]
    fn a_dropped_conversion_never_comes() {
        let mut store = Store::new(0);
        let dropped = BTreeSet::from([2]);
        store.read(store.next(1, &dropped).unwrap());
        assert_eq!(store.next(2, &dropped), None);
        let next = store.next(3, &dropped).unwrap();
        assert_eq!((next.number, next.overwritten), (3, 0));
    }
}
