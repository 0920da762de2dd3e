//! The test sequence: from frames to answers, with the converter's clock as its only time.
//!
//! One *test* is one plug-in. It begins at start-up, when voltage appears on a tester that saw
//! none, at a press of the button, or when the wiring seen changes. The first answer stands
//! after two windows at rest (0.4 s, plus at most 50 ms to notice the voltage). Where the slots
//! read sound the tester's own relays are tested (0.83 s), the earth path follows (4 s), then
//! neutral and ground together and the limiter of their leg (6.4 s), and with the clip on an
//! independent earth the same to the clip; the rest of the ten windows at rest ends the test, and
//! its record is made.
//!
//! ```text
//!  plugged in ─> wiring ─> relays ─> earth path ─> neutral + ground, clip ─> wiring ─10 windows─> steady watch
//!                  ^                                                                │  ^  │
//!                  ├───────────────────── another wiring ───────────────────────────┘  │  │
//!  waiting <── voltage gone ──────────────────────────────────── load-cycle watch <────┴──┘
//! ```
//!
//! While the tester's own currents flow, every window is still looked at: another wiring, or a
//! voltage above an interlock, ends them. Pure state: frames with their marks in, events out; no
//! bus, no clock, no journal, and the outputs are asked for, never driven ([`Sequence::order`]).

mod calm;
mod onset;
mod paths;
mod readings;
mod testing;
mod watching;

use slotwise_core::calibration::Calibration;
use slotwise_core::evidence::Evidence;
use slotwise_core::finding::FindingCode;
use slotwise_core::judge::judge;
use slotwise_core::limits::Limits;
use slotwise_core::link::Phase;
use slotwise_core::measure::Gatherer;
use slotwise_core::record::{SNAPSHOT_POINTS, Snapshot, Test};
use slotwise_core::sample::{FRAMES_PER_SECOND, Frame, FrameFault};
use slotwise_core::self_test::SelfTestFailure;
use slotwise_core::slots::{ClipTarget, LEADS};
use slotwise_core::stimulus::{Applied, DrivePath, Order};
use slotwise_core::units::{Millis, Volts};
use slotwise_core::verdict::Verdict;
use slotwise_core::watch::{Page, StepWave};
use slotwise_core::window::{Accumulator, Tuning};

use onset::Onset;
use paths::Paths;
use watching::Watching;

/// Frames, good or bad, after which a test without a single whole window is answered all the
/// same: one second.
const PATIENCE: u32 = FRAMES_PER_SECOND;

/// What happened in a test.
#[derive(Clone, Debug, PartialEq)]
#[expect(
    clippy::large_enum_variant,
    reason = "no alloc; an event lives for one call"
)]
pub enum Event {
    /// There is an answer to show.
    Answer {
        /// What it rests on.
        evidence: Evidence,
        /// The answer.
        verdict: Verdict,
    },
    /// A test is over, or a watch has told more: keep it.
    Ended {
        /// Time of its last frame, by the converter's clock.
        at: Millis,
        /// Evidence, verdict and waveform.
        test: Test,
    },
    /// A minute of the load-cycle watch is over: keep it.
    Page {
        /// Time of its end.
        at: Millis,
        /// The minute.
        page: Page,
    },
    /// The load-cycle watch has seen a step: keep it.
    Step {
        /// When it was sure.
        at: Millis,
        /// The step.
        step: StepWave,
    },
    /// The voltage is gone: unplugged.
    Unplugged,
    /// A relay of the tester's own does not open: no answer from this tester.
    Failed(SelfTestFailure),
}

#[derive(Clone, Debug)]
#[expect(
    clippy::large_enum_variant,
    reason = "no alloc; there is one of them in a tester"
)]
enum State {
    Testing {
        /// The wiring that the paths were begun on; every later window must show it.
        pattern: Option<FindingCode>,
    },
    Watching(Watching),
    Waiting,
}

/// The sequence of one tester.
#[derive(Clone, Debug)]
pub struct Sequence {
    calibration: Option<Calibration>,
    limits: Limits,
    clip: ClipTarget,
    state: State,
    accumulator: Accumulator,
    /// Whether nothing was applied in the window in hand.
    at_rest: bool,
    /// Whether the next frame only goes into the sums, if it is a good one (`calm`).
    is_calm: bool,
    tuning: Tuning,
    gatherer: Gatherer,
    paths: Paths,
    snapshot: Option<[[i16; LEADS]; SNAPSHOT_POINTS]>,
    onset: Onset,
    early_ends: u8,
    moves: u8,
    /// Frames since the test began, good or bad.
    waited: u32,
    frames: u64,
    bad_frames: u32,
    windows: u32,
}

