//! Finds the steps: a change of `|v_nw|` between the medians of the five windows before and the
//! five after, the window in the middle left out.
//!
//! ```text
//!  windows   . . . . . b b b b b . a a a a a . . . . .
//!            |         |<- 1 s ->| |<- 1 s ->|       |
//!            |<- line frequency of the whole sight ->|
//! ```
//!
//! A sharp step stays in sight for five places of the middle. They are one step. It happened where
//! the means of the two sides differ most, which is the window of the step itself or, with much
//! inrush, the one before it; what it changed is read where the sides are quietest. Where the
//! windows of a side do not agree with each other there is none. A ramp that stays above the
//! threshold throughout is one step too, however long: three steps are three events, not one
//! long one.
//!
//! Where the whole sight holds no step, the same difference says what the unrest of the supply and
//! the noise alone would have made of a step: a quiet change.

use num_complex::Complex;
use serde::{Deserialize, Serialize};

use super::beat::{Beat, polar, rectangular, size};
use super::level::Level;
use super::turn::turns;
use crate::evidence::Phasor;
use crate::limits::WatchLimits;
use crate::sorting::sort;
use crate::units::{Millis, Volts};
use crate::window::BLOCKS;

/// Windows before the middle that make the level before: one second.
pub(crate) const BEFORE: usize = 5;
/// Windows after it that make the level after.
const AFTER: usize = 5;
/// Windows in sight.
pub(crate) const SPAN: usize = 21;
/// Place of the middle.
pub(crate) const MIDDLE: usize = SPAN / 2;

/// Places of the middle that must be calm on either side of a quiet change: a step among its
/// windows would show there. All of them are in sight.
const CALM: usize = 5;

/// Windows from one quiet change to the next: they overlap, and more of them say little more.
const QUIET_EVERY: u8 = 3;

const _: () = assert!(CALM + BEFORE == MIDDLE && CALM + AFTER == SPAN - 1 - MIDDLE);

/// Windows of the course of a step: three before the middle, the middle, four after.
pub const POINTS: usize = 8;
/// Windows of the course that come before the middle.
pub const POINTS_BEFORE: usize = 3;

/// Spread of both sides together that a step may have, as a share of its size. A ramp that fills
/// the whole sight spreads by one of its rises a window on either side and changes by six: one
/// third. Beyond one half it is not two levels: the middle of an inrush, for one.
const CLEAR: f32 = 0.5;

/// Spread below which one place is as good as another, volts: the unrest of a quiet supply.
const STILL: f32 = 0.02;

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
    /// End of the window in the middle: it happened in this window or the next.
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
    /// Windows since the last quiet change.
    since: u8,
    quiet: Option<Change>,
}

#[derive(Clone, Debug)]
struct Candidate {
    found: Found,
    /// Change of the means: the place of the step is where it is largest.
    reach: f32,
    /// Spread within the two sides against the change: what the step changed is read where it
    /// is smallest, with the least of an inrush in it.
    unrest: f32,
}

impl Candidate {
    fn at(sight: &[Beat; SPAN], sag: f32, reach: f32, unrest: f32) -> Self {
        Self {
            found: Found {
                at: sight[MIDDLE].at,
                change: change(sight, sag),
                course: course(sight),
            },
            reach,
            unrest,
        }
    }

    /// Takes from this place what it knows better than the ones before.
    fn weigh(&mut self, sight: &[Beat; SPAN], sag: f32, reach: f32, unrest: f32) {
        if reach > self.reach {
            self.reach = reach;
            self.found.at = sight[MIDDLE].at;
            self.found.course = course(sight);
        }
        if unrest < self.unrest {
            self.unrest = unrest;
            self.found.change = change(sight, sag);
        }
    }
}

