//! The converter's frame: six 24-bit words in each direction, at once.
//!
//! ```text
//! to the part     command . CRC or data . CRC or 0 . 0 . 0 . 0
//! from the part   response . channel 0 . 1 . 2 . 3 . CRC
//! ```
//! Command, response, data of a register and CRC have 16 bits and stand at the high end of
//! their word (SBAS890D 8.5.1.7, 8.5.1.8). The response answers the command of the frame
//! *before*. The CRC is CRC-16/CCITT with start value FFFF over all bytes before it, padding
//! included (8.3.12); in the catalogue of crate `crc` that is CRC-16/IBM-3740.
//!
//! Commands always carry their CRC. A part whose input check is off (its default) ignores
//! what follows the command.

use core::fmt;

use crc::{CRC_16_IBM_3740, Crc};
use slotwise_core::sample::{AdcCode, Frame};
use slotwise_core::slots::LEADS;

use super::registers::Command;

/// Bytes of a word.
pub const WORD_BYTES: usize = 3;

/// Bytes of a frame: response, four channels, CRC. 144 bits are 18 us at 8 MHz, of the 250 us
/// from one conversion to the next.
pub const FRAME_BYTES: usize = (1 + LEADS + 1) * WORD_BYTES;

/// Bytes that the output CRC covers.
const COVERED_BYTES: usize = FRAME_BYTES - WORD_BYTES;

static CHECK: Crc<u16> = Crc::<u16>::new(&CRC_16_IBM_3740);

/// NULL with its CRC, ready made for the interrupt path. Equal to `encode(Command::Null)`.
pub const NULL_FRAME: [u8; FRAME_BYTES] = {
    let mut bytes = [0; FRAME_BYTES];
    bytes[WORD_BYTES] = 0xCC;
    bytes[WORD_BYTES + 1] = 0x9C;
    bytes
};

/// The bytes to send for `command`.
#[must_use]
pub fn encode(command: Command) -> [u8; FRAME_BYTES] {
    let [c0, c1] = command.word().to_be_bytes();
    let mut bytes = [0; FRAME_BYTES];
    if let Command::Write(_, value) = command {
        let [d0, d1] = value.to_be_bytes();
        let covered = [c0, c1, 0, d0, d1, 0];
        let [k0, k1] = CHECK.checksum(&covered).to_be_bytes();
        put(&mut bytes, &[c0, c1, 0, d0, d1, 0, k0, k1, 0]);
    } else {
        let [k0, k1] = CHECK.checksum(&[c0, c1, 0]).to_be_bytes();
        put(&mut bytes, &[c0, c1, 0, k0, k1, 0]);
    }
    bytes
}

/// Copies `head` to the start of the frame.
fn put(bytes: &mut [u8; FRAME_BYTES], head: &[u8]) {
    for (to, from) in bytes.iter_mut().zip(head) {
        *to = *from;
    }
}

/// What the part sent.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Response {
    /// Answer to the command of the frame before.
    pub word: u16,
    /// The four conversions.
    pub frame: Frame,
}

/// The CRC of a received frame does not match its content.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct WrongChecksum {
    /// CRC of the bytes that came.
    pub computed: u16,
    /// CRC that came with them.
    pub received: u16,
}

impl fmt::Display for WrongChecksum {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "frame CRC {:#06x} does not match its content ({:#06x})",
            self.received, self.computed
        )
    }
}

impl core::error::Error for WrongChecksum {}

/// Reads a received frame.
///
/// # Errors
/// [`WrongChecksum`]; nothing of the frame is to be used then. A data line stuck low or high
/// ends here too: the CRC of fifteen bytes 00 is not 0000, that of fifteen FF not FFFF.
pub fn decode(bytes: &[u8; FRAME_BYTES]) -> Result<Response, WrongChecksum> {
    // One pattern over the array: every index is known good when compiling.
    let [
        r0,
        r1,
        _,
        a0,
        a1,
        a2,
        b0,
        b1,
        b2,
        c0,
        c1,
        c2,
        d0,
        d1,
        d2,
        k0,
        k1,
        _,
    ] = *bytes;
    let (covered, _) = bytes.split_at(COVERED_BYTES);
    let computed = CHECK.checksum(covered);
    let received = u16::from_be_bytes([k0, k1]);
    if computed != received {
        return Err(WrongChecksum { computed, received });
    }
    Ok(Response {
        word: u16::from_be_bytes([r0, r1]),
        frame: Frame {
            codes: [
                AdcCode::from_be_bytes([a0, a1, a2]),
                AdcCode::from_be_bytes([b0, b1, b2]),
                AdcCode::from_be_bytes([c0, c1, c2]),
                AdcCode::from_be_bytes([d0, d1, d2]),
            ],
        },
    })
}

