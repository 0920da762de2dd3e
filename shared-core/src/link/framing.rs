//! Frames on the serial line: COBS around a message and its CRC-32, ended by a zero byte.
//!
//! Knows bytes only. COBS by crate `cobs`; CRC-32/ISO-HDLC (check value cbf43926) by crate
//! `crc`. The CRC stands inside the frame because the tail of an over-long or cut frame would
//! otherwise be taken for a frame of its own.

use core::fmt;

use cobs::{DecodeResult, DecoderState};
use crc::{CRC_32_ISO_HDLC, Crc};
use serde::{Deserialize, Serialize};

use super::{MAX_FRAME, MAX_MESSAGE};

const CRC: Crc<u32> = Crc::<u32>::new(&CRC_32_ISO_HDLC);

/// Bytes of the check word.
const CRC_BYTES: usize = 4;

/// Why a frame was not accepted, or a message could not be framed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum FrameError {
    /// More bytes than any frame has came without a zero byte; they were dropped.
    TooLong,
    /// Not COBS.
    Encoding,
    /// Too short to hold a check word.
    TooShort,
    /// The check word does not match.
    Checksum,
    /// The message does not fit a frame.
    MessageTooLong,
    /// The frame is whole, but its content is no message of this protocol.
    Content,
}

impl fmt::Display for FrameError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::TooLong => "a frame without an end was dropped",
            Self::Encoding => "a frame is not COBS",
            Self::TooShort => "a frame is too short for its check word",
            Self::Checksum => "a frame's check word does not match",
            Self::MessageTooLong => "a message does not fit a frame",
            Self::Content => "a frame holds no message of this protocol",
        })
    }
}

impl core::error::Error for FrameError {}

/// Writes `message` as one frame into `out` and returns its length, closing zero included.
///
/// # Errors
/// [`FrameError::MessageTooLong`] if the message takes more than [`MAX_MESSAGE`] bytes or
/// `out` fewer than the frame; [`MAX_FRAME`] bytes always suffice.
pub fn encode<M: Serialize>(message: &M, out: &mut [u8]) -> Result<usize, FrameError> {
    let mut body = [0; MAX_MESSAGE + CRC_BYTES];
    let (room, _) = body.split_at_mut(MAX_MESSAGE);
    let used = postcard::to_slice(message, room)
        .map_err(|_| FrameError::MessageTooLong)?
        .len();
    let (message, rest) = body
        .split_at_mut_checked(used)
        .ok_or(FrameError::MessageTooLong)?;
    let check = CRC.checksum(message).to_le_bytes();
    *rest.first_chunk_mut().ok_or(FrameError::MessageTooLong)? = check;
    let length = used + CRC_BYTES;
    let body = body.get(..length).ok_or(FrameError::MessageTooLong)?;
    if out.len() < cobs::max_encoding_length(length) + 1 {
        return Err(FrameError::MessageTooLong);
    }
    let encoded = cobs::try_encode(body, out).map_err(|_| FrameError::MessageTooLong)?;
    let end = out.get_mut(encoded).ok_or(FrameError::MessageTooLong)?;
    *end = 0;
    Ok(encoded + 1)
}

/// Reads the message of a frame that [`FrameReader::push`] gave.
///
/// # Errors
/// [`FrameError::Content`] if the bytes are not such a message, or more than one.
pub fn decode<'a, M: Deserialize<'a>>(message: &'a [u8]) -> Result<M, FrameError> {
    match postcard::take_from_bytes(message) {
        Ok((read, [])) => Ok(read),
        _ => Err(FrameError::Content),
    }
}

/// Collects bytes into frames.
#[derive(Clone, Debug)]
pub struct FrameReader {
    buffer: [u8; MAX_FRAME],
    used: usize,
    /// The frame in hand was too long; bytes are dropped up to its zero.
    overflowed: bool,
}

impl Default for FrameReader {
    fn default() -> Self {
        Self::new()
    }
}

impl FrameReader {
    /// A reader that expects the start of a frame.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            buffer: [0; MAX_FRAME],
            used: 0,
            overflowed: false,
        }
    }

    /// Whether bytes of an unfinished frame are held.
    #[must_use]
    pub const fn is_inside_frame(&self) -> bool {
        self.used > 0 || self.overflowed
    }

    /// Drops what is held of an unfinished frame.
    pub const fn reset(&mut self) {
        self.used = 0;
        self.overflowed = false;
    }

    /// Takes one byte. `None` while a frame is unfinished; empty frames (a zero after a zero)
    /// are passed over, so that a sender may open with a zero to get in step.
    ///
    /// The message bytes stay valid until the next call.
    pub fn push(&mut self, byte: u8) -> Option<Result<&[u8], FrameError>> {
        if byte != 0 {
            match self.buffer.get_mut(self.used) {
                Some(place) if !self.overflowed => {
                    *place = byte;
                    self.used += 1;
                }
                _ => self.overflowed = true,
            }
            return None;
        }
        let used = core::mem::take(&mut self.used);
        if core::mem::take(&mut self.overflowed) {
            return Some(Err(FrameError::TooLong));
        }
        if used == 0 {
            return None;
        }
        // Never more than the buffer has.
        Some(Self::open(self.buffer.get_mut(..used)?))
    }

    fn open(frame: &mut [u8]) -> Result<&[u8], FrameError> {
        let length = Self::unstuff(frame).ok_or(FrameError::Encoding)?;
        let body = frame.get(..length).ok_or(FrameError::Encoding)?;
        let (message, check) = body
            .split_last_chunk::<CRC_BYTES>()
            .ok_or(FrameError::TooShort)?;
        if CRC.checksum(message) == u32::from_le_bytes(*check) {
            Ok(message)
        } else {
            Err(FrameError::Checksum)
        }
    }

    /// Takes the stuffing out of a frame without its zero, in place, and returns the length that is left.
    /// Byte by byte, because the crate's own way in place has indices that it does not prove.
    fn unstuff(frame: &mut [u8]) -> Option<usize> {
        let mut state = DecoderState::default();
        let mut length = 0;
        for place in 0..frame.len() {
            // A byte in gives one byte out at most, so none is written over before it was read.
            let byte = *frame.get(place)?;
            if let DecodeResult::DataContinue(out) = state.feed(byte).ok()? {
                *frame.get_mut(length)? = out;
                length += 1;
            }
        }
        matches!(state.feed(0).ok()?, DecodeResult::DataComplete).then_some(length)
    }
}
