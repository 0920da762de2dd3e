//! Reading a log file: every record that is whole, and a list of what is not.

use std::fmt;
use std::fs::File;
use std::io::{BufReader, Read};
use std::path::Path;

use slotwise_core::link::{self, FrameError, FrameReader, Hello, PROTOCOL, Reply, ReplyEnvelope};
use slotwise_core::record::RecordNumber;

use crate::error::FileError;

/// A file without a whole frame in this many bytes is something else.
const LOOK: u64 = 64 * 1024;

/// Damages listed one by one; a file may be large and all noise.
const LISTED: usize = 1000;

/// A record as it stands in the file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct KeptRecord {
    /// Its number, as the frame says.
    pub number: RecordNumber,
    /// Its bytes, as the tester kept them.
    pub bytes: Vec<u8>,
    /// Where its frame begins in the file.
    pub at_byte: u64,
}

/// Something that is not whole.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Damage {
    /// Where in the file, from 0.
    pub at_byte: u64,
    /// What.
    pub kind: DamageKind,
}

/// What is not whole.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DamageKind {
    /// The bytes up to the next zero are no frame.
    BadFrame(FrameError),
    /// The file ends within a frame.
    CutOff {
        /// Bytes of the unfinished frame.
        bytes: u64,
    },
    /// The file ends without the closing frame.
    NotClosed,
    /// The file does not begin with the tester's hello.
    NoHello,
    /// Frames come after the closing one.
    AfterTheEnd,
    /// The same number twice, with other content.
    Conflict(RecordNumber),
    /// More damages than are listed.
    AndMore(usize),
}

impl fmt::Display for Damage {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let at = self.at_byte;
        match self.kind {
            DamageKind::BadFrame(error) => write!(f, "at byte {at}: {error}"),
            DamageKind::CutOff { bytes } => write!(
                f,
                "at byte {at}: the file is cut off after {bytes} bytes of a frame"
            ),
            DamageKind::NotClosed => {
                write!(f, "at byte {at}: the file ends without its closing frame")
            }
            DamageKind::NoHello => {
                write!(
                    f,
                    "at byte {at}: the frame with the tester's name is missing"
                )
            }
            DamageKind::AfterTheEnd => {
                write!(f, "at byte {at}: frames follow after the closing frame")
            }
            DamageKind::Conflict(number) => write!(
                f,
                "at byte {at}: record {} stands there twice with different content",
                number.get()
            ),
            DamageKind::AndMore(count) => write!(f, "{count} more damages from byte {at} on"),
        }
    }
}

/// What a log file holds.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct LogFile {
    /// Who the tester is, if its frame is whole.
    pub hello: Option<Hello>,
    /// The whole records, by number.
    pub records: Vec<KeptRecord>,
    /// What is not whole, in file order.
    pub damages: Vec<Damage>,
    /// Where the next pull begins, if the closing frame is whole.
    pub next: Option<RecordNumber>,
}

/// Reads the log file `name`.
///
/// # Errors
/// [`FileError`] if nothing of it can be used; damages of a usable file are listed in it.
pub fn read(name: &Path) -> Result<LogFile, FileError> {
    let file = File::open(name).map_err(|source| FileError::Unreadable {
        file: name.to_owned(),
        source,
    })?;
    read_from(BufReader::new(file), name)
}

/// Reads a log from `bytes`; `name` is for messages.
///
/// # Errors
/// As [`read`].
pub fn read_from(mut bytes: impl Read, name: &Path) -> Result<LogFile, FileError> {
    let mut reading = Reading::default();
    let mut chunk = [0; 8192];
    loop {
        let count = bytes
            .read(&mut chunk)
            .map_err(|source| FileError::Unreadable {
                file: name.to_owned(),
                source,
            })?;
        if count == 0 {
            break;
        }
        for byte in chunk.iter().take(count) {
            reading.push(*byte);
        }
        if reading.whole == 0 && reading.at >= LOOK {
            break;
        }
    }
    reading.finish(name)
}

