//! The load-cycle watch: the clip on the appliance's frame, or on the common of its 24 V side,
//! while the appliance's own motors cycle, for up to half an hour.
//!
//! ```text
//!   wide ──Zn── panel ──Zg── ground hole ──Rf── frame ── clip
//!   motor: current I through hot and neutral, a little leakage i from its winding to the frame
//! ```
//!
//! When a motor comes on, the clip moves against wide by the drop on the neutral, `I Zn`: half a
//! volt at 5 A in a sound outlet. So "the clip must not vary" would condemn sound outlets. The
//! ground hole moves by the same drop; what the clip moves more than the ground hole is `i Rf`,
//! and a sound frame ground Rf holds it at millivolts. Of the steps that [`LoadSteps`] finds on
//! `v_nw`, each taken as if the load had come on:
//! - statistic a, the neutral drop: size of the median change of `v_cw`;
//! - statistic b, the frame's shift: size of the median change of `v_cw - v_gw`.
//!
//! Medians are taken of in-phase and quadrature part by themselves.
//!
//! Limits: b sees a frame ground of some hundred ohms and up, since the leakage of a motor is
//! below a milliampere; one of 100 ohm stays below 0.1 V and is the business of probe and drive.
//! Whether the appliance has cycled at all is the number of steps: with none there is no a and
//! no b, and [`Watch::summary`] says so instead of 0.
//!
//! What was seen is kept in three grains: a page a minute ([`Page`]), each step with its course
//! ([`StepWave`]), and at the end the summary. Pages and steps are handed out as they are done,
//! to be written as records; here only the last of each is held.

mod page;
mod shift;
mod step_wave;

pub use page::{PAGE_MAX_BYTES, PAGE_SECONDS, Page, Second, Span};
pub use shift::KEPT_STEPS;
pub use step_wave::{STEP_WAVE_MAX_BYTES, StepWave};

use crate::evidence::{self, LoadStep, Measured, Missing};
use crate::limits::WatchLimits;
use crate::load_step::{Beat, Found, LoadSteps};
use crate::slots::ClipTarget;
use crate::units::{Millis, Volts};
use page::Tally;
use shift::Shifts;

/// A watch in progress.
#[derive(Clone, Debug)]
pub struct Watch {
    clip_target: ClipTarget,
    /// Start of the first window.
    start: Option<Millis>,
    /// End of the last one.
    end: Millis,
    loads: LoadSteps,
    shifts: Shifts,
    /// The second in hand and what it has so far.
    second: u16,
    tally: Tally,
    /// The last whole second.
    latest: Option<(u16, Second)>,
    page: Page,
    done: Option<Page>,
    step: Option<StepWave>,
    idle: Option<Volts>,
    highest: Option<Volts>,
}

impl Watch {
    /// A watch that has seen nothing; `clip_target` is what the person said of the clip.
    #[must_use]
    pub const fn new(clip_target: ClipTarget) -> Self {
        Self {
            clip_target,
            start: None,
            end: Millis::new(0),
            loads: LoadSteps::new(),
            shifts: Shifts::new(),
            second: 0,
            tally: Tally::EMPTY,
            latest: None,
            page: Page::starting(0, clip_target),
            done: None,
            step: None,
            idle: None,
            highest: None,
        }
    }

    /// Takes the beat of a window. Seconds of which no beat came stay empty. Beats after the
    /// longest watch are left out.
    pub fn push(&mut self, beat: &Beat, limits: &WatchLimits) {
        self.done = None;
        self.step = None;
        if self.is_over(limits) {
            return;
        }
        let start = *self.start.get_or_insert(beat.started());
        self.end = beat.at();
        // A window belongs to the second in which it ended; one that ends with the second is in.
        let millis = beat.at().since(start).saturating_sub(1);
        let second = u16::try_from(millis / 1000).unwrap_or(u16::MAX);
        if second != self.second {
            self.close_second(second);
        }
        self.tally.add(beat, self.has_clip());
        let found = self.loads.push(beat, limits);
        if let Some(quiet) = self.loads.quiet() {
            self.shifts.quiet(&quiet);
        }
        self.keep(found);
        // The last window of a second closes it at once: nobody waits for the next one.
        if (millis + 1).is_multiple_of(1000) {
            self.close_second(second.saturating_add(1));
        }
    }

    /// The watch was stopped: closes the page in hand and the step that was being looked at.
    /// What the last push completed and nobody took is kept. A second that is not whole is left
    /// out.
    pub fn finish(&mut self) {
        let found = self.loads.finish();
        self.keep(found);
        if !self.page.seconds.is_empty() {
            let next = Page::starting(self.second, self.clip_target);
            self.done = Some(core::mem::replace(&mut self.page, next));
        }
    }

