//! Where the calibration lives: two copies, in the first two sectors of the flash.
//!
//! ```text
//! magic "SWCA" . generation u32 . length u16 . content . CRC-32     (little-endian)
//! ```
//! The CRC is CRC-32/ISO-HDLC over everything before it. Each write counts the generation up
//! and writes both copies, one after the other, the worse or older one first and the next
//! only after the first was read back. So at every moment, power cut or not, at least one
//! whole copy stands in the flash once there was one; if they differ, the higher generation
//! is the newer.

use core::fmt;

use crc::{CRC_32_ISO_HDLC, Crc};
use embedded_storage::nor_flash::NorFlash;

/// Sectors at the start of the flash that hold the copies.
pub const CALIBRATION_SECTORS: usize = 2;

const MAGIC: [u8; 4] = *b"SWCA";
const HEADER_BYTES: usize = 10;
const CRC_BYTES: usize = 4;
const CHUNK: usize = 64;

static CHECK: Crc<u32> = Crc::<u32>::new(&CRC_32_ISO_HDLC);

/// State of one copy.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum CopyState {
    /// Whole.
    Good {
        /// How often the calibration was written when this copy was.
        generation: u32,
    },
    /// Nothing was written yet.
    Blank,
    /// Something is there, but not a whole copy.
    Damaged,
}

impl CopyState {
    const fn generation(self) -> Option<u32> {
        match self {
            Self::Good { generation } => Some(generation),
            Self::Blank | Self::Damaged => None,
        }
    }
}

/// What stands in the flash.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Stored {
    /// State of the two copies.
    pub copies: [CopyState; CALIBRATION_SECTORS],
    /// Length of the content that was read, if a copy is good.
    pub length: Option<usize>,
}

impl Stored {
    /// Whether both copies are good and equally new. If not, write the calibration again.
    #[must_use]
    pub fn is_sound(&self) -> bool {
        let [first, second] = self.copies;
        first.generation().is_some() && first == second
    }
}

/// Why the calibration could not be read or written. `E` is the error of the flash.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum CalibrationStoreError<E> {
    /// The flash failed.
    Flash(E),
    /// The content is longer than a copy may be.
    TooLong {
        /// Its length in bytes.
        length: usize,
        /// The most that fits.
        most: usize,
    },
    /// The caller's buffer is too small for the content.
    BufferTooSmall {
        /// Length of the content in bytes.
        length: usize,
    },
    /// A copy does not read back as it was written. The other copy was left as it is.
    NotStored {
        /// 0 or 1.
        copy: usize,
    },
}

impl<E: fmt::Display> fmt::Display for CalibrationStoreError<E> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Flash(error) => write!(f, "calibration: {error}"),
            Self::TooLong { length, most } => write!(
                f,
                "calibration: {length} bytes are more than the {most} of a copy; this is a \
                 program error, report it"
            ),
            Self::BufferTooSmall { length } => write!(
                f,
                "calibration: its {length} bytes are more than the buffer; this is a program \
                 error, report it"
            ),
            Self::NotStored { copy } => write!(
                f,
                "calibration: copy {copy} does not read back after it was written; the other \
                 copy is kept. Write it again, replace the flash if it repeats"
            ),
        }
    }
}

impl<E: fmt::Display + fmt::Debug> core::error::Error for CalibrationStoreError<E> {}

type Outcome<T, F> =
    Result<T, CalibrationStoreError<<F as embedded_storage::nor_flash::ErrorType>::Error>>;

/// The two copies on a flash.
#[derive(Debug)]
pub struct CalibrationStore<'f, F> {
    flash: &'f mut F,
}

impl<'f, F: NorFlash> CalibrationStore<'f, F> {
    /// Most bytes of the content.
    pub const MOST: usize = F::ERASE_SIZE - HEADER_BYTES - CRC_BYTES;

    /// The store on `flash`.
    pub const fn new(flash: &'f mut F) -> Self {
        Self { flash }
    }

    /// Reads the newest whole copy into `buffer` and tells the state of both.
    ///
    /// # Errors
    /// `Flash` or `BufferTooSmall`. That no copy is whole is no error: see [`Stored`].
    pub fn read(&mut self, buffer: &mut [u8]) -> Outcome<Stored, F> {
        let copies = self.copies()?;
        let mut stored = Stored {
            copies,
            length: None,
        };
        let [first, second] = copies.map(CopyState::generation);
        let Some(newest) = first.max(second) else {
            return Ok(stored);
        };
        let base = if first == Some(newest) {
            base_of::<F>(0)
        } else {
            base_of::<F>(1)
        };
        let mut header = [0; HEADER_BYTES];
        self.read_at(base, &mut header)?;
        let Some((_, length)) = parse(header, Self::MOST) else {
            return Ok(stored);
        };
        let content = buffer
            .get_mut(..length)
            .ok_or(CalibrationStoreError::BufferTooSmall { length })?;
        self.read_at(base + HEADER_BYTES as u32, content)?;
        let mut crc = [0; CRC_BYTES];
        self.read_at(base + (HEADER_BYTES + length) as u32, &mut crc)?;
        let mut digest = CHECK.digest();
        digest.update(&header);
        digest.update(content);
        // It was whole a moment ago; what is handed out must be what was checked.
        if digest.finalize() == u32::from_le_bytes(crc) {
            stored.length = Some(length);
        }
        Ok(stored)
    }

