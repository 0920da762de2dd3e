//! The record: what one test, boot or fault leaves in the journal, as bytes.
//!
//! Layout: schema number (u16, little-endian), then the postcard encoding of [`Record`].
//! Numbering, the SHA-256 chain and a check word of the storage stand outside of these
//! bytes' meaning: the chain digest is the hash of the *bytes* of the record before.
//! Postcard is not self-describing, so the schema number comes first and a reader refuses
//! what it does not know instead of guessing.

use core::fmt;

use serde::{Deserialize, Serialize};

use crate::calibration::event::CalibrationEvent;
use crate::calibration::limiters::Limiters;
use crate::evidence::Evidence;
use crate::sample::FRAMES_PER_SECOND;
use crate::self_test::SelfTestFailure;
use crate::slots::LEADS;
use crate::start::Start;
use crate::units::{Millis, UnixSeconds, Volts};
use crate::verdict::Verdict;
use crate::watch::{Page, StepWave};

/// Schema of the records that this version writes.
pub const SCHEMA: u16 = 1;

/// Most bytes that a record may take, schema number included.
pub const MAX_BYTES: usize = 1536;

/// Points of a waveform snapshot: two 60 Hz cycles at half the frame rate.
pub const SNAPSHOT_POINTS: usize = 67;

/// Frames from one snapshot point to the next.
pub const SNAPSHOT_STEP: usize = 2;

/// Place of a record in the journal of its tester: 1, 2, 3 ... without gaps.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct RecordNumber(u32);

impl RecordNumber {
    /// The first record.
    pub const FIRST: Self = Self(1);

    /// Record number `number`.
    #[must_use]
    pub const fn new(number: u32) -> Self {
        Self(number)
    }

    /// The number.
    #[must_use]
    pub const fn get(self) -> u32 {
        self.0
    }

    /// The number after this one.
    #[must_use]
    pub const fn next(self) -> Self {
        Self(self.0.saturating_add(1))
    }
}

/// SHA-256 of the bytes of the record before; all zero before the first.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Digest(pub [u8; 32]);

/// Version of firmware, host or hardware.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct Version {
    /// Incompatible changes.
    pub major: u8,
    /// Additions.
    pub minor: u8,
    /// Corrections.
    pub patch: u8,
}

impl fmt::Display for Version {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}.{}.{}", self.major, self.minor, self.patch)
    }
}

/// Serial number of a tester: the unique number of its flash chip.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct TesterId(pub u64);

impl fmt::Display for TesterId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:016x}", self.0)
    }
}

/// One record.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Record {
    /// Place in the journal.
    pub number: RecordNumber,
    /// SHA-256 of the record before.
    pub previous: Digest,
    /// Which tester.
    pub tester: TesterId,
    /// Its firmware.
    pub firmware: Version,
    /// How often it had started, this start included.
    pub boot: u32,
    /// Time since that start. For a test: counted by the converter's clock, at the last frame
    /// of the evidence.
    pub at: Millis,
    /// Wall clock, if the clock chip had the time.
    pub clock: Option<UnixSeconds>,
    /// What happened.
    pub body: Body,
}

/// What a record tells.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[expect(
    clippy::large_enum_variant,
    reason = "no alloc; a record is held one at a time"
)]
pub enum Body {
    /// The tester started. Written by firmware before [`Body::Start`] was.
    Boot(BootCause),
    /// A test ended in a verdict.
    Test(Test),
    /// A minute of a load-cycle watch. The watch ends in a [`Body::Test`].
    WatchPage(Page),
    /// A load step of a load-cycle watch.
    WatchStep(StepWave),
    /// A test of the tester by itself failed: it answers nothing until a start that passes.
    SelfTest(SelfTestFailure),
    /// The tester started: why, with which build, and how the run before ended.
    Start(Start),
    /// A calibration was stored.
    Calibrated(CalibrationEvent),
    /// What the limiters of the drive let through when it was: right after its
    /// [`Body::Calibrated`].
    Limiters(Limiters),
}

