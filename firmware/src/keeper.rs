//! Keeps records: numbers them, chains them by SHA-256, writes them to the journal, and knows
//! whether it still can.
//!
//! The digest in a record is that of the bytes of the record before, so a gap or a change shows.
//! After a failed write the newest record is read again before the next one, since the failed
//! one may be whole all the same.

use embedded_storage::nor_flash::MultiwriteNorFlash;
use sha2::{Digest as _, Sha256};
use slotwise_core::link::{JournalRefusal, JournalReport, JournalState};
use slotwise_core::record::{self, Body, Digest, MAX_BYTES, Record, RecordNumber};
use slotwise_core::start::Start;
use slotwise_core::units::{Millis, UnixSeconds};

use crate::journal::{Journal, JournalError};
use crate::tester::Identity;

/// Keeps records: numbers, chains and writes them.
#[derive(Debug)]
pub(crate) struct Keeper<F: MultiwriteNorFlash> {
    pub(crate) journal: Option<Journal<F>>,
    pub(crate) state: JournalState,
    pub(crate) identity: Identity,
    pub(crate) boot: u32,
    /// Digest of the newest record; `None` after a failed write, until it is read again.
    previous: Option<Digest>,
    /// The newest record at start tells already how the run before ended: the program got no
    /// further than to write it.
    pub(crate) told: bool,
}

impl<F: MultiwriteNorFlash> Keeper<F> {
    pub(crate) fn open(flash: Option<F>, identity: Identity) -> Self {
        let mut keeper = Self {
            journal: flash.and_then(|flash| Journal::open(flash).ok()),
            state: JournalState::Writable,
            identity,
            boot: 1,
            previous: Some(Digest::default()),
            told: false,
        };
        let mut buffer = [0; MAX_BYTES];
        match keeper.last(&mut buffer) {
            Err(()) => keeper.state = JournalState::Failed,
            Ok(None) => {}
            // A record of another schema still counts: its bytes are in the chain.
            Ok(Some(bytes)) => {
                let last = record::decode(bytes).ok();
                let boot = last.as_ref().map_or(0, |last| last.boot);
                let told = match last.as_ref().map(|last| &last.body) {
                    Some(Body::Start(start)) => start.stopped,
                    _ => None,
                };
                let previous = digest(bytes);
                keeper.told = told.is_some() && told == identity.start.stopped;
                keeper.boot = boot.saturating_add(1);
                keeper.previous = Some(previous);
            }
        }
        keeper
    }

    /// Bytes of the newest record, in `buffer`. Fails if there is no journal to read.
    fn last<'b>(&mut self, buffer: &'b mut [u8; MAX_BYTES]) -> Result<Option<&'b [u8]>, ()> {
        let journal = self.journal.as_mut().ok_or(())?;
        let length = journal.last_payload(buffer).map_err(|_| ())?;
        Ok(length.and_then(|length| buffer.get(..length)))
    }

    /// What the record of this start says: how the run before ended only if no record does yet.
    pub(crate) fn start_to_tell(&self) -> Start {
        let start = self.identity.start;
        Start {
            stopped: start.stopped.filter(|_| !self.told),
            ..start
        }
    }

    /// Writes a record; true if it is kept.
    pub(crate) fn keep(&mut self, at: Millis, body: Body) -> bool {
        match self.try_keep(at, body) {
            Ok(()) => {
                self.state = JournalState::Writable;
                true
            }
            Err(state) => {
                // The record may be whole all the same: look before the next one.
                self.previous = None;
                self.state = state;
                false
            }
        }
    }

    fn try_keep(&mut self, at: Millis, body: Body) -> Result<(), JournalState> {
        let failed = JournalState::Failed;
        let mut buffer = [0; MAX_BYTES];
        let previous = match self.previous {
            Some(previous) => previous,
            None => self
                .last(&mut buffer)
                .map_err(|()| failed)?
                .map_or_else(Digest::default, digest),
        };
        let clock = self.clock(at);
        let journal = self.journal.as_mut().ok_or(failed)?;
        let number = journal.next_number().map_err(|_| failed)?;
        let record = Record {
            number: RecordNumber::new(number),
            previous,
            tester: self.identity.tester,
            firmware: self.identity.firmware,
            boot: self.boot,
            at,
            clock,
            body,
        };
        let bytes = record::encode(&record, &mut buffer).map_err(|_| failed)?;
        match journal.append(bytes) {
            Ok(_) => {
                self.previous = Some(digest(bytes));
                Ok(())
            }
            Err(JournalError::Full { .. }) => Err(JournalState::Full),
            Err(_) => Err(failed),
        }
    }

    /// Wall clock `at` so long after the start, if it is known.
    pub(crate) fn clock(&self, at: Millis) -> Option<UnixSeconds> {
        let start = self.identity.clock?;
        Some(UnixSeconds::new(
            start.get().saturating_add(at.get() / 1000),
        ))
    }

    /// `at` so long after the start it is `clock`.
    pub(crate) fn set_clock(&mut self, clock: UnixSeconds, at: Millis) {
        let start = clock.get().saturating_sub(at.get() / 1000);
        self.identity.clock = Some(UnixSeconds::new(start));
    }

    /// Remembers that the host holds every record up to this one, if its bytes have this digest.
    pub(crate) fn confirm(
        &mut self,
        upto: RecordNumber,
        of_host: &Digest,
    ) -> Result<(), JournalRefusal> {
        let journal = self.journal.as_mut().ok_or(JournalRefusal::Failed)?;
        let mut buffer = [0; MAX_BYTES];
        let bytes = match journal.read_from(upto.get(), &mut buffer) {
            Ok(Some((number, length))) if number == upto.get() => buffer.get(..length),
            Ok(_) => None,
            Err(_) => return Err(JournalRefusal::Failed),
        };
        if bytes.map(digest) != Some(*of_host) {
            return Err(JournalRefusal::NotTheSame);
        }
        journal
            .confirm(upto.get())
            .map_err(|_| JournalRefusal::NotStored)
    }

    /// Gives the room of every record up to this one free.
    pub(crate) fn free(&mut self, upto: RecordNumber) -> Result<(), JournalRefusal> {
        let journal = self.journal.as_mut().ok_or(JournalRefusal::Failed)?;
        journal
            .free(upto.get())
            .map_err(|_| JournalRefusal::NotStored)?;
        if self.state == JournalState::Full {
            // There is room now; the next record tells if it can be used.
            self.state = JournalState::Writable;
        }
        Ok(())
    }

    pub(crate) fn report(&self) -> JournalReport {
        let marks = self
            .journal
            .as_ref()
            .map(Journal::marks)
            .unwrap_or_default();
        let (used, of) = self.journal.as_ref().map_or((0, 0), Journal::sectors_used);
        let passed_over = self
            .journal
            .as_ref()
            .map_or(0, Journal::sectors_passed_over);
        let number = |number: u32| (number > 0).then(|| RecordNumber::new(number));
        // At most `MAX_SECTORS`: they fit.
        JournalReport {
            state: self.state,
            kept: self.kept(),
            confirmed: number(marks.confirmed),
            freed: number(marks.freed),
            sectors: (used as u16, of as u16),
            passed_over: passed_over as u16,
        }
    }

    pub(crate) fn kept(&self) -> Option<(RecordNumber, RecordNumber)> {
        let journal = self.journal.as_ref()?;
        Some((
            RecordNumber::new(journal.first()?),
            RecordNumber::new(journal.last()?),
        ))
    }
}

fn digest(bytes: &[u8]) -> Digest {
    Digest(Sha256::digest(bytes).into())
}

#[cfg(test)]
mod tests;
