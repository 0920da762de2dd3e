//! What stands in a sector behind its head: items, one behind the other, each found and checked by
//! itself.
//!
//! ```text
//! CRC-32 of the data u32 . length u16 . CRC-16 of the length u16 . data       (little-endian)
//! ```
//! The format is that of the crate `sequential-storage` with words of one byte; a test writes and
//! reads the same flash with both. Its code is not used here: its futures and indices have panics that
//! no compiler proves away, and of its queue over many pages a journal that orders its own sectors
//! needs one page.
//!
//! - CRC-32: Castagnoli's polynomial, begun with EEEEEEEE so that no run of FF has FFFFFFFF; of the
//!   result the last bit is turned where its low byte would be 00 or FF, so that a header cut
//!   short after one byte never checks. 0 is an item that was erased.
//! - CRC-16: Koopman's 16F/4.2, inverted, FFFE in place of FFFF: a blank length never checks.
//! - Eight FF where a header would stand are the end of the items. A header whose length does not
//!   check, or leads over the end of the sector, is looked for again one byte further.
//! - What does not check is read a second time before it counts as bad.
//!
//! Limits: an item whose length was damaged into another one that checks hides those that it leads
//! over; 16F/4.2 finds up to three bits of that (Koopman's table, from memory). Where items go
//! bad in an odd way the search may find a whole one inside another's data: whoever reads asks for its
//! number to fit (`reading`).

use crc::{Algorithm, Crc, NoTable, Table};
use embedded_storage::nor_flash::{MultiwriteNorFlash, NorFlash};

use super::head::HEAD_BYTES;
use super::{Journal, JournalError, Outcome, Place, Pushed};

/// Bytes of an item's header.
pub(super) const ITEM_HEADER: usize = 8;

/// CRC-32C with another beginning. The crate gives `init` unreflected: EEEEEEEE is 77777777.
static DATA_CHECK: Crc<u32, Table<1>> = Crc::<u32, Table<1>>::new(&Algorithm {
    width: 32,
    poly: 0x1EDC_6F41,
    init: 0x7777_7777,
    refin: true,
    refout: true,
    xorout: 0xFFFF_FFFF,
    check: 0,
    residue: 0,
});

/// CRC-16F/4.2: 1A2E reflected.
static LENGTH_CHECK: Crc<u16, NoTable> = Crc::<u16, NoTable>::new(&Algorithm {
    width: 16,
    poly: 0x7458,
    init: 0xFFFF,
    refin: true,
    refout: true,
    xorout: 0xFFFF,
    check: 0,
    residue: 0,
});

/// The check word of an item's data.
fn data_check(data: &[u8]) -> u32 {
    let crc = DATA_CHECK.checksum(data);
    match (crc, crc & 0xFF) {
        (0, _) => 1,
        (_, 0x00 | 0xFF) => crc ^ 1,
        _ => crc,
    }
}

fn length_check(length: u16) -> u16 {
    LENGTH_CHECK.checksum(&length.to_le_bytes()).min(0xFFFE)
}

/// The header of an item.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Header {
    length: u16,
    /// 0: erased.
    check: u32,
}

impl Header {
    fn of(item: &[u8]) -> Option<Self> {
        Some(Self {
            length: u16::try_from(item.len()).ok()?,
            check: data_check(item),
        })
    }

    fn to_bytes(self) -> [u8; ITEM_HEADER] {
        let [d0, d1, d2, d3] = self.check.to_le_bytes();
        let [l0, l1] = self.length.to_le_bytes();
        let [c0, c1] = length_check(self.length).to_le_bytes();
        [d0, d1, d2, d3, l0, l1, c0, c1]
    }

    /// A header whose length checks.
    fn from_bytes(bytes: [u8; ITEM_HEADER]) -> Option<Self> {
        let [d0, d1, d2, d3, l0, l1, c0, c1] = bytes;
        let length = u16::from_le_bytes([l0, l1]);
        (u16::from_le_bytes([c0, c1]) == length_check(length)).then_some(Self {
            length,
            check: u32::from_le_bytes([d0, d1, d2, d3]),
        })
    }

