//! A page: one minute of the watch, second by second.
//!
//! A level is 5 mV in 16 bits, so that 60 seconds of three voltages fit in one record. Levels
//! are written as two bytes each, not as numbers of varying length: a page of a 240 V circuit is
//! no longer than one of a dead one.

use serde::{Deserialize, Serialize};

use crate::load_step::{Beat, Level};
use crate::slots::ClipTarget;
use crate::units::Volts;

/// Seconds of a page.
pub const PAGE_SECONDS: usize = 60;

/// Most bytes of a [`Page`] as postcard: number of its first second (3), clip (1), count of
/// seconds (1), and for each: whether it is there (1), two spans (12), clip or not (1), a span
/// (6).
pub const PAGE_MAX_BYTES: usize = 3 + 1 + 1 + PAGE_SECONDS * (1 + 12 + 1 + 6);

/// A minute.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Page {
    /// Number of the first second from the start of the watch: 0, 60, 120 ...
    pub first: u16,
    /// What the clip was said to be on.
    pub clip_target: ClipTarget,
    /// The seconds. `None`: no window of that second could be measured. Seconds at the end of
    /// the minute that are not there were not measured either.
    pub seconds: heapless::Vec<Option<Second>, PAGE_SECONDS>,
}

/// One second: five windows.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Second {
    /// `|v_nw|`.
    pub narrow_wide: Span,
    /// `|v_gw|`.
    pub ground_wide: Span,
    /// `|v_cw|`, if the clip is on something.
    pub clip_wide: Option<Span>,
}

/// Least, mean and greatest of the windows of a second.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(from = "[u8; 6]", into = "[u8; 6]")]
pub struct Span {
    /// The least.
    pub least: Level,
    /// The mean.
    pub mean: Level,
    /// The greatest.
    pub greatest: Level,
}

impl From<[u8; 6]> for Span {
    fn from([a, b, c, d, e, f]: [u8; 6]) -> Self {
        let level = |low, high| Level::from_number(u16::from_le_bytes([low, high]));
        Self {
            least: level(a, b),
            mean: level(c, d),
            greatest: level(e, f),
        }
    }
}

impl From<Span> for [u8; 6] {
    fn from(span: Span) -> Self {
        let [a, b] = span.least.number().to_le_bytes();
        let [c, d] = span.mean.number().to_le_bytes();
        let [e, f] = span.greatest.number().to_le_bytes();
        [a, b, c, d, e, f]
    }
}

impl Page {
    pub(super) const fn starting(second: u16, clip_target: ClipTarget) -> Self {
        Self {
            first: second - second % PAGE_SECONDS as u16,
            clip_target,
            seconds: heapless::Vec::new(),
        }
    }

    /// Puts a second in its place. Gives the page back if it is thereby full, or if the second
    /// belongs to a later one, which is then begun.
    pub(super) fn put(&mut self, number: u16, second: Second) -> Option<Self> {
        let minute = Self::starting(number, self.clip_target);
        let passed = if minute.first == self.first {
            None
        } else {
            Some(core::mem::replace(self, minute)).filter(|page| !page.seconds.is_empty())
        };
        let place = usize::from(number - self.first);
        while self.seconds.len() < place && self.seconds.push(None).is_ok() {}
        let _ = self.seconds.push(Some(second));
        if passed.is_none() && self.seconds.is_full() {
            let next = Self::starting(number.saturating_add(1), self.clip_target);
            return Some(core::mem::replace(self, next));
        }
        passed
    }
}

/// What the second in hand has so far.
#[derive(Clone, Copy, Debug)]
pub(super) struct Tally {
    windows: u16,
    narrow_wide: Sum,
    ground_wide: Sum,
    clip_wide: Option<Sum>,
}

#[derive(Clone, Copy, Debug)]
struct Sum {
    least: f32,
    total: f32,
    greatest: f32,
}

impl Sum {
    const NONE: Self = Self {
        least: f32::INFINITY,
        total: 0.0,
        greatest: 0.0,
    };

