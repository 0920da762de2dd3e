//! What a host sees of the tester, and what it may ask it to do: the link server's end of the
//! rest of the tester. A tester that failed a test of itself starts nothing.

use embedded_storage::nor_flash::MultiwriteNorFlash;
use slotwise_core::evidence::Evidence;
use slotwise_core::lamps::Panel;
use slotwise_core::link::{
    Answer, FirmwareReport, Hello, JournalRefusal, JournalReport, Look, PROTOCOL, Phase, Refusal,
    Status, WorkshopRefusal, WorkshopReply, WorkshopRequest,
};
use slotwise_core::record::{Digest, MAX_BYTES, RecordNumber, SCHEMA};
use slotwise_core::slots::ClipTarget;
use slotwise_core::units::Millis;
use slotwise_core::verdict::{Outcome, Verdict};

use crate::calibrating::{Then, Workshop};
use crate::keeper::Keeper;
use crate::link::Records;
use crate::sequence::Sequence;

/// What the link server may see and do.
pub(super) struct View<'t, F: MultiwriteNorFlash> {
    pub(super) keeper: &'t mut Keeper<F>,
    pub(super) sequence: &'t mut Sequence,
    pub(super) workshop: &'t mut Workshop,
    /// A raw reading was begun: no answer stands any more.
    pub(super) went_dark: bool,
    /// Another calibration may be in force.
    pub(super) look_again: bool,
    pub(super) panel: Panel,
    pub(super) shown: Option<&'t Verdict>,
    pub(super) seen: Option<&'t Evidence>,
    pub(super) windows: u32,
    pub(super) now: Millis,
    pub(super) failed: bool,
}

impl<F: MultiwriteNorFlash> Records for View<'_, F> {
    fn hello(&self) -> Hello {
        Hello {
            protocol: PROTOCOL,
            schema: SCHEMA,
            tester: self.keeper.identity.tester,
            firmware: self.keeper.identity.firmware,
            boot: self.keeper.boot,
            records: self.keeper.kept(),
        }
    }

    fn status(&self) -> Status {
        Status {
            now: self.now,
            testing: !self.failed && self.sequence.is_testing(),
            panel: self.panel,
            frames: self.sequence.frames(),
            bad_frames: self.sequence.bad_frames(),
            newest: self.keeper.kept().map(|(_, newest)| newest),
            journal: self.keeper.state,
        }
    }

    fn read(
        &mut self,
        from: RecordNumber,
        buffer: &mut [u8; MAX_BYTES],
    ) -> Result<Option<(RecordNumber, usize)>, RecordNumber> {
        let Some(journal) = self.keeper.journal.as_mut() else {
            return Err(from);
        };
        match journal.read_from(from.get(), buffer) {
            Ok(found) => Ok(found.map(|(number, length)| (RecordNumber::new(number), length))),
            Err(_) => Err(from),
        }
    }

    fn firmware(&self) -> FirmwareReport {
        FirmwareReport {
            version: self.keeper.identity.firmware,
            start: self.keeper.identity.start,
        }
    }

    fn start_test(&mut self, clip: ClipTarget) -> Result<(), Refusal> {
        if self.failed {
            return Err(Refusal::SelfTest);
        }
        self.sequence.start(clip);
        Ok(())
    }

    fn look(&self) -> Look {
        let is_fault = |verdict: &Verdict| verdict.outcome == Outcome::TesterFault;
        let phase = if self.shown.is_some_and(is_fault) {
            Phase::TesterFault
        } else if self.workshop.is_measuring() {
            Phase::Waiting
        } else {
            self.sequence.phase()
        };
        let look = Look {
            watch: if self.failed {
                None
            } else {
                self.sequence.cycle()
            },
            windows: self.windows,
            panel: self.panel,
            answer: self.shown.map(Answer::from),
            ..Look::nothing_yet(self.now, phase, self.sequence.clip())
        };
        match self.seen {
            Some(evidence) => look.with(evidence),
            None => look,
        }
    }

    fn start_watch(&mut self, clip: ClipTarget) -> bool {
        !self.failed && self.sequence.start_watch(clip)
    }

    fn stop_watch(&mut self) -> bool {
        !self.failed && self.sequence.stop_watch()
    }

    fn journal(&self) -> JournalReport {
        self.keeper.report()
    }

    fn confirm(&mut self, upto: RecordNumber, digest: &Digest) -> Result<(), JournalRefusal> {
        self.keeper.confirm(upto, digest)
    }

    fn free(&mut self, upto: RecordNumber) -> Result<(), JournalRefusal> {
        self.keeper.free(upto)
    }

    fn workshop(&mut self, request: &WorkshopRequest) -> WorkshopReply {
        if self.failed && matches!(request, WorkshopRequest::Measure(_)) {
            return WorkshopReply::Refused(WorkshopRefusal::SelfTest);
        }
        let clock = self.keeper.clock(self.sequence.at());
        let journal = self.keeper.journal.as_mut();
        let (reply, then) = self.workshop.answer(request, journal, clock, self.now);
        match then {
            Then::SetClock(clock) => self.keeper.set_clock(clock, self.sequence.at()),
            Then::TestAgain => self.sequence.start(self.sequence.clip()),
            Then::StopTesting => self.went_dark = true,
            Then::LookAgain => self.look_again = true,
            Then::Nothing => {}
        }
        reply
    }
}
