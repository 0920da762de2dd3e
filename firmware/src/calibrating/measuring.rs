//! One raw reading: windows at rest first, then the path that was asked for.
//!
//! Nothing is closed before two windows at rest have shown that it may be, at nominal gains, by
//! the same rules as in a test; while the drive is closed every window is looked at again. The
//! interlock in the interrupt watches every frame as always.

use slotwise_core::calibration::raw::{NOMINAL, RawMeasure, RawReading, RestGatherer};
use slotwise_core::drive;
use slotwise_core::earth_path::{self, Enough};
use slotwise_core::evidence::{Measured, Missing};
use slotwise_core::limits::Limits;
use slotwise_core::sample::{FRAMES_PER_SECOND, Frame, FrameFault};
use slotwise_core::slots::ClipTarget;
use slotwise_core::stimulus::{Applied, Order};
use slotwise_core::window::{Accumulator, Tuning};

/// Windows at rest before anything is closed.
const BEFORE: u16 = 2;

/// Frames within which the outputs must have followed an order, as in a test.
const FOLLOWS_WITHIN: u32 = 2000;

/// Frames, good or bad, after which a reading without an end is given up: 25 s, the drive's 16 s
/// and a margin.
const PATIENCE: u32 = 25 * FRAMES_PER_SECOND;

#[derive(Clone, Debug)]
#[expect(
    clippy::large_enum_variant,
    reason = "no alloc; there is one of them in a tester"
)]
enum Running {
    Rest,
    Probe(earth_path::Estimator),
    Drive(drive::Estimator),
    Done(Result<RawReading, Missing>),
}

/// A raw reading in hand.
#[derive(Clone, Debug)]
pub(super) struct Measuring {
    how: RawMeasure,
    running: Running,
    gatherer: RestGatherer,
    accumulator: Accumulator,
    tuning: Tuning,
    /// Frames that the outputs have not followed for.
    unfollowed: u32,
    frames: u32,
}

impl Measuring {
    pub(super) const fn new(how: RawMeasure) -> Self {
        Self {
            how,
            running: Running::Rest,
            gatherer: RestGatherer::new(),
            accumulator: Accumulator::new(Tuning::NOMINAL),
            tuning: Tuning::NOMINAL,
            unfollowed: 0,
            frames: 0,
        }
    }

    pub(super) const fn order(&self) -> Order {
        match &self.running {
            Running::Rest | Running::Done(_) => Order::Rest,
            Running::Probe(_) => Order::Probe,
            Running::Drive(estimator) => Order::Drive(estimator.path()),
        }
    }

    pub(super) const fn found(&self) -> Option<Result<RawReading, Missing>> {
        match self.running {
            Running::Done(found) => Some(found),
            _ => None,
        }
    }

    pub(super) fn frame(&mut self, delivered: Result<Frame, FrameFault>, applied: Applied) {
        if let Running::Done(_) = self.running {
            return;
        }
        self.frames = self.frames.saturating_add(1);
        if self.frames > PATIENCE {
            return self.end(Err(Missing::Unsteady));
        }
        let Ok(frame) = delivered else {
            self.accumulator.restart(self.tuning);
            return;
        };
        self.path_frame(&frame, applied);
        let is_meant = match &self.running {
            Running::Rest => applied == Applied::Nothing,
            Running::Drive(_) => matches!(applied, Applied::Drive { .. }),
            Running::Probe(_) | Running::Done(_) => false,
        };
        if !is_meant {
            self.accumulator.restart(self.tuning);
        } else if self.accumulator.push(&frame) {
            self.window();
            self.accumulator.restart(self.tuning);
        }
    }

    fn end(&mut self, found: Result<RawReading, Missing>) {
        self.running = Running::Done(found);
    }

    /// A window is whole.
    #[cold]
    #[inline(never)]
    fn window(&mut self) {
        let limits = &Limits::DEFAULT;
        let sums = self.accumulator.sums();
        if let Running::Drive(estimator) = &self.running {
            let (path, clip) = (estimator.path(), ClipTarget::NotConnected);
            let may = drive::may_stay(path, clip, sums, None, &NOMINAL, limits);
            if let Err(reason) = may {
                self.end(Err(reason));
            }
            return;
        }
        self.tuning = self.gatherer.take(sums, limits);
        let is_ready = self.gatherer.windows() >= BEFORE;
        let evidence = self.gatherer.evidence();
        match self.how {
            RawMeasure::Rest => {
                if self.gatherer.is_done() {
                    let found = self.gatherer.reading().map(RawReading::Rest);
                    self.end(found);
                }
            }
            _ if !is_ready => {
                if self.gatherer.is_done() {
                    self.end(Err(Missing::Unsteady));
                }
            }
            RawMeasure::Probe => match earth_path::may_close(&evidence, limits) {
                Ok(()) => {
                    let estimator = earth_path::Estimator::new(self.tuning, &NOMINAL);
                    self.running = Running::Probe(estimator);
                }
                Err(reason) => self.end(Err(reason)),
            },
            RawMeasure::Drive(path) => match drive::may_close(path, &evidence, limits) {
                Ok(()) => self.running = Running::Drive(drive::Estimator::new(path)),
                Err(reason) => self.end(Err(reason)),
            },
        }
    }

    fn path_frame(&mut self, frame: &Frame, applied: Applied) {
        let is_due = match (&mut self.running, applied) {
            (Running::Rest | Running::Done(_), _) => return,
            (
                Running::Probe(estimator),
                Applied::Probe {
                    frame: number,
                    closed,
                },
            ) => estimator.push(frame, number, closed),
            (
                Running::Drive(estimator),
                Applied::Drive {
                    frame: number,
                    path,
                    high,
                },
            ) => estimator.push(frame, number, path, high),
            (_, Applied::Dropped(_)) => return self.end(Err(Missing::BeyondRange)),
            _ => {
                self.unfollowed += 1;
                if self.unfollowed >= FOLLOWS_WITHIN {
                    self.end(Err(Missing::NoCurrent));
                }
                return;
            }
        };
        if is_due {
            self.look();
        }
    }

    #[cold]
    #[inline(never)]
    fn look(&mut self) {
        let found = match &self.running {
            Running::Probe(estimator) => {
                let found = estimator.estimate(&NOMINAL, &Limits::DEFAULT);
                if found.enough() == Enough::More {
                    return;
                }
                match found.earth_path {
                    Measured::Known(reading) => Ok(RawReading::Probe(reading)),
                    Measured::Missing(reason) => Err(reason),
                }
            }
            // The longest time: noise is what limits the calibration of the drive.
            Running::Drive(estimator) if estimator.windows() < drive::MOST_WINDOWS => return,
            Running::Drive(estimator) => estimator.raw().map(RawReading::Drive),
            Running::Rest | Running::Done(_) => return,
        };
        self.end(found);
    }
}
