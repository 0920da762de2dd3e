//! A NOR flash for tests that is stricter than the part: it refuses what the part would let
//! pass in silence, and its power can be cut at any byte.
//!
//! Programming ANDs into what is there, byte by byte; a program that would need a bit to go
//! from 0 to 1 is refused. When the power fails the byte under way is left in one of several
//! states, everything after it is untouched, and the flash does not answer until
//! [`StrictNor::power_up`]. A sector can be worn out: see [`Wear`].

use embedded_storage::nor_flash::{
    ErrorType, MultiwriteNorFlash, NorFlash, NorFlashError, NorFlashErrorKind, ReadNorFlash,
};

/// What the byte under way is left as when the power fails.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Torn {
    /// As it was.
    Untouched,
    /// Only the low half changed.
    LowHalf,
    /// Only the high half changed.
    HighHalf,
    /// Every second bit changed.
    OddBits,
    /// Done; the power failed just after.
    Done,
}

impl Torn {
    pub(crate) const ALL: [Self; 5] = [
        Self::Untouched,
        Self::LowHalf,
        Self::HighHalf,
        Self::OddBits,
        Self::Done,
    ];

    /// Bits that had not changed yet.
    const fn unchanged(self) -> u8 {
        match self {
            Self::Untouched => 0xFF,
            Self::LowHalf => 0xF0,
            Self::HighHalf => 0x0F,
            Self::OddBits => 0xAA,
            Self::Done => 0x00,
        }
    }
}

/// What is wrong with a worn sector.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[allow(dead_code, reason = "not every test wears sectors out")]
pub(crate) enum Wear {
    /// An erase is taken and does nothing.
    EraseIgnored,
    /// An erase is reported as failed and does nothing.
    EraseFails,
    /// A program is taken and does nothing.
    ProgramIgnored,
    /// A program is reported as failed and does nothing.
    ProgramFails,
    /// Nothing of both, without a word.
    Frozen,
    /// One bit of this byte of the sector reads 0 for ever.
    StuckLow(usize),
    /// One bit of this byte of the sector reads 1 for ever.
    StuckHigh(usize),
}

/// The bit that sticks.
const STUCK_BIT: u8 = 1 << 3;

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum StrictError {
    OutOfBounds,
    NotAligned,
    /// The program would set a bit.
    WouldSetBits(u32),
    /// The sector is worn out.
    Worn,
    /// No power.
    Dark,
}

impl core::fmt::Display for StrictError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        write!(f, "test flash: {self:?}")
    }
}

impl core::error::Error for StrictError {}

impl NorFlashError for StrictError {
    fn kind(&self) -> NorFlashErrorKind {
        match self {
            Self::OutOfBounds => NorFlashErrorKind::OutOfBounds,
            Self::NotAligned => NorFlashErrorKind::NotAligned,
            Self::WouldSetBits(_) | Self::Worn | Self::Dark => NorFlashErrorKind::Other,
        }
    }
}

/// The flash, with sectors of `SECTOR` bytes.
#[derive(Clone, Debug)]
pub(crate) struct StrictNor<const SECTOR: usize> {
    pub(crate) bytes: Vec<u8>,
    /// Bytes programmed and erased so far.
    pub(crate) changed: usize,
    pub(crate) reads: usize,
    pub(crate) erases: usize,
    /// The power fails while this many more bytes were changed.
    cut: Option<(usize, Torn)>,
    is_dark: bool,
    /// The sector that is worn out, how, and how many more bytes of it change before that.
    worn: Vec<(usize, Wear, usize)>,
}

impl<const SECTOR: usize> StrictNor<SECTOR> {
    pub(crate) fn blank(sectors: usize) -> Self {
        Self {
            bytes: vec![0xFF; sectors * SECTOR],
            changed: 0,
            reads: 0,
            erases: 0,
            cut: None,
            is_dark: false,
            worn: Vec::new(),
        }
    }

    /// Lets a sector wear out once `after` more bytes of it were changed.
    #[allow(dead_code, reason = "not every test wears sectors out")]
    pub(crate) fn wear(mut self, sector: usize, wear: Wear, after: usize) -> Self {
        self.worn.push((sector, wear, after));
        self
    }

