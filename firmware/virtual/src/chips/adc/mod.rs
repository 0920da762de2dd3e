//! A model of the converter at the level of its registers and frames: the ADS131M04 protocol
//! (datasheet SBAS890D), with words of 24 bits at 4 kSPS.
//!
//! [`VirtualAdc`] is the test's handle: it hands out the bus ([`AdcSpi`]), the data-ready pin
//! ([`DataReady`]) and the reset pin, injects faults and tells what the driver did wrong.
//! Transfers take no simulated time, so a loop that advances the clock by one conversion and
//! reads one frame stays in step.
//!
//! Not modelled: other word lengths and rates, chopping, current detection, the register
//! map's own check, synchronisation by the SYNC pin, the bus timeout.

mod conversions;
mod device;
mod registers;

pub use conversions::AdcCounts;

use super::bus::{self, BusError};
use crate::clock::SimClock;
use crate::front_end::FrameSource;
use core::convert::Infallible;
use device::Device;
use embedded_hal::digital::{self, InputPin};
use embedded_hal::spi::{ErrorType, Operation, SpiDevice};
use slotwise_core::sample::AdcCode;
use slotwise_core::slots::Lead;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

/// What a driver did that the datasheet forbids or the model does not know.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Misuse {
    /// A frame began within 5 us of a reset.
    TooSoonAfterReset,
    /// Chip select rose after this many bytes, which is not whole words.
    NotWholeWords(usize),
    /// A command that the part does not have.
    UnknownCommand(u16),
    /// A command to a locked part.
    Locked(u16),
    /// A write of registers from this address on that brought no data.
    WriteWithoutData(u8),
    /// A setting that this model does not carry out.
    NotModelled {
        /// The register.
        address: u8,
        /// What was written.
        value: u16,
    },
}

/// The converter, as the test holds it. Clones are the same chip.
#[derive(Clone)]
pub struct VirtualAdc(Arc<Mutex<Device>>);

impl VirtualAdc {
    /// A converter that has just been powered, fed by `source`.
    #[must_use]
    pub fn new(clock: &SimClock, source: impl FrameSource + 'static) -> Self {
        Self(Arc::new(Mutex::new(Device::new(
            clock.clone(),
            Box::new(source),
        ))))
    }

    /// Its bus, for the driver.
    #[must_use]
    pub fn spi(&self) -> AdcSpi {
        AdcSpi(self.clone())
    }

    /// Its data-ready pin, low while a conversion waits.
    #[must_use]
    pub fn data_ready(&self) -> DataReady {
        DataReady(self.clone())
    }

    /// Pulls the reset pin for long enough.
    pub fn reset(&self) {
        self.device().reset();
    }

    /// Feeds it from another source from now on.
    pub fn feed(&self, source: impl FrameSource + 'static) {
        self.device().set_source(Box::new(source));
    }

    /// Flips a bit of the frame that carries conversion `number`, after its check word was
    /// made.
    pub fn corrupt(&self, number: u64) {
        self.device().faults.corrupted.insert(number);
    }

    /// Loses conversion `number`: data-ready stays high for it.
    pub fn drop_conversion(&self, number: u64) {
        self.device().faults.dropped.insert(number);
    }

    /// Makes the transfer fail at which conversion `number` is the newest.
    pub fn fail_bus(&self, number: u64) {
        self.device().faults.bus_errors.insert(number);
    }

    /// Lets the converter reset itself, as by a dip of its supply, when conversion `number`
    /// is due.
    pub fn restart_at(&self, number: u64) {
        self.device().faults.restarts.insert(number);
    }

    /// Sticks the channel of `lead` at a code, or frees it.
    pub fn stick(&self, lead: Lead, code: Option<AdcCode>) {
        self.device().faults.stuck[lead.channel()] = code;
    }

    /// Changes a register behind the driver's back, as a disturbance would.
    pub fn disturb(&self, register: u8, value: u16) {
        self.device().disturb(register, value);
    }

    /// Shifts every code of the channel of `lead` by `codes`.
    pub fn skew(&self, lead: Lead, codes: i32) {
        self.device().faults.skewed[lead.channel()] = codes;
    }

    /// Adds noise to the channel of `lead`, volts RMS at the pins, whatever its inputs are on: a
    /// supply without its capacitors.
    pub fn disquiet(&self, lead: Lead, volts: f64) {
        self.device().faults.noisy[lead.channel()] = volts;
    }

    /// What it has done on the bus.
    #[must_use]
    pub fn counts(&self) -> AdcCounts {
        self.device().counts
    }

    /// What the driver did wrong, oldest first.
    #[must_use]
    pub fn misuse(&self) -> Vec<Misuse> {
        self.device().misuse.clone()
    }

    fn device(&self) -> MutexGuard<'_, Device> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// The converter's bus.
pub struct AdcSpi(VirtualAdc);

impl ErrorType for AdcSpi {
    type Error = BusError;
}

impl SpiDevice<u8> for AdcSpi {
    fn transaction(&mut self, operations: &mut [Operation<'_, u8>]) -> Result<(), BusError> {
        let mut device = self.0.device();
        if device.bus_error() {
            return Err(BusError::Injected);
        }
        device.begin();
        // Pauses inside a frame are a few nanoseconds of set-up time and pass no conversion.
        bus::run(operations, |byte| device.shift(byte), |_| ());
        device.end();
        Ok(())
    }
}

/// The converter's data-ready pin.
pub struct DataReady(VirtualAdc);

impl digital::ErrorType for DataReady {
    type Error = Infallible;
}

impl InputPin for DataReady {
    fn is_high(&mut self) -> Result<bool, Infallible> {
        Ok(!self.0.device().data_ready())
    }

    fn is_low(&mut self) -> Result<bool, Infallible> {
        Ok(self.0.device().data_ready())
    }
}
