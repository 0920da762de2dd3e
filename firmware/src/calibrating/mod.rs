//! Looking after the tester: raw readings for a calibration, its storing in two steps, its age,
//! and the clock.
//!
//! While raw readings are taken the tester does not test: its lamps are dark and it holds no
//! answer. It tests again when the host says so, when the port closes, or when nothing was asked
//! for [`IDLE_MS`]. The calibration in force is the one that is stored, as long as it holds.

mod measuring;

use crc::{CRC_32_ISO_HDLC, Crc};
use embedded_storage::nor_flash::MultiwriteNorFlash;
use slotwise_core::calibration::event::CalibrationEvent;
use slotwise_core::calibration::limiters::Limiters;
use slotwise_core::calibration::validity::Validity;
use slotwise_core::calibration::{self, Calibration};
use slotwise_core::limits::CalibrationLimits;
use slotwise_core::link::{
    About, ClockChip, ClockReport, WorkshopRefusal, WorkshopReply, WorkshopRequest,
};
use slotwise_core::record::Body;
use slotwise_core::sample::{Frame, FrameFault};
use slotwise_core::stimulus::{Applied, Order};
use slotwise_core::units::{Millis, UnixSeconds};

use crate::calibration_store::CalibrationStore;
use crate::clock_chip;
use crate::journal::Journal;
use measuring::Measuring;

/// So long without a question, and the tester tests again: a person who changes leads at the
/// bench takes minutes, not a quarter of an hour.
const IDLE_MS: u64 = 15 * 60 * 1000;

static CHECK: Crc<u32> = Crc::<u32>::new(&CRC_32_ISO_HDLC);

/// A calibration that was offered, or stored a moment ago.
#[derive(Clone, Copy, Debug)]
struct Offer {
    token: u32,
    calibration: Calibration,
    is_stored: bool,
}

/// A time that was offered.
#[derive(Clone, Copy, Debug)]
struct ClockOffer {
    token: u32,
    clock: UnixSeconds,
    at: Millis,
}

/// What the tester has to do besides answering.
#[derive(Debug)]
pub(crate) struct Workshop {
    stored: Option<Calibration>,
    offer: Option<Offer>,
    clock_offer: Option<ClockOffer>,
    measuring: Option<Measuring>,
    asked: Millis,
    /// Changes what is offered into another token every time.
    offers: u32,
    /// How the clock chip stood when it was last asked, and whether it is to be set.
    chip: ClockChip,
    sets_chip: bool,
    /// What the limiters let through, told and passed since the port was opened.
    limiters: Option<Limiters>,
    /// A calibration was stored and no record tells of it yet.
    event: Option<CalibrationEvent>,
    /// ... and what the limiters let through then.
    limiters_event: Option<Limiters>,
}

/// What the answer to a request means for the rest of the tester.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Then {
    /// Nothing.
    Nothing,
    /// It stops testing.
    StopTesting,
    /// It tests again.
    TestAgain,
    /// Another calibration may be in force.
    LookAgain,
    /// The clock stands at this time now.
    SetClock(UnixSeconds),
}

impl Workshop {
    pub(crate) const fn new(stored: Option<Calibration>) -> Self {
        Self {
            stored,
            offer: None,
            clock_offer: None,
            measuring: None,
            asked: Millis::new(0),
            offers: 0,
            chip: ClockChip::NotAsked,
            sets_chip: false,
            limiters: None,
            event: None,
            limiters_event: None,
        }
    }

    /// Takes how the clock chip stands.
    pub(crate) const fn chip_is(&mut self, chip: ClockChip) {
        self.chip = chip;
    }

    /// How the clock chip stands.
    pub(crate) const fn chip(&self) -> ClockChip {
        if self.sets_chip {
            ClockChip::Setting
        } else {
            self.chip
        }
    }

    /// Whether the clock chip is to be set, once.
    pub(crate) const fn take_sets_chip(&mut self) -> bool {
        core::mem::replace(&mut self.sets_chip, false)
    }

    /// What was stored since this was last asked, to be told in a record; one at a time, and the
    /// calibration before its limiters.
    pub(crate) fn take_event(&mut self) -> Option<Body> {
        if let Some(event) = self.event.take() {
            return Some(Body::Calibrated(event));
        }
        self.limiters_event.take().map(Body::Limiters)
    }

