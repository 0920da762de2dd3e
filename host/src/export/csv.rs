//! CSV: one line a test, names of the columns in the first.
//!
//! A spreadsheet takes a cell that begins with a sign of a formula for one, and may run it. Such
//! a text gets an apostrophe in front, which spreadsheets show as text (OWASP, "CSV Injection":
//! the signs = + - @, tab and carriage return; the line feed is ours). Numbers are written as
//! numbers, a minus sign included.

use std::borrow::Cow;
use std::io::Write;

use super::{Export, hex, quantity_columns, time};
use crate::archive::{ArchiveError, Cell, QUANTITIES, TestRow};

/// Columns in front of the values.
const FIXED: [&str; 14] = [
    "tester",
    "record",
    "sha256",
    "boot",
    "millis_since_boot",
    "time_utc",
    "firmware",
    "site",
    "appliance",
    "outcome",
    "finding",
    "clip",
    "windows",
    "calibrated",
];

/// CSV in the making.
#[derive(Debug)]
pub struct CsvExport<W: Write> {
    writer: csv::Writer<W>,
    cells: Vec<String>,
}

impl<W: Write> CsvExport<W> {
    /// Writes the names of the columns.
    ///
    /// # Errors
    /// [`ArchiveError::Output`].
    pub fn begin(out: W) -> Result<Self, ArchiveError> {
        let mut writer = csv::Writer::from_writer(out);
        let mut names: Vec<String> = FIXED.map(str::to_owned).to_vec();
        for (name, unit) in QUANTITIES {
            names.extend(quantity_columns(name, unit));
        }
        writer.write_record(&names).map_err(failed)?;
        Ok(Self {
            writer,
            cells: Vec::with_capacity(names.len()),
        })
    }
}

impl<W: Write> Export for CsvExport<W> {
    fn row(&mut self, row: &TestRow) -> Result<(), ArchiveError> {
        let text = |text: &str| guarded(text).into_owned();
        let place = row.place.as_ref();
        let cells = &mut self.cells;
        cells.clear();
        cells.push(text(&row.tester.to_string()));
        cells.push(row.number.get().to_string());
        cells.push(hex(&row.sha256));
        cells.push(row.made.boot.to_string());
        cells.push(row.made.millis.to_string());
        cells.push(time(row).unwrap_or_default());
        cells.push(text(&row.made.firmware));
        cells.push(text(place.map_or("", |place| &place.site)));
        cells.push(text(
            place
                .and_then(|place| place.appliance.as_deref())
                .unwrap_or_default(),
        ));
        cells.push(text(&row.test.outcome));
        cells.push(text(row.test.finding.as_deref().unwrap_or_default()));
        cells.push(text(&row.test.clip));
        cells.push(row.test.windows.to_string());
        cells.push(row.test.calibrated.to_string());
        for cell in &row.test.cells {
            match cell {
                Cell::Known { value, u } => {
                    cells.push(value.to_string());
                    cells.push(u.map(|u| u.to_string()).unwrap_or_default());
                    cells.push(String::new());
                }
                Cell::Missing(reason) => {
                    cells.push(String::new());
                    cells.push(String::new());
                    cells.push(text(reason));
                }
            }
        }
        self.writer.write_record(&*cells).map_err(failed)
    }

    fn finish(mut self: Box<Self>) -> Result<(), ArchiveError> {
        self.writer.flush().map_err(ArchiveError::Output)
    }
}

/// A text that no spreadsheet takes for a formula. Signs that look like them in full width, as
/// some spreadsheets read them, count too.
#[must_use]
pub fn guarded(text: &str) -> Cow<'_, str> {
    const SIGNS: [char; 11] = [
        '=', '+', '-', '@', '\t', '\r', '\n', '\u{FF1D}', '\u{FF0B}', '\u{FF0D}', '\u{FF20}',
    ];
    if text.starts_with(SIGNS) {
        Cow::Owned(format!("'{text}"))
    } else {
        Cow::Borrowed(text)
    }
}

fn failed(error: csv::Error) -> ArchiveError {
    ArchiveError::Output(match error.into_kind() {
        csv::ErrorKind::Io(error) => error,
        other => std::io::Error::other(format!("{other:?}")),
    })
}
