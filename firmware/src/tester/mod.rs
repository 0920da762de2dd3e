//! The tester as a whole: sequence, lamps, button, journal and link, driven by two calls.
//!
//! [`Tester::frame`] takes every frame that the converter delivers (or the reason why one is
//! missing); [`Tester::poll`] takes the time and does all that is not measuring: it shows
//! lamps, reads the button, writes records and serves the link. A record write may take
//! 50 ms (sector erase), so a board queues frames meanwhile.

mod served;
mod view;

use embedded_hal::digital::{InputPin, OutputPin};
use embedded_storage::nor_flash::MultiwriteNorFlash;
use slotwise_core::evidence::Evidence;
use slotwise_core::judge::failed_self_test;
use slotwise_core::lamps::{LAMPS, Panel};
use slotwise_core::limits::{Limits, SelfTestLimits};
use slotwise_core::record::{Body, RecordNumber, TesterId, Version};
use slotwise_core::sample::{FRAMES_PER_SECOND, Frame, FrameFault};
use slotwise_core::self_test::SelfTestFailure;
use slotwise_core::slots::ClipTarget;
use slotwise_core::start::Start;
use slotwise_core::stimulus::{Applied, Order};
use slotwise_core::units::{Millis, UnixSeconds};
use slotwise_core::verdict::{Outcome, Verdict};

use crate::block::Block;
use crate::board::SerialLink;
use crate::button::{Button, ButtonEvent};
use crate::calibrating::{Workshop, load};
use crate::calibration_store::CalibrationStore;
use crate::keeper::Keeper;
use crate::lamps::LampDriver;
use crate::link::LinkServer;
use crate::self_test::{Flow, Hardware, Running, Stage};
use crate::sequence::{Event, Sequence};
use view::View;

/// Without a frame for this long the converter is silent: every frame that was due counts as
/// lost. Frames come every 0.25 ms.
const SILENCE_MS: u64 = 500;

/// The parts of a board that a tester owns.
#[derive(Debug)]
pub struct Parts<F, S, L, H, B> {
    /// NOR flash of journal and calibration; `None` if the chip does not answer.
    pub flash: Option<F>,
    /// Link to the host.
    pub serial: S,
    /// Lamps, top to bottom, high = lit.
    pub lamps: [L; LAMPS],
    /// The board's own small lamp.
    pub heartbeat: H,
    /// Button, low = pressed.
    pub button: B,
}

/// What a tester knows of itself at start.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Identity {
    /// Serial number.
    pub tester: TesterId,
    /// Version of this firmware.
    pub firmware: Version,
    /// Why it started, with which build, and how the run before ended.
    pub start: Start,
    /// Wall clock at start, if the clock chip had the time.
    pub clock: Option<UnixSeconds>,
}

/// A tester.
#[derive(Debug)]
pub struct Tester<F, S, L, H, B>
where
    F: MultiwriteNorFlash,
{
    serial: S,
    button_pin: B,
    lamps: LampDriver<L, H>,
    button: Button,
    link: LinkServer,
    sequence: Sequence,
    keeper: Keeper<F>,
    workshop: Workshop,
    /// Whether a calibration is in force.
    calibrated: bool,
    /// A body that waits to be written, and its time.
    pending: Option<(Millis, Body)>,
    /// Whether the record of this start is written.
    start_is_kept: bool,
    shown: Option<Verdict>,
    /// What the verdict shown rests on, and how many came before it.
    seen: Option<Evidence>,
    windows: u32,
    last_frame: Option<Millis>,
    frames_at_last_poll: u64,
    now: Millis,
    /// The test of itself that failed: nothing is answered any more.
    failure: Option<SelfTestFailure>,
    running: Running,
    flow: Flow,
}

