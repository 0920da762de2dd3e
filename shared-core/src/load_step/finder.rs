//! Finds the steps: a change of `|v_nw|` between the medians of the five windows before and the
//! five after, the window in the middle left out.
//!
//! ```text
//!  windows   b b b b b . a a a a a
//!            |<- 1 s ->| |<- 1 s ->|
//! ```
//!
//! A sharp step stays in sight for five places of the middle. They are one step; stated is the
//! place where the windows of each side agree best with each other. A ramp that stays above the
//! threshold throughout is one step too, however long: three steps are three events, not one
//! long one.
//!
//! Where eleven windows in a row hold no step, the same difference says what the unrest of the
//! supply and the noise alone would have made of a step: a quiet change.

use num_complex::Complex;
use serde::{Deserialize, Serialize};

use super::beat::{Beat, polar, rectangular, size};
use super::level::Level;
use super::turn::turn;
use crate::evidence::Phasor;
use crate::limits::WatchLimits;
use crate::units::{Millis, Volts};
use crate::window::BLOCKS;

/// Windows before the middle: one second.
pub(crate) const BEFORE: usize = 5;
/// Windows after it.
pub(crate) const AFTER: usize = 5;
/// Place of the middle.
pub(crate) const MIDDLE: usize = BEFORE;
/// Windows in sight.
pub(crate) const SPAN: usize = BEFORE + 1 + AFTER;

/// Places of the middle that must be calm on either side of a quiet change: a step among its
/// windows would have shown there.
const CALM: u8 = 5;

/// Windows of the course of a step: three before the middle, the middle, four after.
pub const POINTS: usize = 8;
/// Windows of the course that come before the middle.
pub const POINTS_BEFORE: usize = 3;

/// What a step changed, or would have changed had there been one.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Change {
    pub(crate) nw: Complex<f32>,
    pub(crate) gw: Complex<f32>,
    pub(crate) cw: Complex<f32>,
    /// Change of `|v_nw|`, negative when it sagged.
    pub(crate) sag: f32,
}

impl Change {
    /// A change of the three voltages against wide. Angles are against `v_nw` before the step.
    #[must_use]
    pub fn new(narrow_wide: Phasor, ground_wide: Phasor, clip_wide: Phasor) -> Self {
        let nw = rectangular(narrow_wide);
        Self {
            nw,
            gw: rectangular(ground_wide),
            cw: rectangular(clip_wide),
            sag: nw.re,
        }
    }

    /// Change of `v_nw`, angle against `v_nw` before the step.
    #[must_use]
    pub fn narrow_wide(&self) -> Phasor {
        polar(self.nw)
    }

    /// Change of `v_gw`.
    #[must_use]
    pub fn ground_wide(&self) -> Phasor {
        polar(self.gw)
    }

    /// Change of `v_cw`. Means nothing where the clip hangs free.
    #[must_use]
    pub fn clip_wide(&self) -> Phasor {
        polar(self.cw)
    }

    /// Change of `|v_nw|`, negative when it sagged.
    #[must_use]
    pub const fn sag(&self) -> Volts {
        Volts::new(self.sag)
    }

    /// The change as if the load had come on: a load that goes off does the opposite.
    pub(crate) fn as_load_on(self) -> Self {
        if self.sag > 0.0 {
            Self {
                nw: -self.nw,
                gw: -self.gw,
                cw: -self.cw,
                sag: -self.sag,
            }
        } else {
            self
        }
    }
}

/// One window of the course of a step.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Point {
    /// `|v_nw|` over seven Hann blocks of 50 ms, 25 ms apart; the next window begins 50 ms
    /// after the last of them.
    pub narrow_wide: [Level; BLOCKS],
    /// `|v_gw|` over the window.
    pub ground_wide: Level,
    /// `|v_cw|` over the window. Means nothing where the clip hangs free.
    pub clip_wide: Level,
}

/// A step that was found.
#[derive(Clone, Debug, PartialEq)]
pub struct Found {
    /// End of the window in the middle: it happened at most 200 ms before.
    pub at: Millis,
    /// What it changed.
    pub change: Change,
    /// How it went, window by window; the middle is number [`POINTS_BEFORE`].
    pub course: heapless::Vec<Point, POINTS>,
}

/// The windows in sight and the step being looked at.
#[derive(Clone, Debug)]
pub(super) struct Finder {
    beats: heapless::Deque<Beat, SPAN>,
    best: Option<Candidate>,
    /// Places without a step, up to twice [`CALM`] and the place itself.
    calm: u8,
    /// Changes of the last places, oldest first: a place is quiet only once the places after
    /// it were calm too.
    waiting: heapless::Deque<Change, { CALM as usize + 1 }>,
    quiet: Option<Change>,
}

#[derive(Clone, Debug)]
struct Candidate {
    found: Found,
    /// Size of the change less the spread within the two sides.
    clarity: f32,
}

impl Finder {
    /// Nothing in sight.
    #[must_use]
    pub(super) const fn new() -> Self {
        Self {
            beats: heapless::Deque::new(),
            best: None,
            calm: 0,
            waiting: heapless::Deque::new(),
            quiet: None,
        }
    }

