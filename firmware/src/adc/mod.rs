//! Driver of the 4-channel converter (ADS131M04 protocol) on any `embedded-hal` SPI device.
//!
//! The SPI device must be in mode 1 (CPOL 0, CPHA 1), at most 25 MHz, and own the chip select:
//! one transaction is one frame (SBAS890D 6.6, 8.5.1.7). The part runs from its own 8.192 MHz
//! clock.
//!
//! What the driver counts on and what it does not:
//! - The answer to a command comes in the next frame, so a command is two frames.
//! - A register write is executed even when its CRC was wrong (8.3.13). So every write is
//!   read back, and only the read-back counts.
//! - The output FIFO is two conversions deep: after a pause the first two frames are stale
//!   (8.5.1.9.1). [`Converter::catch_up`] throws them away.
//! - The part does not hold back unsettled conversions after its filters started over
//!   (8.3.7.1). [`Converter::start`] and [`Converter::select_input`] wait that long.

pub mod frame;
pub mod registers;

mod error;
mod read_back;

use embedded_hal::delay::DelayNs;
use embedded_hal::spi::{Error as _, SpiDevice};
use slotwise_core::sample::{Frame, FrameFault};

pub use error::AdcError;
use frame::{FRAME_BYTES, NULL_FRAME, RawFrame, Response, decode, encode, split};
pub use read_back::Misread;
use read_back::ReadBack;
use registers::{CLOCK, GAIN1, ID_FAMILY, MODE, RESET_ACKNOWLEDGED};
pub use registers::{Command, Mux, Register, Status};

/// How often a step is tried before it counts as failed.
pub const TRIES: u32 = 3;

/// Wait before the first command: the power-on reset takes 250 us (6.6, tPOR); four times
/// that costs nothing.
const POWER_ON_US: u32 = 1000;

/// Wait after RESET before the next command. The registers need 5 us (6.6, tREGACQ).
const RESET_US: u32 = 50;

/// Wait after the last setting: the first two conversions after a start come from a wider,
/// noisier filter (8.3.7.1), the third-order filter then settles in 2648 clocks = 0.32 ms
/// (Table 8-3). Two conversions and the settling are 0.82 ms; eight conversions are 2 ms.
const SETTLE_US: u32 = 2000;

/// Frames to throw away after a pause: the depth of the FIFO.
const FIFO_DEPTH: usize = 2;

/// What answered at start.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Identity {
    /// The ID register: 0x24xx.
    pub id: u16,
}

/// The converter.
#[derive(Debug)]
pub struct Converter<SPI> {
    spi: SPI,
    read_back: ReadBack,
}

impl<SPI: SpiDevice<u8>> Converter<SPI> {
    /// Takes the SPI device. Nothing is sent until [`Converter::start`].
    #[must_use]
    pub const fn new(spi: SPI) -> Self {
        Self {
            spi,
            read_back: ReadBack::Idle,
        }
    }

    /// Gives the SPI device back.
    pub fn release(self) -> SPI {
        self.spi
    }

    /// Resets the part, makes sure it is the right one, writes its settings and reads them
    /// back, waits until its filters have settled and its FIFO is fresh. Takes about 4 ms.
    /// May be called again at any time; after [`FrameFault::Restarted`] it must be.
    ///
    /// # Errors
    /// Any [`AdcError`], after [`TRIES`] tries of the step that failed. The part must not be
    /// read then.
    pub fn start(&mut self, delay: &mut impl DelayNs) -> Result<Identity, AdcError> {
        self.read_back = ReadBack::Idle;
        delay.delay_us(POWER_ON_US);
        self.reset(delay)?;
        let identity = attempt(|| self.identify())?;
        self.write(Register::Mode, MODE)?;
        self.write(Register::Clock, CLOCK)?;
        self.write(Register::Gain1, GAIN1)?;
        self.settle(delay)?;
        Ok(identity)
    }

    /// Reads the conversion that is due: one 18-byte transfer, no retry. Called for every
    /// falling edge of DRDY, from an interrupt.
    ///
    /// # Errors
    /// - [`FrameFault::Bus`]: the SPI device reported an error.
    /// - [`FrameFault::Checksum`]: the frame was damaged, or the command before it was.
    /// - [`FrameFault::Restarted`]: the part lost its settings: call [`Converter::start`].
    #[inline]
    pub fn read_frame(&mut self) -> Result<Frame, FrameFault> {
        let out = self.outgoing().unwrap_or(NULL_FRAME);
        let mut frame = RawFrame::EMPTY;
        match self.spi.transfer(&mut frame.0, &out) {
            Ok(()) => self.take_checked(&frame, decode(&frame).is_ok()),
            Err(_) => Err(self.bus_failed()),
        }
    }

