//! The head of a sector: when it was begun, and with which record.
//!
//! ```text
//! sequence u32 . first record u32 . CRC-32        (little-endian), and the same once more
//! ```
//! The sequence counts every beginning of a sector, so the order of the sectors is known
//! without a ring that must be whole: a sector that was passed over leaves no trace in it. The
//! CRC is CRC-32/ISO-HDLC with four letters in front, so that neither 00.. nor FF.. is a head.
//! Two copies, because a head that cannot be read hides a whole sector.

use crc::{CRC_32_ISO_HDLC, Crc};
use embedded_storage::nor_flash::MultiwriteNorFlash;

use super::{Journal, JournalError, Outcome};

const COPY_BYTES: usize = 12;

/// Greatest sequence number that is believed: every sector of the largest journal erased as
/// often as a NOR flash endures (100 000 times; from memory of the W25Q parts' data sheets).
pub(super) const SEQUENCE_MOST: u32 = 100_000 * super::MAX_SECTORS as u32;

/// Bytes of both copies.
pub(super) const HEAD_BYTES: usize = 2 * COPY_BYTES;

static CHECK: Crc<u32> = Crc::<u32>::new(&CRC_32_ISO_HDLC);

/// The head of a sector.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Head {
    /// Counts the sectors begun.
    pub(super) sequence: u32,
    /// The record number that was next when the sector was begun.
    pub(super) first: u32,
}

impl Head {
    /// Of no sector: what was before the first one.
    pub(super) const NONE: Self = Self {
        sequence: 0,
        first: 0,
    };

    pub(super) fn to_bytes(self) -> [u8; COPY_BYTES] {
        let mut bytes = [0; COPY_BYTES];
        let content = self.sequence.to_le_bytes().into_iter();
        let content = content.chain(self.first.to_le_bytes());
        for (to, from) in bytes.iter_mut().zip(content.chain(self.check())) {
            *to = from;
        }
        bytes
    }

    fn check(self) -> [u8; 4] {
        let mut digest = CHECK.digest();
        digest.update(b"SWJH");
        digest.update(&self.sequence.to_le_bytes());
        digest.update(&self.first.to_le_bytes());
        digest.finalize().to_le_bytes()
    }

    fn from_bytes(bytes: [u8; COPY_BYTES]) -> Option<Self> {
        let [s0, s1, s2, s3, f0, f1, f2, f3, check @ ..] = bytes;
        let head = Self {
            sequence: u32::from_le_bytes([s0, s1, s2, s3]),
            first: u32::from_le_bytes([f0, f1, f2, f3]),
        };
        // Both count from one.
        let is_ours = matches!(head.sequence, 1..=SEQUENCE_MOST) && head.first > 0;
        (is_ours && head.check() == check).then_some(head)
    }
}

impl<F: MultiwriteNorFlash> Journal<F> {
    /// The head of a sector, if it has one.
    pub(super) fn head(&mut self, index: usize) -> Outcome<Option<Head>, F> {
        let base = Self::base(index);
        for copy in 0..2 {
            let bytes = self.head_copy(base, copy)?;
            if let Some(head) = Head::from_bytes(bytes) {
                return Ok(Some(head));
            }
            // The first copy is written first.
            if bytes == [0xFF; COPY_BYTES] {
                break;
            }
        }
        Ok(None)
    }

    /// Writes the head of a blank sector; true if both copies stand there.
    pub(super) fn write_head(&mut self, index: usize, head: Head) -> Outcome<bool, F> {
        let base = Self::base(index);
        let bytes = head.to_bytes();
        let mut is_whole = true;
        for copy in 0..2 {
            let place = base + copy * COPY_BYTES as u32;
            // What the flash says of it counts less than what stands there afterwards.
            let _ = self.flash.write(place, &bytes);
            is_whole &= self.head_copy(base, copy)? == bytes;
        }
        Ok(is_whole)
    }

    fn head_copy(&mut self, base: u32, copy: u32) -> Outcome<[u8; COPY_BYTES], F> {
        let mut bytes = [0; COPY_BYTES];
        self.flash
            .read(base + copy * COPY_BYTES as u32, &mut bytes)
            .map_err(JournalError::Flash)?;
        Ok(bytes)
    }
}