    /// Takes a beat; gives the step that has ended with it.
    pub(super) fn push(&mut self, beat: &Beat, limits: &WatchLimits) -> Option<Found> {
        self.quiet = None;
        let follows = self.beats.back().is_none_or(|last| beat.follows(last));
        if !follows {
            let found = self.finish();
            let _ = self.beats.push_back(*beat);
            return found;
        }
        if self.beats.is_full() {
            self.beats.pop_front();
        }
        let _ = self.beats.push_back(*beat);
        let sight = &self.sight()?;
        let (before, after) = sides(sight, |beat| beat.nw);
        let (low, high) = (median(before), median(after));
        let sag = high - low;
        if sag.abs() < limits.step.get() {
            self.rest(change(sight, sag));
            return self.best.take().map(|best| best.found);
        }
        self.calm = 0;
        self.waiting.clear();
        let candidate = Candidate {
            clarity: sag.abs() - spread(before, low) - spread(after, high),
            found: Found {
                at: sight[MIDDLE].at,
                change: change(sight, sag),
                course: course(sight),
            },
        };
        match &self.best {
            // A step the other way is another one.
            Some(best) if (best.found.change.sag < 0.0) != (sag < 0.0) => {
                self.best.replace(candidate).map(|ended| ended.found)
            }
            Some(best) if best.clarity >= candidate.clarity => None,
            _ => {
                self.best = Some(candidate);
                None
            }
        }
    }

    /// Nothing more will come, or not at once: gives the step that was being looked at.
    pub(super) fn finish(&mut self) -> Option<Found> {
        let found = self.best.take().map(|best| best.found);
        *self = Self::new();
        found
    }

    /// The quiet change that the last beat completed.
    #[must_use]
    pub(super) const fn quiet(&self) -> Option<Change> {
        self.quiet
    }

    /// The windows in sight, oldest first, once there are enough.
    fn sight(&self) -> Option<[Beat; SPAN]> {
        let mut sight = [*self.beats.front()?; SPAN];
        for (place, beat) in sight.iter_mut().zip(&self.beats) {
            *place = *beat;
        }
        self.beats.is_full().then_some(sight)
    }

    /// No step at this place.
    fn rest(&mut self, change: Change) {
        self.calm = (self.calm + 1).min(2 * CALM + 1);
        if self.waiting.is_full() {
            self.waiting.pop_front();
        }
        let _ = self.waiting.push_back(change);
        if self.calm > 2 * CALM {
            self.quiet = self.waiting.front().copied();
        }
    }
}

/// What changed from before to after.
fn change(sight: &[Beat; SPAN], sag: f32) -> Change {
    let turn = turn(&sight.map(|beat| beat.angle));
    let turned = Complex::new(libm::cos(turn) as f32, libm::sin(turn) as f32);
    let of = |volts: fn(&Beat) -> Complex<f32>| {
        let (before_re, after_re) = sides(sight, |beat| volts(beat).re);
        let (before_im, after_im) = sides(sight, |beat| volts(beat).im);
        let before = Complex::new(median(before_re), median(before_im));
        let after = Complex::new(median(after_re), median(after_im));
        after * turned - before
    };
    Change {
        nw: of(|beat| Complex::new(beat.nw, 0.0)),
        gw: of(|beat| beat.gw),
        cw: of(|beat| beat.cw),
        sag,
    }
}

/// The windows around the middle. Blocks carry the gain of one lead where the voltage is a
/// difference of two; the first window, before the step, says how the two compare.
fn course(sight: &[Beat; SPAN]) -> heapless::Vec<Point, POINTS> {
    let [first, ..] = sight;
    let mean = first.course.iter().sum::<f32>() / BLOCKS as f32;
    let scale = if mean > 0.0 { first.nw / mean } else { 0.0 };
    sight
        .iter()
        .skip(MIDDLE - POINTS_BEFORE)
        .take(POINTS)
        .map(|beat| Point {
            narrow_wide: beat
                .course
                .map(|block| Level::of(Volts::new(block * scale))),
            ground_wide: Level::of(Volts::new(size(beat.gw))),
            clip_wide: Level::of(Volts::new(size(beat.cw))),
        })
        .collect()
}

/// One number of each window before and after the middle.
fn sides(sight: &[Beat; SPAN], of: impl Fn(&Beat) -> f32) -> ([f32; BEFORE], [f32; AFTER]) {
    let values = sight.each_ref().map(of);
    let [a, b, c, d, e, _, f, g, h, i, j] = values;
    ([a, b, c, d, e], [f, g, h, i, j])
}

fn median(mut values: [f32; 5]) -> f32 {
    values.sort_unstable_by(f32::total_cmp);
    let [_, _, middle, _, _] = values;
    middle
}

/// Mean distance from the median.
fn spread(values: [f32; 5], median: f32) -> f32 {
    values
        .iter()
        .map(|value| (value - median).abs())
        .sum::<f32>()
        / 5.0
}
