//! What the flash is, and why it could not do what was asked.

use core::fmt;

use embedded_hal::spi::ErrorKind;
use embedded_storage::nor_flash::{NorFlashError, NorFlashErrorKind};

/// Maker, type and size of the part.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct JedecId {
    /// Maker code (JEP106).
    pub maker: u8,
    /// Type.
    pub kind: u8,
    /// Size: 2^n bytes.
    pub size_bits: u8,
}

impl fmt::Display for JedecId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "{:02X} {:02X} {:02X}",
            self.maker, self.kind, self.size_bits
        )
    }
}

/// What the driver was doing when it failed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum NorStep {
    /// Looking for the part.
    Start,
    /// Reading.
    Read,
    /// Programming.
    Program,
    /// Erasing.
    Erase,
}

impl fmt::Display for NorStep {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Start => "start",
            Self::Read => "read",
            Self::Program => "program",
            Self::Erase => "erase",
        })
    }
}

/// Why the flash could not do what was asked.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum NorError {
    /// The SPI device reported an error.
    Bus {
        /// During this.
        step: NorStep,
        /// At this address.
        address: u32,
        /// What it reported.
        #[cfg_attr(feature = "defmt", defmt(Debug2Format))]
        kind: ErrorKind,
    },
    /// No part answers, or one of a size that this driver cannot address.
    UnknownPart(JedecId),
    /// The part stayed busy for longer than any part may.
    TimedOut {
        /// After this.
        step: NorStep,
        /// At this address.
        address: u32,
    },
    /// The area asked for ends beyond the part.
    OutOfBounds {
        /// First address asked for.
        address: u32,
        /// How many bytes.
        length: usize,
        /// Size of the part.
        capacity: u32,
    },
    /// An erase does not start and end at a sector.
    NotAligned {
        /// First address asked for.
        from: u32,
        /// Address after the last.
        to: u32,
    },
    /// A byte does not read as it was programmed or erased.
    NotWritten {
        /// During this.
        step: NorStep,
        /// Its address.
        address: u32,
        /// What it should read.
        wanted: u8,
        /// What it reads.
        read: u8,
    },
}

impl fmt::Display for NorError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Bus {
                step,
                address,
                kind,
            } => write!(
                f,
                "flash: the SPI bus failed during {step} at {address:#08x} ({kind}); check the \
                 bus set-up"
            ),
            Self::UnknownPart(id) => write!(
                f,
                "flash: JEDEC ID reads {id}, expected a size byte 10 to 18; check MISO, CS and \
                 the part"
            ),
            Self::TimedOut { step, address } => write!(
                f,
                "flash: still busy long after {step} at {address:#08x}; check MISO and supply, \
                 replace the part if it repeats"
            ),
            Self::OutOfBounds {
                address,
                length,
                capacity,
            } => write!(
                f,
                "flash: {length} bytes at {address:#08x} end beyond its {capacity} bytes; this \
                 is a program error, report it"
            ),
            Self::NotAligned { from, to } => write!(
                f,
                "flash: erase {from:#08x}..{to:#08x} is not whole 4096-byte sectors; this is a \
                 program error, report it"
            ),
            Self::NotWritten {
                step,
                address,
                wanted,
                read,
            } => write!(
                f,
                "flash: after {step} {address:#08x} reads {read:#04x} instead of {wanted:#04x}; \
                 the part is write-protected or worn out, replace it"
            ),
        }
    }
}

impl core::error::Error for NorError {}

impl NorFlashError for NorError {
    fn kind(&self) -> NorFlashErrorKind {
        match self {
            Self::OutOfBounds { .. } => NorFlashErrorKind::OutOfBounds,
            Self::NotAligned { .. } => NorFlashErrorKind::NotAligned,
            _ => NorFlashErrorKind::Other,
        }
    }
}
