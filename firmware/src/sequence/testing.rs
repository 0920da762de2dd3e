//! The windows of a test: those at rest, which make the evidence of the slots, and those in which
//! the tester's own currents flow, which only say whether that may go on.
//!
//! Another wiring than the one before ends a test, a few times; a load that comes or goes does not.

use slotwise_core::calibration::Calibration;
use slotwise_core::drive;
use slotwise_core::evidence::Missing;
use slotwise_core::finding::FindingCode;
use slotwise_core::judge::judge;
use slotwise_core::measure::Gatherer;
use slotwise_core::units::Hertz;

use super::{Event, Sequence, State};

/// Windows at rest before the first answer.
const FIRST_ANSWER: u16 = 2;

/// Windows at rest of a whole test.
const WHOLE_TEST: u16 = 10;

/// A test whose voltages change is ended and begun anew this often; then it runs through, and
/// the unsteadiness itself is the answer. Keeps a wild supply from filling the journal.
const EARLY_ENDS: u8 = 2;

/// So often the voltages may move in a test without another wiring showing: loads that come and
/// go, by volts on a long branch. More often in ten windows is no load but a joint, and the
/// unsteadiness counts.
const MOVES: u8 = 3;

impl Sequence {
    /// A window at rest of a test.
    pub(super) fn test_window(&mut self, calibration: &Calibration) -> Option<Event> {
        let before = self.gatherer.clone();
        let is_another = self.is_another_wiring(calibration);
        self.take_window(calibration);
        if !is_another && self.has_moved() && self.moves < MOVES {
            // A load came or went.
            self.moves += 1;
            self.gatherer = before.clone();
            self.gatherer.pause();
            self.take_window(calibration);
        }
        let evidence = self.evidence();
        let windows = self.gatherer.windows();
        if (is_another || self.has_moved()) && self.early_ends < EARLY_ENDS {
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
        self.snapshot = Some(*self.accumulator.sums().snapshot());
        if windows < FIRST_ANSWER {
            return None;
        }
        let pattern = self.pattern(&self.gatherer);
        if !self.paths.is_running()
            && self
                .paths
                .begin_next(pattern, &evidence, self.tuning, calibration, &self.limits)
        {
            self.state = State::Testing { pattern };
        } else if windows >= WHOLE_TEST && !self.paths.is_running() {
            return Some(self.end());
        }
        // What a refused path left behind belongs into the answer.
        Some(self.answer())
    }

    /// A window while the tester's own current flows: only what must not go on.
    pub(super) fn path_window(
        &mut self,
        pattern: Option<FindingCode>,
        calibration: &Calibration,
    ) -> Option<Event> {
        let mut look = Gatherer::new(self.clip);
        let sums = self.accumulator.sums();
        self.tuning = look.take(sums, calibration, &self.limits);
        self.paths.retune(self.tuning);
        let frequency: Option<Hertz> = look.evidence(Some(calibration)).frequency.value();
        let refused = self.paths.drive().and_then(|path| {
            drive::may_stay(path, self.clip, sums, frequency, calibration, &self.limits).err()
        });
        if let Some(reason) = refused {
            self.paths.give_up(reason);
            return self.path_done();
        }
        if look.windows() == 0 {
            return None;
        }
        if self.pattern(&look) != pattern {
            return self.another_wiring(&look);
        }
        // What is shown follows the line; what is kept are the windows at rest.
        let mut evidence = look.evidence(Some(calibration));
        self.paths.add_to(&mut evidence);
        let verdict = judge(&evidence, &self.limits);
        Some(Event::Answer { evidence, verdict })
    }

    /// The wiring changed under the test.
    fn another_wiring(&mut self, look: &Gatherer) -> Option<Event> {
        self.paths.give_up(Missing::Unsteady);
        if self.early_ends < EARLY_ENDS {
            self.early_ends += 1;
            // What is there now may be a danger: it is shown at once, its own test follows.
            let evidence = look.evidence(self.calibration.as_ref());
            let verdict = judge(&evidence, &self.limits);
            self.begin();
            return Some(Event::Answer { evidence, verdict });
        }
        Some(self.end())
    }

    /// A path has come to its end: the next one, or back to rest.
    #[cold]
    #[inline(never)]
    pub(super) fn path_done(&mut self) -> Option<Event> {
        self.accumulator.restart(self.tuning);
        self.gatherer.pause();
        if let Some(failure) = self.paths.failure() {
            return Some(Event::Failed(failure));
        }
        if let (State::Testing { pattern }, Some(calibration)) = (&self.state, &self.calibration) {
            let (pattern, calibration) = (*pattern, *calibration);
            let evidence = self.evidence();
            self.paths
                .begin_next(pattern, &evidence, self.tuning, &calibration, &self.limits);
        }
        Some(self.answer())
    }

    fn take_window(&mut self, calibration: &Calibration) {
        let sums = self.accumulator.sums();
        self.tuning = self.gatherer.take(sums, calibration, &self.limits);
    }

    fn has_moved(&self) -> bool {
        self.evidence().unsteadiness > self.limits.steady
    }

    /// Whether the newest window at rest shows another wiring than the windows before it, or
    /// than the one the paths were begun on. The average over the windows would hide it.
    fn is_another_wiring(&self, calibration: &Calibration) -> bool {
        let before = match self.state {
            State::Testing {
                pattern: Some(pattern),
            } => Some(pattern),
            _ if self.gatherer.windows() > 0 => self.pattern(&self.gatherer),
            _ => return false,
        };
        let mut look = Gatherer::new(self.clip);
        look.take(self.accumulator.sums(), calibration, &self.limits);
        look.windows() > 0 && self.pattern(&look) != before
    }
}
