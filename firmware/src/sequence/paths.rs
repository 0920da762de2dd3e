//! The tester's own currents in a test: which one comes next, and what the one in hand has
//! given.
//!
//! ```text
//!  reads sound:  relays -> P1, narrow to ground (4 s, up to 16) -> P2, wide to ground (4 s), its limiter
//!  ... clip on an independent earth:  -> P2, wide to clip (4 s), its limiter
//!  dead, clip on the appliance:  relays -> P2, wide to ground, its limiter -> P2, wide to clip, its limiter
//! ```
//!
//! The relays are tested first, one at a time (0.83 s, up to 4.2 s): a path whose relays were not
//! all seen to open is not used in that test, and one that stays closed ends in a failed test of
//! the tester. The limiter of a leg follows on its reading (2.4 s, up to 9.6): without it the reading
//! does not count, and one that does not hold ends in a failed test, too.
//!
//! Nothing is closed before two windows at rest have shown that it may be; then the interrupt
//! watches every frame and the sequence every window. An estimator is fed by the mark of the
//! frame, not by the order: what the outputs really did counts.

use slotwise_core::calibration::Calibration;
use slotwise_core::drive;
use slotwise_core::earth_path::{self, Enough};
use slotwise_core::evidence::{Evidence, Measured, Missing};
use slotwise_core::finding::FindingCode;
use slotwise_core::limiter_check;
use slotwise_core::limits::Limits;
use slotwise_core::relay_check::{self, Tally, Then};
use slotwise_core::sample::Frame;
use slotwise_core::self_test::SelfTestFailure;
use slotwise_core::slots::ClipTarget;
use slotwise_core::stimulus::{Applied, DrivePath, Interlock, Order};
use slotwise_core::units::Ohms;
use slotwise_core::window::Tuning;

use super::readings::{NOT_ASKED, Readings};

/// Frames within which the outputs must have followed an order: 0.5 s, more than the longest
/// sector erase of the journal keeps the main loop away. A board without outputs never does.
const FOLLOWS_WITHIN: u16 = 2000;

#[derive(Clone, Debug)]
#[expect(
    clippy::large_enum_variant,
    reason = "no alloc; there is one of them in a tester"
)]
enum Running {
    Nothing,
    Relays(relay_check::Estimator),
    Probe(earth_path::Estimator),
    Drive(drive::Estimator),
    Limiter(limiter_check::Estimator),
}

/// Which currents may be driven, as far as the relays go.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Tested {
    probe: bool,
    drive: bool,
}

/// The paths of one test.
#[derive(Clone, Debug)]
pub(super) struct Paths {
    running: Running,
    waited: u16,
    readings: Readings,
    /// Passes of the test of the relays.
    tally: Tally,
    /// What that test gave, once it is over.
    tested: Option<Tested>,
    /// A reading of the drive that counts if the limiter of its leg holds.
    pending: Option<(DrivePath, Measured<Ohms>)>,
    /// Passes of the test of that limiter.
    limiter: limiter_check::Tally,
    /// A relay that does not open, or a limiter that does not hold.
    failure: Option<SelfTestFailure>,
    /// The board has no outputs.
    absent: bool,
}

impl Paths {
    pub(super) const NEW: Self = Self {
        running: Running::Nothing,
        waited: 0,
        readings: Readings::NONE,
        tally: Tally::NEW,
        tested: None,
        pending: None,
        limiter: limiter_check::Tally::NEW,
        failure: None,
        absent: false,
    };

    pub(super) const ABSENT: Self = Self {
        absent: true,
        ..Self::NEW
    };

    /// Forgets the test before. That a board has no outputs is remembered.
    pub(super) fn restart(&mut self) {
        self.stop();
        self.readings = Readings::NONE;
        self.tally = Tally::NEW;
        self.tested = None;
        self.pending = None;
    }

    /// What the tests of relays and limiters found wrong.
    pub(super) const fn failure(&self) -> Option<SelfTestFailure> {
        self.failure
    }

    /// Opens everything.
    pub(super) fn stop(&mut self) {
        self.running = Running::Nothing;
        self.waited = 0;
    }

    /// What the outputs are to do.
    pub(super) const fn order(&self) -> Order {
        match &self.running {
            Running::Nothing => Order::Rest,
            Running::Relays(estimator) => Order::Relays {
                pass: estimator.pass(),
                probe: estimator.probe(),
            },
            Running::Probe(_) => Order::Probe,
            Running::Drive(estimator) => Order::Drive(estimator.path()),
            Running::Limiter(estimator) => Order::Limiter {
                path: estimator.path(),
                pass: estimator.pass(),
            },
        }
    }

