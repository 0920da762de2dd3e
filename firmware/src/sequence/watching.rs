//! After a test: the steady watch on the wiring, the load steps that are collected meanwhile,
//! and the load-cycle watch.
//!
//! Every window at rest is one beat of the load steps; every two are a look at the wiring. What
//! the load steps tell changes the answer as they come, and what changes the verdict makes a
//! record, a few times at most. The load-cycle watch adds a page a minute and the steps with
//! their course, and ends in a record: when it is stopped, after 30 minutes, or when the wiring
//! or the voltage goes.

use slotwise_core::calibration::Calibration;
use slotwise_core::evidence::{self, Evidence, Measured, Missing};
use slotwise_core::finding::FindingCode;
use slotwise_core::judge::judge;
use slotwise_core::limits::WatchLimits;
use slotwise_core::link::WatchState;
use slotwise_core::load_step::{Beat, LoadSteps};
use slotwise_core::measure::Gatherer;
use slotwise_core::slots::ClipTarget;
use slotwise_core::verdict::{Outcome, Unproven, Verdict};
use slotwise_core::watch::Watch;

use super::onset::Onset;
use super::{Event, Sequence, State};

/// Windows of one look.
const LOOK: u16 = 2;

/// Looks in a row that may straddle a move of the voltages: a load that comes or goes. Then the
/// unsteadiness is the answer: 2 s.
const MOVES: u8 = 5;

/// Records that load steps may add to one test.
const MORE_RECORDS: u8 = 4;

/// What a verdict says, as far as a record is worth it.
type Said = (Outcome, Unproven, Option<FindingCode>);

fn said(verdict: &Verdict) -> Said {
    let first = verdict.first().map(|finding| finding.code);
    (verdict.outcome, verdict.unproven, first)
}

/// What follows when the watch in hand has been written down.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Then {
    /// The steady watch goes on.
    Steady,
    /// The wiring is another: test it.
    Test,
    /// The voltage is gone.
    Unplugged,
}

/// The load-cycle watch in hand.
#[derive(Clone, Debug)]
struct Cycle {
    watch: Watch,
    /// It has ended, and this follows.
    ends: Option<Then>,
    /// The record of what it gave is made.
    is_kept: bool,
}

/// What is watched after a test.
#[derive(Clone, Debug)]
pub(super) struct Watching {
    /// The wiring that the test found.
    shown: Option<FindingCode>,
    /// The last look saw something else. One look may straddle a change; two agree.
    differed: bool,
    /// Looks in a row that straddled a move.
    moves: u8,
    /// What the last record says.
    kept: Said,
    more_records: u8,
    loads: LoadSteps,
    cycle: Option<Cycle>,
    /// What the last load-cycle watch gave.
    summary: Result<evidence::Watch, Missing>,
    /// The slots as the last look saw them.
    seen: Option<Evidence>,
}

impl Watching {
    pub(super) fn new(shown: Option<FindingCode>, verdict: &Verdict) -> Self {
        Self {
            shown,
            differed: false,
            moves: 0,
            kept: said(verdict),
            more_records: 0,
            loads: LoadSteps::new(),
            cycle: None,
            summary: Err(Missing::NotAsked),
            seen: None,
        }
    }

    pub(super) const fn is_cycling(&self) -> bool {
        self.cycle.is_some()
    }

    fn push(&mut self, beat: &Beat, limits: &WatchLimits) {
        // The load steps are asked for what they have so far, not for the step just found.
        let _ = self.loads.push(beat, limits);
        if let Some(cycle) = self.cycle.as_mut().filter(|cycle| cycle.ends.is_none()) {
            cycle.watch.push(beat, limits);
            self.summary = cycle.watch.summary();
            if cycle.watch.is_over(limits) {
                self.end_cycle(Then::Steady);
            }
        }
    }

    /// Ends the load-cycle watch, if one runs; its last page and step are due then.
    fn end_cycle(&mut self, then: Then) -> bool {
        let Some(cycle) = self.cycle.as_mut().filter(|cycle| cycle.ends.is_none()) else {
            return false;
        };
        cycle.watch.finish();
        cycle.ends = Some(then);
        self.summary = cycle.watch.summary();
        true
    }

    fn add_to(&self, evidence: &mut Evidence) {
        evidence.load_step = self.loads.load_step();
        evidence.watch = self.summary;
    }

    pub(super) fn is_due(&self) -> bool {
        self.cycle.as_ref().is_some_and(|cycle| {
            cycle.watch.page_done().is_some()
                || cycle.watch.step_done().is_some()
                || cycle.ends.is_some()
        })
    }
}

impl Sequence {
    /// Begins a load-cycle watch with this said of the clip. Returns false where it cannot: a
    /// test is running, there is no voltage, or a watch runs already.
    pub fn start_watch(&mut self, clip: ClipTarget) -> bool {
        let State::Watching(watching) = &mut self.state else {
            return false;
        };
        if watching.is_cycling() {
            return false;
        }
        watching.cycle = Some(Cycle {
            watch: Watch::new(clip),
            ends: None,
            is_kept: false,
        });
        watching.summary = Err(Missing::NotAsked);
        self.clip = clip;
        self.gatherer = Gatherer::new(clip);
        true
    }

