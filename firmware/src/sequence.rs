//! The test sequence: from frames to answers, with the converter's clock as its only time.
//!
//! One *test* is one plug-in. It begins at start-up, when voltage appears on a tester that saw
//! none, at a press of the button, or when the wiring seen changes. The first answer stands
//! after two windows (0.4 s, plus at most 50 ms to notice the voltage); the record is made after
//! ten (2 s), or earlier when the voltages change under the test.
//!
//! ```text
//! plugged in -> testing --10 windows--> watching --voltage gone--> waiting --voltage--> testing
//!                  ^                        |
//!                  +----- another answer ---+
//! ```
//!
//! Pure state: frames in, events out; no bus, no clock, no journal.

use slotwise_core::calibration::Calibration;
use slotwise_core::evidence::Evidence;
use slotwise_core::finding::FindingCode;
use slotwise_core::judge::judge;
use slotwise_core::limits::Limits;
use slotwise_core::measure::Gatherer;
use slotwise_core::record::{SNAPSHOT_POINTS, Snapshot, Test};
use slotwise_core::sample::{FRAMES_PER_SECOND, Frame, FrameFault};
use slotwise_core::slots::{ClipTarget, LEADS, Lead};
use slotwise_core::units::{Millis, Volts};
use slotwise_core::verdict::{Outcome, Verdict};
use slotwise_core::window::{Accumulator, Tuning, WINDOW};

/// Windows before the first answer.
const FIRST_ANSWER: u16 = 2;

/// Windows of a whole test.
const WHOLE_TEST: u16 = 10;

/// Windows of one look while watching.
const LOOK: u16 = 2;

/// A test whose voltages change is ended and begun anew this often; then it runs through, and
/// the unsteadiness itself is the answer. Keeps a wild supply from filling the journal.
const EARLY_ENDS: u8 = 2;

/// Frames over which a voltage must stand to count as "plugged in": 25 ms, twice.
const ONSET_FRAMES: u16 = 100;

/// Spread of the slots' codes, peak, that counts as voltage: 3 V at 60 uV a code. The dead
/// limit of the judgement is 1 V; contact noise and pickup stay below 3 V on an idle tester.
const ONSET_CODES: i32 = 50_000;

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
    /// A test is over: keep it.
    Ended {
        /// Time of its last frame, by the converter's clock.
        at: Millis,
        /// Evidence, verdict and waveform.
        test: Test,
    },
    /// The voltage is gone: unplugged.
    Unplugged,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum State {
    Testing,
    Watching {
        /// Code of the first finding of the test.
        shown: Option<FindingCode>,
        /// The last look saw something else. One look may straddle a change; two agree.
        differed: bool,
    },
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
    tuning: Tuning,
    gatherer: Gatherer,
    snapshot: Option<[[i16; LEADS]; SNAPSHOT_POINTS]>,
    onset: Onset,
    early_ends: u8,
    /// Frames since the test began, good or bad.
    waited: u32,
    frames: u64,
    bad_frames: u32,
}