/// Why the tester started. The order is part of the record format: only append.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum BootCause {
    /// Power came on. In a [`Body::Boot`] also the reset pin, a dip of the supply, or an update.
    PowerOn,
    /// The watchdog bit.
    Watchdog,
    /// A program error stopped the firmware.
    Panic,
    /// Power went and came back so soon that memory still held: a dip of the supply.
    PowerDip,
    /// The chip's reset pin.
    ResetPin,
    /// A debug probe.
    Debugger,
    /// Another program restarted the chip: the boot loader, after an update.
    BootLoader,
}

/// One test: evidence, verdict, waveform.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Test {
    /// What was measured.
    pub evidence: Evidence,
    /// What was said then, under the limits of that firmware.
    pub verdict: Verdict,
    /// Two cycles of the waveform.
    pub snapshot: Snapshot,
}

/// The first two line cycles of the last window, every lead against the star.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Snapshot {
    /// Volts at the slot for one count of a point.
    pub volts_per_count: [Volts; LEADS],
    /// Points, channel order, [`SNAPSHOT_STEP`] frames apart. Empty if no window was whole.
    pub points: heapless::Vec<[i16; LEADS], SNAPSHOT_POINTS>,
}

impl Snapshot {
    /// Seconds from one point to the next.
    pub const SECONDS_PER_POINT: f32 = SNAPSHOT_STEP as f32 / FRAMES_PER_SECOND as f32;
}

/// Why bytes are not a record, or a record not bytes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum RecordError {
    /// Fewer bytes than the schema number takes.
    TooShort(usize),
    /// Written by a newer version.
    NewerSchema {
        /// Schema of the record.
        found: u16,
        /// Newest schema that this version reads.
        known: u16,
    },
    /// Schema 0 was never written: the bytes are not a record.
    NoSchema,
    /// The bytes do not decode as a record of their schema.
    Malformed,
    /// Bytes are left after the record.
    TrailingBytes(usize),
    /// The buffer for the bytes is too small.
    NoRoom(usize),
}

impl fmt::Display for RecordError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::TooShort(length) => write!(f, "record of {length} bytes is too short"),
            Self::NewerSchema { found, known } => write!(
                f,
                "record has schema {found}, this version reads up to {known}; update Slotwise"
            ),
            Self::NoSchema => f.write_str("schema number 0: these bytes are not a record"),
            Self::Malformed => f.write_str("the bytes do not decode as a record"),
            Self::TrailingBytes(count) => write!(f, "{count} bytes are left after the record"),
            Self::NoRoom(size) => write!(f, "a buffer of {size} bytes is too small for the record"),
        }
    }
}

impl core::error::Error for RecordError {}

/// Writes `record` into `buffer` and returns the bytes.
///
/// # Errors
/// [`RecordError::NoRoom`] if `buffer` is too small; [`MAX_BYTES`] always suffices.
pub fn encode<'b>(record: &Record, buffer: &'b mut [u8]) -> Result<&'b mut [u8], RecordError> {
    let size = buffer.len();
    let no_room = RecordError::NoRoom(size);
    let (schema, body) = buffer.split_at_mut_checked(2).ok_or(no_room)?;
    schema.copy_from_slice(&SCHEMA.to_le_bytes());
    let used = postcard::to_slice(record, body).map_err(|_| no_room)?.len();
    buffer.get_mut(..2 + used).ok_or(no_room)
}

/// The schema number of record bytes.
///
/// # Errors
/// [`RecordError::TooShort`] if there are fewer than two bytes.
pub fn schema_of(bytes: &[u8]) -> Result<u16, RecordError> {
    match bytes {
        [low, high, ..] => Ok(u16::from_le_bytes([*low, *high])),
        _ => Err(RecordError::TooShort(bytes.len())),
    }
}

/// Reads a record.
///
/// # Errors
/// Any [`RecordError`] but `NoRoom`; nothing of the bytes is used then.
pub fn decode(bytes: &[u8]) -> Result<Record, RecordError> {
    let found = schema_of(bytes)?;
    match found {
        0 => return Err(RecordError::NoSchema),
        SCHEMA => {}
        _ => {
            return Err(RecordError::NewerSchema {
                found,
                known: SCHEMA,
            });
        }
    }
    let body = bytes.get(2..).unwrap_or_default();
    let (record, rest) = postcard::take_from_bytes(body).map_err(|_| RecordError::Malformed)?;
    if rest.is_empty() {
        Ok(record)
    } else {
        Err(RecordError::TrailingBytes(rest.len()))
    }
}
