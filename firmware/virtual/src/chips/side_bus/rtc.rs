//! The clock chip at the level of its registers: a DS3231 (data sheet 19-5170, register map, from
//! memory).
//!
//! Registers 00 to 06 hold seconds to years in packed decimals, 0E control, 0F status. A read takes
//! the time that stood at its start. The oscillator-stop flag (status bit 7) is raised when the
//! oscillator stood still, and can only be written down. On its cell the oscillator runs unless
//! control bit 7 says no; on the board's supply it always does.

use super::Part;
use super::calendar::Date;

pub(super) const ADDRESS: u8 = 0x68;
const REGISTERS: usize = 0x13;
const CONTROL: usize = 0x0E;
const STATUS: usize = 0x0F;
const STOPPED: u8 = 0x80;
const STOPS_ON_CELL: u8 = 0x80;
/// 12-hour mode and afternoon, in the register of hours.
const TWELVE: u8 = 0x40;
const AFTERNOON: u8 = 0x20;
/// The register of months counts centuries with its top bit.
const CENTURY: u8 = 0x80;

/// 2000-01-01T00:00:00Z: where it begins without power.
const FIRST: u64 = 946_684_800;

/// The cell that keeps the chip while the board is off.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Cell {
    /// It holds.
    Good,
    /// It is empty or missing.
    Empty,
}

/// A clock chip.
#[derive(Clone, Debug)]
pub struct VirtualRtc {
    registers: [u8; REGISTERS],
    /// The time at `since` nanoseconds of the board's time.
    seconds: u64,
    since: u64,
    pointer: usize,
    has_pointer: bool,
    /// The registers as they stood at the start of the transfer.
    latched: [u8; REGISTERS],
    /// Bytes written in this transfer.
    written: Vec<(usize, u8)>,
    counts_twelve: bool,
    /// Writes to its time have no effect: a broken part.
    is_deaf: bool,
}

impl VirtualRtc {
    /// A chip out of the box: no time, flag up.
    #[must_use]
    pub fn never_set() -> Self {
        let mut registers = [0; REGISTERS];
        registers[CONTROL] = 0x1C;
        registers[STATUS] = 0x88;
        Self {
            registers,
            seconds: FIRST,
            since: 0,
            pointer: 0,
            has_pointer: false,
            latched: registers,
            written: Vec::new(),
            counts_twelve: false,
            is_deaf: false,
        }
    }

    /// A chip that runs and stands at this time, seconds since 1970, when the board is powered.
    #[must_use]
    pub fn running(seconds: u64) -> Self {
        let mut chip = Self::never_set();
        chip.registers[STATUS] = 0x08;
        chip.seconds = seconds;
        chip
    }

    /// The same, in the twelve-hour way of counting.
    #[must_use]
    pub fn counting_twelve(mut self) -> Self {
        self.counts_twelve = true;
        self
    }

    /// The same, deaf to what is written into its time.
    #[must_use]
    pub fn deaf(mut self) -> Self {
        self.is_deaf = true;
        self
    }

    /// The chip on a board that was off for `seconds` and is powered now; `ran` nanoseconds of the
    /// board's time had passed.
    #[must_use]
    pub fn after_off(mut self, ran: u64, seconds: u64, cell: Cell) -> Self {
        let stops = self.registers[CONTROL] & STOPS_ON_CELL != 0;
        if cell == Cell::Good && !stops {
            self.seconds = self.time(ran) + seconds;
        } else {
            self.seconds = FIRST;
            self.registers[STATUS] |= STOPPED;
        }
        self.since = 0;
        self
    }

    /// Its time, seconds since 1970, at `now` nanoseconds of the board's time.
    #[must_use]
    pub fn time(&self, now: u64) -> u64 {
        self.seconds + now.saturating_sub(self.since) / 1_000_000_000
    }

    /// Whether the oscillator-stop flag is up.
    #[must_use]
    pub const fn is_stopped(&self) -> bool {
        self.registers[STATUS] & STOPPED != 0
    }

    /// Raises the flag: the oscillator stood still for a moment.
    pub const fn stop(&mut self) {
        self.registers[STATUS] |= STOPPED;
    }

    fn latch(&mut self, now: u64) {
        let date = Date::of(self.time(now));
        let hour = if self.counts_twelve {
            let half = date.hour % 12;
            let shown = if half == 0 { 12 } else { half };
            let half = if date.hour >= 12 { AFTERNOON } else { 0 };
            packed(shown) | TWELVE | half
        } else {
            packed(date.hour)
        };
        self.latched = self.registers;
        let time = [
            packed(date.second),
            packed(date.minute),
            hour,
            1,
            packed(date.day),
            packed(date.month) | if date.year >= 2100 { CENTURY } else { 0 },
            packed(date.year % 100),
        ];
        self.latched[..7].copy_from_slice(&time);
    }

    /// Takes what was written into the time.
    fn take(&mut self, now: u64) {
        let written = core::mem::take(&mut self.written);
        self.latch(now);
        let mut sets_time = false;
        for (register, byte) in written {
            match register {
                0..=6 => {
                    self.latched[register] = byte;
                    sets_time = true;
                }
                // The flag can only be written down.
                STATUS => {
                    let kept = self.registers[STATUS] & byte & STOPPED;
                    self.registers[STATUS] = (byte & !STOPPED) | kept;
                }
                _ => self.registers[register] = byte,
            }
        }
        if !sets_time || self.is_deaf {
            return;
        }
        let [second, minute, hour, _, day, month, year] =
            [0, 1, 2, 3, 4, 5, 6].map(|register: usize| self.latched[register]);
        self.counts_twelve = hour & TWELVE != 0;
        let hour = if self.counts_twelve {
            unpacked(hour & 0x1F) % 12 + if hour & AFTERNOON != 0 { 12 } else { 0 }
        } else {
            unpacked(hour & 0x3F)
        };
        self.seconds = Date {
            year: 2000 + unpacked(year) + if month & CENTURY != 0 { 100 } else { 0 },
            month: unpacked(month & 0x1F),
            day: unpacked(day),
            hour,
            minute: unpacked(minute),
            second: unpacked(second & 0x7F),
        }
        .seconds();
        self.since = now;
    }
}

const fn packed(number: u64) -> u8 {
    (number / 10 % 10 * 16 + number % 10) as u8
}

const fn unpacked(byte: u8) -> u64 {
    (byte >> 4) as u64 * 10 + (byte & 0x0F) as u64
}

impl Part for VirtualRtc {
    fn start(&mut self, now: u64) {
        self.has_pointer = false;
        self.latch(now);
    }

    fn write(&mut self, byte: u8) {
        if self.has_pointer {
            self.written.push((self.pointer, byte));
            self.pointer = (self.pointer + 1) % REGISTERS;
        } else {
            self.pointer = usize::from(byte) % REGISTERS;
            self.has_pointer = true;
        }
    }

    fn read(&mut self) -> u8 {
        let byte = self.latched[self.pointer];
        self.pointer = (self.pointer + 1) % REGISTERS;
        byte
    }

    fn stop(&mut self, now: u64) {
        if !self.written.is_empty() {
            self.take(now);
        }
    }
}
