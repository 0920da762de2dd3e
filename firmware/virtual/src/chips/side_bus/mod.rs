//! The side bus: I2C with a clock chip and a display on it, each of which may be missing.
//!
//! A transfer takes its bits at 400 kHz, nine a byte, of simulated time, during which frames go
//! on. The models know registers and commands only, and nothing of the drivers.

mod calendar;
mod display;
mod rtc;

use crate::clock::SimClock;
use embedded_hal::i2c::{
    Error, ErrorKind, ErrorType, I2c, NoAcknowledgeSource, Operation, SevenBitAddress,
};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

pub use display::{HEIGHT, Picture, VirtualDisplay, WIDTH};
pub use rtc::{Cell, VirtualRtc};

/// Nanoseconds of a bit at 400 kHz.
const BIT_NANOS: u64 = 2_500;
/// What a controller waits before it gives a stuck bus up.
const STUCK_NANOS: u64 = 500_000;

/// Why a transfer failed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum SideBusError {
    /// A line is held low.
    #[error("a line of the side bus is held low")]
    Stuck,
    /// Nobody answers to the address.
    #[error("nobody answers to this address on the side bus")]
    NoAddress,
    /// A test made this transfer fail.
    #[error("this transfer was made to fail by the test")]
    Injected,
}

impl Error for SideBusError {
    fn kind(&self) -> ErrorKind {
        match self {
            Self::Stuck => ErrorKind::Bus,
            Self::NoAddress => ErrorKind::NoAcknowledge(NoAcknowledgeSource::Address),
            Self::Injected => ErrorKind::Other,
        }
    }
}

/// A part on the bus.
trait Part {
    /// A start with this part's address; `now` in nanoseconds.
    fn start(&mut self, now: u64);
    /// A byte from the controller.
    fn write(&mut self, byte: u8);
    /// A byte to the controller.
    fn read(&mut self) -> u8;
    /// The transfer is over, or its direction changes.
    fn stop(&mut self, now: u64);
}

/// What is on the bus when a board is powered.
#[derive(Clone, Debug, Default)]
pub struct SideParts {
    /// The clock chip.
    pub rtc: Option<VirtualRtc>,
    /// The display.
    pub display: Option<VirtualDisplay>,
}

struct State {
    parts: SideParts,
    is_stuck: bool,
    fails: u32,
    transfers: u64,
    busiest: u64,
}

/// The bus; clones are the same.
#[derive(Clone)]
pub struct VirtualSideBus {
    clock: SimClock,
    state: Arc<Mutex<State>>,
}

impl VirtualSideBus {
    /// A bus with these parts.
    #[must_use]
    pub fn new(clock: &SimClock, parts: SideParts) -> Self {
        Self {
            clock: clock.clone(),
            state: Arc::new(Mutex::new(State {
                parts,
                is_stuck: false,
                fails: 0,
                transfers: 0,
                busiest: 0,
            })),
        }
    }

    /// Holds a line low, or lets it go.
    pub fn stick(&self, is_stuck: bool) {
        self.state().is_stuck = is_stuck;
    }

    /// Makes the next transfers fail.
    pub fn fail_next(&self, transfers: u32) {
        self.state().fails = transfers;
    }

    /// Takes the parts off, or puts others on.
    pub fn replace(&self, parts: SideParts) -> SideParts {
        core::mem::replace(&mut self.state().parts, parts)
    }

    /// The clock chip as it is, to be put on another board.
    #[must_use]
    pub fn rtc(&self) -> Option<VirtualRtc> {
        self.state().parts.rtc.clone()
    }

    /// The display as it is.
    #[must_use]
    pub fn display(&self) -> Option<VirtualDisplay> {
        self.state().parts.display.clone()
    }

    /// Transfers begun.
    #[must_use]
    pub fn transfers(&self) -> u64 {
        self.state().transfers
    }

    /// The longest transfer, nanoseconds.
    #[must_use]
    pub fn longest_transfer(&self) -> u64 {
        self.state().busiest
    }

    fn state(&self) -> MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn pass(&self, nanos: u64) {
        let mut state = self.state();
        state.transfers += 1;
        state.busiest = state.busiest.max(nanos);
        drop(state);
        self.clock.advance(nanos);
    }
}

impl State {
    fn part(&mut self, address: u8) -> Option<&mut dyn Part> {
        match address {
            rtc::ADDRESS => self.parts.rtc.as_mut().map(|part| part as &mut dyn Part),
            display::ADDRESS => self
                .parts
                .display
                .as_mut()
                .map(|part| part as &mut dyn Part),
            _ => None,
        }
    }
}

impl ErrorType for VirtualSideBus {
    type Error = SideBusError;
}

impl I2c for VirtualSideBus {
    fn transaction(
        &mut self,
        address: SevenBitAddress,
        operations: &mut [Operation<'_>],
    ) -> Result<(), SideBusError> {
        if self.state().is_stuck {
            self.pass(STUCK_NANOS);
            return Err(SideBusError::Stuck);
        }
        let injected = {
            let mut state = self.state();
            let injected = state.fails > 0;
            state.fails = state.fails.saturating_sub(1);
            injected
        };
        let answers = self.state().part(address).is_some();
        if injected || !answers {
            self.pass(11 * BIT_NANOS);
            return Err(if injected {
                SideBusError::Injected
            } else {
                SideBusError::NoAddress
            });
        }
        let now = self.clock.nanos();
        let mut bits = 2;
        {
            let mut state = self.state();
            let Some(part) = state.part(address) else {
                return Err(SideBusError::NoAddress);
            };
            let mut was_read = None;
            for operation in operations.iter_mut() {
                let is_read = matches!(operation, Operation::Read(_));
                if was_read != Some(is_read) {
                    // An address byte, and before it the end of the other direction.
                    if was_read.is_some() {
                        part.stop(now);
                    }
                    part.start(now);
                    bits += 10;
                    was_read = Some(is_read);
                }
                match operation {
                    Operation::Write(bytes) => {
                        bits += 9 * bytes.len() as u64;
                        bytes.iter().for_each(|byte| part.write(*byte));
                    }
                    Operation::Read(bytes) => {
                        bits += 9 * bytes.len() as u64;
                        bytes.iter_mut().for_each(|byte| *byte = part.read());
                    }
                }
            }
            part.stop(now);
        }
        self.pass(bits * BIT_NANOS);
        Ok(())
    }
}