    /// How the sector of this byte is worn out, if it is.
    fn wear_at(&self, place: usize) -> Option<Wear> {
        self.worn
            .iter()
            .find(|(sector, _, left)| *sector == place / SECTOR && *left == 0)
            .map(|(_, wear, _)| *wear)
    }

    /// Lets `after` more bytes change, then cuts the power in the next one.
    pub(crate) fn cut_after(mut self, after: usize, torn: Torn) -> Self {
        self.cut = Some((after, torn));
        self
    }

    /// Whether the power has failed.
    pub(crate) fn is_dark(&self) -> bool {
        self.is_dark
    }

    pub(crate) fn power_up(mut self) -> Self {
        self.is_dark = false;
        self.cut = None;
        self
    }

    /// Changes one byte, or fails in the middle of it.
    fn change(&mut self, place: usize, to: u8) -> Result<(), StrictError> {
        let to = match self.wear_at(place) {
            Some(Wear::StuckLow(at)) if place % SECTOR == at => to & !STUCK_BIT,
            Some(Wear::StuckHigh(at)) if place % SECTOR == at => to | STUCK_BIT,
            _ => to,
        };
        for (sector, _, left) in &mut self.worn {
            if *sector == place / SECTOR {
                *left = left.saturating_sub(1);
            }
        }
        let byte = &mut self.bytes[place];
        if let Some((left, torn)) = self.cut.as_mut() {
            if *left == 0 {
                let unchanged = torn.unchanged();
                *byte = *byte & unchanged | to & !unchanged;
                self.is_dark = true;
                return Err(StrictError::Dark);
            }
            *left -= 1;
        }
        *byte = to;
        self.changed += 1;
        Ok(())
    }

    fn check(&self, offset: u32, length: usize) -> Result<usize, StrictError> {
        if self.is_dark {
            return Err(StrictError::Dark);
        }
        let offset = offset as usize;
        if offset + length > self.bytes.len() {
            return Err(StrictError::OutOfBounds);
        }
        Ok(offset)
    }
}

impl<const SECTOR: usize> ErrorType for StrictNor<SECTOR> {
    type Error = StrictError;
}

impl<const SECTOR: usize> ReadNorFlash for StrictNor<SECTOR> {
    const READ_SIZE: usize = 1;

    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), StrictError> {
        let offset = self.check(offset, bytes.len())?;
        self.reads += 1;
        bytes.copy_from_slice(&self.bytes[offset..offset + bytes.len()]);
        Ok(())
    }

    fn capacity(&self) -> usize {
        self.bytes.len()
    }
}

impl<const SECTOR: usize> NorFlash for StrictNor<SECTOR> {
    const WRITE_SIZE: usize = 1;
    const ERASE_SIZE: usize = SECTOR;

    fn erase(&mut self, from: u32, to: u32) -> Result<(), StrictError> {
        if from > to
            || !(from as usize).is_multiple_of(SECTOR)
            || !(to as usize).is_multiple_of(SECTOR)
        {
            return Err(StrictError::NotAligned);
        }
        let start = self.check(from, (to - from) as usize)?;
        self.erases += (to - from) as usize / SECTOR;
        for place in start..to as usize {
            match self.wear_at(place) {
                Some(Wear::EraseIgnored | Wear::Frozen) => {}
                Some(Wear::EraseFails) => return Err(StrictError::Worn),
                _ => self.change(place, 0xFF)?,
            }
        }
        Ok(())
    }

    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), StrictError> {
        let start = self.check(offset, bytes.len())?;
        for (place, &byte) in (start..).zip(bytes) {
            match self.wear_at(place) {
                Some(Wear::ProgramIgnored | Wear::Frozen) => continue,
                Some(Wear::ProgramFails) => return Err(StrictError::Worn),
                _ => {}
            }
            if byte & !self.bytes[place] != 0 {
                return Err(StrictError::WouldSetBits(place as u32));
            }
            self.change(place, byte)?;
        }
        Ok(())
    }
}

impl<const SECTOR: usize> MultiwriteNorFlash for StrictNor<SECTOR> {}
