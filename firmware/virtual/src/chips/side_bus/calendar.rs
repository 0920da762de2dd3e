//! Days and dates, by counting: no closed form, no library.
//!
//! Checked below against dates printed by GNU `date -u`.

/// Days of the months of a year that is no leap year.
const MONTHS: [u64; 12] = [31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31];

const DAY: u64 = 86_400;

/// A date and a time of day.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Date {
    pub(super) year: u64,
    pub(super) month: u64,
    pub(super) day: u64,
    pub(super) hour: u64,
    pub(super) minute: u64,
    pub(super) second: u64,
}

/// Leap years of 1901 to 2099: the chip knows no others.
const fn is_leap(year: u64) -> bool {
    year.is_multiple_of(4)
}

const fn days_of(year: u64) -> u64 {
    if is_leap(year) { 366 } else { 365 }
}

fn days_of_month(year: u64, month: u64) -> u64 {
    let days = MONTHS[(month as usize - 1) % 12];
    if month == 2 && is_leap(year) {
        days + 1
    } else {
        days
    }
}

impl Date {
    /// The date so many seconds after the start of 1970, up to 2099.
    pub(super) fn of(seconds: u64) -> Self {
        let (mut days, of_day) = (seconds / DAY, seconds % DAY);
        let (mut year, mut month) = (1970, 1);
        while days >= days_of(year) {
            days -= days_of(year);
            year += 1;
        }
        while days >= days_of_month(year, month) {
            days -= days_of_month(year, month);
            month += 1;
        }
        Self {
            year,
            month,
            day: days + 1,
            hour: of_day / 3600,
            minute: of_day / 60 % 60,
            second: of_day % 60,
        }
    }

    /// Seconds after the start of 1970; a day beyond its month runs on into the next.
    pub(super) fn seconds(&self) -> u64 {
        let years: u64 = (1970..self.year).map(days_of).sum();
        let months: u64 = (1..self.month.clamp(1, 12))
            .map(|month| days_of_month(self.year, month))
            .sum();
        let days = years + months + self.day.max(1) - 1;
        ((days * 24 + self.hour) * 60 + self.minute) * 60 + self.second
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dates_are_those_of_date() {
        // `date -u -d @N '+%F %T'`.
        for (seconds, text) in [
            (0, "1970-01-01 00:00:00"),
            (951_782_400, "2000-02-29 00:00:00"),
            (1_795_632_727, "2026-11-25 18:52:07"),
            (1_835_395_199, "2028-02-28 23:59:59"),
            (1_835_481_599, "2028-02-29 23:59:59"),
            (4_102_444_799, "2099-12-31 23:59:59"),
        ] {
            let date = Date::of(seconds);
            let Date {
                year,
                month,
                day,
                hour,
                minute,
                second,
            } = date;
            let is = format!("{year:04}-{month:02}-{day:02} {hour:02}:{minute:02}:{second:02}");
            assert_eq!(is, text);
            assert_eq!(date.seconds(), seconds);
        }
    }
}
