//! I2C of clock chip and display, with an end to every wait.
//!
//! The HAL's driver waits for the bus as long as it takes: a part that holds a line low would keep
//! the loop until the watchdog bites, again and again. Here a transfer has the time that its bytes
//! need at a quarter of the bus's speed, then it is given up; a bus whose lines are low is not
//! begun on. Before that a part that stopped in the middle of a byte, because this chip was reset
//! then, is clocked out of it: up to nine clocks, then a stop (UM10204, I2C-bus specification, bus
//! clear).
//!
//! The data-ready interrupt takes its frames in between; a transfer that it delays is not hurt,
//! since the master holds the clock low while it has nothing to send.

use core::convert::Infallible;

use embedded_hal::delay::DelayNs as _;
use embedded_hal::digital::{InputPin as _, PinState};
use embedded_hal::i2c::{
    Error, ErrorKind, ErrorType, I2c, NoAcknowledgeSource, Operation, SevenBitAddress,
};
use rp2040_hal::Timer;
use rp2040_hal::gpio::bank0::{Gpio0, Gpio1};
use rp2040_hal::pac;

use crate::board::SideBusPin;

/// Core clock cycles of a period of SCL, 400 kHz at 125 MHz: low and high part. Low lasts at least
/// 1.3 us, high at least 0.6 us.
const LOW_CYCLES: u16 = 190;
const HIGH_CYCLES: u16 = 122;
/// Data change 300 ns after the clock's fall.
const HOLD_CYCLES: u16 = 38;
/// Spikes shorter than 50 ns are not seen.
const SPIKE_CYCLES: u8 = 7;

/// What a byte may take, with four times the nine clocks that it needs, and a transfer beyond that.
const BYTE_US: u32 = 4 * 9 * 5 / 2;
const TRANSFER_US: u32 = 300;

/// What to take back after a give-up.
const ABORT_US: u32 = 100;

/// Half a clock of a bus that is being cleared: 100 kHz.
const HALF_CLOCK_US: u32 = 5;
/// Clocks after which a part has left any byte.
const CLEAR_CLOCKS: usize = 9;

/// Reasons of an abort: no answer to the address, to a byte; lost arbitration.
const NO_ADDRESS: u32 = 1 << 0;
const NO_DATA: u32 = 1 << 3;
const LOST: u32 = 1 << 12;

/// Why a transfer did not happen.
#[derive(Clone, Copy, Debug)]
pub(crate) enum SideBusError {
    /// A line is held low.
    Stuck,
    /// It took too long.
    Late,
    /// Nobody answers to the address.
    NoAddress,
    /// A byte was not taken.
    NoData,
    /// Another reason of the controller's, or an operation without bytes.
    Other,
}

impl Error for SideBusError {
    fn kind(&self) -> ErrorKind {
        match self {
            Self::Stuck | Self::Late => ErrorKind::Bus,
            Self::NoAddress => ErrorKind::NoAcknowledge(NoAcknowledgeSource::Address),
            Self::NoData => ErrorKind::NoAcknowledge(NoAcknowledgeSource::Data),
            Self::Other => ErrorKind::Other,
        }
    }
}

type Lines = (SideBusPin<Gpio0>, SideBusPin<Gpio1>);

/// The bus.
pub(crate) struct SideBusPort {
    i2c: pac::I2C0,
    /// SDA and SCL. Empty only within [`SideBusPort::clear`].
    lines: Option<Lines>,
    clock: Timer,
}

