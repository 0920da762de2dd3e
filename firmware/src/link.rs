//! The link server: one request in, its replies out, never more in memory than one frame each
//! way.
//!
//! Bytes go through [`SerialLink`] without blocking. A frame that is damaged gets no reply: the
//! host asks again. A pull sends its records one by one as the line takes them; a request that
//! arrives meanwhile ends it. When the port closes, everything half said is dropped.
//!
//! What frees records takes two messages: an offer with a token, and the token back. The token
//! is no secret. It keeps a stray, repeated or late message from freeing anything.

use crc::{CRC_32_ISO_HDLC, Crc};
use slotwise_core::link::journal::OFFER_HOLDS;
use slotwise_core::link::{
    FirmwareReport, FrameReader, Hello, JournalRefusal, JournalReply, JournalReport,
    JournalRequest, Look, MAX_FRAME, PROTOCOL, Refusal, Reply, ReplyEnvelope, Request,
    RequestEnvelope, Status, WorkshopReply, WorkshopRequest, decode, encode,
};
use slotwise_core::record::{Digest, MAX_BYTES, RecordNumber};
use slotwise_core::slots::ClipTarget;
use slotwise_core::units::Millis;

use crate::board::SerialLink;

/// Bytes read in one go.
const CHUNK: usize = 64;

/// Chunks read in one go, so that a flood does not hold up the loop.
const CHUNKS_A_CALL: usize = 8;

/// Requests answered and records sent in one call.
const STEPS_A_CALL: usize = 4;

static CHECK: Crc<u32> = Crc::<u32>::new(&CRC_32_ISO_HDLC);

/// What the server asks of the rest of the tester.
pub trait Records {
    /// Who the tester is.
    fn hello(&self) -> Hello;
    /// State of the test in hand.
    fn status(&self) -> Status;
    /// First record with a number of at least `from`: its number and length in `buffer`.
    ///
    /// # Errors
    /// The number at which the journal could not be read.
    fn read(
        &mut self,
        from: RecordNumber,
        buffer: &mut [u8; MAX_BYTES],
    ) -> Result<Option<(RecordNumber, usize)>, RecordNumber>;
    /// Which firmware runs, and how it came to start.
    fn firmware(&self) -> FirmwareReport;
    /// Begin a test.
    ///
    /// # Errors
    /// `SelfTest` where the tester failed a test of itself.
    fn start_test(&mut self, clip: ClipTarget) -> Result<(), Refusal>;
    /// What the tester sees now.
    fn look(&self) -> Look;
    /// Begin a load-cycle watch; false if that cannot be now.
    fn start_watch(&mut self, clip: ClipTarget) -> bool;
    /// End the load-cycle watch; false if none is running.
    fn stop_watch(&mut self) -> bool;
    /// Calibration and clock.
    fn workshop(&mut self, request: &WorkshopRequest) -> WorkshopReply;
    /// How the journal stands.
    fn journal(&self) -> JournalReport;
    /// Remember that the host holds every record up to this one, if the digest is that of its
    /// bytes.
    ///
    /// # Errors
    /// Any refusal but `Token` and `NothingToFree`.
    fn confirm(&mut self, upto: RecordNumber, digest: &Digest) -> Result<(), JournalRefusal>;
    /// Give the room of every record up to this one free.
    ///
    /// # Errors
    /// `NotStored` or `Failed`.
    fn free(&mut self, upto: RecordNumber) -> Result<(), JournalRefusal>;
}

/// An offer to free what is confirmed.
#[derive(Clone, Copy, Debug)]
struct Offer {
    upto: RecordNumber,
    token: u32,
    at: Millis,
}

#[derive(Clone, Copy, Debug)]
struct Pull {
    sequence: u16,
    next: RecordNumber,
    left: u16,
}

