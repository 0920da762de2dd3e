//! A line of text, and numbers in it.
//!
//! Numbers are written by whole digits, not by the core library's formatting: that brings panic
//! paths and ten kilobytes into the image. A line that is too long is never cut, because half a
//! number is a wrong number: it turns into `TOO_LONG` as a whole. That does not happen; a test
//! goes through every text with every size of value.

use crate::calendar::Utc;
use heapless::String;
use slotwise_core::evidence::Reading;
use slotwise_core::units::{Hertz, Ohms, UnixSeconds, Volts};

/// Characters of a line.
pub const CHARACTERS: usize = 21;

/// Bytes of a line: at most two a character.
const BYTES: usize = 2 * CHARACTERS;

/// Stands in place of what does not fit.
const TOO_LONG: &str = "?????";

/// Said in place of a number that is none, or beyond what the line shows.
const NO_NUMBER: &str = "----";

/// A line.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Line {
    text: String<BYTES>,
    is_too_long: bool,
}

impl Line {
    /// An empty line.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            text: String::new(),
            is_too_long: false,
        }
    }

    /// A line of this text.
    #[must_use]
    pub fn of(text: &str) -> Self {
        Self::new().and(text)
    }

    /// The text.
    #[must_use]
    pub fn as_str(&self) -> &str {
        if self.is_too_long {
            TOO_LONG
        } else {
            &self.text
        }
    }

    /// Characters.
    #[must_use]
    pub fn length(&self) -> usize {
        self.text.chars().count()
    }

    /// The line with this text after it.
    #[must_use]
    pub fn and(mut self, text: &str) -> Self {
        self.push(text);
        self
    }

    /// The line with spaces after it, so that `tail` stands at its right end.
    #[must_use]
    pub fn right(mut self, tail: &Self) -> Self {
        let free = CHARACTERS.saturating_sub(self.length() + tail.length());
        for _ in 0..free {
            self.push(" ");
        }
        self.and(tail.as_str())
    }

    /// The line with a whole number after it, of at least `digits` digits.
    #[must_use]
    pub fn number(mut self, number: u32, digits: u32) -> Self {
        self.push_digits(number, digits.max(1));
        self
    }

    /// The line with a voltage after it: tenths below a thousand volts, whole volts above.
    #[must_use]
    pub fn volts(self, volts: Volts) -> Self {
        let decimals = u32::from(volts.get() < 999.95);
        self.fixed(volts.get(), decimals, 9_999).and("V")
    }

    /// The line with a frequency after it, in hundredths.
    #[must_use]
    pub fn hertz(self, hertz: Hertz) -> Self {
        self.fixed(hertz.get(), 2, 99).and("Hz")
    }

    /// The line with a resistance and its expanded uncertainty (k = 2) after it; `unclear` if
    /// either is beyond ten kilohms.
    #[must_use]
    pub fn ohms(self, reading: Reading<Ohms>, unclear: &str) -> Self {
        let (value, around) = (reading.value.get(), 2.0 * reading.u.get());
        if value.is_nan() || around.is_nan() || !(0.0..9_999.0).contains(&value.abs().max(around)) {
            return self.and(unclear);
        }
        // A path may read a little below nothing by its noise.
        let value = value.max(0.0);
        let largest = value.max(around);
        let decimals = if largest < 9.995 {
            2
        } else {
            u32::from(largest < 99.95)
        };
        self.fixed(value, decimals, 9_999)
            .and("\u{b1}")
            .fixed(around, decimals, 9_999)
            .and(" ohm")
    }

    /// The line with minutes and seconds after it.
    #[must_use]
    pub fn minutes(self, seconds: u16) -> Self {
        let seconds = u32::from(seconds).min(99 * 60 + 59);
        self.number(seconds / 60, 1)
            .and(":")
            .number(seconds % 60, 2)
    }

    /// The line with a date and a time to the minute after it.
    #[must_use]
    pub fn clock(self, clock: UnixSeconds) -> Self {
        let Some(date) = Utc::of(clock) else {
            return self.and(NO_NUMBER);
        };
        self.number(date.year.into(), 4)
            .and("-")
            .number(date.month.into(), 2)
            .and("-")
            .number(date.day.into(), 2)
            .and(" ")
            .number(date.hour.into(), 2)
            .and(":")
            .number(date.minute.into(), 2)
            .and(" UTC")
    }

    /// A number of at most `most` with so many decimals, rounded to the nearest.
    fn fixed(self, value: f32, decimals: u32, most: u32) -> Self {
        let scale: u32 = match decimals {
            0 => 1,
            1 => 10,
            _ => 100,
        };
        let scaled = value * scale as f32 + 0.5;
        // At most 9 999 x 100 + 100: far within 32 bits, and within what f32 holds whole.
        let limit = (most + 1) * scale;
        if !(scaled >= 0.0 && scaled < limit as f32) {
            return self.and(NO_NUMBER);
        }
        let whole = scaled as u32;
        let line = self.number(whole / scale, 1);
        if decimals == 0 {
            line
        } else {
            line.and(".").number(whole % scale, decimals)
        }
    }

    fn push_digits(&mut self, number: u32, digits: u32) {
        let mut divisor = 1_000_000_000;
        let mut place = 10;
        while divisor > 0 {
            if place <= digits || number >= divisor {
                let digit = (number / divisor % 10) as u8;
                self.push_char(char::from(b'0' + digit));
            }
            divisor /= 10;
            place -= 1;
        }
    }

    fn push(&mut self, text: &str) {
        for character in text.chars() {
            self.push_char(character);
        }
    }

    fn push_char(&mut self, character: char) {
        if self.length() >= CHARACTERS || self.text.push(character).is_err() {
            self.is_too_long = true;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ohms(value: f32, u: f32) -> std::string::String {
        let reading = Reading {
            value: Ohms::new(value),
            u: Ohms::new(u),
        };
        Line::new().ohms(reading, "unclear").as_str().to_owned()
    }

    #[test]
    fn numbers_are_rounded_and_never_cut() {
        let volts = |value| Line::new().volts(Volts::new(value)).as_str().to_owned();
        assert_eq!(volts(0.0), "0.0V");
        assert_eq!(volts(119.96), "120.0V");
        assert_eq!(volts(0.04), "0.0V");
        assert_eq!(volts(999.94), "999.9V");
        assert_eq!(volts(999.96), "1000V");
        assert_eq!(volts(9_999.4), "9999V");
        for none in [10_000.0, -0.2, f32::NAN, f32::INFINITY] {
            assert_eq!(volts(none), "----V");
        }
        let hertz = |value| Line::new().hertz(Hertz::new(value)).as_str().to_owned();
        assert_eq!(hertz(59.994), "59.99Hz");
        assert_eq!(hertz(50.0), "50.00Hz");
        assert_eq!(hertz(400.0), "----Hz");
    }

    #[test]
    fn an_uncertainty_has_the_decimals_of_its_value() {
        assert_eq!(ohms(0.424, 0.026), "0.42\u{b1}0.05 ohm");
        assert_eq!(ohms(-0.01, 0.03), "0.00\u{b1}0.06 ohm");
        assert_eq!(ohms(12.34, 0.3), "12.3\u{b1}0.6 ohm");
        assert_eq!(ohms(0.5, 30.0), "0.5\u{b1}60.0 ohm");
        assert_eq!(ohms(1234.0, 10.0), "1234\u{b1}20 ohm");
        assert_eq!(ohms(20_000.0, 1.0), "unclear");
        assert_eq!(ohms(f32::NAN, 1.0), "unclear");
        assert_eq!(ohms(1.0, f32::NAN), "unclear");
        assert_eq!(ohms(1.0, f32::INFINITY), "unclear");
    }

    #[test]
    fn times_are_written_out() {
        // 2026-11-25T18:52:07Z, by `date -u -d @1795632727`.
        let clock = UnixSeconds::new(1_795_632_727);
        assert_eq!(Line::new().clock(clock).as_str(), "2026-11-25 18:52 UTC");
        assert_eq!(Line::new().minutes(65).as_str(), "1:05");
        assert_eq!(Line::new().minutes(u16::MAX).as_str(), "99:59");
        assert_eq!(Line::new().number(u32::MAX, 1).as_str(), "4294967295");
        assert_eq!(Line::new().number(0, 1).as_str(), "0");
        let far = Line::new().clock(UnixSeconds::new(u64::MAX));
        assert_eq!(far.as_str(), NO_NUMBER);
    }

    #[test]
    fn a_line_that_is_too_long_says_nothing_of_its_number() {
        let line = Line::of("123456789012345678901");
        assert_eq!(line.as_str().len(), CHARACTERS);
        assert_eq!(line.and("2").as_str(), TOO_LONG);
        let right = Line::of("left").right(&Line::of("right"));
        assert_eq!(right.as_str(), "left            right");
    }
}
