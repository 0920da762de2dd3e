//! Two thin layers between the storage library and the flash.
//!
//! [`Guard`] passes everything on but erases: the library erases a sector on its own account
//! when it takes it for damaged, and one misread byte must not cost a sector of records.
//!
//! [`PageView`] shows one sector of the journal as if it were a whole, unfinished queue that
//! begins at a chosen byte. With it the library itself finds and checks the items of that
//! sector, and reading can start in the middle of the log: the library's own iterator always
//! starts at the oldest item. All it relies on is that the first and the last word of a
//! sector are marks (0 = sector begun, sector closed), which a test of the journal holds fast.

use core::fmt;

use embedded_storage_async::nor_flash::{
    ErrorType, MultiwriteNorFlash, NorFlash, NorFlashError, NorFlashErrorKind, ReadNorFlash,
};

/// Error of a guarded flash.
#[derive(Debug)]
pub(super) enum GuardError<E> {
    /// The flash failed.
    Flash(E),
    /// The guard did not let the operation through.
    Refused,
}

impl<E: NorFlashError> NorFlashError for GuardError<E> {
    fn kind(&self) -> NorFlashErrorKind {
        match self {
            Self::Flash(error) => error.kind(),
            Self::Refused => NorFlashErrorKind::Other,
        }
    }
}

/// A flash that is never erased.
pub(super) struct Guard<F> {
    pub(super) flash: F,
}

impl<F> fmt::Debug for Guard<F> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Guard").finish_non_exhaustive()
    }
}

impl<F: NorFlash> ErrorType for Guard<F> {
    type Error = GuardError<F::Error>;
}

impl<F: NorFlash> ReadNorFlash for Guard<F> {
    const READ_SIZE: usize = F::READ_SIZE;

    async fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Self::Error> {
        self.flash
            .read(offset, bytes)
            .await
            .map_err(GuardError::Flash)
    }

    fn capacity(&self) -> usize {
        self.flash.capacity()
    }
}

impl<F: NorFlash> NorFlash for Guard<F> {
    const WRITE_SIZE: usize = F::WRITE_SIZE;
    const ERASE_SIZE: usize = F::ERASE_SIZE;

    async fn erase(&mut self, _from: u32, _to: u32) -> Result<(), Self::Error> {
        Err(GuardError::Refused)
    }

    async fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Self::Error> {
        self.flash
            .write(offset, bytes)
            .await
            .map_err(GuardError::Flash)
    }
}

impl<F: MultiwriteNorFlash> MultiwriteNorFlash for Guard<F> {}

/// One sector, read only, shown as a queue of its own.
///
/// ```text
/// view address    0      1 ..                     ERASE_SIZE - 1
/// shows           begun  sector byte `from` ..    not closed
/// ```
/// What would lie behind the sector's data reads as erased.
pub(super) struct PageView<'f, F> {
    guard: &'f mut Guard<F>,
    /// Address of the sector.
    base: u32,
    /// First byte of the sector to show, counted from `base`; at least 1.
    from: u32,
    /// One past the last byte that was read, counted from `base`.
    read_to: u32,
}

impl<'f, F: NorFlash> PageView<'f, F> {
    pub(super) const fn new(guard: &'f mut Guard<F>, base: u32, from: u32) -> Self {
        Self {
            guard,
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
}

impl<F: NorFlash> ErrorType for PageView<'_, F> {
    type Error = GuardError<F::Error>;
}

impl<F: NorFlash> ReadNorFlash for PageView<'_, F> {
    const READ_SIZE: usize = F::READ_SIZE;

    async fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Self::Error> {
        let last = F::ERASE_SIZE as u32 - 1;
        if offset == 0 {
            bytes.fill(0x00);
            return Ok(());
        }
        if offset >= last {
            bytes.fill(0xFF);
            return Ok(());
        }
        let place = self.from + (offset - 1);
        let room = last.saturating_sub(place) as usize;
        let (inside, behind) = bytes.split_at_mut(room.min(bytes.len()));
        if !inside.is_empty() {
            self.guard.read(self.base + place, inside).await?;
        }
        behind.fill(0xFF);
        self.read_to = place + bytes.len() as u32;
        Ok(())
    }

    fn capacity(&self) -> usize {
        F::ERASE_SIZE
    }
}

impl<F: NorFlash> NorFlash for PageView<'_, F> {
    const WRITE_SIZE: usize = F::WRITE_SIZE;
    const ERASE_SIZE: usize = F::ERASE_SIZE;

    async fn erase(&mut self, _from: u32, _to: u32) -> Result<(), Self::Error> {
        Err(GuardError::Refused)
    }

    async fn write(&mut self, _offset: u32, _bytes: &[u8]) -> Result<(), Self::Error> {
        Err(GuardError::Refused)
    }
}