/// What a part would send: the inverse of [`decode`], for tests of this crate.
#[cfg(test)]
pub(crate) fn respond(word: u16, codes: [i32; LEADS]) -> [u8; FRAME_BYTES] {
    let mut bytes = [0; FRAME_BYTES];
    bytes[..2].copy_from_slice(&word.to_be_bytes());
    for (place, code) in bytes[WORD_BYTES..].chunks_exact_mut(WORD_BYTES).zip(codes) {
        place.copy_from_slice(&AdcCode::saturating(code).to_be_bytes());
    }
    let check = CHECK.checksum(&bytes[..COVERED_BYTES]);
    bytes[COVERED_BYTES..COVERED_BYTES + 2].copy_from_slice(&check.to_be_bytes());
    bytes
}

#[cfg(test)]
mod tests {
    use super::super::registers::Register;
    use super::*;

    // The check words in these tests are computed from the CRC's definition, they were not
    // seen on a part.

    #[test]
    fn the_crc_is_the_catalogued_one() {
        assert_eq!(CHECK.checksum(b"123456789"), 0x29B1);
    }

    #[test]
    fn commands_carry_the_computed_check_words() {
        let null = encode(Command::Null);
        assert_eq!(null[..6], [0, 0, 0, 0xCC, 0x9C, 0]);
        assert_eq!(null, NULL_FRAME);
        assert_eq!(
            encode(Command::Reset)[..6],
            [0x00, 0x11, 0x00, 0xFC, 0xDE, 0x00]
        );
        assert_eq!(
            encode(Command::Read(Register::Id))[..6],
            [0xA0, 0x00, 0x00, 0x71, 0x00, 0x00]
        );
        assert_eq!(
            encode(Command::Write(Register::Mode, 0x0110))[..9],
            [0x61, 0x00, 0x00, 0x01, 0x10, 0x00, 0x20, 0xEB, 0x00]
        );
    }

    #[test]
    fn everything_after_the_check_word_is_zero() {
        assert!(encode(Command::Reset)[6..].iter().all(|b| *b == 0));
        assert!(
            encode(Command::Write(Register::Clock, 0xFFFF))[9..]
                .iter()
                .all(|b| *b == 0)
        );
    }

    #[test]
    fn a_response_with_zero_channels_has_the_computed_check_word() {
        let bytes = [
            0x05, 0x0F, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0xE0, 0xE0, 0,
        ];
        let response = decode(&bytes).expect("the vector is whole");
        assert_eq!(response.word, 0x050F);
        assert_eq!(response.frame, Frame::default());
        assert_eq!(respond(0x050F, [0; LEADS]), bytes);
    }

    #[test]
    fn codes_come_in_channel_order_with_their_sign() {
        let codes = [1, -1, 0x7F_FFFF, -0x80_0000];
        let response = decode(&respond(0x010F, codes)).expect("whole");
        assert_eq!(response.frame.codes.map(AdcCode::get), codes);
    }

    #[test]
    fn every_single_flipped_bit_that_counts_is_found() {
        let good = respond(0x010F, [123_456, -7, 0, 8_000_000]);
        for bit in 0..FRAME_BYTES * 8 {
            let mut bytes = good;
            bytes[bit / 8] ^= 0x80 >> (bit % 8);
            // The last byte is padding behind the CRC: nothing is read from it.
            let is_padding = bit / 8 == FRAME_BYTES - 1;
            assert_eq!(decode(&bytes).is_ok(), is_padding, "bit {bit}");
        }
    }

    #[test]
    fn a_stuck_data_line_is_no_frame() {
        assert!(decode(&[0x00; FRAME_BYTES]).is_err());
        assert!(decode(&[0xFF; FRAME_BYTES]).is_err());
    }
}
