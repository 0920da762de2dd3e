//! One sector, shown to the storage library as a whole queue of a single page.
//!
//! ```text
//! view address    0      1 ..                     last
//! shows           begun  sector byte `from` ..    not closed
//! ```
//! With it the library finds, checks and writes the items of that sector, and reading can
//! start in the middle. What would lie behind the sector's data reads as erased. The view
//! refuses to erase: the library would erase a page that it takes for damaged, and one misread
//! byte must not cost a sector of records. All it relies on is that the first and the last word
//! of a page are marks (0 = begun, closed), which a test of the journal holds fast.

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

/// The view.
pub(super) struct SectorView<'f, F> {
    flash: &'f mut F,
    /// Address of the sector.
    base: u32,
    /// First byte of the sector to show, counted from `base`; at least [`HEAD_BYTES`].
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
        let length = bytes.len();
        let place = self.from.saturating_add(offset - 1);
        let room = (F::ERASE_SIZE as u32).saturating_sub(place) as usize;
        let (inside, behind) = bytes
            .split_at_mut_checked(room.min(length))
            .ok_or(ViewError::Refused)?;
        if !inside.is_empty() {
            ready(self.flash.read(self.base + place, inside))
                .ok_or(ViewError::Refused)?
                .map_err(ViewError::Flash)?;
        }
        behind.fill(0xFF);
        self.read_to = place.saturating_add(length as u32);
        Ok(())
    }

    fn put(&mut self, offset: u32, bytes: &[u8]) -> Result<(), ViewError<F::Error>> {
        let place = offset
            .checked_sub(1)
            .and_then(|offset| self.from.checked_add(offset))
            .filter(|&place| place as usize + bytes.len() <= F::ERASE_SIZE)
            .ok_or(ViewError::Refused)?;
        ready(self.flash.write(self.base + place, bytes))
            .ok_or(ViewError::Refused)?
            .map_err(ViewError::Flash)
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
