//! The link: any bytes in any pieces, in frames that are whole or not, with a reader that is
//! slow, a port that closes, and time that goes by.
//!
//! Promises: no panic; what comes out is whole frames that decode; after any noise a whole
//! request is answered; records are freed only by the token of an offer of this session, once,
//! within 30 seconds.

use std::collections::VecDeque;

use serde::ser::{Serialize, SerializeTuple as _, Serializer};
use slotwise_core::lamps::Panel;
use slotwise_core::link::{
    FirmwareReport, FrameReader, Hello, JournalRefusal, JournalReply, JournalReport,
    JournalRequest, JournalState, Look, MAX_FRAME, PROTOCOL, Phase, Refusal, Reply, ReplyEnvelope,
    Request, RequestEnvelope, Status, WorkshopReply, WorkshopRequest, decode, encode,
};
use slotwise_core::record::{
    BootCause, Digest, MAX_BYTES, RecordNumber, SCHEMA, TesterId, Version,
};
use slotwise_core::slots::ClipTarget;
use slotwise_core::start::{BuildId, FileName, Start, Stop, Stopped};
use slotwise_core::units::Millis;
use slotwise_firmware::board::SerialLink;
use slotwise_firmware::link::{LinkServer, Records};

/// Message bytes, framed as they are.
struct Raw<'b>(&'b [u8]);

impl Serialize for Raw<'_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut tuple = serializer.serialize_tuple(self.0.len())?;
        for byte in self.0 {
            tuple.serialize_element(byte)?;
        }
        tuple.end()
    }
}

#[derive(Default)]
struct Line {
    to_tester: VecDeque<u8>,
    from_tester: Vec<u8>,
    /// Bytes taken until the reader reads again.
    room: usize,
    is_open: bool,
}

impl SerialLink for Line {
    fn read(&mut self, into: &mut [u8]) -> usize {
        let count = into.len().min(self.to_tester.len());
        for (to, from) in into.iter_mut().zip(self.to_tester.drain(..count)) {
            *to = from;
        }
        count
    }

    fn write(&mut self, from: &[u8]) -> usize {
        let count = from.len().min(self.room);
        self.room -= count;
        self.from_tester.extend(&from[..count]);
        count
    }

    fn is_open(&self) -> bool {
        self.is_open
    }
}

/// A tester of seven records.
struct Tester {
    now: Millis,
    confirmed: u32,
    freed: u32,
    /// The offer that the host has read and not answered.
    offer: Option<Offer>,
    /// The offer that it has answered with the right token: this one may free, once.
    due: Option<Offer>,
    /// The offer that it has answered last, rightly or not.
    answered: Option<Offer>,
}

#[derive(Clone, Copy)]
struct Offer {
    upto: RecordNumber,
    token: u32,
    /// When it was made at the latest.
    at: Millis,
}

const NEWEST: u32 = 7;

impl Records for Tester {
    fn hello(&self) -> Hello {
        Hello {
            protocol: PROTOCOL,
            schema: SCHEMA,
            tester: TesterId(3),
            firmware: Version {
                major: 0,
                minor: 1,
                patch: 0,
            },
            boot: 2,
            records: Some((RecordNumber::new(self.freed + 1), RecordNumber::new(NEWEST))),
        }
    }

    fn status(&self) -> Status {
        Status {
            now: self.now,
            testing: false,
            panel: Panel::DARK,
            frames: 9,
            bad_frames: 0,
            newest: Some(RecordNumber::new(NEWEST)),
            journal: JournalState::Writable,
        }
    }

    fn read(
        &mut self,
        from: RecordNumber,
        buffer: &mut [u8; MAX_BYTES],
    ) -> Result<Option<(RecordNumber, usize)>, RecordNumber> {
        let number = from.get().max(self.freed + 1);
        if number == 5 {
            return Err(from);
        }
        let length = number as usize * 219 % (MAX_BYTES + 1);
        buffer[..length].fill(number as u8);
        Ok((number <= NEWEST).then_some((RecordNumber::new(number), length)))
    }

    fn firmware(&self) -> FirmwareReport {
        let stopped = Stopped {
            boot: u32::MAX,
            at: Millis::new(u64::MAX),
            how: Stop::Panic {
                file: FileName::of_bytes(&[0xff; FileName::BYTES]),
                line: u32::MAX,
            },
        };
        FirmwareReport {
            version: self.hello().firmware,
            start: Start {
                cause: BootCause::Panic,
                build: Some(BuildId([0xff; 8])),
                stopped: Some(stopped),
            },
        }
    }

    fn start_test(&mut self, _clip: ClipTarget) -> Result<(), Refusal> {
        Ok(())
    }

    fn look(&self) -> Look {
        Look::nothing_yet(self.now, Phase::Wiring, ClipTarget::NotConnected)
    }

    fn start_watch(&mut self, _clip: ClipTarget) -> bool {
        true
    }

    fn stop_watch(&mut self) -> bool {
        false
    }

    fn workshop(&mut self, _request: &WorkshopRequest) -> WorkshopReply {
        WorkshopReply::Done
    }

    fn journal(&self) -> JournalReport {
        let number = |number: u32| (number > 0).then(|| RecordNumber::new(number));
        JournalReport {
            state: JournalState::Writable,
            kept: None,
            confirmed: number(self.confirmed),
            freed: number(self.freed),
            sectors: (1, 4),
            passed_over: 0,
        }
    }

