//! JSON: one document with every test, row by row. Its shape is that of `schema.json`, which is
//! published with the program (`slotwise export --schema`): fields are added, never renamed or
//! taken away without a new `version`.

use std::collections::BTreeMap;
use std::io::Write;

use serde::Serialize;

use super::{Export, hex, time};
use crate::archive::{ArchiveError, Cell, QUANTITIES, TestRow};

/// The published schema.
pub const SCHEMA: &str = include_str!("schema.json");

/// JSON in the making.
#[derive(Debug)]
pub struct JsonExport<W: Write> {
    out: W,
    is_first: bool,
}

#[derive(Serialize)]
struct Row<'r> {
    tester: String,
    record: u32,
    sha256: String,
    boot: u32,
    millis_since_boot: u64,
    unix_seconds: Option<u64>,
    time_utc: Option<String>,
    firmware: &'r str,
    site: Option<&'r str>,
    appliance: Option<&'r str>,
    outcome: &'r str,
    finding: Option<&'r str>,
    clip: &'r str,
    windows: u16,
    calibrated: bool,
    values: BTreeMap<&'static str, Value<'r>>,
}

#[derive(Serialize)]
#[serde(untagged)]
enum Value<'r> {
    Known {
        value: f32,
        u: Option<f32>,
        unit: &'static str,
    },
    Missing {
        missing: &'r str,
    },
}

impl<W: Write> JsonExport<W> {
    /// Writes the head of the document.
    ///
    /// # Errors
    /// [`ArchiveError::Output`].
    pub fn begin(mut out: W) -> Result<Self, ArchiveError> {
        out.write_all(b"{\"format\":\"slotwise-tests\",\"version\":1,\"tests\":[")
            .map_err(ArchiveError::Output)?;
        Ok(Self {
            out,
            is_first: true,
        })
    }
}

impl<W: Write> Export for JsonExport<W> {
    fn row(&mut self, row: &TestRow) -> Result<(), ArchiveError> {
        let place = row.place.as_ref();
        let values = QUANTITIES
            .iter()
            .zip(&row.test.cells)
            .map(|((name, unit), cell)| {
                let value = match cell {
                    Cell::Known { value, u } => Value::Known {
                        value: *value,
                        u: *u,
                        unit,
                    },
                    Cell::Missing(missing) => Value::Missing { missing },
                };
                (*name, value)
            })
            .collect();
        let entry = Row {
            tester: row.tester.to_string(),
            record: row.number.get(),
            sha256: hex(&row.sha256),
            boot: row.made.boot,
            millis_since_boot: row.made.millis,
            unix_seconds: row.made.clock.map(|clock| clock.get()),
            time_utc: time(row),
            firmware: &row.made.firmware,
            site: place.map(|place| place.site.as_str()),
            appliance: place.and_then(|place| place.appliance.as_deref()),
            outcome: &row.test.outcome,
            finding: row.test.finding.as_deref(),
            clip: &row.test.clip,
            windows: row.test.windows,
            calibrated: row.test.calibrated,
            values,
        };
        let before: &[u8] = if self.is_first { b"\n" } else { b",\n" };
        self.is_first = false;
        self.out
            .write_all(before)
            .and_then(|()| Ok(serde_json::to_writer(&mut self.out, &entry)?))
            .map_err(ArchiveError::Output)
    }

    fn finish(mut self: Box<Self>) -> Result<(), ArchiveError> {
        self.out
            .write_all(b"\n]}\n")
            .and_then(|()| self.out.flush())
            .map_err(ArchiveError::Output)
    }
}
