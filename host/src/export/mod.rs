//! Tests of an archive for other programs: CSV for spreadsheets, JSON with a published schema.
//! Both are written as the rows come, so their size does not matter.
//!
//! A value that was not measured is an empty cell beside its reason, or `{"missing": reason}`;
//! never 0.

mod csv;
mod json;

use std::io::Write;

use crate::archive::{Archive, ArchiveError, TestRow, Wanted};

pub use csv::{CsvExport, guarded};
pub use json::{JsonExport, SCHEMA};

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
    let mut to: Box<dyn Export + 'w> = match form {
        Form::Csv => Box::new(CsvExport::begin(out)?),
        Form::Json => Box::new(JsonExport::begin(out)?),
    };
    let mut count = 0;
    archive.each_test(wanted, &mut |row| {
        count += 1;
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

/// A digest in hexadecimal.
fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}