impl<F, S, L, H, B> Tester<F, S, L, H, B>
where
    F: MultiwriteNorFlash,
    S: SerialLink,
    L: OutputPin,
    H: OutputPin<Error = L::Error>,
    B: InputPin,
{
    /// Starts a tester: reads calibration and journal, and begins the first test.
    ///
    /// A flash that cannot be read leaves a tester that still shows answers where it has a
    /// calibration, and says over the link that it keeps no records.
    pub fn new(parts: Parts<F, S, L, H, B>, identity: Identity) -> Self {
        let Parts {
            mut flash,
            serial,
            lamps,
            heartbeat,
            button,
        } = parts;
        let stored = flash
            .as_mut()
            .and_then(|flash| load(&mut CalibrationStore::new(flash)));
        let workshop = Workshop::new(stored);
        let calibration = workshop.in_force(identity.clock);
        let keeper = Keeper::open(flash, identity);
        let start = keeper.start_to_tell();
        let start_is_kept = keeper.told;
        Self {
            serial,
            button_pin: button,
            lamps: LampDriver::new(lamps, heartbeat),
            button: Button::new(),
            link: LinkServer::new(),
            sequence: Sequence::new(calibration, Limits::DEFAULT),
            keeper,
            workshop,
            calibrated: calibration.is_some(),
            pending: Some((Millis::default(), Body::Start(start))),
            start_is_kept,
            shown: None,
            seen: None,
            windows: 0,
            last_frame: None,
            frames_at_last_poll: 0,
            now: Millis::default(),
            failure: None,
            running: Running::new(SelfTestLimits::DEFAULT),
            flow: Flow::new(),
        }
    }

    /// Takes what the converter delivered, and what the tester's own outputs did while it was
    /// converted. Call it for every frame, in order.
    #[inline]
    pub fn frame(&mut self, delivered: Result<Frame, FrameFault>, applied: Applied) {
        self.flow.mark(Stage::Frames);
        let answers = self.failure.is_none() && !self.workshop.is_measuring();
        if !(answers && self.sequence.takes(&delivered, applied)) {
            self.frame_the_long_way(delivered, applied);
        }
    }

    /// Takes a block of frames: what [`Tester::frame`] does with each of them.
    #[inline]
    pub fn block(&mut self, block: &Block) {
        if let Some(codes) = block.quiet()
            && self.failure.is_none()
            && !self.workshop.is_measuring()
            && self.sequence.takes_batch(codes)
        {
            self.flow.mark(Stage::Frames);
        } else {
            self.block_one_by_one(block);
        }
    }

    /// Frames after which a block would best end, once; 0 if blocks are in step with the windows.
    #[inline]
    #[must_use]
    pub const fn to_a_batch(&self) -> usize {
        self.sequence.to_a_batch()
    }

    #[inline(never)]
    fn block_one_by_one(&mut self, block: &Block) {
        for (delivered, applied) in block.frames() {
            self.frame(delivered, applied);
        }
    }

    /// A frame that may have more to it than going into a sum.
    #[inline(never)]
    fn frame_the_long_way(&mut self, delivered: Result<Frame, FrameFault>, applied: Applied) {
        if self.failure.is_some() {
            return;
        }
        if self.workshop.is_measuring() {
            self.sequence.pass(match &delivered {
                Err(FrameFault::Lost(count)) => *count,
                _ => 1,
            });
            self.workshop.frame(delivered, applied);
        } else if let Some(event) = self.sequence.frame(delivered, applied) {
            self.on_event(event);
        }
    }

    /// Runs the tests of itself that go on while it runs. Call it after every [`Tester::poll`].
    pub fn test_itself(&mut self, hardware: &mut impl Hardware) {
        if self.failure.is_some() {
            return;
        }
        let idle = !self.sequence.is_testing();
        if let Err(failure) = self.running.poll(self.now, idle, hardware) {
            self.fail(failure);
        }
    }

    /// A test of the tester by itself has failed: outputs open, no answer from now on. The first
    /// failure counts.
    #[cold]
    pub fn fail(&mut self, failure: SelfTestFailure) {
        if self.failure.is_some() {
            return;
        }
        self.failure = Some(failure);
        let verdict = failed_self_test();
        let evidence = Evidence::empty();
        self.lamps.show(Panel::for_verdict(&verdict, &evidence));
        self.shown = Some(verdict);
        self.seen = None;
        self.windows = self.windows.wrapping_add(1);
        self.keep(self.now, Body::SelfTest(failure));
    }

    /// The test of itself that the tester failed.
    #[must_use]
    pub const fn failure(&self) -> Option<SelfTestFailure> {
        self.failure
    }

    /// The newest record that is kept.
    #[must_use]
    pub fn newest_record(&self) -> Option<RecordNumber> {
        self.keeper.kept().map(|(_, newest)| newest)
    }

    /// Which start of the tester this is.
    #[must_use]
    pub const fn boot(&self) -> u32 {
        self.keeper.boot
    }

    /// Whether the record of this start is written: a board may forget then how the run before
    /// ended.
    #[must_use]
    pub const fn start_is_kept(&self) -> bool {
        self.start_is_kept
    }

    /// The stages that have run: a board marks its own and feeds its watchdog when all have.
    pub const fn flow(&mut self) -> &mut Flow {
        &mut self.flow
    }

    /// Does everything but measuring. Call it at least every 10 ms.
    pub fn poll(&mut self, now: Millis) {
        self.now = now;
        self.flow.tell();
        self.watch_for_silence(now);
        self.write_pending();
        self.look_after(now);
        self.serve_button(now);
        self.flow.mark(Stage::Poll);
        self.flow.tell();
        // A lamp pin of a microcontroller cannot fail; on an expander the next poll tries again.
        let _ = self.lamps.poll(now);
        self.flow.mark(Stage::Lamps);
        self.flow.tell();
        let mut view = View {
            keeper: &mut self.keeper,
            sequence: &mut self.sequence,
            workshop: &mut self.workshop,
            went_dark: false,
            look_again: false,
            panel: *self.lamps.panel(),
            shown: self.shown.as_ref(),
            seen: self.seen.as_ref(),
            windows: self.windows,
            now,
            failed: self.failure.is_some(),
        };
        self.link.poll(&mut self.serial, &mut view);
        let (went_dark, look_again) = (view.went_dark, view.look_again);
        if went_dark {
            self.go_dark();
        }
        if look_again {
            self.take_calibration();
        }
        if let Some(event) = self.workshop.take_event() {
            self.keep(self.sequence.at(), event);
        }
        self.flow.mark(Stage::Link);
        self.flow.tell();
    }

    /// Age of the calibration, and raw readings that nobody asks for any more.
    fn look_after(&mut self, now: Millis) {
        if self.failure.is_some() {
            return;
        }
        if self.workshop.has_ended(self.serial.is_open(), now) {
            self.sequence.start(self.sequence.clip());
        }
        let clock = self.keeper.clock(self.sequence.at());
        if self.workshop.in_force(clock).is_some() != self.calibrated {
            self.take_calibration();
        }
    }

    /// Tests under the calibration that is in force now, if there is one.
    fn take_calibration(&mut self) {
        let clock = self.keeper.clock(self.sequence.at());
        let calibration = self.workshop.in_force(clock);
        self.calibrated = calibration.is_some();
        self.go_dark();
        self.sequence.set_calibration(calibration);
    }

    /// No answer stands any more.
    fn go_dark(&mut self) {
        if self.failure.is_some() {
            return;
        }
        self.lamps.show(Panel::DARK);
        self.shown = None;
        self.seen = None;
        self.windows = self.windows.wrapping_add(1);
    }

    /// What the outputs are to do from now on. A board hands it to its stimulator after every
    /// [`Tester::poll`].
    #[must_use]
    pub fn order(&self) -> Order {
        if self.failure.is_some() {
            return Order::Rest;
        }
        let order = self.workshop.order();
        order.unwrap_or_else(|| self.sequence.order())
    }

    /// Begins a test now, with this said of the clip.
    pub fn start_test(&mut self, clip: ClipTarget) {
        if self.failure.is_none() {
            self.sequence.start(clip);
        }
    }

    /// What the lamps say.
    #[must_use]
    pub const fn panel(&self) -> &Panel {
        self.lamps.panel()
    }

    /// The latest answer, if there is one.
    #[must_use]
    pub const fn verdict(&self) -> Option<&Verdict> {
        self.shown.as_ref()
    }

    /// Whether a test is running or a record waits to be written.
    #[must_use]
    pub fn is_busy(&self) -> bool {
        self.failure.is_none() && self.sequence.is_testing() || self.pending.is_some()
    }

    /// The serial link, for a board that must move its bytes.
    pub const fn serial(&mut self) -> &mut S {
        &mut self.serial
    }

    #[cold]
    #[inline(never)]
    fn on_event(&mut self, event: Event) {
        match event {
            Event::Answer { evidence, verdict } => {
                self.lamps.show(Panel::for_verdict(&verdict, &evidence));
                self.keep_seen(evidence);
                self.shown = Some(verdict);
            }
            Event::Ended { at, test } => {
                self.lamps
                    .show(Panel::for_verdict(&test.verdict, &test.evidence));
                self.keep_seen(test.evidence);
                self.shown = Some(test.verdict.clone());
                self.keep(at, Body::Test(test));
            }
            Event::Page { at, page } => self.keep(at, Body::WatchPage(page)),
            Event::Step { at, step } => self.keep(at, Body::WatchStep(step)),
            Event::Unplugged => self.go_dark(),
            Event::Failed(failure) => self.fail(failure),
        }
    }

    /// One record can wait; a second one within one poll writes the first at once.
    fn keep(&mut self, at: Millis, body: Body) {
        self.write_pending();
        self.pending = Some((at, body));
    }

    fn keep_seen(&mut self, evidence: Evidence) {
        self.seen = Some(evidence);
        self.windows = self.windows.wrapping_add(1);
    }

    fn watch_for_silence(&mut self, now: Millis) {
        if self.failure.is_some() {
            return;
        }
        let frames = self.sequence.frames();
        let last = match self.last_frame {
            Some(last) if frames == self.frames_at_last_poll => last,
            _ => {
                self.frames_at_last_poll = frames;
                self.last_frame = Some(now);
                return;
            }
        };
        let silent = now.since(last);
        if silent >= SILENCE_MS {
            let due = silent * u64::from(FRAMES_PER_SECOND) / 1000;
            let due = u32::try_from(due).unwrap_or(u32::MAX);
            if self.workshop.is_measuring() {
                self.sequence.pass(due);
            } else if let Some(event) = self.sequence.lost(due) {
                self.on_event(event);
            }
            self.frames_at_last_poll = self.sequence.frames();
            self.last_frame = Some(now);
        }
    }

    fn write_pending(&mut self) {
        if let Some((at, body)) = self.pending.take() {
            let is_start = matches!(body, Body::Start(_));
            if self.keeper.keep(at, body) {
                self.start_is_kept |= is_start;
                self.lamps.record_written(self.now);
            }
        }
    }

    fn serve_button(&mut self, now: Millis) {
        let is_down = self.button_pin.is_low().unwrap_or(false);
        let event = self.button.poll(is_down, now);
        if self.workshop.is_measuring() {
            return;
        }
        match event {
            Some(ButtonEvent::Press) => match self.shown.as_ref() {
                // With an answer: tell its number. Without one: test.
                Some(verdict) if verdict.outcome != Outcome::Proven => {
                    if let Some(finding) = verdict.first() {
                        let lamp = self.lamps.panel().telling_lamp();
                        self.lamps.tell(lamp, finding.code.number(), now);
                    }
                }
                _ => self.sequence.start(self.sequence.clip()),
            },
            Some(ButtonEvent::Hold) if self.failure.is_none() => hold(&mut self.sequence),
            Some(ButtonEvent::Hold) | None => {}
        }
    }
}

/// A hold begins or ends the load-cycle watch. Nobody can say by a button what the clip is on,
/// so it is taken to be on the appliance; hanging free it shows tens of volts and no pass.
/// Without voltage a hold asks for the power-off check, during a test it begins the test anew.
fn hold(sequence: &mut Sequence) {
    let was_watching = sequence.stop_watch();
    if !was_watching && !sequence.start_watch(ClipTarget::ApplianceFrame) {
        let clip = if sequence.is_testing() {
            sequence.clip()
        } else {
            ClipTarget::ApplianceFrame
        };
        sequence.start(clip);
    }
}