    pub(super) const fn is_running(&self) -> bool {
        !matches!(self.running, Running::Nothing)
    }

    /// Which drive path is in hand.
    pub(super) const fn drive(&self) -> Option<DrivePath> {
        match &self.running {
            Running::Drive(estimator) => Some(estimator.path()),
            Running::Limiter(estimator) => Some(estimator.path()),
            _ => None,
        }
    }

    /// Adds what is known of the paths.
    pub(super) const fn add_to(&self, evidence: &mut Evidence) {
        self.readings.add_to(evidence);
    }

    /// Begins the next path that this wiring asks for, if there is one left; `evidence` is that
    /// of the slots at rest. Returns whether one runs now.
    pub(super) fn begin_next(
        &mut self,
        pattern: Option<FindingCode>,
        evidence: &Evidence,
        tuning: Tuning,
        calibration: &Calibration,
        limits: &Limits,
    ) -> bool {
        if self.absent {
            return false;
        }
        let is_power_off = pattern == Some(FindingCode::Dead)
            && evidence.clip_target == ClipTarget::ApplianceFrame;
        let is_sound = pattern == Some(FindingCode::ReadsSound);
        let wants_clip =
            is_power_off || is_sound && evidence.clip_target == ClipTarget::IndependentEarth;
        let may_probe = earth_path::may_close(evidence, limits);
        let may_drive = |path| drive::may_close(path, evidence, limits);
        let Some(tested) = self.tested else {
            let probe = is_sound && may_probe.is_ok();
            let drive = (is_sound || is_power_off)
                && (may_drive(DrivePath::WideToGround).is_ok()
                    || is_power_off && may_drive(DrivePath::WideToClip).is_ok());
            if probe || drive {
                let pass = self.tally.passes();
                let estimator = relay_check::Estimator::new(pass, probe, tuning, calibration);
                return self.run(Running::Relays(estimator));
            }
            // Nothing may be closed: say why, and test no relay.
            self.tested = Some(Tested {
                probe: false,
                drive: false,
            });
            return self.begin_next(pattern, evidence, tuning, calibration, limits);
        };
        if let Some((path, _)) = self.pending {
            if may_drive(path).is_ok() {
                let pass = self.limiter.passes();
                return self.run(Running::Limiter(limiter_check::Estimator::new(path, pass)));
            }
            self.limiter_untested();
        }
        let readings = &mut self.readings;
        if is_sound && readings.earth_path == NOT_ASKED {
            match told(may_probe, tested.probe) {
                Ok(()) => {
                    let estimator = earth_path::Estimator::new(tuning, calibration);
                    return self.run(Running::Probe(estimator));
                }
                Err(reason) => readings.earth_path = Measured::Missing(reason),
            }
        }
        if (is_sound || is_power_off) && readings.neutral_and_ground == NOT_ASKED {
            match told(may_drive(DrivePath::WideToGround), tested.drive) {
                Ok(()) => return self.run_drive(DrivePath::WideToGround),
                Err(reason) => readings.neutral_and_ground = Measured::Missing(reason),
            }
        }
        if wants_clip && readings.neutral_to_clip == NOT_ASKED {
            match told(may_drive(DrivePath::WideToClip), tested.drive) {
                Ok(()) => return self.run_drive(DrivePath::WideToClip),
                Err(reason) => readings.neutral_to_clip = Measured::Missing(reason),
            }
        }
        false
    }

    fn run_drive(&mut self, path: DrivePath) -> bool {
        self.run(Running::Drive(drive::Estimator::new(path)))
    }

    fn run(&mut self, running: Running) -> bool {
        self.running = running;
        self.waited = 0;
        true
    }

    /// The line as the last window had it.
    pub(super) const fn retune(&mut self, tuning: Tuning) {
        if let Running::Probe(estimator) = &mut self.running {
            estimator.retune(tuning);
        }
    }

    /// Takes a frame with its mark; true when the path in hand has come to its end.
    #[inline]
    pub(super) fn push(
        &mut self,
        frame: &Frame,
        applied: Applied,
        calibration: &Calibration,
        limits: &Limits,
    ) -> bool {
        let is_due = match (&mut self.running, applied) {
            (Running::Relays(estimator), Applied::Relays { frame: number }) => {
                estimator.push(frame, number)
            }
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
            (
                Running::Limiter(estimator),
                Applied::Limiter {
                    frame: number,
                    path,
                    high,
                },
            ) if path == estimator.path() => estimator.push(frame, number, high),
            (Running::Nothing, _) => return false,
            (_, Applied::Dropped(interlock)) => {
                self.dropped(frame, interlock, calibration);
                return true;
            }
            // The order is on its way.
            _ => {
                self.waited = self.waited.saturating_add(1);
                if self.waited < FOLLOWS_WITHIN {
                    return false;
                }
                self.absent = true;
                self.stop();
                return true;
            }
        };
        is_due && self.look(calibration, limits)
    }