    /// The byte behind an item that stands at `byte`. Both far below 2^31.
    fn end(self, byte: u32) -> u32 {
        byte + ITEM_HEADER as u32 + u32::from(self.length)
    }
}

/// Whether data check, after a second look at the most.
enum Read {
    Whole,
    Bad,
}

impl<F: MultiwriteNorFlash> Journal<F> {
    /// Bytes of an item that a sector can hold.
    pub(super) const MOST_ITEM_BYTES: usize = F::ERASE_SIZE - HEAD_BYTES - ITEM_HEADER;

    /// Length and end of the first whole item at or after `place` in the same sector, read
    /// into the scratch buffer and checked. `place` is moved to where it stands, or was looked for last.
    pub(super) fn raw_item(&mut self, place: &mut Place) -> Outcome<Option<(usize, u32)>, F> {
        while let Some(header) = next_header(&mut self.flash, place)? {
            let end = header.end(place.byte);
            let length = usize::from(header.length);
            // Longer than any of ours: not ours.
            if let (1.., Some(data)) = (header.check, self.scratch.get_mut(..length))
                && let Read::Whole = read_data(&mut self.flash, *place, header, data)?
            {
                return Ok(Some((length, end)));
            }
            place.byte = end;
        }
        Ok(None)
    }

    /// Writes an item behind those of a sector. What stands there afterwards is not looked at.
    pub(super) fn push_item(flash: &mut F, base: u32, item: &[u8]) -> Outcome<Pushed<F::Error>, F> {
        let mut place = Place::at_start(base);
        while let Some(header) = next_header(flash, &mut place)? {
            place.byte = header.end(place.byte);
        }
        let room = Self::SECTOR_BYTES.saturating_sub(place.byte + ITEM_HEADER as u32);
        let header = Header::of(item).filter(|header| u32::from(header.length) <= room);
        let Some(header) = header else {
            return Ok(Pushed::NoRoom);
        };
        let at = base + place.byte;
        let written = flash.write(at, &header.to_bytes());
        let written = written.and_then(|()| match item {
            [] => Ok(()),
            _ => flash.write(at + ITEM_HEADER as u32, item),
        });
        Ok(Pushed::Tried(written.map_err(JournalError::Flash)))
    }
}

/// The first header at or after `place`, to which `place` is moved; `None` at the end of the items.
fn next_header<F: NorFlash>(flash: &mut F, place: &mut Place) -> Outcome<Option<Header>, F> {
    let sector = F::ERASE_SIZE as u32;
    while place.byte + ITEM_HEADER as u32 <= sector {
        let mut bytes = [0; ITEM_HEADER];
        let mut header = None;
        for _look in 0..2 {
            flash
                .read(place.base + place.byte, &mut bytes)
                .map_err(JournalError::Flash)?;
            if bytes == [0xFF; ITEM_HEADER] {
                return Ok(None);
            }
            header = Header::from_bytes(bytes);
            if header.is_some() {
                break;
            }
        }
        if let Some(header) = header.filter(|header| header.end(place.byte) <= sector) {
            return Ok(Some(header));
        }
        place.byte += 1;
    }
    Ok(None)
}

/// Reads the data of the item at `place`.
fn read_data<F: NorFlash>(
    flash: &mut F,
    place: Place,
    header: Header,
    data: &mut [u8],
) -> Outcome<Read, F> {
    for _look in 0..2 {
        if !data.is_empty() {
            flash
                .read(place.base + place.byte + ITEM_HEADER as u32, data)
                .map_err(JournalError::Flash)?;
        }
        if data_check(data) == header.check {
            return Ok(Read::Whole);
        }
    }
    Ok(Read::Bad)
}
