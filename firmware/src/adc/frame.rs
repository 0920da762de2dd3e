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
#[cfg(test)]
const COVERED_BYTES: usize = FRAME_BYTES - WORD_BYTES;

/// For commands; received frames have [`remainder`].
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

/// The bytes of a frame where words can be read: 32 bits at a time, which a Cortex-M0+ does on
/// addresses that four divides only.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(C, align(4))]
pub struct RawFrame(pub [u8; FRAME_BYTES]);

impl RawFrame {
    /// All zero: no frame.
    pub const EMPTY: Self = Self([0; FRAME_BYTES]);
}

/// Reads a received frame.
///
/// # Errors
/// [`WrongChecksum`]; nothing of the frame is to be used then. A data line stuck low or high
/// ends here too: the CRC of fifteen bytes 00 is not 0000, that of fifteen FF not FFFF.
pub fn decode(frame: &RawFrame) -> Result<Response, WrongChecksum> {
    let [w0, w1, w2, w3] = words(frame);
    // The start value FFFF is the same as the first two bytes inverted and a start value of 0.
    let check = remainder(w0 ^ 0xFFFF_0000);
    let check = remainder(check << 16 ^ w1);
    let check = remainder(check << 16 ^ w2);
    // Of the last word 24 bits are covered.
    let computed = remainder((check << 8 & 0x00FF_FFFF) ^ w3 >> 8) as u16;
    let [.., k0, k1, _] = frame.0;
    let received = u16::from_be_bytes([k0, k1]);
    if computed != received {
        return Err(WrongChecksum { computed, received });
    }
    Ok(split(frame))
}

/// The frame as words, the way they come: response and the first byte of channel 0, and so on.
#[inline(always)]
const fn words(frame: &RawFrame) -> [u32; 4] {
    // One pattern over the array: every index is known good when compiling.
    let [
        r0,
        r1,
        r2,
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
        _,
        _,
    ] = frame.0;
    [
        u32::from_be_bytes([r0, r1, r2, a0]),
        u32::from_be_bytes([a1, a2, b0, b1]),
        u32::from_be_bytes([b2, c0, c1, c2]),
        u32::from_be_bytes([d0, d1, d2, k0]),
    ]
}

/// Takes a received frame apart whose check word has been looked at.
#[inline(always)]
#[must_use]
pub const fn split(frame: &RawFrame) -> Response {
    let [w0, w1, w2, w3] = words(frame);
    // Each code at the high end of a word; whatever follows it is shifted out.
    Response {
        word: (w0 >> 16) as u16,
        frame: Frame {
            codes: [
                AdcCode::from_high_bits(w0 << 24 | w1 >> 8),
                AdcCode::from_high_bits(w1 << 16 | w2 >> 16),
                AdcCode::from_high_bits(w2 << 8),
                AdcCode::from_high_bits(w3),
            ],
        },
    }
}

/// Remainder of `x 2^16` by the CRC's polynomial `P = 2^16 + 2^12 + 2^5 + 1`, without carries:
/// what a table does byte by byte, for 32 bits at once and with nothing to look up.
///
/// The quotient `q` times `P` has `x` above bit 16, so `x = q + q/2^4 + q/2^11 + q/2^16`, each
/// cut. With `e` for the three shifts, `1 / (1 + e) = (1 + e)(1 + e^2)(1 + e^4)` as soon as `e^8`
/// shifts all out; squares of sums without carries are sums of squares. The remainder is what
/// `q P` has below bit 16. A shorter `x` may stand there with zeros before it.
#[inline]
const fn remainder(x: u32) -> u32 {
    let q = x ^ x >> 4 ^ x >> 11 ^ x >> 16;
    let q = q ^ q >> 8 ^ q >> 22;
    let q = q ^ q >> 16;
    (q ^ q << 5 ^ q << 12) & 0xFFFF
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
        let response = decode(&RawFrame(bytes)).expect("the vector is whole");
        assert_eq!(response.word, 0x050F);
        assert_eq!(response.frame, Frame::default());
        assert_eq!(respond(0x050F, [0; LEADS]), bytes);
    }

    #[test]
    fn codes_come_in_channel_order_with_their_sign() {
        let codes = [1, -1, 0x7F_FFFF, -0x80_0000];
        let response = decode(&RawFrame(respond(0x010F, codes))).expect("whole");
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
            assert_eq!(decode(&RawFrame(bytes)).is_ok(), is_padding, "bit {bit}");
        }
    }

    #[test]
    fn a_stuck_data_line_is_no_frame() {
        assert!(decode(&RawFrame([0x00; FRAME_BYTES])).is_err());
        assert!(decode(&RawFrame([0xFF; FRAME_BYTES])).is_err());
    }

    // Oracle: the crate `crc`, byte by byte by its table.
    #[test]
    fn the_remainder_of_a_word_is_that_of_the_catalogued_crc() {
        let plain = Crc::<u16>::new(&crc::CRC_16_XMODEM);
        let mut x = 1_u32;
        for _ in 0..100_000 {
            // A full-period congruential generator (Numerical Recipes).
            x = x.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            assert_eq!(
                remainder(x),
                u32::from(plain.checksum(&x.to_be_bytes())),
                "{x:08x}"
            );
            let [_, low @ ..] = x.to_be_bytes();
            assert_eq!(remainder(x & 0x00FF_FFFF), u32::from(plain.checksum(&low)));
        }
        for bit in 0..32 {
            let x = 1_u32 << bit;
            assert_eq!(remainder(x), u32::from(plain.checksum(&x.to_be_bytes())));
        }
    }
}
