//! Driver of the serial NOR flash that holds calibration and journal.
//!
//! Any 25-series part with 24-bit addresses, 256-byte program pages and 4 KiB sectors; the
//! board has 8 MiB (JEDEC EF 40 17). The SPI device must be in mode 0 (or 3) and own the chip
//! select: one transaction is one command.
//!
//! Everything blocks. While the part is busy the driver sleeps between looks at its status and gives up after a bounded time: a dead bus reads as
//! "busy for ever" (MISO high), and that must end in an error.
//!
//! Programming can only clear bits. By default every program is read back (each bit that was
//! to be 0 must be 0) and every erase is read back too (each bit must be 1): together they
//! find a write that was ignored or a cell that is worn out, at the time of writing and not
//! at the time of reading. Reading 256 bytes back takes 0.13 ms at 16 MHz, a sector 2.1 ms.

mod error;

use core::fmt;

use embedded_hal::delay::DelayNs;
use embedded_hal::spi::{Error as _, Operation, SpiDevice};
use embedded_storage::nor_flash::{ErrorType, MultiwriteNorFlash, NorFlash, ReadNorFlash};

pub use error::{JedecId, NorError, NorStep};

/// Bytes of a program page. A program that runs over the end of its page wraps to the start.
pub const PAGE_BYTES: u32 = 256;

/// Bytes of a sector, the smallest area that can be erased.
pub const SECTOR_BYTES: u32 = 4096;

/// Largest size that a 24-bit address reaches: 16 MiB.
const MAX_SIZE_BITS: u8 = 24;

/// Smallest size that makes sense here: 64 KiB, sixteen sectors.
const MIN_SIZE_BITS: u8 = 16;

mod op {
    pub(super) const PAGE_PROGRAM: u8 = 0x02;
    pub(super) const READ: u8 = 0x03;
    pub(super) const READ_STATUS: u8 = 0x05;
    pub(super) const WRITE_ENABLE: u8 = 0x06;
    pub(super) const SECTOR_ERASE: u8 = 0x20;
    pub(super) const READ_ID: u8 = 0x9F;
}

/// Status register: a program or an erase is under way.
const BUSY: u8 = 1 << 0;

/// How long an operation may take, and how often to look.
#[derive(Clone, Copy)]
struct Patience {
    looks: u32,
    pause_us: u32,
}

/// Page program: 0.4 ms typical, 3 ms at most in the common parts. 50 us x 200 = 10 ms.
const PROGRAM: Patience = Patience {
    looks: 200,
    pause_us: 50,
};

/// Sector erase: 45 ms typical, 400 ms at most. 500 us x 2000 = 1 s.
const ERASE: Patience = Patience {
    looks: 2000,
    pause_us: 500,
};

/// At start the part may still be at an erase that a restart of the processor left behind.
const START: Patience = ERASE;

/// Bytes read back at a time.
const CHUNK: usize = 64;

/// The flash.
pub struct SpiNor<SPI, D> {
    spi: SPI,
    delay: D,
    id: JedecId,
    capacity: u32,
    reads_back: bool,
}

/// Without the bus and the delay, which need not have one.
impl<SPI, D> fmt::Debug for SpiNor<SPI, D> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("SpiNor")
            .field("id", &self.id)
            .field("capacity", &self.capacity)
            .field("reads_back", &self.reads_back)
            .finish_non_exhaustive()
    }
}