impl SideBusPort {
    /// Takes the controller and its pins.
    pub(crate) fn new(
        i2c: pac::I2C0,
        sda: SideBusPin<Gpio0>,
        scl: SideBusPin<Gpio1>,
        resets: &mut pac::RESETS,
        clock: Timer,
    ) -> Self {
        resets.reset().modify(|_, w| w.i2c0().set_bit());
        resets.reset().modify(|_, w| w.i2c0().clear_bit());
        while resets.reset_done().read().i2c0().bit_is_clear() {}
        i2c.ic_enable().write(|w| w.enable().disabled());
        i2c.ic_con().write(|w| {
            w.speed().fast();
            w.master_mode().enabled();
            w.ic_slave_disable().slave_disabled();
            w.ic_restart_en().enabled();
            w.rx_fifo_full_hld_ctrl().enabled()
        });
        // SAFETY: whole numbers for fields that take any; the manual's least values are 8 and 6.
        unsafe {
            i2c.ic_fs_scl_lcnt()
                .write(|w| w.ic_fs_scl_lcnt().bits(LOW_CYCLES));
            i2c.ic_fs_scl_hcnt()
                .write(|w| w.ic_fs_scl_hcnt().bits(HIGH_CYCLES));
            i2c.ic_fs_spklen()
                .write(|w| w.ic_fs_spklen().bits(SPIKE_CYCLES));
            i2c.ic_sda_hold()
                .write(|w| w.ic_sda_tx_hold().bits(HOLD_CYCLES));
        }
        let mut port = Self {
            i2c,
            lines: Some((sda, scl)),
            clock,
        };
        port.clear();
        port
    }

    fn is_idle(&self) -> bool {
        self.lines.as_ref().is_some_and(|(sda, scl)| {
            let Ok(data): Result<bool, Infallible> = sda.as_input().is_high();
            let Ok(clock): Result<bool, Infallible> = scl.as_input().is_high();
            data && clock
        })
    }

    /// Clocks a part out of the byte that it stopped in. Drives low or lets go, never high.
    #[cold]
    fn clear(&mut self) {
        if self.is_idle() {
            return;
        }
        let Some((sda, scl)) = self.lines.take() else {
            return;
        };
        let delay = &mut self.clock;
        let mut sda = sda.into_pull_up_input();
        let mut scl = scl.into_pull_up_input();
        for _ in 0..CLEAR_CLOCKS {
            let low = scl.into_push_pull_output_in_state(PinState::Low);
            delay.delay_us(HALF_CLOCK_US);
            scl = low.into_pull_up_input();
            delay.delay_us(HALF_CLOCK_US);
            let Ok(free) = sda.is_high();
            if free {
                break;
            }
        }
        let clock_low = scl.into_push_pull_output_in_state(PinState::Low);
        let data_low = sda.into_push_pull_output_in_state(PinState::Low);
        delay.delay_us(HALF_CLOCK_US);
        let scl = clock_low.into_pull_up_input();
        delay.delay_us(HALF_CLOCK_US);
        let sda = data_low.into_pull_up_input();
        delay.delay_us(HALF_CLOCK_US);
        self.lines = Some((sda.reconfigure(), scl.reconfigure()));
    }

    /// Why the controller gave up, if it did.
    fn aborted(&self) -> Option<SideBusError> {
        if self.i2c.ic_raw_intr_stat().read().tx_abrt().bit_is_clear() {
            return None;
        }
        let reason = self.i2c.ic_tx_abrt_source().read().bits();
        self.i2c.ic_clr_tx_abrt().read();
        Some(if reason & NO_ADDRESS != 0 {
            SideBusError::NoAddress
        } else if reason & NO_DATA != 0 {
            SideBusError::NoData
        } else if reason & LOST != 0 {
            SideBusError::Stuck
        } else {
            SideBusError::Other
        })
    }

    /// Waits until `done`, an abort, or the deadline.
    fn wait(
        &self,
        deadline: &Deadline,
        done: impl Fn(&pac::I2C0) -> bool,
    ) -> Result<(), SideBusError> {
        loop {
            if let Some(error) = self.aborted() {
                return Err(error);
            }
            if done(&self.i2c) {
                return Ok(());
            }
            if deadline.is_over(&self.clock) {
                return Err(SideBusError::Late);
            }
        }
    }

