//! A NOR flash in memory: programming only clears bits, and the power can fail at any byte.

use embedded_storage::nor_flash::{
    ErrorType, MultiwriteNorFlash, NorFlash, NorFlashError, NorFlashErrorKind, ReadNorFlash,
};

/// Bytes of a sector: small, so that a short input goes around the ring.
pub const SECTOR: usize = 192;

/// The power has failed, or the program asked for what the part cannot do.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Failed {
    /// No power.
    Dark,
    /// Out of bounds, or an erase that does not start and end at a sector.
    Misused,
}

impl core::fmt::Display for Failed {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        write!(f, "test flash: {self:?}")
    }
}

impl core::error::Error for Failed {}

impl NorFlashError for Failed {
    fn kind(&self) -> NorFlashErrorKind {
        NorFlashErrorKind::Other
    }
}

/// The flash.
#[derive(Clone, Debug)]
pub struct Flash {
    /// Its content.
    pub bytes: Vec<u8>,
    /// The power fails in the byte after this many changed ones; of it these bits change.
    pub cut: Option<(usize, u8)>,
    /// It does not answer.
    pub is_dark: bool,
}

impl Flash {
    /// A flash with this content, powered.
    #[must_use]
    pub const fn new(bytes: Vec<u8>) -> Self {
        Self {
            bytes,
            cut: None,
            is_dark: false,
        }
    }

    fn change(&mut self, place: usize, to: u8) -> Result<(), Failed> {
        let byte = &mut self.bytes[place];
        if let Some((left, mask)) = self.cut.as_mut() {
            if *left == 0 {
                *byte = *byte & !*mask | to & *mask;
                self.is_dark = true;
                return Err(Failed::Dark);
            }
            *left -= 1;
        }
        *byte = to;
        Ok(())
    }

    fn check(&self, offset: u32, length: usize) -> Result<usize, Failed> {
        let offset = offset as usize;
        if self.is_dark {
            Err(Failed::Dark)
        } else if offset + length > self.bytes.len() {
            Err(Failed::Misused)
        } else {
            Ok(offset)
        }
    }
}

impl ErrorType for Flash {
    type Error = Failed;
}

impl ReadNorFlash for Flash {
    const READ_SIZE: usize = 1;

    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Failed> {
        let offset = self.check(offset, bytes.len())?;
        bytes.copy_from_slice(&self.bytes[offset..offset + bytes.len()]);
        Ok(())
    }

    fn capacity(&self) -> usize {
        self.bytes.len()
    }
}

impl NorFlash for Flash {
    const WRITE_SIZE: usize = 1;
    const ERASE_SIZE: usize = SECTOR;

    fn erase(&mut self, from: u32, to: u32) -> Result<(), Failed> {
        let aligned = |place: u32| (place as usize).is_multiple_of(SECTOR);
        if from > to || !aligned(from) || !aligned(to) {
            return Err(Failed::Misused);
        }
        let start = self.check(from, (to - from) as usize)?;
        for place in start..to as usize {
            self.change(place, 0xFF)?;
        }
        Ok(())
    }

    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Failed> {
        let start = self.check(offset, bytes.len())?;
        for (place, &byte) in (start..).zip(bytes) {
            let now = self.bytes[place];
            self.change(place, now & byte)?;
        }
        Ok(())
    }
}

impl MultiwriteNorFlash for Flash {}
