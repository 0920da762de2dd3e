//! Parquet for questions over a whole fleet: one file a month of one office, in folders that
//! query engines know as partitions.
//!
//! ```text
//! DIR/office=<name>/month=2026-03/part-0.parquet
//! ```
//!
//! The month is that of the record's clock, in UTC; tests without one, or with a time that no
//! calendar has, are in `month=__HIVE_DEFAULT_PARTITION__`, which engines read as NULL. What
//! was not measured is NULL beside its reason, as in the other forms, never 0 or NaN.
//!
//! An export replaces what the office has in the folder, month by month: a month's file is
//! written under another name and takes its own when it is whole. A test is in one month for
//! ever, as its bytes never change, so at no moment is a test there twice, whether the export
//! ends, fails or is cut. Other offices' folders are not touched.
//!
//! Rows come by tester and go by month, so they wait in memory, [`WAITING`] of them at most;
//! then the month with the most goes to its file.

mod columns;
mod tree;

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;

use parquet::basic::Compression;
use parquet::errors::ParquetError;
use parquet::file::metadata::KeyValue;
use parquet::file::properties::{EnabledStatistics, WriterProperties, WriterPropertiesPtr};
use parquet::file::writer::SerializedFileWriter;
use parquet::schema::types::{ColumnPath, TypePtr};
use slotwise_core::record::{RecordNumber, TesterId};
use slotwise_core::units::UnixSeconds;

use self::columns::{Rows, Texts};
use self::tree::{Part, Tree};
use crate::archive::{Archive, ArchiveError, TestRow, Wanted};

pub use self::tree::{OFFICE_MOST, folder_of};

/// Version of the columns: they are added to, never renamed or taken away, under one number.
pub const VERSION: u32 = 1;

/// Rows in memory before the fullest month is written.
const WAITING: usize = 1 << 17;

/// What engines call a partition without a value.
const NO_MONTH: &str = "__HIVE_DEFAULT_PARTITION__";

/// What an export came to.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Exported {
    /// Tests.
    pub tests: u64,
    /// Files.
    pub files: usize,
}

/// Writes every test of the archive into the office's folder in `folder`; `heard` is told how many
/// there are, after each.
///
/// # Errors
/// [`ArchiveError`]; months that are not whole are not there under their name then.
pub fn export_parquet(
    archive: &dyn Archive,
    folder: &Path,
    office: &str,
    heard: &mut dyn FnMut(u64),
) -> Result<Exported, ArchiveError> {
    let mut months = Months::begin(Tree::open(folder, office)?);
    let mut exported = Exported::default();
    archive.at_one_moment(&mut || {
        let calibrations = Calibrations::of(archive)?;
        archive.each_test(&Wanted::default(), &mut |row| {
            exported.tests += 1;
            heard(exported.tests);
            let held = calibrations.at(row.tester, row.number);
            months.take(&row, held)
        })
    })?;
    exported.files = months.finish()?;
    Ok(exported)
}

/// The calibration in force at a record.
#[derive(Clone, Copy, Debug)]
struct Held {
    number: RecordNumber,
    done: UnixSeconds,
    until: UnixSeconds,
}

/// The calibrations of every tester, newest first. They are few, and an archive on a server cannot be
/// asked in the middle of a listing.
#[derive(Debug, Default)]
struct Calibrations(BTreeMap<u64, Vec<Held>>);

impl Calibrations {
    fn of(archive: &dyn Archive) -> Result<Self, ArchiveError> {
        let mut all = Self::default();
        for tester in archive.testers()? {
            let mut kept = Vec::new();
            let mut next = tester.calibration;
            while let Some(found) = next {
                let stamp = found.event.now.stamp();
                kept.push(Held {
                    number: found.number,
                    done: stamp.done,
                    until: stamp.until,
                });
                next = match found.number.get().checked_sub(1) {
                    Some(last) => archive.calibration_at(tester.tester, RecordNumber::new(last))?,
                    None => None,
                };
            }
            all.0.insert(tester.tester.0, kept);
        }
        Ok(all)
    }

    fn at(&self, tester: TesterId, number: RecordNumber) -> Option<Held> {
        let kept = self.0.get(&tester.0)?;
        kept.iter().find(|held| held.number <= number).copied()
    }
}