impl Finder {
    /// Nothing in sight.
    #[must_use]
    pub(super) const fn new() -> Self {
        Self {
            beats: heapless::Deque::new(),
            best: None,
            since: 0,
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
            self.rest(sight, sag, limits);
            return self.best.take().map(|best| best.found);
        }
        let spread = spread(before, low) + spread(after, high);
        let is_clear = spread <= sag.abs() * CLEAR;
        let is_other_way = |best: &Candidate| (best.found.change.sag < 0.0) != (sag < 0.0);
        // A step the other way is another one.
        let ended = if self.best.as_ref().is_some_and(is_other_way) {
            self.best.take().map(|best| best.found)
        } else {
            None
        };
        if is_clear {
            let reach = (mean(after) - mean(before)).abs();
            let unrest = (spread + STILL) / sag.abs();
            match &mut self.best {
                Some(best) => best.weigh(sight, sag, reach, unrest),
                None => self.best = Some(Candidate::at(sight, sag, reach, unrest)),
            }
        }
        ended
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
    fn rest(&mut self, sight: &[Beat; SPAN], sag: f32, limits: &WatchLimits) {
        self.since = self.since.saturating_add(1);
        if self.since >= QUIET_EVERY && is_calm(sight, limits) {
            self.since = 0;
            self.quiet = Some(change(sight, sag));
        }
    }
}

/// Whether no place of the middle within [`CALM`] of the present one would be a step.
fn is_calm(sight: &[Beat; SPAN], limits: &WatchLimits) -> bool {
    let sizes = sight.each_ref().map(|beat| beat.nw);
    sizes.windows(BEFORE + 1 + AFTER).all(|place| {
        let level = |part: Option<&[f32]>| {
            let part: Option<[f32; 5]> = part.and_then(|part| part.try_into().ok());
            part.map_or(f32::NAN, median)
        };
        let (before, after) = (level(place.get(..BEFORE)), level(place.get(BEFORE + 1..)));
        (after - before).abs() < limits.step.get()
    })
}

/// What changed from before to after. Every window is turned back to one axis first: `v_gw`
/// then is a straight line over `v_nw`, part by part, whatever inrush and ramp do, and the
/// medians of both come from the same windows.
fn change(sight: &[Beat; SPAN], sag: f32) -> Change {
    let angles = sight.each_ref().map(|beat| beat.angle);
    let turns = turns(&angles, &sight.each_ref().map(|beat| beat.gw));
    let mut turned = [Complex::new(1.0, 0.0); SPAN];
    let levels = MIDDLE - BEFORE..=MIDDLE + AFTER;
    for (number, (place, turn)) in turned.iter_mut().zip(turns).enumerate() {
        // The windows beyond serve the line frequency only.
        if levels.contains(&number) {
            let (sine, cosine) = libm::sincosf(turn);
            *place = Complex::new(cosine, sine);
        }
    }
    let of = |volts: fn(&Beat) -> Complex<f32>| {
        let mut line = [Complex::new(0.0, 0.0); SPAN];
        for (number, place) in line.iter_mut().enumerate() {
            if levels.contains(&number) {
                *place = volts(&sight[number]) * turned[number];
            }
        }
        let change = |part: fn(&Complex<f32>) -> f32| {
            let (before, after) = sides(&line, part);
            median(after) - median(before)
        };
        Complex::new(change(|volts| volts.re), change(|volts| volts.im))
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

/// One number of each window of the two levels.
fn sides<T>(sight: &[T; SPAN], of: impl Fn(&T) -> f32) -> ([f32; BEFORE], [f32; AFTER]) {
    let (mut before, mut after) = ([0.0; BEFORE], [0.0; AFTER]);
    for (place, window) in before.iter_mut().zip(sight.iter().skip(MIDDLE - BEFORE)) {
        *place = of(window);
    }
    for (place, window) in after.iter_mut().zip(sight.iter().skip(MIDDLE + 1)) {
        *place = of(window);
    }
    (before, after)
}

/// The middle one.
pub(crate) fn median(mut values: [f32; 5]) -> f32 {
    sort(&mut values, f32::total_cmp);
    let [_, _, middle, _, _] = values;
    middle
}

fn mean(values: [f32; 5]) -> f32 {
    values.iter().sum::<f32>() / 5.0
}

/// Median distance from the median.
fn spread(values: [f32; 5], middle: f32) -> f32 {
    median(values.map(|value| (value - middle).abs()))
}
