//! Requests of the host and replies of the tester.
//!
//! Every request carries a sequence number that all of its replies repeat. The host asks, the
//! tester answers; nothing comes unasked. The order of the variants is the wire format: only
//! append.

use serde::{Deserialize, Serialize, Serializer};

use super::firmware::FirmwareReport;
use super::journal::{JournalReply, JournalRequest};
use super::look::Look;
use super::workshop::{WorkshopReply, WorkshopRequest};
use crate::lamps::Panel;
use crate::record::{RecordNumber, TesterId, Version};
use crate::slots::ClipTarget;
use crate::units::Millis;

/// A request with its sequence number.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct RequestEnvelope {
    /// Chosen by the host; repeated in every reply.
    pub sequence: u16,
    /// What is asked.
    pub request: Request,
}

/// What the host asks.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub enum Request {
    /// Who are you, and what do you speak? Always the first request.
    Hello {
        /// The host's [`super::PROTOCOL`].
        protocol: u16,
        /// Newest record schema that the host reads.
        schema: u16,
    },
    /// What is the state of the test in hand?
    Status,
    /// Send the records from number `from` on, at most `limit` of them.
    Pull {
        /// First record wanted.
        from: RecordNumber,
        /// Most records wanted.
        limit: u16,
    },
    /// Begin a new test, as a press of the button would, with this said of the clip.
    StartTest {
        /// What the person connected the clip to.
        clip: ClipTarget,
    },
    /// What do you see now?
    Look,
    /// Begin a load-cycle watch, with this said of the clip.
    StartWatch {
        /// What the person connected the clip to.
        clip: ClipTarget,
    },
    /// End the load-cycle watch that is running.
    StopWatch,
    /// Something about calibration or clock.
    Workshop(WorkshopRequest),
    /// Something about the journal.
    Journal(JournalRequest),
    /// Which firmware runs, and how did it come to start?
    Firmware,
}

/// A reply with the sequence number of its request.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct ReplyEnvelope<'a> {
    /// Sequence number of the request.
    pub sequence: u16,
    /// The answer.
    #[serde(borrow)]
    pub reply: Reply<'a>,
}

/// What the tester answers.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub enum Reply<'a> {
    /// Answer to `Hello`.
    Hello(Hello),
    /// Answer to `Status`.
    Status(Status),
    /// One record of a `Pull`.
    Record {
        /// Its number.
        number: RecordNumber,
        /// Its bytes, as kept.
        #[serde(serialize_with = "in_one_piece")]
        bytes: &'a [u8],
    },
    /// All records of a `Pull` were sent.
    PullEnd {
        /// The number to pull from next time.
        next: RecordNumber,
    },
    /// The request is carried out.
    Done,
    /// The request is refused.
    Refused(Refusal),
    /// Answer to `Look`.
    Look(Look),
    /// Answer to `Workshop`.
    Workshop(WorkshopReply),
    /// Answer to `Journal`.
    Journal(JournalReply),
    /// Answer to `Firmware`.
    Firmware(FirmwareReport),
}

/// Bytes as bytes, not as a sequence of numbers: the same on the wire, and copied at once.
fn in_one_piece<S: Serializer>(bytes: &[u8], serializer: S) -> Result<S::Ok, S::Error> {
    serializer.serialize_bytes(bytes)
}

/// Who the tester is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Hello {
    /// Protocol of the tester.
    pub protocol: u16,
    /// Schema of the records that it writes.
    pub schema: u16,
    /// Which tester.
    pub tester: TesterId,
    /// Its firmware.
    pub firmware: Version,
    /// Starts counted, this one included.
    pub boot: u32,
    /// Oldest and newest record kept, if there are any.
    pub records: Option<(RecordNumber, RecordNumber)>,
}

/// State of the test in hand.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Status {
    /// Time since start.
    pub now: Millis,
    /// Whether a test is running.
    pub testing: bool,
    /// What the lamps show.
    pub panel: Panel,
    /// Frames accumulated since start.
    pub frames: u64,
    /// Frames lost or damaged since start.
    pub bad_frames: u32,
    /// Newest record, if there is one.
    pub newest: Option<RecordNumber>,
    /// Whether records can be kept.
    pub journal: JournalState,
}

/// Whether the tester can keep records.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum JournalState {
    /// Records are kept.
    Writable,
    /// The journal is full: pull it, then clear it.
    Full,
    /// The journal's chip failed; answers are shown, records are lost.
    Failed,
}

/// Why a request was refused.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Refusal {
    /// The frame was whole but holds no request of this protocol.
    NotUnderstood,
    /// The host speaks another protocol.
    Protocol {
        /// What the tester speaks.
        spoken: u16,
    },
    /// The journal could not be read at this record.
    JournalUnreadable {
        /// Where.
        number: RecordNumber,
    },
    /// Not now: a test is running, or there is nothing of the kind to begin or to end.
    Busy,
    /// The tester failed a test of itself: it measures nothing.
    SelfTest,
}