/// The months of one office in the making.
struct Months {
    tree: Tree,
    schema: TypePtr,
    properties: WriterPropertiesPtr,
    texts: Texts,
    waiting: BTreeMap<String, Rows>,
    rows: usize,
    writers: BTreeMap<String, SerializedFileWriter<Part>>,
}

impl Months {
    fn begin(tree: Tree) -> Self {
        let pair = |key: &str, value: String| KeyValue::new(key.to_owned(), value);
        let about = vec![
            pair("slotwise.format", "slotwise-tests".to_owned()),
            pair("slotwise.schema_version", VERSION.to_string()),
            pair("slotwise.office", tree.office().to_owned()),
        ];
        let mut properties = WriterProperties::builder()
            .set_created_by(format!("slotwise {}", env!("CARGO_PKG_VERSION")))
            .set_compression(Compression::SNAPPY)
            .set_statistics_enabled(EnabledStatistics::Chunk)
            .set_offset_index_disabled(true)
            .set_key_value_metadata(Some(about));
        // No value of these comes twice.
        for name in ["sha256", "record"] {
            let column = ColumnPath::from(name);
            properties = properties.set_column_dictionary_enabled(column, false);
        }
        Self {
            tree,
            schema: columns::schema(),
            properties: Arc::new(properties.build()),
            texts: Texts::default(),
            waiting: BTreeMap::new(),
            rows: 0,
            writers: BTreeMap::new(),
        }
    }

    fn take(&mut self, row: &TestRow, held: Option<Held>) -> Result<(), ArchiveError> {
        let month = month_of(row.made.clock);
        if !self.waiting.contains_key(&month) {
            self.waiting.insert(month.clone(), Rows::default());
        }
        if let Some(rows) = self.waiting.get_mut(&month) {
            rows.push(row, held, &mut self.texts);
            self.rows += 1;
        }
        if self.rows >= WAITING {
            let fullest = self.waiting.iter().max_by_key(|(_, rows)| rows.len());
            if let Some(month) = fullest.map(|(month, _)| month.clone()) {
                self.write(&month)?;
            }
        }
        Ok(())
    }

    /// Writes what waits of a month as one row group.
    fn write(&mut self, month: &str) -> Result<(), ArchiveError> {
        let Some(rows) = self.waiting.remove(month) else {
            return Ok(());
        };
        self.rows -= rows.len();
        let failed = |tree: &Tree, error| cannot_write(tree, month, error);
        if !self.writers.contains_key(month) {
            let part = self.tree.part(month)?;
            let (schema, properties) = (self.schema.clone(), self.properties.clone());
            let writer = SerializedFileWriter::new(part, schema, properties)
                .map_err(|error| failed(&self.tree, error))?;
            self.writers.insert(month.to_owned(), writer);
        }
        if let Some(writer) = self.writers.get_mut(month) {
            rows.write(writer, &self.texts)
                .map_err(|error| failed(&self.tree, error))?;
        }
        Ok(())
    }

    /// Ends every file; then each takes its name.
    fn finish(mut self) -> Result<usize, ArchiveError> {
        let months: Vec<String> = self.waiting.keys().cloned().collect();
        for month in months {
            self.write(&month)?;
            // One whose rows all came at once need not wait for the others.
            self.close(&month)?;
        }
        let months: Vec<String> = self.writers.keys().cloned().collect();
        for month in months {
            self.close(&month)?;
        }
        self.tree.finish()
    }

    fn close(&mut self, month: &str) -> Result<(), ArchiveError> {
        let Some(mut writer) = self.writers.remove(month) else {
            return Ok(());
        };
        writer
            .finish()
            .map(|_| ())
            .map_err(|error| cannot_write(&self.tree, month, error))?;
        self.tree.sync(month)
    }
}

fn cannot_write(tree: &Tree, month: &str, error: ParquetError) -> ArchiveError {
    let source = match error {
        ParquetError::External(error) => match error.downcast::<std::io::Error>() {
            Ok(error) => *error,
            Err(error) => std::io::Error::other(error.to_string()),
        },
        other => std::io::Error::other(other.to_string()),
    };
    ArchiveError::CannotWrite {
        file: tree.name(month),
        source,
    }
}

/// The month of a clock, as its partition is called.
fn month_of(clock: Option<UnixSeconds>) -> String {
    clock.and_then(columns::timestamp).map_or_else(
        || NO_MONTH.to_owned(),
        |time| time.strftime("%Y-%m").to_string(),
    )
}
