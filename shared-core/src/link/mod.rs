//! The link between tester and host: messages, and the frames that carry them over a serial
//! line.
//!
//! One message travels as `COBS( postcard(message) ++ CRC-32/ISO-HDLC little-endian ) ++ 00`.
//! The zero byte ends every frame and occurs nowhere else, so a receiver that joins in the
//! middle, or that was fed noise, is in step again after the next zero.

pub mod framing;
pub mod journal;
pub mod look;
pub mod message;
pub mod workshop;

pub use framing::{FrameError, FrameReader, decode, encode};
pub use journal::{JournalRefusal, JournalReply, JournalReport, JournalRequest};
pub use look::{Answer, Look, MAX_LOOK, Phase, SlotLook, WatchState};
pub use message::{
    Hello, JournalState, Refusal, Reply, ReplyEnvelope, Request, RequestEnvelope, Status,
};
pub use workshop::{
    About, ClockChip, ClockReport, WorkshopRefusal, WorkshopReply, WorkshopRequest,
};

/// Version of the link protocol. Either side refuses another major protocol by name.
pub const PROTOCOL: u16 = 1;

/// Most bytes of a message before framing: a record, its number and the envelope.
pub const MAX_MESSAGE: usize = crate::record::MAX_BYTES + 16;

/// Most bytes of a frame on the wire: message, CRC-32, COBS overhead (one byte per 254, rounded
/// up, at least one) and the closing zero.
pub const MAX_FRAME: usize = {
    let body = MAX_MESSAGE + 4;
    body + body.div_ceil(254) + 1 + 1
};