    fn add(&mut self, volts: Volts) {
        let volts = volts.get();
        self.least = self.least.min(volts);
        self.total += volts;
        self.greatest = self.greatest.max(volts);
    }

    fn span(self, windows: u16) -> Span {
        let level = |volts: f32| Level::of(Volts::new(volts));
        Span {
            least: level(self.least),
            mean: level(self.total / f32::from(windows)),
            greatest: level(self.greatest),
        }
    }
}

impl Tally {
    pub(super) const EMPTY: Self = Self {
        windows: 0,
        narrow_wide: Sum::NONE,
        ground_wide: Sum::NONE,
        clip_wide: None,
    };

    pub(super) fn add(&mut self, beat: &Beat, has_clip: bool) {
        self.windows = self.windows.saturating_add(1);
        self.narrow_wide.add(beat.narrow_wide());
        self.ground_wide.add(beat.ground_wide());
        if has_clip {
            self.clip_wide
                .get_or_insert(Sum::NONE)
                .add(beat.clip_wide());
        }
    }

    /// The second, unless it had no window; the tally is empty afterwards.
    pub(super) fn take(&mut self) -> Option<Second> {
        let tally = core::mem::replace(self, Self::EMPTY);
        (tally.windows > 0).then(|| Second {
            narrow_wide: tally.narrow_wide.span(tally.windows),
            ground_wide: tally.ground_wide.span(tally.windows),
            clip_wide: tally.clip_wide.map(|sum| sum.span(tally.windows)),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_largest_page_has_the_stated_bytes_and_comes_back() {
        let top = Level::from_number(u16::MAX);
        let span = Span {
            least: top,
            mean: top,
            greatest: Level::from_number(0x1234),
        };
        let second = Second {
            narrow_wide: span,
            ground_wide: span,
            clip_wide: Some(span),
        };
        let page = Page {
            first: u16::MAX,
            clip_target: ClipTarget::IndependentEarth,
            seconds: core::iter::repeat_n(Some(second), PAGE_SECONDS).collect(),
        };
        let mut buffer = [0; PAGE_MAX_BYTES];
        let bytes = postcard::to_slice(&page, &mut buffer).unwrap();
        assert_eq!(bytes.len(), PAGE_MAX_BYTES);
        assert_eq!(postcard::from_bytes::<Page>(bytes), Ok(page));
        // What a record has room for beside what every record carries.
        const { assert!(PAGE_MAX_BYTES < 1300) };
    }

    /// A second of 5 mV throughout, the clip free.
    fn quiet_second() -> Second {
        let level = Level::from_number(1);
        let span = Span {
            least: level,
            mean: level,
            greatest: level,
        };
        Second {
            narrow_wide: span,
            ground_wide: span,
            clip_wide: None,
        }
    }

    #[test]
    fn a_second_of_a_later_minute_closes_the_page_short() {
        let second = quiet_second();
        let mut page = Page::starting(0, ClipTarget::NotConnected);
        assert_eq!(page.put(3, second), None);
        let passed = page.put(185, second).unwrap();
        assert_eq!((passed.first, passed.seconds.len()), (0, 4));
        assert_eq!((page.first, page.seconds.len()), (180, 6));
        assert_eq!(page.put(239, second).unwrap().seconds.len(), 60);
        assert_eq!((page.first, page.seconds.len()), (240, 0));
    }

    #[test]
    fn the_last_second_of_a_minute_gives_one_page_even_after_a_gap() {
        let second = quiet_second();
        let mut page = Page::starting(0, ClipTarget::NotConnected);
        assert_eq!(page.put(3, second), None);
        // Second 119 fills the minute that it opens: the minute before is given first, the full
        // one with the next second.
        assert_eq!(page.put(119, second).unwrap().first, 0);
        assert_eq!(page.seconds.len(), 60);
        assert_eq!(page.put(120, second).unwrap().first, 60);
        assert_eq!((page.first, page.seconds.len()), (120, 1));
    }
}