impl<SPI: SpiDevice<u8>, D: DelayNs> SpiNor<SPI, D> {
    /// Takes the SPI device, waits for an operation that a restart left behind, reads the
    /// JEDEC ID and with it the size.
    ///
    /// # Errors
    /// [`NorError::Bus`], [`NorError::TimedOut`] or [`NorError::UnknownPart`].
    pub fn new(spi: SPI, delay: D) -> Result<Self, NorError> {
        let mut flash = Self {
            spi,
            delay,
            id: JedecId {
                maker: 0,
                kind: 0,
                size_bits: 0,
            },
            capacity: 0,
            reads_back: true,
        };
        flash.wait(NorStep::Start, 0, START)?;
        let mut id = [0; 3];
        flash.command(NorStep::Start, 0, &[op::READ_ID], &mut id)?;
        let [maker, kind, size_bits] = id;
        flash.id = JedecId {
            maker,
            kind,
            size_bits,
        };
        let is_plausible = (MIN_SIZE_BITS..=MAX_SIZE_BITS).contains(&size_bits);
        // 00 and FF are no makers: they are a data line stuck low or high.
        if !is_plausible || maker == 0x00 || maker == 0xFF {
            return Err(NorError::UnknownPart(flash.id));
        }
        flash.capacity = 1 << size_bits;
        Ok(flash)
    }

    /// Leaves out reading back after program and erase.
    #[must_use]
    pub fn without_read_back(mut self) -> Self {
        self.reads_back = false;
        self
    }

    /// What answered at start.
    #[must_use]
    pub const fn id(&self) -> JedecId {
        self.id
    }

    /// Gives the SPI device and the delay back.
    pub fn release(self) -> (SPI, D) {
        (self.spi, self.delay)
    }

    /// Reads `into.len()` bytes at `address`, blocking.
    ///
    /// # Errors
    /// [`NorError::OutOfBounds`] or [`NorError::Bus`].
    pub fn read_at(&mut self, address: u32, into: &mut [u8]) -> Result<(), NorError> {
        self.check_bounds(address, into.len())?;
        if into.is_empty() {
            return Ok(());
        }
        self.command(
            NorStep::Read,
            address,
            &with_address(op::READ, address),
            into,
        )
    }

    /// Programs `from` at `address`, blocking, page by page: 0.4 ms each.
    ///
    /// # Errors
    /// Any [`NorError`] but `UnknownPart` and `NotAligned`. Pages before the one that failed
    /// are programmed.
    pub fn program_at(&mut self, address: u32, from: &[u8]) -> Result<(), NorError> {
        self.check_bounds(address, from.len())?;
        let mut place = address;
        let mut rest = from;
        while !rest.is_empty() {
            let room = (PAGE_BYTES - place % PAGE_BYTES) as usize;
            let (part, after) = rest.split_at(room.min(rest.len()));
            self.program_page(place, part)?;
            // At most PAGE_BYTES, and within the capacity: no overflow.
            place += part.len() as u32;
            rest = after;
        }
        Ok(())
    }

    /// Erases the sectors `from..to`, blocking: 45 ms each.
    ///
    /// # Errors
    /// Any [`NorError`] but `UnknownPart`. Sectors before the one that failed are erased.
    pub fn erase_range(&mut self, from: u32, to: u32) -> Result<(), NorError> {
        if from > to || !from.is_multiple_of(SECTOR_BYTES) || !to.is_multiple_of(SECTOR_BYTES) {
            return Err(NorError::NotAligned { from, to });
        }
        self.check_bounds(from, (to - from) as usize)?;
        for address in (from..to).step_by(SECTOR_BYTES as usize) {
            self.write_enable(NorStep::Erase, address)?;
            self.command(
                NorStep::Erase,
                address,
                &with_address(op::SECTOR_ERASE, address),
                &mut [],
            )?;
            self.wait(NorStep::Erase, address, ERASE)?;
            if self.reads_back {
                self.check_erased(address)?;
            }
        }
        Ok(())
    }

    fn program_page(&mut self, address: u32, part: &[u8]) -> Result<(), NorError> {
        self.write_enable(NorStep::Program, address)?;
        let head = with_address(op::PAGE_PROGRAM, address);
        self.spi
            .transaction(&mut [Operation::Write(&head), Operation::Write(part)])
            .map_err(|error| NorError::Bus {
                step: NorStep::Program,
                address,
                kind: error.kind(),
            })?;
        self.wait(NorStep::Program, address, PROGRAM)?;
        if self.reads_back {
            // Bits that were 0 before stay 0, so only the bits that were to become 0 count.
            self.check(NorStep::Program, address, part, |read, wanted| {
                read & !wanted == 0
            })?;
        }
        Ok(())
    }

