//! Tests of an archive for other programs: CSV for spreadsheets, JSON with a published schema,
//! Parquet for questions over a fleet. All are written as the rows come, so their size does not
//! matter.
//!
//! A value that was not measured is an empty cell beside its reason, or `{"missing": reason}`;
//! never 0.

mod csv;
mod json;
#[cfg(feature = "parquet")]
mod parquet;

use std::io::Write;

use crate::archive::{Archive, ArchiveError, TestRow, Wanted};

pub use csv::{CsvExport, guarded};
pub use json::{JsonExport, SCHEMA};
#[cfg(feature = "parquet")]
pub use parquet::{Exported, OFFICE_MOST, VERSION as PARQUET_VERSION, export_parquet, folder_of};

/// A place that rows go to.
pub trait Export {
    /// Takes a row.
    ///
    /// # Errors
    /// [`ArchiveError::Output`].
    fn row(&mut self, row: &TestRow) -> Result<(), ArchiveError>;

    /// Ends the document.
    ///
    /// # Errors
    /// [`ArchiveError::Output`].
    fn finish(self: Box<Self>) -> Result<(), ArchiveError>;
}

/// In which form.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Form {
    /// Comma-separated values.
    Csv,
    /// JSON.
    Json,
}

/// Writes the wanted tests to `out`; returns how many.
///
/// # Errors
/// [`ArchiveError`].
pub fn export<'w>(
    archive: &dyn Archive,
    wanted: &Wanted,
    form: Form,
    out: impl Write + 'w,
) -> Result<u64, ArchiveError> {
    export_told(archive, wanted, form, out, &mut |_| {})
}

/// The same; `heard` is told how many there are, after each.
///
/// # Errors
/// [`ArchiveError`].
pub fn export_told<'w>(
    archive: &dyn Archive,
    wanted: &Wanted,
    form: Form,
    out: impl Write + 'w,
    heard: &mut dyn FnMut(u64),
) -> Result<u64, ArchiveError> {
    let mut to: Box<dyn Export + 'w> = match form {
        Form::Csv => Box::new(CsvExport::begin(out)?),
        Form::Json => Box::new(JsonExport::begin(out)?),
    };
    let mut count = 0;
    archive.each_test(wanted, &mut |row| {
        count += 1;
        heard(count);
        to.row(&row)
    })?;
    to.finish()?;
    Ok(count)
}

/// The time of a clock as text, where it is one that a calendar has.
fn time(row: &TestRow) -> Option<String> {
    let clock = row.made.clock?;
    let seconds = i64::try_from(clock.get()).ok()?;
    jiff::Timestamp::from_second(seconds)
        .ok()
        .map(|time| time.to_string())
}

/// The names of a quantity's columns: value, standard uncertainty, why there is none. The unit is
/// part of the first two.
fn quantity_columns(name: &str, unit: &str) -> [String; 3] {
    let unit = match unit {
        "" => String::new(),
        unit => format!("_{}", unit.to_ascii_lowercase()),
    };
    [
        format!("{name}{unit}"),
        format!("{name}_u{unit}"),
        format!("{name}_missing"),
    ]
}

/// A digest in hexadecimal.
fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}