impl Sequence {
    /// A sequence that begins with a test. Without a calibration it answers "tester fault".
    #[must_use]
    pub const fn new(calibration: Option<Calibration>, limits: Limits) -> Self {
        Self {
            calibration,
            limits,
            clip: ClipTarget::NotConnected,
            state: State::Testing { pattern: None },
            accumulator: Accumulator::new(Tuning::NOMINAL),
            at_rest: true,
            is_calm: false,
            tuning: Tuning::NOMINAL,
            gatherer: Gatherer::new(ClipTarget::NotConnected),
            paths: Paths::NEW,
            snapshot: None,
            onset: Onset::NEW,
            early_ends: 0,
            moves: 0,
            waited: 0,
            frames: 0,
            bad_frames: 0,
            windows: 0,
        }
    }

    /// The same on a board without outputs: only slots at rest and load steps are measured.
    #[must_use]
    pub const fn without_outputs(mut self) -> Self {
        self.paths = Paths::ABSENT;
        self
    }

    /// Frames seen since start, lost ones included.
    #[must_use]
    pub const fn frames(&self) -> u64 {
        self.frames
    }

    /// Frames lost or damaged since start.
    #[must_use]
    pub const fn bad_frames(&self) -> u32 {
        self.bad_frames
    }

    /// Windows finished since start.
    #[must_use]
    pub const fn windows(&self) -> u32 {
        self.windows
    }

    /// Whether a test is running.
    #[must_use]
    pub const fn is_testing(&self) -> bool {
        matches!(self.state, State::Testing { .. })
    }

    /// What the outputs are to do.
    #[must_use]
    pub const fn order(&self) -> Order {
        self.paths.order()
    }

    /// What the tester is doing.
    #[must_use]
    pub const fn phase(&self) -> Phase {
        match &self.state {
            State::Testing { .. } => match self.order() {
                Order::Rest => Phase::Wiring,
                // Tested for what follows.
                Order::Probe | Order::Relays { probe: true, .. } => Phase::EarthPath,
                Order::Relays { .. } => Phase::NeutralAndGround,
                Order::Drive(path) | Order::Limiter { path, .. } => match path {
                    DrivePath::WideToGround => Phase::NeutralAndGround,
                    DrivePath::WideToClip => Phase::NeutralToClip,
                },
            },
            State::Watching(watching) if watching.is_cycling() => Phase::LoadCycle,
            State::Watching(_) => Phase::Steady,
            State::Waiting => Phase::Waiting,
        }
    }

    /// Time of the last frame since the first, by the converter's clock.
    #[must_use]
    pub const fn at(&self) -> Millis {
        Millis::new(self.frames * 1000 / FRAMES_PER_SECOND as u64)
    }

    /// Begins a test now, with this said of the clip.
    pub fn start(&mut self, clip: ClipTarget) {
        self.clip = clip;
        self.early_ends = 0;
        self.begin();
    }

    /// What was last said of the clip.
    #[must_use]
    pub const fn clip(&self) -> ClipTarget {
        self.clip
    }

    fn begin(&mut self) {
        self.is_calm = false;
        self.state = State::Testing { pattern: None };
        self.gatherer = Gatherer::new(self.clip);
        self.paths.restart();
        self.accumulator.restart(self.tuning);
        self.snapshot = None;
        self.onset = Onset::NEW;
        self.moves = 0;
        self.waited = 0;
    }

    /// Another calibration is in force, or none any more: begins a test under it.
    pub fn set_calibration(&mut self, calibration: Option<Calibration>) {
        self.calibration = calibration;
        self.start(self.clip);
    }

    /// `count` frames go by without being looked at: only the time is counted.
    pub const fn pass(&mut self, count: u32) {
        self.frames = self.frames.saturating_add(count as u64);
    }

    /// Takes what the converter delivered, and what the outputs did meanwhile.
    pub fn frame(
        &mut self,
        delivered: Result<Frame, FrameFault>,
        applied: Applied,
    ) -> Option<Event> {
        match delivered {
            Ok(frame) => {
                self.frames = self.frames.saturating_add(1);
                self.waited = self.waited.saturating_add(1);
                let event = self.good_frame(&frame, applied);
                self.settle();
                event
            }
            Err(fault) => {
                let lost = match fault {
                    FrameFault::Lost(count) => count,
                    FrameFault::Checksum | FrameFault::Bus | FrameFault::Restarted => 1,
                };
                self.lost(lost)
            }
        }
    }