    /// What must go out with the next frame, if it is not [`NULL_FRAME`]. For a board that moves
    /// the bytes of a frame itself, and hands what came in to [`Converter::take_checked`]; both
    /// together are [`Converter::read_frame`].
    #[inline]
    pub fn outgoing(&self) -> Option<[u8; FRAME_BYTES]> {
        if self.read_back.is_running() {
            self.read_back_command()
        } else {
            None
        }
    }

    /// Makes a conversion of the bytes of a frame, sent as [`Converter::outgoing`] said. The board
    /// has worked out the check word while they came in: `is_whole` is what came of it.
    ///
    /// # Errors
    /// Those of [`Converter::read_frame`] but `Bus`.
    #[inline(always)]
    pub fn take_checked(&mut self, frame: &RawFrame, is_whole: bool) -> Result<Frame, FrameFault> {
        if self.read_back.is_running() {
            let response = split(frame);
            let response = is_whole.then_some(response).ok_or(FrameFault::Checksum);
            return self.step_read_back(response);
        }
        if !is_whole {
            return Err(FrameFault::Checksum);
        }
        let response = split(frame);
        match Status(response.word).fault() {
            None => Ok(response.frame),
            Some(fault) => Err(fault),
        }
    }

    /// Throws away the conversions that piled up during a pause, so that the next
    /// [`Converter::read_frame`] is the newest one and DRDY falls once a conversion again.
    ///
    /// # Errors
    /// That of the last frame thrown away.
    pub fn catch_up(&mut self) -> Result<(), FrameFault> {
        let mut last = Ok(());
        for _ in 0..FIFO_DEPTH {
            last = self.read_frame().map(|_| ());
        }
        last
    }

    /// Switches all four channels to `mux`, verified by read-back, and waits until the
    /// filters have settled. For the self test; switch back to [`Mux::Input`] after it.
    ///
    /// # Errors
    /// Any [`AdcError`]. The inputs may be switched in part then: call [`Converter::start`].
    pub fn select_input(&mut self, mux: Mux, delay: &mut impl DelayNs) -> Result<(), AdcError> {
        for register in Register::CHANNELS {
            self.write(register, mux as u16)?;
        }
        self.settle(delay)
    }

    /// Reads `register`, up to [`TRIES`] times.
    ///
    /// # Errors
    /// [`AdcError::Bus`] or [`AdcError::Checksum`].
    pub fn read(&mut self, register: Register) -> Result<u16, AdcError> {
        attempt(|| self.execute(Command::Read(register)))
    }

    /// Writes `register` and reads it back, up to [`TRIES`] times.
    fn write(&mut self, register: Register, value: u16) -> Result<(), AdcError> {
        attempt(|| {
            // The answer to the write itself is not looked at beyond its CRC: the read-back
            // says all that counts.
            self.execute(Command::Write(register, value))?;
            let read = self.execute(Command::Read(register))?;
            if read == value {
                Ok(())
            } else {
                Err(AdcError::NotWritten {
                    register,
                    wrote: value,
                    read,
                })
            }
        })
    }

    fn reset(&mut self, delay: &mut impl DelayNs) -> Result<(), AdcError> {
        attempt(|| {
            self.exchange(Command::Reset, Command::Reset)?;
            delay.delay_us(RESET_US);
            match self.exchange(Command::Reset, Command::Null)?.word {
                RESET_ACKNOWLEDGED => Ok(()),
                answer => Err(AdcError::NotReset { answer }),
            }
        })
    }

    fn identify(&mut self) -> Result<Identity, AdcError> {
        let id = self.execute(Command::Read(Register::Id))?;
        let [family, _] = id.to_be_bytes();
        if family == ID_FAMILY {
            Ok(Identity { id })
        } else {
            Err(AdcError::WrongPart { id })
        }
    }

    fn settle(&mut self, delay: &mut impl DelayNs) -> Result<(), AdcError> {
        delay.delay_us(SETTLE_US);
        attempt(|| self.catch_up().map_err(AdcError::NotRunning))
    }

    /// Sends `command`, then NULL, and returns the answer.
    fn execute(&mut self, command: Command) -> Result<u16, AdcError> {
        self.exchange(command, command)?;
        Ok(self.exchange(command, Command::Null)?.word)
    }

    /// One frame; `step` is what an error names.
    fn exchange(&mut self, step: Command, command: Command) -> Result<Response, AdcError> {
        let mut frame = RawFrame::EMPTY;
        self.spi
            .transfer(&mut frame.0, &encode(command))
            .map_err(|error| AdcError::Bus {
                step,
                kind: error.kind(),
            })?;
        decode(&frame).map_err(|wrong| AdcError::Checksum { step, wrong })
    }
}

/// Runs `step` up to [`TRIES`] times and returns its first success or its last error.
fn attempt<T>(mut step: impl FnMut() -> Result<T, AdcError>) -> Result<T, AdcError> {
    let mut outcome = step();
    for _ in 1..TRIES {
        if outcome.is_ok() {
            break;
        }
        outcome = step();
    }
    outcome
}

#[cfg(test)]
mod tests;