    fn command(
        &self,
        byte: Option<u8>,
        restarts: bool,
        stops: bool,
        deadline: &Deadline,
    ) -> Result<(), SideBusError> {
        self.wait(deadline, |i2c| i2c.ic_status().read().tfnf().bit_is_set())?;
        self.i2c.ic_data_cmd().write(|w| {
            w.restart().bit(restarts);
            w.stop().bit(stops);
            match byte {
                // SAFETY: any byte may be sent.
                Some(byte) => unsafe { w.dat().bits(byte) },
                None => w.cmd().read(),
            }
        });
        Ok(())
    }

    fn run(
        &self,
        operations: &mut [Operation<'_>],
        deadline: &Deadline,
    ) -> Result<(), SideBusError> {
        let mut left: usize = operations.iter().map(length).sum();
        let mut was_read = None;
        for operation in operations {
            let is_read = matches!(operation, Operation::Read(_));
            // A change of direction is a new start.
            let mut restarts = was_read.is_some_and(|was_read| was_read != is_read);
            was_read = Some(is_read);
            match operation {
                Operation::Write(bytes) => {
                    for &byte in bytes.iter() {
                        left = left.saturating_sub(1);
                        self.command(Some(byte), restarts, left == 0, deadline)?;
                        restarts = false;
                    }
                }
                Operation::Read(bytes) => {
                    for place in bytes.iter_mut() {
                        left = left.saturating_sub(1);
                        self.command(None, restarts, left == 0, deadline)?;
                        restarts = false;
                        self.wait(deadline, |i2c| i2c.ic_rxflr().read().bits() > 0)?;
                        *place = self.i2c.ic_data_cmd().read().dat().bits();
                    }
                }
            }
        }
        self.wait(deadline, |i2c| {
            i2c.ic_raw_intr_stat().read().stop_det().bit_is_set()
        })
    }

    /// Ends what goes on, so that the next transfer begins afresh.
    fn end(&self, outcome: Result<(), SideBusError>) {
        if matches!(outcome, Err(SideBusError::Late)) {
            self.i2c.ic_enable().modify(|_, w| w.abort().enabled());
        }
        if outcome.is_err() {
            // The controller makes its stop; a bus that is held low never lets it.
            let deadline = Deadline::after(ABORT_US, &self.clock);
            while self.i2c.ic_status().read().mst_activity().bit_is_set()
                && !deadline.is_over(&self.clock)
            {}
        }
        self.i2c.ic_enable().write(|w| w.enable().disabled());
        self.i2c.ic_clr_intr().read();
    }
}

impl ErrorType for SideBusPort {
    type Error = SideBusError;
}

impl I2c for SideBusPort {
    fn transaction(
        &mut self,
        address: SevenBitAddress,
        operations: &mut [Operation<'_>],
    ) -> Result<(), SideBusError> {
        if operations.iter().any(|operation| length(operation) == 0) {
            return Err(SideBusError::Other);
        }
        self.clear();
        if !self.is_idle() {
            return Err(SideBusError::Stuck);
        }
        let bytes: usize = operations.iter().map(|one| 1 + length(one)).sum();
        let micros = TRANSFER_US.saturating_add(BYTE_US.saturating_mul(bytes as u32));
        let deadline = Deadline::after(micros, &self.clock);
        // SAFETY: an address of seven bits fits the field of ten.
        self.i2c
            .ic_tar()
            .write(|w| unsafe { w.ic_tar().bits(u16::from(address & 0x7F)) });
        self.i2c.ic_enable().write(|w| w.enable().enabled());
        let outcome = self.run(operations, &deadline);
        self.end(outcome);
        outcome
    }
}

fn length(operation: &Operation<'_>) -> usize {
    match operation {
        Operation::Read(bytes) => bytes.len(),
        Operation::Write(bytes) => bytes.len(),
    }
}

/// A point in time, by the low word of the clock.
struct Deadline {
    begun: u32,
    micros: u32,
}

impl Deadline {
    fn after(micros: u32, clock: &Timer) -> Self {
        Self {
            begun: clock.get_counter_low(),
            micros,
        }
    }

    fn is_over(&self, clock: &Timer) -> bool {
        clock.get_counter_low().wrapping_sub(self.begun) > self.micros
    }
}