    /// The calibration in force at `clock`.
    pub(crate) fn in_force(&self, clock: Option<UnixSeconds>) -> Option<Calibration> {
        self.stored
            .filter(|stored| stored.validity(clock).may_answer())
    }

    pub(crate) const fn is_measuring(&self) -> bool {
        self.measuring.is_some()
    }

    /// What the outputs are to do while raw readings are taken.
    pub(crate) fn order(&self) -> Option<Order> {
        self.measuring.as_ref().map(Measuring::order)
    }

    pub(crate) fn frame(&mut self, delivered: Result<Frame, FrameFault>, applied: Applied) {
        if let Some(measuring) = &mut self.measuring {
            measuring.frame(delivered, applied);
        }
    }

    /// Whether the tester is to test again: the port closed, or nobody asks any more.
    pub(crate) fn has_ended(&mut self, is_open: bool, now: Millis) -> bool {
        if !is_open {
            self.offer = None;
            self.clock_offer = None;
            self.limiters = None;
        }
        let is_over = self.is_measuring() && (!is_open || now.since(self.asked) >= IDLE_MS);
        if is_over {
            self.measuring = None;
        }
        is_over
    }

    /// Answers a request.
    pub(crate) fn answer<F: MultiwriteNorFlash>(
        &mut self,
        request: &WorkshopRequest,
        journal: Option<&mut Journal<F>>,
        clock: Option<UnixSeconds>,
        now: Millis,
    ) -> (WorkshopReply, Then) {
        self.asked = now;
        match *request {
            WorkshopRequest::About => {
                let about = About {
                    clock,
                    calibration: self
                        .stored
                        .map_or(Validity::Missing, |stored| stored.validity(clock)),
                    copies: journal.and_then(|journal| {
                        let mut buffer = [0; calibration::MAX_BYTES];
                        let stored = journal.calibration_store().read(&mut buffer).ok()?;
                        Some(stored.is_sound())
                    }),
                };
                (WorkshopReply::About(about), Then::Nothing)
            }
            WorkshopRequest::OfferClock { clock } => (self.offer_clock(clock, now), Then::Nothing),
            WorkshopRequest::SetClock { token } => self.set_clock(token, now),
            WorkshopRequest::Clock => {
                let chip = self.chip();
                let report = ClockReport { clock, chip };
                (WorkshopReply::Clock(report), Then::Nothing)
            }
            WorkshopRequest::Measure(how) => {
                self.measuring = Some(Measuring::new(how));
                (WorkshopReply::Measuring, Then::StopTesting)
            }
            WorkshopRequest::Raw => {
                let reply = match &self.measuring {
                    None => WorkshopReply::Refused(WorkshopRefusal::NothingMeasured),
                    Some(measuring) => measuring
                        .found()
                        .map_or(WorkshopReply::Measuring, WorkshopReply::Raw),
                };
                (reply, Then::Nothing)
            }
            WorkshopRequest::EndMeasuring => {
                let was_measuring = self.measuring.take().is_some();
                let then = if was_measuring {
                    Then::TestAgain
                } else {
                    Then::Nothing
                };
                (WorkshopReply::Done, then)
            }
            WorkshopRequest::Calibration => {
                (WorkshopReply::Calibration(self.stored), Then::Nothing)
            }
            WorkshopRequest::Offer(calibration) => (self.offer(calibration, now), Then::Nothing),
            WorkshopRequest::Store { token } => self.store(token, journal),
            WorkshopRequest::Limiters(limiters) => (self.take_limiters(limiters), Then::Nothing),
        }
    }

    fn offer_clock(&mut self, clock: UnixSeconds, now: Millis) -> WorkshopReply {
        if !clock_chip::is_a_time(clock) {
            return WorkshopReply::Refused(WorkshopRefusal::NotATime);
        }
        let token = self.token(&clock.get().to_le_bytes(), now);
        self.clock_offer = Some(ClockOffer {
            token,
            clock,
            at: now,
        });
        WorkshopReply::Offered { token }
    }

