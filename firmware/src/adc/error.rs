//! Why the converter could not be started or set.

use core::fmt;

use embedded_hal::spi::ErrorKind;
use slotwise_core::sample::FrameFault;

use super::frame::WrongChecksum;
use super::registers::{Command, Register};

/// Why a step of the converter's set-up failed, after all tries.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum AdcError {
    /// The SPI device reported an error.
    Bus {
        /// During this command.
        step: Command,
        /// What it reported.
        #[cfg_attr(feature = "defmt", defmt(Debug2Format))]
        kind: ErrorKind,
    },
    /// An answer was damaged.
    Checksum {
        /// During this command.
        step: Command,
        /// The two check words.
        wrong: WrongChecksum,
    },
    /// RESET was not acknowledged.
    NotReset {
        /// What came instead of FF24.
        answer: u16,
    },
    /// Another part answers.
    WrongPart {
        /// Its ID register.
        id: u16,
    },
    /// A register does not read what was written.
    NotWritten {
        /// The register.
        register: Register,
        /// What was written.
        wrote: u16,
        /// What was read back.
        read: u16,
    },
    /// The settings were accepted, but conversions do not come whole.
    NotRunning(FrameFault),
}

impl fmt::Display for AdcError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Bus { step, kind } => write!(
                f,
                "converter: the SPI bus failed during {step} ({kind}); check the bus set-up"
            ),
            Self::Checksum { step, wrong } => write!(
                f,
                "converter: answer to {step} was damaged: {wrong}; check MISO, SCK, CS, SPI \
                 mode 1 and the supply of the isolated side"
            ),
            Self::NotReset { answer } => write!(
                f,
                "converter: RESET was answered by {answer:#06x} instead of 0xff24; check MOSI \
                 and its 8.192 MHz clock"
            ),
            Self::WrongPart { id } => write!(
                f,
                "converter: ID register reads {id:#06x} instead of 0x24xx; fit the 4-channel \
                 part"
            ),
            Self::NotWritten {
                register,
                wrote,
                read,
            } => write!(
                f,
                "converter: {register} reads {read:#06x} after {wrote:#06x} was written; check \
                 MOSI and the isolator"
            ),
            Self::NotRunning(fault) => {
                f.write_str("converter: set, but its frames do not come whole: ")?;
                f.write_str(match fault {
                    FrameFault::Checksum => "wrong check words; check MISO and SCK",
                    FrameFault::Bus => "the SPI bus failed; check the bus set-up",
                    FrameFault::Restarted => {
                        "it restarted after it was set; check the supply of the isolated side"
                    }
                    FrameFault::Lost(_) => "frames were lost; start it again",
                })
            }
        }
    }
}

impl core::error::Error for AdcError {}
