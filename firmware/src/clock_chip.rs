//! The clock chip: the time while the tester is off, or why there is none.
//!
//! A DS3231M on I2C, by the driver `ds323x`, which is made anew for every use: it holds nothing but
//! the bus, and the bus has a second part on it, the display.
//!
//! What the chip says is taken for the time only if its oscillator has not stopped since it was
//! last set (its own flag, raised at the first power-on and when the cell is empty), two readings
//! agree, and what it holds is a date that this firmware can have lived to see. A chip that counts
//! twelve hours was set by somebody else, and the driver reads its midnight as noon: no time.
//! Setting goes in an order in which a cut at any point leaves the flag up: time, oscillator on,
//! flag down, then all of it is read back.
//!
//! Limits: the chip counts whole seconds, so a time read is up to a second old; a clock that was
//! set wrong is not noticed, nor one that ran and lost its power in the millisecond in which it was set
//! anew; from 2100 on its calendar is wrong by a day. The day of the week is not kept.

use ds323x::{Ds323x, Error, Hours, NaiveTime, Rtcc as _, Timelike as _};
use embedded_hal::i2c::{ErrorKind, I2c};
use slotwise_core::link::ClockChip;
use slotwise_core::units::UnixSeconds;

use crate::calendar::Utc;

/// 2026-01-01T00:00:00Z: no tester was started before this was written.
const EARLIEST: u64 = 1_767_225_600;

/// 2100-01-01T00:00:00Z: the chip takes that year for a leap year.
const END: u64 = 4_102_444_800;

/// How far the chip may be on when it is read back after it was set, seconds.
const READ_BACK_WITHIN: u64 = 2;

/// Whether a clock can stand at this time.
#[must_use]
pub const fn is_a_time(clock: UnixSeconds) -> bool {
    EARLIEST <= clock.get() && clock.get() < END
}

/// The time, if the chip has it.
///
/// # Errors
/// How the chip stands instead: any [`ClockChip`] but `Running`, `NotAsked` and `Setting`.
pub fn read<B: I2c>(bus: &mut B) -> Result<UnixSeconds, ClockChip> {
    let mut chip = Ds323x::new_ds3231(bus);
    if chip.has_been_stopped().map_err(why)? {
        return Err(ClockChip::Stopped);
    }
    if !matches!(chip.hours().map_err(why)?, Hours::H24(_)) {
        return Err(ClockChip::NotATime);
    }
    let (first, second) = (now(&mut chip)?, now(&mut chip)?);
    // The bus has no check word: two readings must agree.
    if second.wrapping_sub(first) > 1 || !is_a_time(UnixSeconds::new(second)) {
        return Err(ClockChip::NotATime);
    }
    // A chip that lost its time meanwhile is not believed.
    if chip.has_been_stopped().map_err(why)? {
        return Err(ClockChip::Stopped);
    }
    Ok(UnixSeconds::new(second))
}

/// What the chip holds. It is read register by register: the driver's date has tables whose
/// indices no compiler proves. At midnight the date may belong to another time of day than the one
/// read before it; then the time went back, and it is read once more.
fn now<B: I2c>(
    chip: &mut Ds323x<ds323x::interface::I2cInterface<&mut B>, ds323x::ic::DS3231>,
) -> Result<u64, ClockChip> {
    for _midnight in 0..2 {
        let before = chip.time().map_err(why)?;
        let (day, month) = (chip.day().map_err(why)?, chip.month().map_err(why)?);
        let year = chip.year().map_err(why)?;
        let time = chip.time().map_err(why)?;
        if time < before {
            continue;
        }
        let date = Utc {
            year,
            month,
            day,
            hour: time.hour() as u8,
            minute: time.minute() as u8,
            second: time.second() as u8,
        };
        return Ok(date.clock().ok_or(ClockChip::NotATime)?.get());
    }
    Err(ClockChip::NotATime)
}

/// Sets the chip and reads it back.
///
/// # Errors
/// As [`read`], and `NotTaken` if it does not give back what it was told.
pub fn set<B: I2c>(bus: &mut B, clock: UnixSeconds) -> Result<(), ClockChip> {
    if !is_a_time(clock) {
        return Err(ClockChip::NotATime);
    }
    let date = Utc::of(clock).ok_or(ClockChip::NotATime)?;
    let [hour, minute, second] = [date.hour, date.minute, date.second].map(u32::from);
    let time = NaiveTime::from_hms_opt(hour, minute, second).ok_or(ClockChip::NotATime)?;
    let mut chip = Ds323x::new_ds3231(&mut *bus);
    // The seconds first: writing them begins a new one, in which the rest is done.
    chip.set_time(&time).map_err(why)?;
    chip.set_day(date.day).map_err(why)?;
    chip.set_month(date.month).map_err(why)?;
    chip.set_year(date.year).map_err(why)?;
    chip.enable().map_err(why)?;
    chip.clear_has_been_stopped_flag().map_err(why)?;
    match read(bus) {
        Ok(found) if found.get().wrapping_sub(clock.get()) <= READ_BACK_WITHIN => Ok(()),
        Ok(_) | Err(ClockChip::Stopped | ClockChip::NotATime) => Err(ClockChip::NotTaken),
        Err(other) => Err(other),
    }
}

/// What a failure of the driver says of the chip.
fn why<E: embedded_hal::i2c::Error>(error: Error<E>) -> ClockChip {
    match error {
        Error::Comm(error) => of_bus(error.kind()),
        Error::InvalidDeviceState | Error::InvalidInputData => ClockChip::NotATime,
    }
}

/// What a failure of the bus says of the chip.
const fn of_bus(kind: ErrorKind) -> ClockChip {
    match kind {
        ErrorKind::NoAcknowledge(_) => ClockChip::Absent,
        ErrorKind::Bus | ErrorKind::ArbitrationLoss => ClockChip::BusStuck,
        _ => ClockChip::BusFault,
    }
}