    /// Taken once: asked again, as after a lost answer, it is refused, and setting the clock
    /// begins anew with the time that it is then.
    fn set_clock(&mut self, token: u32, now: Millis) -> (WorkshopReply, Then) {
        let offer = self.clock_offer.take_if(|offer| offer.token == token);
        match offer {
            None => (
                WorkshopReply::Refused(WorkshopRefusal::Token),
                Then::Nothing,
            ),
            Some(offer) => {
                self.sets_chip = true;
                let passed = now.since(offer.at) / 1000;
                let clock = UnixSeconds::new(offer.clock.get().saturating_add(passed));
                (WorkshopReply::Done, Then::SetClock(clock))
            }
        }
    }

    /// A number for an offer, another one every time.
    fn token(&mut self, what: &[u8], now: Millis) -> u32 {
        self.offers = self.offers.wrapping_add(1);
        let mut digest = CHECK.digest();
        digest.update(what);
        digest.update(&self.offers.to_le_bytes());
        digest.update(&now.get().to_le_bytes());
        digest.finalize()
    }

    fn take_limiters(&mut self, limiters: Limiters) -> WorkshopReply {
        let is_sound = limiters.check(&CalibrationLimits::DEFAULT).is_ok();
        self.limiters = is_sound.then_some(limiters);
        if is_sound {
            WorkshopReply::Done
        } else {
            WorkshopReply::Refused(WorkshopRefusal::Implausible)
        }
    }

    fn offer(&mut self, calibration: Calibration, now: Millis) -> WorkshopReply {
        if self.limiters.is_none() {
            return WorkshopReply::Refused(WorkshopRefusal::LimitersUnchecked);
        }
        let mut buffer = [0; calibration::MAX_BYTES];
        let encoded = calibration
            .check()
            .and_then(|()| calibration.encode(&mut buffer));
        let Ok(bytes) = encoded else {
            return WorkshopReply::Refused(WorkshopRefusal::Implausible);
        };
        let token = self.token(bytes, now);
        self.offer = Some(Offer {
            token,
            calibration,
            is_stored: false,
        });
        WorkshopReply::Offered { token }
    }

    fn store<F: MultiwriteNorFlash>(
        &mut self,
        token: u32,
        journal: Option<&mut Journal<F>>,
    ) -> (WorkshopReply, Then) {
        let refused = |why| (WorkshopReply::Refused(why), Then::Nothing);
        let Some(offer) = self.offer.as_mut().filter(|offer| offer.token == token) else {
            return refused(WorkshopRefusal::Token);
        };
        // The answer was lost on the line and the host asks again.
        if offer.is_stored {
            return (WorkshopReply::Done, Then::Nothing);
        }
        let Some(journal) = journal else {
            return refused(WorkshopRefusal::NotStored);
        };
        let wanted = offer.calibration;
        let is_kept = keep(&mut journal.calibration_store(), &wanted);
        offer.is_stored = is_kept;
        // A write that failed half way may have left the new one: what stands there counts.
        let stands = load(&mut journal.calibration_store());
        if let Some(now) = stands {
            let before = self.stored.replace(now);
            // Stored again without a change, as after a lost answer: still a calibration.
            if is_kept || before != stands {
                self.event = Some(CalibrationEvent { now, before });
                self.limiters_event = self.limiters.take();
            }
        }
        if is_kept && stands == Some(wanted) {
            (WorkshopReply::Done, Then::LookAgain)
        } else {
            (
                WorkshopReply::Refused(WorkshopRefusal::NotStored),
                Then::LookAgain,
            )
        }
    }
}

fn keep<F: MultiwriteNorFlash>(
    store: &mut CalibrationStore<'_, F>,
    calibration: &Calibration,
) -> bool {
    let mut buffer = [0; calibration::MAX_BYTES];
    let Ok(bytes) = calibration.encode(&mut buffer) else {
        return false;
    };
    store.write(bytes).is_ok()
}

/// The newest whole copy, if it is a calibration that a working tester can have.
pub(crate) fn load<F: MultiwriteNorFlash>(
    store: &mut CalibrationStore<'_, F>,
) -> Option<Calibration> {
    let mut buffer = [0; calibration::MAX_BYTES];
    let stored = store.read(&mut buffer).ok()?;
    let content = buffer.get(..stored.length?)?;
    Calibration::decode(content).ok()
}
