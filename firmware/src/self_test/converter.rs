//! The converter's channels, with its input switch on known voltages: shorted, and plus and
//! minus its own test voltage (SBAS890D 8.3.9).
//!
//! A mean of sixteen conversions: the noise is 5.35 uV RMS (Table 7-1), nothing against the
//! limits. The scatter of the sixteen is looked at with the inputs shorted: what comes from outside
//! of the inputs, supplies and reference, shows there. It is that of neighbours, half the mean
//! square of their differences, so a drift or the tail of what stood on the pins counts little.
//! Takes about 20 ms, before sampling begins; the switch is back on the pins afterwards, read back,
//! whatever came of it.
//!
//! Limit: with the inputs shorted nothing of a string is in the reading.

use embedded_hal::delay::DelayNs;
use embedded_hal::digital::InputPin;
use embedded_hal::spi::SpiDevice;
use slotwise_core::limits::SelfTestLimits;
use slotwise_core::sample::FRAMES_PER_SECOND;
use slotwise_core::self_test::SelfTestFailure;
use slotwise_core::slots::{LEADS, Lead};

use crate::adc::{AdcError, Converter, Mux, TRIES};

/// Conversions of a mean; damaged ones that are accepted beside them. Sixteen codes of 24 bits
/// make a sum of 28.
const CONVERSIONS: u16 = 16;
const DAMAGED_MOST: u16 = 4;

const PERIOD_US: u32 = 1_000_000 / FRAMES_PER_SECOND;
/// How often the data-ready pin is looked at.
const LOOK_US: u32 = 5;

/// Codes from zero to the end of the range: 24 bits with a sign (8.3.11).
const FULL_SCALE_CODES: f32 = 8_388_608.0;
/// ... at gain 1, volts at the pins (8.3.4).
const FULL_SCALE_VOLTS: f32 = 1.2;

/// Steps the converter's inputs through their known voltages. `ready` is its data-ready pin.
///
/// # Errors
/// The first test that failed. Channels go from the narrow slot's to the clip's.
pub fn check<SPI: SpiDevice<u8>>(
    converter: &mut Converter<SPI>,
    ready: &mut impl InputPin,
    delay: &mut impl DelayNs,
) -> Result<(), SelfTestFailure> {
    let outcome = known_voltages(converter, ready, delay, &SelfTestLimits::DEFAULT);
    let back = converter
        .select_input(Mux::Input, delay)
        .map_err(|error| of_driver(&error));
    outcome.and(back)
}

/// What an error of the driver says as a failed test.
#[must_use]
pub const fn of_driver(error: &AdcError) -> SelfTestFailure {
    match error {
        AdcError::NotWritten {
            register,
            wrote,
            read,
        } => SelfTestFailure::Register {
            register: register.address(),
            found: *read,
            expected: *wrote,
        },
        AdcError::Bus { .. }
        | AdcError::Checksum { .. }
        | AdcError::NotReset { .. }
        | AdcError::WrongPart { .. }
        | AdcError::NotRunning(_) => SelfTestFailure::NoConversions { bad: TRIES as u16 },
    }
}

fn known_voltages<SPI: SpiDevice<u8>>(
    converter: &mut Converter<SPI>,
    ready: &mut impl InputPin,
    delay: &mut impl DelayNs,
    limits: &SelfTestLimits,
) -> Result<(), SelfTestFailure> {
    let most = (limits.offset_most.get() / FULL_SCALE_VOLTS * FULL_SCALE_CODES) as i32;
    let test = limits.test_share.get() * FULL_SCALE_CODES;
    let low = (test * (1.0 - limits.test_apart.get())) as i32;
    let high = (test * (1.0 + limits.test_apart.get())) as i32;
    for (input, least, most) in [
        (Mux::Shorted, -most, most),
        (Mux::PlusTest, low, high),
        (Mux::MinusTest, -high, -low),
    ] {
        let read = read(converter, input, ready, delay)?;
        for (lead, channel) in Lead::ALL.into_iter().zip(&read) {
            let code = channel.mean();
            if least <= code && code <= most {
                continue;
            }
            return Err(match input {
                Mux::Shorted => SelfTestFailure::ShortedInput { lead, code, most },
                Mux::Input | Mux::PlusTest | Mux::MinusTest => SelfTestFailure::TestVoltage {
                    lead,
                    code,
                    least,
                    most,
                },
            });
        }
        if matches!(input, Mux::Shorted) {
            quiet(&read, limits)?;
        }
    }
    Ok(())
}

/// Whether the channels, shorted, scatter no more than they may.
fn quiet(read: &[Read; LEADS], limits: &SelfTestLimits) -> Result<(), SelfTestFailure> {
    let most = (limits.noise_most.get() / FULL_SCALE_VOLTS * FULL_SCALE_CODES) as u32;
    for (lead, channel) in Lead::ALL.into_iter().zip(read) {
        let rms = channel.scatter();
        if rms > most {
            return Err(SelfTestFailure::NoisyInput { lead, rms, most });
        }
    }
    Ok(())
}

/// What was read of a channel.
#[derive(Clone, Copy, Default)]
struct Read {
    count: u16,
    sum: i32,
    last: i32,
    /// Sum of the squares of the differences of neighbours: fifteen of 49 bits at most.
    apart: u64,
}

impl Read {
    fn push(&mut self, code: i32) {
        if self.count > 0 {
            let apart = u64::from(code.abs_diff(self.last));
            self.apart += apart * apart;
        }
        self.count += 1;
        self.sum += code;
        self.last = code;
    }

    const fn mean(&self) -> i32 {
        self.sum / CONVERSIONS as i32
    }

    /// RMS scatter, whole codes.
    const fn scatter(&self) -> u32 {
        (self.apart / (2 * (CONVERSIONS as u64 - 1))).isqrt() as u32
    }
}

/// The four channels with their inputs on `input`.
fn read<SPI: SpiDevice<u8>>(
    converter: &mut Converter<SPI>,
    input: Mux,
    ready: &mut impl InputPin,
    delay: &mut impl DelayNs,
) -> Result<[Read; LEADS], SelfTestFailure> {
    converter
        .select_input(input, delay)
        .map_err(|error| of_driver(&error))?;
    let mut read = [Read::default(); LEADS];
    let (mut good, mut bad) = (0, 0);
    while good < CONVERSIONS {
        wait(ready, delay);
        match converter.read_frame() {
            Ok(frame) => {
                good += 1;
                for (channel, lead) in read.iter_mut().zip(Lead::ALL) {
                    channel.push(frame.code(lead).get());
                }
            }
            Err(_) => {
                bad += 1;
                if bad > DAMAGED_MOST {
                    return Err(SelfTestFailure::NoConversions { bad });
                }
            }
        }
    }
    Ok(read)
}

/// Waits until a conversion is ready, two periods at most; what is read then stands still, and
/// the limits tell.
fn wait(ready: &mut impl InputPin, delay: &mut impl DelayNs) {
    for _ in 0..2 * PERIOD_US / LOOK_US {
        delay.delay_us(LOOK_US);
        if matches!(ready.is_low(), Ok(true)) {
            return;
        }
    }
}
