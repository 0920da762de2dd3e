//! One typed function a request. What the line does wrong (silence, noise, a lost frame) is
//! kept apart from what the tester says (a refusal).
//!
//! A request is repeated when no answer comes in time. A pull goes on at the first record that
//! did not arrive whole. Replies are taken with the very bytes of their frames, since those are
//! what a log file keeps.

mod journal;
mod line;
mod verified;
mod workshop;

use std::time::{Duration, Instant};

use slotwise_core::link::{
    self, FirmwareReport, Hello, Look, MAX_FRAME, PROTOCOL, Refusal, Reply, ReplyEnvelope, Request,
    RequestEnvelope, Status,
};
use slotwise_core::record::{RecordNumber, SCHEMA};
use slotwise_core::slots::ClipTarget;

use crate::error::LinkError;
use crate::transport::Transport;
use line::{Frame, FrameLine};
pub use verified::{NotVerified, Verified, verify};

/// How long a tester may take to answer; an erase of its log memory holds it up for 50 ms.
const ANSWER_WITHIN: Duration = Duration::from_millis(1000);

/// How often a request is asked before the line is given up.
const TRIES: u32 = 3;

/// How often a pull asks for the same record.
const PULL_TRIES: u32 = 5;

/// Records asked for in one request.
const BATCH: u16 = 64;

/// A reply as it came: its frame, closing zero included.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RawFrame(pub Vec<u8>);

/// What a pull hands over as it goes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Pulled {
    /// The next record.
    Record {
        /// Its number.
        number: RecordNumber,
        /// Its frame.
        frame: RawFrame,
    },
    /// The tester cannot read this record of its own journal; it was passed over.
    Unreadable(RecordNumber),
    /// Something was lost on the line; the pull goes on at this record.
    Again(RecordNumber),
    /// Nothing is left to pull.
    End {
        /// Where to begin next time.
        next: RecordNumber,
        /// The closing frame.
        frame: RawFrame,
    },
}

/// The host's end of a link.
pub struct Client {
    line: FrameLine,
    name: String,
    sequence: u16,
    answer_within: Duration,
    /// The tester's oldest record: a pull may begin no earlier.
    oldest: RecordNumber,
    /// The tester's newest record when it said hello.
    newest: Option<RecordNumber>,
}

impl Client {
    /// A client on `line`.
    #[must_use]
    pub fn new(line: Box<dyn Transport>) -> Self {
        let name = line.name();
        Self {
            line: FrameLine::new(line),
            name,
            // Not the numbers of the program that had the port before.
            sequence: std::process::id() as u16,
            answer_within: ANSWER_WITHIN,
            oldest: RecordNumber::FIRST,
            newest: None,
        }
    }

    /// The same client with another patience for one answer.
    #[must_use]
    pub const fn with_patience(mut self, patience: Duration) -> Self {
        self.answer_within = patience;
        self
    }

    /// The same client with the patience of a new one.
    #[must_use]
    pub const fn with_usual_patience(self) -> Self {
        self.with_patience(ANSWER_WITHIN)
    }

