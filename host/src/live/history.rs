//! The last minutes, for the plot: one point a window, and when load steps were found.
//!
//! Times are the tester's. A tester that starts anew begins a new history: its clock does too.

use std::collections::VecDeque;

use slotwise_core::link::Look;
use slotwise_core::units::Millis;

/// Most points kept: ten minutes at five a second.
const MOST: usize = 3000;

/// Most steps kept.
const MOST_STEPS: usize = 200;

/// What is plotted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Trace {
    /// Narrow against wide.
    NarrowWide,
    /// Ground against wide.
    GroundWide,
    /// Clip against wide.
    ClipWide,
}

impl Trace {
    /// All, top to bottom.
    pub const ALL: [Self; 3] = [Self::NarrowWide, Self::GroundWide, Self::ClipWide];
}

/// Lowest and highest value.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Span {
    /// Lowest.
    pub low: f32,
    /// Highest.
    pub high: f32,
}

impl Span {
    const fn with(self, value: f32) -> Self {
        Self {
            low: self.low.min(value),
            high: self.high.max(value),
        }
    }
}

#[derive(Clone, Copy, Debug)]
struct Point {
    at: Millis,
    volts: [Option<f32>; 3],
}

/// What was measured in the last minutes.
#[derive(Clone, Debug, Default)]
pub struct History {
    points: VecDeque<Point>,
    steps: VecDeque<Millis>,
    latest: Option<Latest>,
}

#[derive(Clone, Copy, Debug)]
struct Latest {
    at: Millis,
    windows: u32,
    /// Steps counted by the steady watch and by a load-cycle watch.
    counted: [u16; 2],
}

impl History {
    /// Takes a look. One that holds the same measurement as the one before adds no point.
    pub fn take(&mut self, look: &Look) {
        if self.latest.is_some_and(|latest| look.now < latest.at) {
            *self = Self::default();
        }
        let counted = [
            look.load_step.map_or(0, |step| step.steps),
            look.watch.map_or(0, |watch| watch.steps),
        ];
        if let Some(latest) = self.latest {
            // Both may count the same step; a count that falls began anew.
            let more = counted
                .iter()
                .zip(latest.counted)
                .any(|(now, was)| *now > was);
            if more {
                self.steps.push_back(look.now);
            }
        }
        if self
            .latest
            .is_none_or(|latest| latest.windows != look.windows)
        {
            let slots = look.slots.ok();
            self.points.push_back(Point {
                at: look.now,
                volts: [
                    slots.map(|slots| slots.narrow_wide.value.get()),
                    slots.map(|slots| slots.ground_wide.value.get()),
                    look.clip_wide.value().map(|clip| clip.get()),
                ],
            });
        }
        self.latest = Some(Latest {
            at: look.now,
            windows: look.windows,
            counted,
        });
        while self.points.len() > MOST {
            self.points.pop_front();
        }
        while self.steps.len() > MOST_STEPS {
            self.steps.pop_front();
        }
    }

    /// Forgets everything.
    pub fn clear(&mut self) {
        *self = Self::default();
    }

    /// The span of a trace in each of `columns` equal parts of the last `back` milliseconds
    /// before `now`, oldest first. [`None`] where nothing was measured.
    #[must_use]
    pub fn columns(
        &self,
        trace: Trace,
        now: Millis,
        back: u64,
        columns: usize,
    ) -> Vec<Option<Span>> {
        let mut spans: Vec<Option<Span>> = vec![None; columns];
        for point in &self.points {
            let Some(value) = point.volts[trace as usize] else {
                continue;
            };
            let Some(span) =
                column(point.at, now, back, columns).and_then(|column| spans.get_mut(column))
            else {
                continue;
            };
            *span = Some(match *span {
                Some(so_far) => so_far.with(value),
                None => Span {
                    low: value,
                    high: value,
                },
            });
        }
        spans
    }

    /// In which of `columns` parts of the last `back` milliseconds steps were found.
    #[must_use]
    pub fn step_columns(&self, now: Millis, back: u64, columns: usize) -> Vec<usize> {
        let mut marks: Vec<usize> = self
            .steps
            .iter()
            .filter_map(|step| column(*step, now, back, columns))
            .collect();
        marks.dedup();
        marks
    }
}

/// The column of an instant; [`None`] if it is too long ago.
fn column(at: Millis, now: Millis, back: u64, columns: usize) -> Option<usize> {
    let ago = now.since(at);
    if ago >= back {
        return None;
    }
    let columns = columns as u64;
    let column = (back - 1 - ago) * columns / back;
    usize::try_from(column).ok()
}