    fn check_erased(&mut self, address: u32) -> Result<(), NorError> {
        const BLANK: [u8; CHUNK] = [0xFF; CHUNK];
        for place in (address..address + SECTOR_BYTES).step_by(CHUNK) {
            self.check(NorStep::Erase, place, &BLANK, |read, wanted| read == wanted)?;
        }
        Ok(())
    }

    /// Reads `wanted.len()` bytes back and compares each.
    fn check(
        &mut self,
        step: NorStep,
        address: u32,
        wanted: &[u8],
        fits: impl Fn(u8, u8) -> bool,
    ) -> Result<(), NorError> {
        let mut place = address;
        for part in wanted.chunks(CHUNK) {
            let mut buffer = [0; CHUNK];
            let read = buffer.get_mut(..part.len()).unwrap_or_default();
            self.command(step, place, &with_address(op::READ, place), read)?;
            for (&read, &wanted) in read.iter().zip(part) {
                if !fits(read, wanted) {
                    return Err(NorError::NotWritten {
                        step,
                        address: place,
                        wanted,
                        read,
                    });
                }
                place += 1;
            }
        }
        Ok(())
    }

    fn write_enable(&mut self, step: NorStep, address: u32) -> Result<(), NorError> {
        self.command(step, address, &[op::WRITE_ENABLE], &mut [])
    }

    fn wait(&mut self, step: NorStep, address: u32, patience: Patience) -> Result<(), NorError> {
        for _ in 0..patience.looks {
            let mut status = [BUSY];
            self.command(step, address, &[op::READ_STATUS], &mut status)?;
            let [status] = status;
            if status & BUSY == 0 {
                return Ok(());
            }
            self.delay.delay_us(patience.pause_us);
        }
        Err(NorError::TimedOut { step, address })
    }

    /// One command: sends `head`, then reads `into` if it is not empty.
    fn command(
        &mut self,
        step: NorStep,
        address: u32,
        head: &[u8],
        into: &mut [u8],
    ) -> Result<(), NorError> {
        let outcome = if into.is_empty() {
            self.spi.write(head)
        } else {
            self.spi
                .transaction(&mut [Operation::Write(head), Operation::Read(into)])
        };
        outcome.map_err(|error| NorError::Bus {
            step,
            address,
            kind: error.kind(),
        })
    }

    fn check_bounds(&self, address: u32, length: usize) -> Result<(), NorError> {
        let end = u32::try_from(length)
            .ok()
            .and_then(|length| address.checked_add(length));
        if end.is_some_and(|end| end <= self.capacity) {
            Ok(())
        } else {
            Err(NorError::OutOfBounds {
                address,
                length,
                capacity: self.capacity,
            })
        }
    }
}

/// Operation code and 24-bit address, most significant byte first.
const fn with_address(operation: u8, address: u32) -> [u8; 4] {
    let [_, high, middle, low] = address.to_be_bytes();
    [operation, high, middle, low]
}

impl<SPI, D> ErrorType for SpiNor<SPI, D> {
    type Error = NorError;
}

impl<SPI: SpiDevice<u8>, D: DelayNs> ReadNorFlash for SpiNor<SPI, D> {
    const READ_SIZE: usize = 1;

    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), NorError> {
        self.read_at(offset, bytes)
    }

    fn capacity(&self) -> usize {
        self.capacity as usize
    }
}

impl<SPI: SpiDevice<u8>, D: DelayNs> NorFlash for SpiNor<SPI, D> {
    const WRITE_SIZE: usize = 1;
    const ERASE_SIZE: usize = SECTOR_BYTES as usize;

    fn erase(&mut self, from: u32, to: u32) -> Result<(), NorError> {
        self.erase_range(from, to)
    }

    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), NorError> {
        self.program_at(offset, bytes)
    }
}

/// Programming a byte again clears further bits and changes nothing else.
impl<SPI: SpiDevice<u8>, D: DelayNs> MultiwriteNorFlash for SpiNor<SPI, D> {}

#[cfg(test)]
mod tests;
