//! A strict model of the log memory: a serial NOR flash of 256-byte pages and 4 KiB sectors.
//!
//! Commands: 9F identity, 05 status, 06 and 04 write enable and disable, 03 read, 02 page
//! program, 20 sector erase. A misuse does nothing to the cells and is recorded, except a
//! page that wraps and an erase from inside a sector, which are carried out as the part does
//! and recorded too. Transfers take simulated time (16 MHz), so does being busy.
//!
//! Not modelled: other erase sizes, protection, suspend, deep power-down, wear.

mod array;
mod device;

pub use array::{PAGE, PowerCut, SECTOR};

use super::bus::{self, BusError};
use crate::clock::SimClock;
use device::Device;
use embedded_hal::spi::{ErrorType, Operation, SpiDevice};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

/// Nanoseconds of a byte on the bus at 16 MHz.
const BYTE_NANOS: u64 = 500;

/// What a driver did that the part does not allow or that is surely a mistake.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Violation {
    /// A program or erase without write enable before it.
    NotEnabled {
        /// The command.
        code: u8,
    },
    /// A command other than status while the part was busy.
    Busy {
        /// The command.
        code: u8,
    },
    /// An address beyond the last byte, or a read that ran over it.
    OutOfRange {
        /// The address.
        address: usize,
    },
    /// A program that ran over the end of its page and wrapped to its start.
    PageWrapped {
        /// Where it began.
        address: usize,
        /// How many bytes were sent.
        count: usize,
    },
    /// An erase whose address is not the start of a sector.
    InsideSector {
        /// The address.
        address: usize,
    },
    /// Chip select rose before the command was complete.
    TooShort {
        /// The command.
        code: u8,
    },
    /// Bytes after a command that takes none.
    TooLong {
        /// The command.
        code: u8,
    },
    /// A command that the part does not have.
    UnknownCommand {
        /// The command.
        code: u8,
    },
}

/// What the memory has done.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct NorCounts {
    /// Read commands.
    pub reads: u64,
    /// Bytes read.
    pub bytes_read: u64,
    /// Page programs that finished.
    pub programs: u64,
    /// Bytes programmed.
    pub bytes_programmed: u64,
    /// Sector erases that finished.
    pub erases: u64,
}

/// A content that no such part holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error(
    "a memory of {bytes} bytes does not exist; give a power of two from 4096 to 16777216 bytes"
)]
pub struct SizeError {
    /// The size that was asked for.
    pub bytes: usize,
}

/// The memory, as the test holds it. Clones are the same chip.
#[derive(Clone)]
pub struct VirtualNor {
    clock: SimClock,
    device: Arc<Mutex<Device>>,
}

impl VirtualNor {
    /// Bytes of the part on the board: 8 MiB, identity EF 40 17.
    pub const BOARD_BYTES: usize = 8 * 1024 * 1024;

    /// An erased memory.
    ///
    /// # Errors
    /// [`SizeError`] when there is no part of `bytes` bytes.
    pub fn erased(clock: &SimClock, bytes: usize) -> Result<Self, SizeError> {
        Self::with_contents(clock, vec![0xFF; bytes])
    }

    /// A memory that holds these bytes, as [`Self::contents`] gave them.
    ///
    /// # Errors
    /// [`SizeError`] when there is no part of that size.
    pub fn with_contents(clock: &SimClock, contents: Vec<u8>) -> Result<Self, SizeError> {
        let bytes = contents.len();
        if !(bytes.is_power_of_two() && (SECTOR..=1 << 24).contains(&bytes)) {
            return Err(SizeError { bytes });
        }
        Ok(Self {
            clock: clock.clone(),
            device: Arc::new(Mutex::new(Device::new(clock.clone(), contents))),
        })
    }

    /// Its bus, for the driver.
    #[must_use]
    pub fn spi(&self) -> NorSpi {
        NorSpi(self.clone())
    }

    /// All its bytes.
    #[must_use]
    pub fn contents(&self) -> Vec<u8> {
        self.device().array.cells().to_vec()
    }

    /// Lets the power fail later; a cut that was asked for before is replaced.
    pub fn cut_power(&self, cut: PowerCut) {
        self.device().array.cut_power(cut);
    }

    /// Whether it has power.
    #[must_use]
    pub fn is_powered(&self) -> bool {
        self.device().array.powered()
    }

    /// Gives it power again; a cut that has not happened yet is cancelled.
    pub fn restore_power(&self) {
        self.device().restore_power();
    }

    /// What it has done.
    #[must_use]
    pub fn counts(&self) -> NorCounts {
        self.device().counts
    }

    /// How often the sector that was erased most often was erased.
    #[must_use]
    pub fn most_erased(&self) -> u32 {
        self.device().array.most_erased()
    }

    /// What the driver did wrong, oldest first.
    #[must_use]
    pub fn violations(&self) -> Vec<Violation> {
        self.device().violations.clone()
    }

    fn device(&self) -> MutexGuard<'_, Device> {
        self.device.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// The memory's bus.
pub struct NorSpi(VirtualNor);

impl ErrorType for NorSpi {
    type Error = BusError;
}

impl SpiDevice<u8> for NorSpi {
    fn transaction(&mut self, operations: &mut [Operation<'_, u8>]) -> Result<(), BusError> {
        // Before the chip is locked: interrupts run while time passes, and may use the chip.
        self.0
            .clock
            .advance(bus::length(operations) as u64 * BYTE_NANOS);
        let clock = self.0.clock.clone();
        let mut device = self.0.device();
        if !device.array.powered() {
            return Err(BusError::NoPower);
        }
        device.begin();
        let mut waited = 0;
        bus::run(
            operations,
            |byte| device.shift(byte),
            |nanos| waited += u64::from(nanos),
        );
        device.end();
        let powered = device.array.powered();
        drop(device);
        clock.advance(waited);
        if powered {
            Ok(())
        } else {
            Err(BusError::NoPower)
        }
    }
}