#[derive(Default)]
struct Reading {
    log: LogFile,
    reader: FrameReader,
    /// Bytes read.
    at: u64,
    /// Where the frame in hand began.
    began: u64,
    /// Whole messages.
    whole: u64,
    closed: bool,
    unlisted: usize,
    first_unlisted: u64,
}

impl Reading {
    fn push(&mut self, byte: u8) {
        self.at += 1;
        if let Some(frame) = self.reader.push(byte) {
            let taken = frame.and_then(|message| {
                let envelope: ReplyEnvelope<'_> = link::decode(message)?;
                Ok(Taken::of(&envelope.reply))
            });
            match taken {
                Ok(Some(taken)) => {
                    self.whole += 1;
                    self.take(taken);
                }
                Ok(None) => self.damage(DamageKind::BadFrame(FrameError::Content)),
                Err(error) => self.damage(DamageKind::BadFrame(error)),
            }
        }
        if byte == 0 {
            self.began = self.at;
        }
    }

    fn take(&mut self, taken: Taken) {
        if self.closed {
            self.damage(DamageKind::AfterTheEnd);
        }
        match taken {
            Taken::Hello(hello) => {
                self.log.hello.get_or_insert(hello);
            }
            Taken::Record(number, bytes) => self.take_record(number, bytes),
            Taken::End(next) => {
                self.log.next = Some(next);
                self.closed = true;
            }
        }
    }

    fn take_record(&mut self, number: RecordNumber, bytes: Vec<u8>) {
        let record = KeptRecord {
            number,
            bytes,
            at_byte: self.began,
        };
        let records = &mut self.log.records;
        match records.binary_search_by_key(&number, |kept| kept.number) {
            // The same record again, as after a broken cable: one is enough.
            Ok(place) if records.get(place).is_some_and(|k| k.bytes == record.bytes) => {}
            Ok(_) => self.damage(DamageKind::Conflict(number)),
            Err(place) => records.insert(place, record),
        }
    }

    fn damage(&mut self, kind: DamageKind) {
        self.damage_at(self.began, kind);
    }

    fn damage_at(&mut self, at_byte: u64, kind: DamageKind) {
        if self.log.damages.len() < LISTED {
            self.log.damages.push(Damage { at_byte, kind });
        } else {
            if self.unlisted == 0 {
                self.first_unlisted = at_byte;
            }
            self.unlisted += 1;
        }
    }

    fn finish(mut self, name: &Path) -> Result<LogFile, FileError> {
        let file = || name.to_owned();
        if self.at == 0 {
            return Err(FileError::Empty { file: file() });
        }
        if self.whole == 0 {
            return Err(FileError::NotALog {
                file: file(),
                looked: self.at,
            });
        }
        match self.log.hello {
            Some(hello) if hello.protocol != PROTOCOL => {
                return Err(FileError::NewerProtocol {
                    file: file(),
                    found: hello.protocol,
                });
            }
            Some(_) => {}
            None => self.log.damages.insert(
                0,
                Damage {
                    at_byte: 0,
                    kind: DamageKind::NoHello,
                },
            ),
        }
        if self.at > self.began {
            let bytes = self.at - self.began;
            self.damage(DamageKind::CutOff { bytes });
        } else if !self.closed {
            self.damage_at(self.at, DamageKind::NotClosed);
        }
        if self.unlisted > 0 {
            self.log.damages.push(Damage {
                at_byte: self.first_unlisted,
                kind: DamageKind::AndMore(self.unlisted),
            });
        }
        Ok(self.log)
    }
}

/// A message that belongs into a log.
enum Taken {
    Hello(Hello),
    Record(RecordNumber, Vec<u8>),
    End(RecordNumber),
}

impl Taken {
    fn of(reply: &Reply<'_>) -> Option<Self> {
        match reply {
            Reply::Hello(hello) => Some(Self::Hello(*hello)),
            Reply::Record { number, bytes } => Some(Self::Record(*number, bytes.to_vec())),
            Reply::PullEnd { next } => Some(Self::End(*next)),
            Reply::Status(_)
            | Reply::Done
            | Reply::Refused(_)
            | Reply::Look(_)
            | Reply::Workshop(_)
            | Reply::Journal(_)
            | Reply::Firmware(_) => None,
        }
    }
}