impl Sequence {
    /// A sequence that begins with a test. Without a calibration it answers "tester fault".
    #[must_use]
    pub const fn new(calibration: Option<Calibration>, limits: Limits) -> Self {
        Self {
            calibration,
            limits,
            clip: ClipTarget::NotConnected,
            state: State::Testing,
            accumulator: Accumulator::new(Tuning::NOMINAL),
            tuning: Tuning::NOMINAL,
            gatherer: Gatherer::new(ClipTarget::NotConnected),
            snapshot: None,
            onset: Onset::NEW,
            early_ends: 0,
            waited: 0,
            frames: 0,
            bad_frames: 0,
        }
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

    /// Whether a test is running.
    #[must_use]
    pub fn is_testing(&self) -> bool {
        self.state == State::Testing
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
        self.state = State::Testing;
        self.gatherer = Gatherer::new(self.clip);
        self.accumulator.restart(self.tuning);
        self.snapshot = None;
        self.onset = Onset::NEW;
        self.waited = 0;
    }

    /// Takes what the converter delivered.
    pub fn frame(&mut self, delivered: Result<Frame, FrameFault>) -> Option<Event> {
        match delivered {
            Ok(frame) => {
                self.frames = self.frames.saturating_add(1);
                self.waited = self.waited.saturating_add(1);
                self.good_frame(&frame)
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
    /// are broken.
    #[cold]
    #[inline(never)]
    pub fn lost(&mut self, count: u32) -> Option<Event> {
        self.frames = self.frames.saturating_add(u64::from(count));
        self.bad_frames = self.bad_frames.saturating_add(count);
        self.waited = self.waited.saturating_add(count);
        self.gatherer.note_bad_frames(count);
        self.accumulator.restart(self.tuning);
        if self.state == State::Testing && self.gatherer.windows() == 0 && self.waited >= PATIENCE {
            return Some(self.end());
        }
        None
    }

    fn good_frame(&mut self, frame: &Frame) -> Option<Event> {
        if self.state == State::Waiting {
            if self.onset.take(frame) {
                self.early_ends = 0;
                self.begin();
            }
            return None;
        }
        if !self.accumulator.push(frame) {
            return None;
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
        let Some(calibration) = self.calibration else {
            // Nothing can be measured; say so, once.
            return match self.state {
                State::Testing => Some(self.end()),
                _ => None,
            };
        };
        let before = self.gatherer.clone();
        let sums = self.accumulator.sums();
        self.tuning = self.gatherer.take(sums, &calibration, &self.limits);
        let evidence = self.gatherer.evidence(Some(&calibration));
        let windows = self.gatherer.windows();
        match self.state {
            State::Testing => {
                if evidence.unsteadiness > self.limits.steady && self.early_ends < EARLY_ENDS {
                    self.early_ends += 1;
                    let event = if before.windows() >= FIRST_ANSWER {
                        self.gatherer = before;
                        Some(self.end())
                    } else {
                        None
                    };
                    self.begin();
                    return event;
                }
                self.snapshot = Some(*sums.snapshot());
                if windows >= WHOLE_TEST {
                    return Some(self.end());
                }
                let verdict = judge(&evidence, &self.limits);
                (windows >= FIRST_ANSWER).then_some(Event::Answer { evidence, verdict })
            }
            State::Watching { shown, differed } => {
                if windows < LOOK {
                    return None;
                }
                self.gatherer = Gatherer::new(self.clip);
                self.look(evidence, shown, differed)
            }
            State::Waiting => None,
        }
    }

    /// One look while watching.
    fn look(
        &mut self,
        evidence: Evidence,
        shown: Option<FindingCode>,
        differed: bool,
    ) -> Option<Event> {
        let verdict = judge(&evidence, &self.limits);
        let seen = verdict.first().map(|finding| finding.code);
        if seen == Some(FindingCode::Dead) {
            self.state = State::Waiting;
            self.onset = Onset::NEW;
            self.clip = ClipTarget::NotConnected;
            return Some(Event::Unplugged);
        }
        if seen == shown {
            self.state = State::Watching {
                shown,
                differed: false,
            };
            return Some(Event::Answer { evidence, verdict });
        }
        if differed {
            self.early_ends = 0;
            self.begin();
            return None;
        }
        self.state = State::Watching {
            shown,
            differed: true,
        };
        // A danger is shown at once; its record waits for the next look.
        (verdict.outcome == Outcome::Danger).then_some(Event::Answer { evidence, verdict })
    }

    /// Ends the test in hand with what was gathered.
    #[cold]
    #[inline(never)]
    fn end(&mut self) -> Event {
        let evidence = self.gatherer.evidence(self.calibration.as_ref());
        let verdict = judge(&evidence, &self.limits);
        let shown = verdict.first().map(|finding| finding.code);
        // A dead receptacle is watched for voltage, any other for change.
        self.state = if shown == Some(FindingCode::Dead) {
            State::Waiting
        } else {
            State::Watching {
                shown,
                differed: false,
            }
        };
        self.onset = Onset::NEW;
        self.gatherer = Gatherer::new(self.clip);
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

/// Notices voltage on an idle tester within 50 ms, by integers only.
#[derive(Clone, Copy, Debug)]
struct Onset {
    frames: u16,
    peak: i32,
    segments: u8,
}

impl Onset {
    const NEW: Self = Self {
        frames: 0,
        peak: 0,
        segments: 0,
    };

    /// Takes a frame; true when voltage stood over two segments.
    fn take(&mut self, frame: &Frame) -> bool {
        let codes = [Lead::Narrow, Lead::Wide, Lead::Ground].map(|lead| frame.code(lead).get());
        let highest = codes.into_iter().fold(i32::MIN, i32::max);
        let lowest = codes.into_iter().fold(i32::MAX, i32::min);
        self.peak = self.peak.max(highest.saturating_sub(lowest));
        self.frames += 1;
        if self.frames < ONSET_FRAMES {
            return false;
        }
        self.segments = if self.peak >= ONSET_CODES {
            self.segments.saturating_add(1)
        } else {
            0
        };
        self.frames = 0;
        self.peak = 0;
        self.segments >= 2
    }
}

// A window must be longer than the onset takes to notice, or a test could begin twice.
const _: () = assert!(WINDOW > 2 * ONSET_FRAMES as usize);
