//! One sector, shown to the storage library as a whole queue of a single page.
//!
//! ```text
//! view address    0      1 ..                                  last
//! shows           begun  what stands behind the sector's head  not closed
//! ```
//! With it the library finds, checks and writes the items of that sector. To start in the middle,
//! at `from`, the view shows one erased item up to there. So every item has the same place and
//! the page the same end wherever reading starts: what the library takes for an item does not depend
//! on it, also where the sector holds what no journal wrote. The view refuses to erase: the library would erase a page that it takes for damaged, and one misread
//! byte must not cost a sector of records. All it relies on is that the first and the last word
//! of a page are marks (0 = begun, closed) and how an erased item looks, which tests of the journal
//! hold fast.

use embedded_storage_async::nor_flash::{
    ErrorType, MultiwriteNorFlash, NorFlash, NorFlashError, NorFlashErrorKind, ReadNorFlash,
};

use super::head::HEAD_BYTES;
use crate::ready::{at_once, ready};

/// Error of a view.
#[derive(Debug)]
pub(super) enum ViewError<E> {
    /// The flash failed.
    Flash(E),
    /// The view did not let the operation through.
    Refused,
}

impl<E: NorFlashError> NorFlashError for ViewError<E> {
    fn kind(&self) -> NorFlashErrorKind {
        match self {
            Self::Flash(error) => error.kind(),
            Self::Refused => NorFlashErrorKind::Other,
        }
    }
}

/// Bytes of an item's header: CRC-32 of the data, length, CRC-16 of the length.
const ITEM_HEADER: usize = 8;

/// The header of an erased item with this many bytes in all. An erased one has 0 as its CRC-32. The
/// CRC-16 is CRC-16F/4.2 (Koopman), inverted, with FFFE in place of FFFF.
fn erased_item(bytes: u32) -> [u8; ITEM_HEADER] {
    let length = (bytes as u16).saturating_sub(ITEM_HEADER as u16);
    let [l0, l1] = length.to_le_bytes();
    let crc = ![l0, l1].iter().fold(0xFFFF_u16, |crc, byte| {
        (0..8).fold(crc ^ u16::from(*byte), |crc, _| {
            (crc >> 1) ^ (0x1A2E & (crc & 1).wrapping_neg())
        })
    });
    let [c0, c1] = crc.min(0xFFFE).to_le_bytes();
    [0, 0, 0, 0, l0, l1, c0, c1]
}

/// The view.
pub(super) struct SectorView<'f, F> {
    flash: &'f mut F,
    /// Address of the sector.
    base: u32,
    /// First byte of the sector to read, counted from `base`: [`HEAD_BYTES`], or the end of an
    /// item.
    from: u32,
    /// One past the last byte that was read, counted from `base`.
    read_to: u32,
}

impl<'f, F: NorFlash> SectorView<'f, F> {
    pub(super) const fn new(flash: &'f mut F, base: u32, from: u32) -> Self {
        Self {
            flash,
            base,
            from,
            read_to: from,
        }
    }

    /// One past the last byte that was read, counted from the start of the sector. After the
    /// library returned an item this is the end of that item.
    pub(super) const fn read_to(&self) -> u32 {
        self.read_to
    }

    fn show(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), ViewError<F::Error>> {
        let last = Self::ERASE_SIZE as u32 - 1;
        if offset == 0 {
            bytes.fill(0x00);
            return Ok(());
        }
        if offset >= last {
            bytes.fill(0xFF);
            return Ok(());
        }
        let place = Self::place(offset).ok_or(ViewError::Refused)?;
        if place < self.from {
            let before = erased_item(self.from - HEAD_BYTES as u32);
            let shown = before.iter().skip((place - HEAD_BYTES as u32) as usize);
            bytes.fill(0xFF);
            for (to, from) in bytes.iter_mut().zip(shown) {
                *to = *from;
            }
            return Ok(());
        }
        let end = place as usize + bytes.len();
        if end > F::ERASE_SIZE {
            return Err(ViewError::Refused);
        }
        if !bytes.is_empty() {
            ready(self.flash.read(self.base + place, bytes))
                .ok_or(ViewError::Refused)?
                .map_err(ViewError::Flash)?;
        }
        self.read_to = end as u32;
        Ok(())
    }

    fn put(&mut self, offset: u32, bytes: &[u8]) -> Result<(), ViewError<F::Error>> {
        let place = Self::place(offset)
            .filter(|&place| place >= self.from && place as usize + bytes.len() <= F::ERASE_SIZE)
            .ok_or(ViewError::Refused)?;
        ready(self.flash.write(self.base + place, bytes))
            .ok_or(ViewError::Refused)?
            .map_err(ViewError::Flash)
    }

    /// The byte of the sector that is shown at this address of the view.
    fn place(offset: u32) -> Option<u32> {
        offset.checked_sub(1)?.checked_add(HEAD_BYTES as u32)
    }
}

impl<F: NorFlash> ErrorType for SectorView<'_, F> {
    type Error = ViewError<F::Error>;
}

impl<F: NorFlash> ReadNorFlash for SectorView<'_, F> {
    const READ_SIZE: usize = F::READ_SIZE;

    fn read(
        &mut self,
        offset: u32,
        bytes: &mut [u8],
    ) -> impl Future<Output = Result<(), Self::Error>> {
        at_once(move || self.show(offset, bytes))
    }

    fn capacity(&self) -> usize {
        Self::ERASE_SIZE
    }
}

impl<F: NorFlash> NorFlash for SectorView<'_, F> {
    const WRITE_SIZE: usize = F::WRITE_SIZE;
    /// The sector without its head, and two marks.
    const ERASE_SIZE: usize = F::ERASE_SIZE - HEAD_BYTES + 2;

    fn erase(&mut self, _from: u32, _to: u32) -> impl Future<Output = Result<(), Self::Error>> {
        at_once(|| Err(ViewError::Refused))
    }

    fn write(
        &mut self,
        offset: u32,
        bytes: &[u8],
    ) -> impl Future<Output = Result<(), Self::Error>> {
        at_once(move || self.put(offset, bytes))
    }
}

impl<F: MultiwriteNorFlash> MultiwriteNorFlash for SectorView<'_, F> {}