    /// Whether the longest watch has passed.
    #[must_use]
    pub fn is_over(&self, limits: &WatchLimits) -> bool {
        self.elapsed() >= limits.longest.get()
    }

    /// The page that was completed last, until it is taken or the next window comes.
    #[must_use]
    pub const fn page_done(&self) -> Option<&Page> {
        self.done.as_ref()
    }

    /// Takes [`Watch::page_done`], so that it is written once.
    pub const fn take_page(&mut self) -> Option<Page> {
        self.done.take()
    }

    /// The step that was completed last, until it is taken or the next window comes.
    #[must_use]
    pub const fn step_done(&self) -> Option<&StepWave> {
        self.step.as_ref()
    }

    /// Takes [`Watch::step_done`], so that it is written once.
    pub const fn take_step(&mut self) -> Option<StepWave> {
        self.step.take()
    }

    /// The last second that was whole, and its number from the start, for a live view.
    #[must_use]
    pub const fn second(&self) -> Option<(u16, Second)> {
        self.latest
    }

    /// Steps found so far.
    #[must_use]
    pub const fn steps(&self) -> u16 {
        self.loads.steps()
    }

    /// Highest mean over one second of clip against wide: stands for itself, whether the
    /// appliance has cycled or not.
    ///
    /// # Errors
    /// [`Missing::ClipFree`] if the clip hangs free, [`Missing::NotAsked`] before the first
    /// second.
    pub fn highest(&self) -> Result<Volts, Missing> {
        self.of_clip(self.highest)
    }

    /// Lowest mean over one second of clip against wide: the appliance idles.
    ///
    /// # Errors
    /// As [`Watch::highest`].
    pub fn idle(&self) -> Result<Volts, Missing> {
        self.of_clip(self.idle)
    }

    /// The load-step ratio of the steps of the watch.
    ///
    /// # Errors
    /// As [`LoadSteps::load_step`].
    pub fn load_step(&self) -> Result<LoadStep, Missing> {
        self.loads.load_step()
    }

    /// What the watch has seen so far.
    ///
    /// # Errors
    /// [`Missing::ClipFree`] if the clip hangs free; [`Missing::NotAsked`] before the first
    /// whole second. In the summary a and b are [`Missing::NotAsked`] if the appliance has not
    /// cycled at all, [`Missing::Unsteady`] if there are so few steps, and so few quiet seconds,
    /// that no uncertainty can be stated.
    pub fn summary(&self) -> Result<evidence::Watch, Missing> {
        let (highest, idle) = (self.highest()?, self.idle()?);
        let (neutral_drop, frame_shift) = match self.shifts.medians() {
            Ok((drop, shift)) => (Measured::Known(drop), Measured::Known(shift)),
            Err(reason) => (Measured::Missing(reason), Measured::Missing(reason)),
        };
        Ok(evidence::Watch {
            seconds: u16::try_from(self.elapsed() / 1000).unwrap_or(u16::MAX),
            steps: self.steps(),
            neutral_drop,
            frame_shift,
            idle,
            highest,
        })
    }

    fn of_clip(&self, value: Option<Volts>) -> Result<Volts, Missing> {
        if self.has_clip() {
            value.ok_or(Missing::NotAsked)
        } else {
            Err(Missing::ClipFree)
        }
    }

    fn has_clip(&self) -> bool {
        self.clip_target != ClipTarget::NotConnected
    }

    /// Milliseconds from the first window to the last.
    fn elapsed(&self) -> u64 {
        self.start.map_or(0, |start| self.end.since(start))
    }

    fn keep(&mut self, found: Option<Found>) {
        let Some(found) = found else { return };
        self.shifts.add(&found.change);
        let since = self.start.map_or(0, |start| found.at.since(start));
        self.step = Some(StepWave::of(
            found,
            self.loads.steps(),
            Millis::new(since),
            self.has_clip(),
        ));
    }

    /// The second in hand has passed, `next` begins.
    fn close_second(&mut self, next: u16) {
        if let Some(second) = self.tally.take() {
            self.latest = Some((self.second, second));
            if let Some(clip) = second.clip_wide {
                let mean = clip.mean.volts();
                self.highest = Some(self.highest.map_or(mean, |before| larger(before, mean)));
                self.idle = Some(self.idle.map_or(mean, |before| -larger(-before, -mean)));
            }
            if let Some(page) = self.page.put(self.second, second) {
                self.done = Some(page);
            }
        }
        self.second = next;
    }
}

fn larger(one: Volts, other: Volts) -> Volts {
    if other > one { other } else { one }
}
