//! Values with their unit and their expanded uncertainty (k = 2), rounded so that the
//! uncertainty has two digits.

use jiff::Timestamp;
use slotwise_core::evidence::{Measured, Reading, SlotVoltages};
use slotwise_core::limits::BandSet;
use slotwise_core::record::Record;
use slotwise_core::units::{Hertz, Ohms, Ratio, Volts};

use crate::texts::Language;

/// Coverage factor: the interval holds about 95 % of the values.
pub const K: f32 = 2.0;

/// `value ± U unit`.
#[must_use]
pub fn with_uncertainty(value: f32, u: f32, unit: &str) -> String {
    let expanded = K * u;
    if expanded.is_nan() || expanded <= 0.0 {
        return format!("{value:.2} {unit}");
    }
    let decimals = (1 - expanded.log10().floor() as i32).clamp(0, 4) as usize;
    format!("{} ± {expanded:.decimals$} {unit}", signed(value, decimals))
}

/// A voltage without its uncertainty: one decimal from 10 V on, two below.
#[must_use]
pub fn volts(value: Volts) -> String {
    let value = value.get();
    signed(value, if value.abs() < 9.95 { 2 } else { 1 })
}

/// No "-0.00", and a true minus sign.
fn signed(value: f32, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    match text.strip_prefix('-') {
        Some(rest) if rest.chars().all(|c| c == '0' || c == '.') => rest.to_owned(),
        Some(rest) => format!("\u{2212}{rest}"),
        None => text,
    }
}

/// A slot voltage with its uncertainty.
#[must_use]
pub fn slot_volts(slots: &SlotVoltages, value: Volts) -> String {
    with_uncertainty(value.get(), slots.uncertainty(value).get(), "V")
}

/// A frequency with its uncertainty, or why there is none.
#[must_use]
pub fn hertz(language: &dyn Language, measured: &Measured<Hertz>) -> String {
    show(language, measured, |r| {
        with_uncertainty(r.value.get(), r.u.get(), "Hz")
    })
}

/// A resistance with its uncertainty, or why there is none.
#[must_use]
pub fn ohms(language: &dyn Language, measured: &Measured<Ohms>) -> String {
    show(language, measured, |r| {
        with_uncertainty(r.value.get(), r.u.get(), "ohm")
    })
}

fn show<T: Copy>(
    language: &dyn Language,
    measured: &Measured<T>,
    print: impl Fn(Reading<T>) -> String,
) -> String {
    match measured {
        Measured::Known(reading) => print(*reading),
        Measured::Missing(reason) => language.missing(*reason).to_owned(),
    }
}

/// A measured resistance with its uncertainty.
#[must_use]
pub fn ohms_of(reading: Reading<Ohms>) -> String {
    with_uncertainty(reading.value.get(), reading.u.get(), "ohm")
}

/// A share as whole percent.
#[must_use]
pub fn percent(share: f32) -> String {
    format!("{} %", signed(100.0 * share, 0))
}

/// A small change, as a percentage with its sign and three decimals.
#[must_use]
pub fn change_percent(change: Ratio) -> String {
    let percent = 100.0 * change.get();
    let plus = if percent > 0.0 { "+" } else { "" };
    format!("{plus}{} %", signed(percent, 3))
}

/// Degrees, whole.
#[must_use]
pub fn degrees(radians: f32) -> String {
    format!("{}°", signed(radians.to_degrees(), 0))
}

/// When a record was made: the clock if it had the time, else boot and time since.
#[must_use]
pub fn when(language: &dyn Language, record: &Record) -> String {
    let clock = record
        .clock
        .and_then(|clock| i64::try_from(clock.get()).ok())
        .and_then(|seconds| Timestamp::from_second(seconds).ok())
        .map(|clock| clock.to_string());
    language.made(clock.as_deref(), record.boot, &since_start(record.at.get()))
}

fn since_start(millis: u64) -> String {
    let seconds = millis / 1000;
    if seconds < 60 {
        format!("{}.{} s", seconds, millis % 1000 / 100)
    } else if seconds < 3600 {
        format!("{} min {} s", seconds / 60, seconds % 60)
    } else {
        format!("{} h {} min", seconds / 3600, seconds / 60 % 60)
    }
}

/// A supply band: its name, source and edition, and whether it is the one in force unless
/// another is asked for.
#[must_use]
pub fn band_line(language: &dyn Language, set: BandSet) -> String {
    let band = set.band();
    let mut line = format!("{} ({}; {}", band.name, band.source, band.edition);
    if set == BandSet::default() {
        line.push_str("; ");
        line.push_str(language.labels().is_default);
    }
    line.push(')');
    line
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_uncertainty_decides_the_digits() {
        assert_eq!(with_uncertainty(119.527, 0.1315, "V"), "119.53 ± 0.26 V");
        assert_eq!(with_uncertainty(0.1804, 0.05, "ohm"), "0.18 ± 0.10 ohm");
        assert_eq!(with_uncertainty(-0.0001, 0.005, "V"), "0.000 ± 0.010 V");
        assert_eq!(
            with_uncertainty(60.0012, 7.0e-5, "Hz"),
            "60.0012 ± 0.0001 Hz"
        );
        assert_eq!(with_uncertainty(1500.0, 80.0, "ohm"), "1500 ± 160 ohm");
        assert_eq!(with_uncertainty(1.5, f32::NAN, "V"), "1.50 V");
    }

    #[test]
    fn there_is_no_minus_zero() {
        assert_eq!(volts(Volts::new(-0.001)), "0.00");
        assert_eq!(volts(Volts::new(-2.5)), "\u{2212}2.50");
        assert_eq!(volts(Volts::new(119.53)), "119.5");
        assert_eq!(degrees(-0.001), "0°");
    }

    #[test]
    fn long_times_are_told_in_larger_units() {
        assert_eq!(since_start(2_412), "2.4 s");
        assert_eq!(since_start(61_000), "1 min 1 s");
        assert_eq!(since_start(7_260_000), "2 h 1 min");
    }
}
