//! Seconds since 1970 as a date and a time of day, and back, in UTC.
//!
//! The proleptic Gregorian calendar by Howard Hinnant's algorithms ("chrono-Compatible Low-Level
//! Date Algorithms", `civil_from_days`, `days_from_civil`): years that begin in March, in eras of
//! 400, so that the leap day is the last of its year. Whole numbers only and no tables, whose
//! indices the compiler could not prove. Tests hold every day of four centuries against the crate
//! `chrono`.
//!
//! Limits: years 1970 to 9999; a leap second counts as the second after it, as in Unix time.

use slotwise_core::units::UnixSeconds;

const DAY_SECONDS: u64 = 86_400;
/// Days from 0000-03-01 to 1970-01-01.
const EPOCH_DAYS: u32 = 719_468;
/// Days of 400 years.
const ERA_DAYS: u32 = 146_097;
/// 10000-01-01T00:00:00Z.
const END: u64 = 253_402_300_800;

/// A date and a time of day in UTC.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Utc {
    /// 1970 to 9999.
    pub(crate) year: u16,
    /// 1 to 12.
    pub(crate) month: u8,
    /// 1 to 31.
    pub(crate) day: u8,
    /// 0 to 23.
    pub(crate) hour: u8,
    /// 0 to 59.
    pub(crate) minute: u8,
    /// 0 to 59.
    pub(crate) second: u8,
}

impl Utc {
    /// The date of an instant; `None` from the year 10000 on.
    #[must_use]
    pub(crate) fn of(clock: UnixSeconds) -> Option<Self> {
        if clock.get() >= END {
            return None;
        }
        let days = u32::try_from(clock.get() / DAY_SECONDS).ok()? + EPOCH_DAYS;
        let seconds = (clock.get() % DAY_SECONDS) as u32;
        let (era, day) = (days / ERA_DAYS, days % ERA_DAYS);
        // Of the era: 0 to 399.
        let year = (day - day / 1460 + day / 36_524 - day / (ERA_DAYS - 1)) / 365;
        // Of the year that begins in March: 0 to 365.
        let day = day - (365 * year + year / 4 - year / 100);
        // 0 is March.
        let month = (5 * day + 2) / 153;
        let is_next_year = month >= 10;
        Some(Self {
            year: (era * 400 + year + u32::from(is_next_year)) as u16,
            month: (if is_next_year { month - 9 } else { month + 3 }) as u8,
            day: (day - (153 * month + 2) / 5 + 1) as u8,
            hour: (seconds / 3600) as u8,
            minute: (seconds / 60 % 60) as u8,
            second: (seconds % 60) as u8,
        })
    }

    /// The instant; `None` if there is no such date or time of day.
    #[must_use]
    pub(crate) fn clock(self) -> Option<UnixSeconds> {
        let (month, day) = (u32::from(self.month), u32::from(self.day));
        if !(1970..=9999).contains(&self.year) || !(1..=12).contains(&month) || day == 0 {
            return None;
        }
        let is_before_march = month <= 2;
        let year = u32::from(self.year) - u32::from(is_before_march);
        let (era, year) = (year / 400, year % 400);
        let month = if is_before_march {
            month + 9
        } else {
            month - 3
        };
        let day = (153 * month + 2) / 5 + day - 1;
        let days = era * ERA_DAYS + 365 * year + year / 4 - year / 100 + day - EPOCH_DAYS;
        let [hour, minute, second] = [self.hour, self.minute, self.second].map(u64::from);
        let seconds = u64::from(days) * DAY_SECONDS + hour * 3600 + minute * 60 + second;
        let clock = UnixSeconds::new(seconds);
        // The 31st of a short month, or the 24th hour, comes out as another one.
        (Self::of(clock) == Some(self)).then_some(clock)
    }
}

#[cfg(test)]
mod tests {
    use chrono::{DateTime, Datelike as _, NaiveDate, Timelike as _};
    use slotwise_core::units::UnixSeconds;

    use super::{DAY_SECONDS, END, Utc};

    fn by_chrono(seconds: u64) -> Utc {
        let date = DateTime::from_timestamp(seconds as i64, 0).expect("in range");
        Utc {
            year: date.year() as u16,
            month: date.month() as u8,
            day: date.day() as u8,
            hour: date.hour() as u8,
            minute: date.minute() as u8,
            second: date.second() as u8,
        }
    }

    #[test]
    fn every_day_of_four_centuries_and_the_last_year_is_that_of_chrono() {
        let days = (0..146_097).chain(END / DAY_SECONDS - 366..END / DAY_SECONDS);
        for day in days {
            for second in [0, day * 7919 % DAY_SECONDS, DAY_SECONDS - 1] {
                let seconds = day * DAY_SECONDS + second;
                let found = Utc::of(UnixSeconds::new(seconds));
                assert_eq!(found, Some(by_chrono(seconds)), "{seconds}");
                let back = found.and_then(Utc::clock);
                assert_eq!(back, Some(UnixSeconds::new(seconds)));
            }
        }
        assert_eq!(Utc::of(UnixSeconds::new(END)), None);
        assert_eq!(Utc::of(UnixSeconds::new(u64::MAX)), None);
    }

    #[test]
    fn what_is_no_date_is_none() {
        for year in [
            0, 1969, 1970, 1999, 2000, 2023, 2024, 2099, 2100, 9999, 10_000,
        ] {
            for month in 0..=13 {
                for day in 0..=33 {
                    let date = Utc {
                        year,
                        month,
                        day,
                        hour: 23,
                        minute: 59,
                        second: 59,
                    };
                    let is_date = (1970..=9999).contains(&year)
                        && NaiveDate::from_ymd_opt(i32::from(year), month.into(), day.into())
                            .is_some();
                    assert_eq!(date.clock().is_some(), is_date, "{date:?}");
                }
            }
        }
        let noon = by_chrono(1_800_000_000);
        for date in [
            Utc { hour: 24, ..noon },
            Utc { minute: 60, ..noon },
            Utc { second: 60, ..noon },
        ] {
            assert_eq!(date.clock(), None, "{date:?}");
        }
    }
}