    fn confirm(&mut self, upto: RecordNumber, _digest: &Digest) -> Result<(), JournalRefusal> {
        if upto.get() > NEWEST {
            return Err(JournalRefusal::NotTheSame);
        }
        self.confirmed = self.confirmed.max(upto.get());
        Ok(())
    }

    fn free(&mut self, upto: RecordNumber) -> Result<(), JournalRefusal> {
        let due = self.due.take().expect("freed without an offer");
        assert_eq!(due.upto, upto, "freed another record than was offered");
        assert_eq!(self.confirmed, upto.get(), "freed what is not confirmed");
        assert!(self.now.since(due.at) <= 30_000, "freed by an old offer");
        self.freed = upto.get();
        Ok(())
    }
}

struct Bench {
    server: LinkServer,
    line: Line,
    tester: Tester,
    reader: FrameReader,
    sequence: u16,
    answered: Option<u16>,
}

/// Runs the target.
pub fn run(bytes: &[u8]) {
    let mut bench = Bench {
        server: LinkServer::new(),
        line: Line {
            is_open: true,
            ..Line::default()
        },
        tester: Tester {
            now: Millis::new(0),
            confirmed: 0,
            freed: 0,
            offer: None,
            due: None,
            answered: None,
        },
        reader: FrameReader::new(),
        sequence: 0,
        answered: None,
    };
    let mut rest = bytes;
    while let [what, how, after @ ..] = rest {
        let (piece, after) = after.split_at(usize::from(*how).min(after.len()));
        rest = if matches!(what % 8, 0 | 1) {
            after
        } else {
            &rest[2..]
        };
        bench.step(*what, *how, piece);
    }
    // Whatever was said before: a zero, then a request, and it is answered.
    bench.set_open(true);
    bench.line.to_tester.push_back(0);
    bench.line.room = usize::MAX;
    while !bench.line.to_tester.is_empty() {
        bench.poll(1);
    }
    bench.poll(50);
    bench.ask(Request::Status);
    bench.poll(50);
    assert_eq!(
        bench.answered,
        Some(bench.sequence),
        "a whole request is not answered"
    );
}

impl Bench {
    fn step(&mut self, what: u8, how: u8, piece: &[u8]) {
        self.line.room = self.line.room.saturating_add(usize::from(how) * 8);
        match what % 8 {
            0 => self.line.to_tester.extend(piece),
            1 => self.frame(&Raw(piece)),
            2 => {
                let now = self.tester.now.get() + u64::from(how) * 200;
                self.tester.now = Millis::new(now);
            }
            3 => self.set_open(!how.is_multiple_of(4)),
            4 => {
                let upto = RecordNumber::new(u32::from(how % 9));
                let digest = Digest([how; 32]);
                self.ask(Request::Journal(JournalRequest::Confirm { upto, digest }));
            }
            5 => self.ask(Request::Journal(JournalRequest::OfferFree)),
            6 => self.answer_offer(how),
            _ => self.ask(Request::Pull {
                from: RecordNumber::new(u32::from(how % 10)),
                limit: u16::from(how / 10),
            }),
        }
        self.poll(1 + usize::from(how % 3));
    }

    /// Answers the offer with its token, or with one bit of it changed: the first answer counts,
    /// a wrong one ends the offer. What was answered already is answered again, for nothing.
    fn answer_offer(&mut self, how: u8) {
        let tester = &mut self.tester;
        let offer = tester.offer.take();
        if let Some(offer) = offer {
            tester.due = how.is_multiple_of(2).then_some(offer);
            tester.answered = Some(offer);
        }
        if let Some(Offer { upto, token, .. }) = tester.answered {
            let token = token ^ (u32::from(how % 2) << (how / 8));
            // After noise the zero puts the tester in step: an answer that is lost decides nothing.
            self.line.to_tester.push_back(0);
            self.ask(Request::Journal(JournalRequest::Free { upto, token }));
        }
    }

    fn set_open(&mut self, open: bool) {
        if open != self.line.is_open {
            self.line.is_open = open;
            self.line.to_tester.clear();
            self.line.from_tester.clear();
            self.reader.reset();
            let tester = &mut self.tester;
            (tester.offer, tester.due, tester.answered) = (None, None, None);
            // The tester notices.
            self.poll(1);
        }
    }

    fn ask(&mut self, request: Request) {
        self.sequence = self.sequence.wrapping_add(1);
        let sequence = self.sequence;
        self.frame(&RequestEnvelope { sequence, request });
    }

    fn frame(&mut self, message: &impl Serialize) {
        let mut frame = [0; MAX_FRAME];
        let length = encode(message, &mut frame).expect("it fits");
        self.line.to_tester.extend(&frame[..length]);
    }

    fn poll(&mut self, times: usize) {
        for _ in 0..times {
            self.server.poll(&mut self.line, &mut self.tester);
        }
        for byte in std::mem::take(&mut self.line.from_tester) {
            let Some(message) = self.reader.push(byte) else {
                continue;
            };
            let message = message.expect("the tester sends whole frames");
            let reply: ReplyEnvelope<'_> = decode(message).expect("its replies decode");
            self.answered = Some(reply.sequence);
            if let Reply::Journal(JournalReply::Offered { upto, token }) = reply.reply {
                // Read late it was made earlier: then the tester may refuse sooner. It ends the
                // offer before: an answer to that one is refused, or was taken already.
                let at = self.tester.now;
                self.tester.offer = Some(Offer { upto, token, at });
                self.tester.due = None;
            }
        }
    }
}