    /// Ends the load-cycle watch; its records follow with the next frames. Returns false if
    /// none runs.
    pub fn stop_watch(&mut self) -> bool {
        self.is_calm = false;
        match &mut self.state {
            State::Watching(watching) => watching.end_cycle(Then::Steady),
            _ => false,
        }
    }

    /// The load-cycle watch in hand, for a live view.
    #[must_use]
    pub fn cycle(&self) -> Option<WatchState> {
        let State::Watching(watching) = &self.state else {
            return None;
        };
        let watch = &watching.cycle.as_ref()?.watch;
        let (neutral_drop, frame_shift) = match watching.summary {
            Ok(summary) => (summary.neutral_drop, summary.frame_shift),
            Err(reason) => (Measured::Missing(reason), Measured::Missing(reason)),
        };
        Some(WatchState {
            seconds: watch
                .second()
                .map_or(0, |(number, _)| number.saturating_add(1)),
            steps: watch.steps(),
            neutral_drop,
            frame_shift,
        })
    }

    /// A window at rest after the test.
    pub(super) fn watch_window(&mut self, calibration: &Calibration) -> Option<Event> {
        let sums = self.accumulator.sums();
        let beat = Beat::of_window(sums, calibration, &self.limits, self.at());
        self.tuning = self.gatherer.take(sums, calibration, &self.limits);
        let snapshot = *sums.snapshot();
        if let State::Watching(watching) = &mut self.state
            && let Ok(beat) = beat
        {
            watching.push(&beat, &self.limits.watch);
        }
        if self.gatherer.windows() < LOOK {
            return None;
        }
        self.snapshot = Some(snapshot);
        let pattern = self.pattern(&self.gatherer);
        let mut evidence = self.evidence();
        self.gatherer = Gatherer::new(self.clip);
        if let State::Watching(watching) = &self.state {
            watching.add_to(&mut evidence);
        }
        self.look(pattern, evidence)
    }

    /// One look while watching.
    fn look(&mut self, pattern: Option<FindingCode>, evidence: Evidence) -> Option<Event> {
        let verdict = judge(&evidence, &self.limits);
        let State::Watching(watching) = &mut self.state else {
            return None;
        };
        if pattern == Some(FindingCode::Dead) {
            if watching.end_cycle(Then::Unplugged) {
                return None;
            }
            return Some(self.unplugged());
        }
        if pattern == watching.shown {
            if evidence.unsteadiness > self.limits.steady && watching.moves < MOVES {
                watching.moves += 1;
                return None;
            }
            watching.moves = 0;
            watching.differed = false;
            watching.seen = Some(evidence);
            // While a watch runs, its own record at the end is enough.
            let is_worth_a_record = evidence.load_step.is_ok()
                && !verdict.has(FindingCode::LoadStepUnclear)
                && !watching.is_cycling()
                && said(&verdict) != watching.kept
                && watching.more_records < MORE_RECORDS;
            if is_worth_a_record {
                watching.more_records += 1;
                watching.kept = said(&verdict);
                return Some(self.kept(evidence, verdict));
            }
            return Some(Event::Answer { evidence, verdict });
        }
        if watching.differed {
            if !watching.end_cycle(Then::Test) {
                self.early_ends = 0;
                self.begin();
            }
            return None;
        }
        watching.differed = true;
        // A danger is shown at once; its record waits for the next look.
        (verdict.outcome == Outcome::Danger).then_some(Event::Answer { evidence, verdict })
    }

    fn unplugged(&mut self) -> Event {
        self.state = State::Waiting;
        self.onset = Onset::NEW;
        self.clip = ClipTarget::NotConnected;
        Event::Unplugged
    }

    /// What a load-cycle watch has to say, one event a frame.
    #[inline]
    pub(super) fn event_due(&mut self) -> Option<Event> {
        match &self.state {
            State::Watching(watching) if watching.is_due() => self.next_due(),
            _ => None,
        }
    }

    #[cold]
    #[inline(never)]
    fn next_due(&mut self) -> Option<Event> {
        let at = self.at();
        let State::Watching(watching) = &mut self.state else {
            return None;
        };
        let cycle = watching.cycle.as_mut()?;
        if let Some(step) = cycle.watch.take_step() {
            return Some(Event::Step { at, step });
        }
        if let Some(page) = cycle.watch.take_page() {
            return Some(Event::Page { at, page });
        }
        let then = cycle.ends?;
        // Whatever follows, what the watch gave is kept first. Without one look at the slots
        // there is nothing to keep it beside.
        if !core::mem::replace(&mut cycle.is_kept, true)
            && let Some(mut evidence) = watching.seen
        {
            watching.add_to(&mut evidence);
            let verdict = judge(&evidence, &self.limits);
            watching.kept = said(&verdict);
            return Some(self.kept(evidence, verdict));
        }
        watching.cycle = None;
        match then {
            Then::Steady => None,
            Then::Test => {
                self.early_ends = 0;
                self.begin();
                None
            }
            Then::Unplugged => Some(self.unplugged()),
        }
    }
}