/// State of the link.
#[derive(Debug)]
pub struct LinkServer {
    reader: FrameReader,
    out: [u8; MAX_FRAME],
    /// Bytes of `out` that are a frame, and how many of them are sent.
    filled: usize,
    sent: usize,
    pull: Option<Pull>,
    offer: Option<Offer>,
    /// Offers made since start, so that no two have the same token.
    offers: u32,
    was_open: bool,
    /// Bytes received and not yet looked at: a reply must be on its way before the next
    /// request is read.
    held: [u8; CHUNK],
    held_from: usize,
    held_to: usize,
}

impl Default for LinkServer {
    fn default() -> Self {
        Self::new()
    }
}

impl LinkServer {
    /// A server to whom nothing has been said.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            reader: FrameReader::new(),
            out: [0; MAX_FRAME],
            filled: 0,
            sent: 0,
            pull: None,
            offer: None,
            offers: 0,
            was_open: false,
            held: [0; CHUNK],
            held_from: 0,
            held_to: 0,
        }
    }

    /// Moves what can be moved without waiting.
    pub fn poll(&mut self, serial: &mut impl SerialLink, records: &mut impl Records) {
        let open = serial.is_open();
        if open != self.was_open {
            self.was_open = open;
            self.drop_all();
        }
        if !open {
            return;
        }
        for _ in 0..STEPS_A_CALL {
            if !self.flush(serial) {
                return;
            }
            if self.receive(serial, records) {
                continue;
            }
            if !self.continue_pull(records) {
                return;
            }
        }
    }

    fn drop_all(&mut self) {
        self.reader.reset();
        self.filled = 0;
        self.sent = 0;
        self.pull = None;
        self.offer = None;
        self.held_from = 0;
        self.held_to = 0;
    }

    /// Reads up to the end of one request; true if a reply is waiting now.
    fn receive(&mut self, serial: &mut impl SerialLink, records: &mut impl Records) -> bool {
        for _ in 0..CHUNKS_A_CALL {
            while let Some(&byte) = self
                .held
                .get(self.held_from)
                .filter(|_| self.held_from < self.held_to)
            {
                self.held_from += 1;
                let Some(Ok(message)) = self.reader.push(byte) else {
                    continue;
                };
                match decode::<RequestEnvelope>(message) {
                    Ok(envelope) => self.answer(envelope, records),
                    Err(_) => self.reply(0, Reply::Refused(Refusal::NotUnderstood)),
                }
                return true;
            }
            self.held_from = 0;
            self.held_to = serial.read(&mut self.held).min(CHUNK);
            if self.held_to == 0 {
                return false;
            }
        }
        false
    }

    fn answer(&mut self, envelope: RequestEnvelope, records: &mut impl Records) {
        let RequestEnvelope { sequence, request } = envelope;
        self.pull = None;
        match request {
            Request::Hello { protocol, .. } if protocol != PROTOCOL => {
                let refusal = Refusal::Protocol { spoken: PROTOCOL };
                self.reply(sequence, Reply::Refused(refusal));
            }
            Request::Hello { .. } => self.reply(sequence, Reply::Hello(records.hello())),
            Request::Status => self.reply(sequence, Reply::Status(records.status())),
            Request::Pull { from, limit } => {
                self.pull = Some(Pull {
                    sequence,
                    next: from,
                    left: limit,
                });
            }
            Request::StartTest { clip } => {
                let reply = match records.start_test(clip) {
                    Ok(()) => Reply::Done,
                    Err(refusal) => Reply::Refused(refusal),
                };
                self.reply(sequence, reply);
            }
            Request::Firmware => {
                self.reply(sequence, Reply::Firmware(records.firmware()));
            }
            Request::Look => self.reply(sequence, Reply::Look(records.look())),
            Request::StartWatch { clip } => {
                let begun = records.start_watch(clip);
                self.reply(sequence, done_or_busy(begun));
            }
            Request::StopWatch => {
                let ended = records.stop_watch();
                self.reply(sequence, done_or_busy(ended));
            }
            Request::Workshop(request) => {
                let reply = records.workshop(&request);
                self.reply(sequence, Reply::Workshop(reply));
            }
            Request::Journal(request) => {
                let reply = self
                    .journal(request, records)
                    .unwrap_or_else(JournalReply::Refused);
                self.reply(sequence, Reply::Journal(reply));
            }
        }
    }

    fn journal(
        &mut self,
        request: JournalRequest,
        records: &mut impl Records,
    ) -> Result<JournalReply, JournalRefusal> {
        match request {
            JournalRequest::Report => {}
            JournalRequest::Confirm { upto, digest } => records.confirm(upto, &digest)?,
            JournalRequest::OfferFree => {
                let report = records.journal();
                let upto = report
                    .confirmed
                    .filter(|confirmed| report.freed.is_none_or(|freed| freed < *confirmed))
                    .ok_or(JournalRefusal::NothingToFree)?;
                self.offers = self.offers.wrapping_add(1);
                let at = records.status().now;
                let token = token(&records.hello(), upto, at, self.offers);
                self.offer = Some(Offer { upto, token, at });
                return Ok(JournalReply::Offered { upto, token });
            }
            JournalRequest::Free { upto, token } => {
                // One answer: a wrong one ends the offer too.
                let offer = self.offer.take().ok_or(JournalRefusal::Token)?;
                let is_late = records.status().now.since(offer.at) > OFFER_HOLDS;
                let is_other = (offer.upto, offer.token) != (upto, token)
                    || records.journal().confirmed != Some(upto);
                if is_late || is_other {
                    return Err(JournalRefusal::Token);
                }
                records.free(upto)?;
            }
        }
        Ok(JournalReply::Report(records.journal()))
    }

    /// Sends what is framed; true when nothing is left of it.
    fn flush(&mut self, serial: &mut impl SerialLink) -> bool {
        while self.sent < self.filled {
            let waiting = self.out.get(self.sent..self.filled).unwrap_or_default();
            let taken = serial.write(waiting).min(waiting.len());
            if taken == 0 {
                return false;
            }
            self.sent += taken;
        }
        self.filled = 0;
        self.sent = 0;
        true
    }

    /// Frames the next reply of a pull; false if there is none.
    fn continue_pull(&mut self, records: &mut impl Records) -> bool {
        let Some(mut pull) = self.pull else {
            return false;
        };
        let mut buffer = [0; MAX_BYTES];
        let found = if pull.left == 0 {
            Ok(None)
        } else {
            records.read(pull.next, &mut buffer)
        };
        let reply = match found {
            Ok(Some((number, length))) => {
                pull.left -= 1;
                pull.next = number.next();
                self.pull = Some(pull);
                Reply::Record {
                    number,
                    bytes: buffer.get(..length).unwrap_or_default(),
                }
            }
            Ok(None) => {
                self.pull = None;
                Reply::PullEnd { next: pull.next }
            }
            Err(number) => {
                self.pull = None;
                Reply::Refused(Refusal::JournalUnreadable { number })
            }
        };
        self.reply(pull.sequence, reply);
        true
    }

    fn reply(&mut self, sequence: u16, reply: Reply<'_>) {
        let envelope = ReplyEnvelope { sequence, reply };
        self.sent = 0;
        // A frame of MAX_FRAME holds every reply; on the impossible error nothing is sent and
        // the host asks again.
        self.filled = encode(&envelope, &mut self.out).unwrap_or(0);
    }
}

/// A number that no other offer of this or another tester is likely to have.
fn token(hello: &Hello, upto: RecordNumber, at: Millis, offers: u32) -> u32 {
    let mut digest = CHECK.digest();
    digest.update(&hello.tester.0.to_le_bytes());
    digest.update(&hello.boot.to_le_bytes());
    digest.update(&upto.get().to_le_bytes());
    digest.update(&at.get().to_le_bytes());
    digest.update(&offers.to_le_bytes());
    digest.finalize()
}

const fn done_or_busy(done: bool) -> Reply<'static> {
    if done {
        Reply::Done
    } else {
        Reply::Refused(Refusal::Busy)
    }
}