    /// Writes both copies.
    ///
    /// # Errors
    /// `TooLong`, `Flash` or `NotStored`. If there was a whole copy before, there is one
    /// after, old or new.
    pub fn write(&mut self, content: &[u8]) -> Outcome<(), F> {
        let length = match u16::try_from(content.len()) {
            Ok(length) if content.len() <= Self::MOST => length,
            _ => {
                return Err(CalibrationStoreError::TooLong {
                    length: content.len(),
                    most: Self::MOST,
                });
            }
        };
        let [first, second] = self.copies()?.map(CopyState::generation);
        let generation = first.max(second).unwrap_or(0).saturating_add(1);
        let order = if second < first { [1, 0] } else { [0, 1] };

        let mut header = [0; HEADER_BYTES];
        let fields = MAGIC
            .into_iter()
            .chain(generation.to_le_bytes())
            .chain(length.to_le_bytes());
        for (to, from) in header.iter_mut().zip(fields) {
            *to = from;
        }
        let mut digest = CHECK.digest();
        digest.update(&header);
        digest.update(content);
        let crc = digest.finalize().to_le_bytes();

        for copy in order {
            let base = base_of::<F>(copy);
            self.flash
                .erase(base, base + F::ERASE_SIZE as u32)
                .map_err(CalibrationStoreError::Flash)?;
            self.flash
                .write(base, &header)
                .map_err(CalibrationStoreError::Flash)?;
            if !content.is_empty() {
                self.flash
                    .write(base + HEADER_BYTES as u32, content)
                    .map_err(CalibrationStoreError::Flash)?;
            }
            let behind = base + (HEADER_BYTES + content.len()) as u32;
            self.flash
                .write(behind, &crc)
                .map_err(CalibrationStoreError::Flash)?;
            if self.copy(copy)? != (CopyState::Good { generation }) {
                return Err(CalibrationStoreError::NotStored { copy });
            }
        }
        Ok(())
    }

    fn copies(&mut self) -> Outcome<[CopyState; CALIBRATION_SECTORS], F> {
        Ok([self.copy(0)?, self.copy(1)?])
    }

    /// Checks a copy, in slices.
    fn copy(&mut self, copy: usize) -> Outcome<CopyState, F> {
        let base = base_of::<F>(copy);
        let mut header = [0; HEADER_BYTES];
        self.read_at(base, &mut header)?;
        if header == [0xFF; HEADER_BYTES] {
            return Ok(CopyState::Blank);
        }
        let Some((generation, length)) = parse(header, Self::MOST) else {
            return Ok(CopyState::Damaged);
        };
        let mut digest = CHECK.digest();
        digest.update(&header);
        let mut place = base + HEADER_BYTES as u32;
        let mut left = length;
        while left > 0 {
            let mut bytes = [0; CHUNK];
            let part = bytes.get_mut(..left.min(CHUNK)).unwrap_or_default();
            self.read_at(place, part)?;
            digest.update(part);
            place += part.len() as u32;
            left -= part.len();
        }
        let mut crc = [0; CRC_BYTES];
        self.read_at(place, &mut crc)?;
        Ok(if digest.finalize() == u32::from_le_bytes(crc) {
            CopyState::Good { generation }
        } else {
            CopyState::Damaged
        })
    }

    fn read_at(&mut self, address: u32, into: &mut [u8]) -> Outcome<(), F> {
        if into.is_empty() {
            return Ok(());
        }
        self.flash
            .read(address, into)
            .map_err(CalibrationStoreError::Flash)
    }
}

const fn base_of<F: NorFlash>(copy: usize) -> u32 {
    (copy * F::ERASE_SIZE) as u32
}

/// Generation and content length of a header.
fn parse(header: [u8; HEADER_BYTES], most: usize) -> Option<(u32, usize)> {
    let [m0, m1, m2, m3, g0, g1, g2, g3, l0, l1] = header;
    let length = usize::from(u16::from_le_bytes([l0, l1]));
    let is_ours = [m0, m1, m2, m3] == MAGIC && length <= most;
    is_ours.then_some((u32::from_le_bytes([g0, g1, g2, g3]), length))
}

#[cfg(test)]
mod tests;