    /// Whether what was measured so far is enough; then it is kept.
    #[cold]
    #[inline(never)]
    fn look(&mut self, calibration: &Calibration, limits: &Limits) -> bool {
        match &self.running {
            Running::Relays(estimator) => {
                let pass = estimator.judge(calibration, &limits.relays);
                match self.tally.take(&pass, estimator.probe(), &limits.relays) {
                    // The next pass begins with the line as it is now.
                    Then::Again => {}
                    Then::Done { probe, drive } => self.tested = Some(Tested { probe, drive }),
                    Then::Failed(failure) => self.failure = Some(failure),
                }
            }
            Running::Probe(estimator) => {
                let found = estimator.estimate(calibration, limits);
                if found.enough() == Enough::More {
                    return false;
                }
                self.readings.earth_path = found.earth_path;
                self.readings.hot_and_ground = found.hot_and_ground;
            }
            Running::Drive(estimator) => {
                if estimator.windows() < drive::NORMAL_WINDOWS {
                    return false;
                }
                let path = estimator.path();
                let found = estimator.estimate(calibration, limits);
                // A reading that moved too much gets the longest time before it is given up.
                if found == Measured::Missing(Missing::Unsteady)
                    && estimator.windows() < drive::MOST_WINDOWS
                {
                    return false;
                }
                // A reading that no path can have is told by itself, see `judge`.
                let needs_limiter = found.value().is_some_and(|ohms| {
                    ohms >= limits.earth_path_lowest && ohms <= limits.limiters.path_most
                });
                if needs_limiter {
                    self.pending = Some((path, found));
                    self.limiter = limiter_check::Tally::NEW;
                } else {
                    self.readings.keep_drive(path, found);
                }
            }
            Running::Limiter(estimator) => {
                let path = estimator.path();
                let said = estimator.judge(calibration, &limits.limiters);
                match self.limiter.take(path, said, &limits.limiters) {
                    limiter_check::Then::Again => {}
                    limiter_check::Then::Holds => {
                        if let Some((path, found)) = self.pending.take() {
                            self.readings.keep_drive(path, found);
                        }
                    }
                    limiter_check::Then::Untold => self.limiter_untested(),
                    limiter_check::Then::Failed(failure) => self.failure = Some(failure),
                }
            }
            Running::Nothing => {}
        }
        self.stop();
        true
    }

    /// The limiter of the leg in hand was not tested: its reading does not count.
    fn limiter_untested(&mut self) {
        if let Some((path, _)) = self.pending.take() {
            self.readings
                .keep_drive(path, Measured::Missing(Missing::LimiterUntested));
        }
    }

    /// An interlock has opened the outputs.
    #[cold]
    #[inline(never)]
    fn dropped(&mut self, frame: &Frame, interlock: Interlock, calibration: &Calibration) {
        match &mut self.running {
            // With one relay closed at most nothing should have moved.
            Running::Relays(_) => {
                self.tested = Some(Tested {
                    probe: false,
                    drive: false,
                });
            }
            Running::Probe(_) => {
                // The ground slot rose with the probe's milliampere: open, or all but open. That
                // it was not the wiring that changed meanwhile, the windows after it must show.
                let reason = match interlock {
                    Interlock::Voltage => Missing::BeyondRange,
                    Interlock::Blind => Missing::Unsteady,
                };
                self.readings.probe_gave_none(reason);
            }
            Running::Drive(estimator) => {
                estimator.push_dropping(frame);
                let reason = estimator.why_dropped(interlock, calibration);
                let path = estimator.path();
                self.readings.keep_drive(path, Measured::Missing(reason));
            }
            Running::Limiter(_) => self.limiter_untested(),
            Running::Nothing => {}
        }
        self.stop();
    }

    /// The path in hand cannot go on, for this reason.
    pub(super) fn give_up(&mut self, reason: Missing) {
        match &self.running {
            Running::Relays(_) | Running::Probe(_) => {
                self.readings.probe_gave_none(reason);
            }
            Running::Drive(estimator) => {
                self.readings
                    .keep_drive(estimator.path(), Measured::Missing(reason));
            }
            Running::Limiter(_) => self.limiter_untested(),
            Running::Nothing => {}
        }
        self.stop();
    }
}

/// Whether a path may be used that an interlock lets through and whose relays were tested.
const fn told(may: Result<(), Missing>, is_tested: bool) -> Result<(), Missing> {
    match may {
        Ok(()) if !is_tested => Err(Missing::RelaysUntested),
        _ => may,
    }
}