    /// `count` frames that were due did not come. The window in hand is dropped: its phases
    /// are broken. An estimator of a path sees the gap by the count in the next mark.
    #[cold]
    #[inline(never)]
    pub fn lost(&mut self, count: u32) -> Option<Event> {
        self.is_calm = false;
        self.frames = self.frames.saturating_add(u64::from(count));
        self.bad_frames = self.bad_frames.saturating_add(count);
        self.waited = self.waited.saturating_add(count);
        self.gatherer.note_bad_frames(count);
        self.accumulator.restart(self.tuning);
        if self.is_testing() && self.gatherer.windows() == 0 && self.waited >= PATIENCE {
            return Some(self.end());
        }
        None
    }

    fn good_frame(&mut self, frame: &Frame, applied: Applied) -> Option<Event> {
        if let State::Waiting = self.state {
            if self.onset.take(frame) {
                self.early_ends = 0;
                self.begin();
            }
            return None;
        }
        if self.paths.is_running()
            && let Some(calibration) = &self.calibration
            && self.paths.push(frame, applied, calibration, &self.limits)
        {
            return self.path_done();
        }
        let at_rest = applied == Applied::Nothing;
        if at_rest != self.at_rest {
            self.at_rest = at_rest;
            self.gatherer.pause();
            self.accumulator.restart(self.tuning);
        }
        if !self.accumulator.push(frame) {
            return self.event_due();
        }
        let event = self.window();
        self.accumulator.restart(self.tuning);
        event
    }

    /// A window is whole. Never inlined: what happens five times a second must not weigh on what
    /// happens 4000 times.
    #[cold]
    #[inline(never)]
    fn window(&mut self) -> Option<Event> {
        self.windows = self.windows.wrapping_add(1);
        let Some(calibration) = self.calibration else {
            // Nothing can be measured; say so, once.
            return self.is_testing().then(|| self.end());
        };
        match &self.state {
            State::Testing { .. } if self.at_rest => self.test_window(&calibration),
            State::Testing { pattern } => {
                let pattern = *pattern;
                self.path_window(pattern, &calibration)
            }
            State::Watching(_) => self.watch_window(&calibration),
            State::Waiting => None,
        }
    }

    /// What the slots read as: the wiring alone, whatever else there is to say.
    fn pattern(&self, gatherer: &Gatherer) -> Option<FindingCode> {
        let evidence = gatherer.evidence(self.calibration.as_ref());
        let verdict = judge(&evidence, &self.limits);
        if verdict.has(FindingCode::ReadsSound) {
            return Some(FindingCode::ReadsSound);
        }
        verdict.first().map(|finding| finding.code)
    }

    /// What is known now: slots at rest, and the paths.
    fn evidence(&self) -> Evidence {
        let mut evidence = self.gatherer.evidence(self.calibration.as_ref());
        self.paths.add_to(&mut evidence);
        evidence
    }

    fn answer(&self) -> Event {
        let evidence = self.evidence();
        let verdict = judge(&evidence, &self.limits);
        Event::Answer { evidence, verdict }
    }

    /// Ends the test in hand with what was gathered.
    #[cold]
    #[inline(never)]
    fn end(&mut self) -> Event {
        self.paths.stop();
        let evidence = self.evidence();
        let verdict = judge(&evidence, &self.limits);
        let pattern = self.pattern(&self.gatherer);
        // A dead receptacle is watched for voltage, any other for change.
        self.state = if pattern == Some(FindingCode::Dead) {
            State::Waiting
        } else {
            State::Watching(Watching::new(pattern, &verdict))
        };
        self.onset = Onset::NEW;
        self.gatherer = Gatherer::new(self.clip);
        self.kept(evidence, verdict)
    }

    /// The event of a record.
    fn kept(&self, evidence: Evidence, verdict: Verdict) -> Event {
        Event::Ended {
            at: self.at(),
            test: Test {
                evidence,
                verdict,
                snapshot: self.snapshot(),
            },
        }
    }

    fn snapshot(&self) -> Snapshot {
        let mut snapshot = Snapshot::default();
        let (Some(calibration), Some(points)) = (self.calibration, self.snapshot) else {
            return snapshot;
        };
        // A point is a code / 2^8.
        snapshot.volts_per_count = calibration
            .channels
            .map(|channel| Volts::from_f64(channel.volts_per_code() * 256.0));
        // The vector's capacity is the array's length.
        let _ = snapshot.points.extend_from_slice(&points);
        snapshot
    }
}