    /// The name of the line.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name
    }

    /// Says hello and checks that both sides speak the same protocol.
    ///
    /// # Errors
    /// Any [`LinkError`] but `Stopped`.
    pub fn hello(&mut self) -> Result<(Hello, RawFrame), LinkError> {
        // A zero first: whatever half frame the tester holds ends here.
        self.send_bytes(&[0])?;
        let request = Request::Hello {
            protocol: PROTOCOL,
            schema: SCHEMA,
        };
        let (hello, frame) = self.ask("hello", request, |reply| match reply {
            Reply::Hello(hello) => Some(hello),
            _ => None,
        })?;
        if hello.protocol != PROTOCOL {
            return Err(self.other_protocol(hello.protocol));
        }
        if let Some((oldest, newest)) = hello.records {
            self.oldest = oldest;
            self.newest = Some(newest);
        }
        Ok((hello, frame))
    }

    /// Asks for the state of the test in hand.
    ///
    /// # Errors
    /// Any [`LinkError`] but `Stopped`.
    pub fn status(&mut self) -> Result<Status, LinkError> {
        self.ask("status", Request::Status, |reply| match reply {
            Reply::Status(status) => Some(status),
            _ => None,
        })
        .map(|(status, _)| status)
    }

    /// Asks which firmware runs and how it came to start.
    ///
    /// # Errors
    /// [`LinkError::Refused`] by a firmware that does not know the question; any other but
    /// `Stopped`.
    pub fn firmware(&mut self) -> Result<FirmwareReport, LinkError> {
        self.ask("firmware", Request::Firmware, |reply| match reply {
            Reply::Firmware(report) => Some(report),
            _ => None,
        })
        .map(|(report, _)| report)
    }

    /// Begins a test with this said of the clip.
    ///
    /// # Errors
    /// Any [`LinkError`] but `Stopped`.
    pub fn start_test(&mut self, clip: ClipTarget) -> Result<(), LinkError> {
        self.command("start a test", Request::StartTest { clip })
    }

    /// Asks what the tester sees now.
    ///
    /// # Errors
    /// Any [`LinkError`] but `Stopped`.
    pub fn look(&mut self) -> Result<Look, LinkError> {
        self.ask("look", Request::Look, |reply| match reply {
            Reply::Look(look) => Some(look),
            _ => None,
        })
        .map(|(look, _)| look)
    }

    /// Begins a load-cycle watch with this said of the clip.
    ///
    /// # Errors
    /// [`LinkError::Refused`] as busy if that cannot be now; any other but `Stopped`.
    pub fn start_watch(&mut self, clip: ClipTarget) -> Result<(), LinkError> {
        self.command("start a watch", Request::StartWatch { clip })
    }

    /// Ends the load-cycle watch.
    ///
    /// # Errors
    /// [`LinkError::Refused`] as busy if none is running; any other but `Stopped`.
    pub fn stop_watch(&mut self) -> Result<(), LinkError> {
        self.command("stop the watch", Request::StopWatch)
    }

    /// Pulls every record from number `from` on and hands each to `take` as it comes. Stops
    /// early if `take` fails.
    ///
    /// # Errors
    /// [`LinkError::Stopped`] when a record does not come in five tries, other
    /// [`LinkError`]s when the line or the tester fails, or whatever `take` fails with.
    pub fn pull<E: From<LinkError>>(
        &mut self,
        from: RecordNumber,
        mut take: impl FnMut(Pulled) -> Result<(), E>,
    ) -> Result<(), E> {
        let mut next = from;
        let mut tries = 0;
        loop {
            let before = next;
            let batch = self.batch(&mut next, tries, &mut take)?;
            if next != before {
                tries = 0;
            }
            match batch {
                Batch::Whole(Some(frame)) => {
                    return take(Pulled::End { next, frame });
                }
                Batch::Whole(None) => {}
                Batch::Broken => {
                    tries += 1;
                    if tries >= PULL_TRIES {
                        return Err(E::from(self.stopped(next, tries)));
                    }
                    take(Pulled::Again(next))?;
                }
            }
        }
    }

    /// One request of a pull.
    fn batch<E: From<LinkError>>(
        &mut self,
        next: &mut RecordNumber,
        tries: u32,
        take: &mut impl FnMut(Pulled) -> Result<(), E>,
    ) -> Result<Batch, E> {
        let request = Request::Pull {
            from: *next,
            limit: BATCH,
        };
        let sequence = self.send(request)?;
        let mut got = 0_u16;
        loop {
            match self.receive(sequence)? {
                Heard::Nothing | Heard::Noise => return Ok(Batch::Broken),
                Heard::Record { number, frame } => {
                    if number < *next {
                        continue;
                    }
                    // One too high: a frame before it was lost on the line. If it comes again
                    // when asked again, the tester itself does not have what is missing.
                    let expected = self.oldest.max(*next);
                    if number > expected && tries == 0 {
                        return Ok(Batch::Broken);
                    }
                    got += 1;
                    *next = number.next();
                    take(Pulled::Record { number, frame })?;
                }
                Heard::PullEnd { next: end, frame } => {
                    if end > *next {
                        // Its last records were lost on the way.
                        return Ok(Batch::Broken);
                    }
                    return Ok(Batch::Whole((got < BATCH).then_some(frame)));
                }
                // Beyond its newest record a journal that cannot be read is broken as a whole.
                Heard::Refused(Refusal::JournalUnreadable { number })
                    if self.newest.is_some_and(|newest| number <= newest) =>
                {
                    *next = number.max(*next).next();
                    take(Pulled::Unreadable(number))?;
                    return Ok(Batch::Whole(None));
                }
                Heard::Refused(reason) => return Err(E::from(self.refused(reason))),
                Heard::Other => {
                    return Err(E::from(LinkError::Unexpected {
                        line: self.name.clone(),
                        asked: "pull",
                    }));
                }
            }
        }
    }

    /// Asks for something to be done.
    fn command(&mut self, asked: &'static str, request: Request) -> Result<(), LinkError> {
        self.ask(asked, request, |reply| (reply == Reply::Done).then_some(()))
            .map(|((), _)| ())
    }

    /// Asks until an answer comes that `pick` accepts, at most [`TRIES`] times.
    fn ask<T>(
        &mut self,
        asked: &'static str,
        request: Request,
        pick: impl Fn(Reply<'_>) -> Option<T>,
    ) -> Result<(T, RawFrame), LinkError> {
        let began = Instant::now();
        for _ in 0..TRIES {
            let sequence = self.send(request)?;
            let deadline = Instant::now() + self.answer_within;
            while let Some(frame) = self.frame(deadline)? {
                let Frame::Message(message, raw) = frame else {
                    continue;
                };
                let Ok(envelope) = link::decode::<ReplyEnvelope<'_>>(&message) else {
                    continue;
                };
                if let Reply::Refused(reason) = envelope.reply
                    && (envelope.sequence == sequence || reason == Refusal::NotUnderstood)
                {
                    return Err(self.refused(reason));
                }
                if envelope.sequence != sequence {
                    continue;
                }
                return match pick(envelope.reply) {
                    Some(answer) => Ok((answer, raw)),
                    None => Err(LinkError::Unexpected {
                        line: self.name.clone(),
                        asked,
                    }),
                };
            }
        }
        Err(self.silent(began.elapsed()))
    }

    fn send(&mut self, request: Request) -> Result<u16, LinkError> {
        self.sequence = self.sequence.wrapping_add(1);
        let envelope = RequestEnvelope {
            sequence: self.sequence,
            request,
        };
        let mut out = [0; MAX_FRAME];
        // MAX_FRAME holds every message of this protocol.
        let used = link::encode(&envelope, &mut out).unwrap_or(0);
        self.send_bytes(out.get(..used).unwrap_or_default())?;
        Ok(self.sequence)
    }

    fn send_bytes(&mut self, bytes: &[u8]) -> Result<(), LinkError> {
        self.line.send(bytes).map_err(|source| self.broken(source))
    }

    /// The next reply to request `sequence` of a pull.
    fn receive(&mut self, sequence: u16) -> Result<Heard, LinkError> {
        let deadline = Instant::now() + self.answer_within;
        loop {
            let Some(frame) = self.frame(deadline)? else {
                return Ok(Heard::Nothing);
            };
            let Frame::Message(message, frame) = frame else {
                return Ok(Heard::Noise);
            };
            let Ok(envelope) = link::decode::<ReplyEnvelope<'_>>(&message) else {
                return Ok(Heard::Noise);
            };
            let not_understood = envelope.reply == Reply::Refused(Refusal::NotUnderstood);
            if envelope.sequence != sequence && !not_understood {
                continue;
            }
            return Ok(match envelope.reply {
                Reply::Record { number, .. } => Heard::Record { number, frame },
                Reply::PullEnd { next } => Heard::PullEnd { next, frame },
                Reply::Refused(reason) => Heard::Refused(reason),
                Reply::Hello(_)
                | Reply::Status(_)
                | Reply::Done
                | Reply::Look(_)
                | Reply::Workshop(_)
                | Reply::Journal(_)
                | Reply::Firmware(_) => Heard::Other,
            });
        }
    }

    fn frame(&mut self, deadline: Instant) -> Result<Option<Frame>, LinkError> {
        self.line
            .frame(deadline)
            .map_err(|source| self.broken(source))
    }

    fn broken(&self, source: std::io::Error) -> LinkError {
        LinkError::Broken {
            line: self.name.clone(),
            source,
        }
    }

    fn other_protocol(&self, spoken: u16) -> LinkError {
        LinkError::Protocol {
            line: self.name.clone(),
            spoken,
        }
    }

    fn refused(&self, reason: Refusal) -> LinkError {
        match reason {
            Refusal::Protocol { spoken } => self.other_protocol(spoken),
            _ => LinkError::Refused {
                line: self.name.clone(),
                reason,
            },
        }
    }

    fn silent(&self, waited: Duration) -> LinkError {
        let line = self.name.clone();
        match self.line.only_noise() {
            Some(bytes) => LinkError::Garbage { line, bytes },
            None => LinkError::Silent { line, waited },
        }
    }

    fn stopped(&self, next: RecordNumber, tries: u32) -> LinkError {
        LinkError::Stopped {
            line: self.name.clone(),
            next: next.get(),
            tries,
        }
    }
}

enum Batch {
    /// All that was asked for came; with the closing frame if it was the last.
    Whole(Option<RawFrame>),
    /// Something was lost.
    Broken,
}

enum Heard {
    Nothing,
    Noise,
    Record {
        number: RecordNumber,
        frame: RawFrame,
    },
    PullEnd {
        next: RecordNumber,
        frame: RawFrame,
    },
    Refused(Refusal),
    Other,
}
