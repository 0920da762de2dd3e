//! Rows of the database from and to the values of the program.

use rusqlite::types::{ToSql, Type, Value};
use rusqlite::{Row, params_from_iter};
use slotwise_core::record::{Digest, RecordNumber, TesterId};
use slotwise_core::units::UnixSeconds;

use super::columns::{Cell, Columns, Kind, QUANTITIES, TEST_FIXED, TestColumns, test_columns};
use super::{Made, Place, TestRow, Wanted};

/// Columns of `record` that [`made`] reads, after tester and number.
pub(super) const MADE: &str = "r.boot, r.millis, r.clock, r.firmware";

/// How many of them.
const MADE_COUNT: usize = 4;

/// The statement that keeps a test.
pub(super) fn insert_test() -> String {
    let marks = vec!["?"; 1 + TEST_FIXED.len() + 3 * QUANTITIES.len()].join(", ");
    format!(
        "INSERT INTO test (record, {}) VALUES ({marks})",
        test_columns("")
    )
}

/// The parameters of [`insert_test`].
pub(super) fn test_values(record: i64, test: &TestColumns) -> impl rusqlite::Params {
    let mut values: Vec<Value> = vec![
        record.into(),
        test.outcome.clone().into(),
        test.finding.clone().into(),
        test.clip.clone().into(),
        i64::from(test.windows).into(),
        i64::from(test.calibrated).into(),
    ];
    for cell in &test.cells {
        match cell {
            Cell::Known { value, u } => {
                values.push(f64::from(*value).into());
                values.push(u.map(f64::from).into());
                values.push(Value::Null);
            }
            Cell::Missing(reason) => {
                values.push(Value::Null);
                values.push(Value::Null);
                values.push(reason.clone().into());
            }
        }
    }
    params_from_iter(values)
}

/// Milliseconds and seconds are u64 in a record, but the database counts to 2^63. Beyond that
/// the bits are kept, and [`unsigned`] takes them back.
pub(super) const fn signed(value: u64) -> i64 {
    value.cast_signed()
}

/// Reverse of [`signed`].
pub(super) const fn unsigned(value: i64) -> u64 {
    value.cast_unsigned()
}

/// A tester's number as it is stored.
pub(super) fn serial(tester: TesterId) -> String {
    tester.to_string()
}

/// A tester from its serial.
pub(super) fn tester(text: &str) -> rusqlite::Result<TesterId> {
    u64::from_str_radix(text, 16)
        .map(TesterId)
        .map_err(|error| rusqlite::Error::FromSqlConversionFailure(0, Type::Text, Box::new(error)))
}

/// The 32 bytes of a digest.
pub(super) fn digest_at(row: &Row<'_>, index: usize) -> rusqlite::Result<[u8; 32]> {
    row.get(index)
}

/// When and with what, from [`MADE`] at `from`. `None` for an unread record.
pub(super) fn made(row: &Row<'_>, from: usize) -> rusqlite::Result<Option<Made>> {
    let boot: Option<u32> = row.get(from)?;
    let millis: Option<i64> = row.get(from + 1)?;
    let clock: Option<i64> = row.get(from + 2)?;
    let firmware: Option<String> = row.get(from + 3)?;
    Ok(match (boot, millis, firmware) {
        (Some(boot), Some(millis), Some(firmware)) => Some(Made {
            boot,
            millis: unsigned(millis),
            clock: clock.map(|clock| UnixSeconds::new(unsigned(clock))),
            firmware,
        }),
        _ => None,
    })
}

/// A test from the columns of [`test_columns`] at `from`.
pub(super) fn test(row: &Row<'_>, from: usize) -> rusqlite::Result<TestColumns> {
    let quantities = from + TEST_FIXED.len();
    let mut cells = [const { Cell::Missing(String::new()) }; QUANTITIES.len()];
    for (index, cell) in cells.iter_mut().enumerate() {
        let at = quantities + 3 * index;
        *cell = match row.get(at)? {
            Some(value) => Cell::known(value, row.get(at + 1)?),
            None => Cell::Missing(row.get(at + 2)?),
        };
    }
    Ok(TestColumns {
        outcome: row.get(from)?,
        finding: row.get(from + 1)?,
        clip: row.get(from + 2)?,
        windows: row.get(from + 3)?,
        calibrated: row.get(from + 4)?,
        cells,
    })
}

/// The listing of tests: serial, number, digest, [`MADE`], site, appliance, then the test.
fn select_tests(only: &str, order: &str) -> String {
    format!(
        "SELECT t.serial, r.number, r.sha256, {MADE}, s.name, a.name, {} \
         FROM test x JOIN record r ON r.id = x.record JOIN tester t ON t.id = r.tester \
         LEFT JOIN placing p ON p.record = r.id LEFT JOIN site s ON s.id = p.site \
         LEFT JOIN appliance a ON a.id = p.appliance {only} ORDER BY {order}",
        test_columns("x.")
    )
}

/// The listing of the wanted tests by tester and number, and its values.
pub(super) fn select_wanted(wanted: &Wanted) -> (String, Vec<String>) {
    let mut only = Vec::new();
    let mut values = Vec::new();
    if let Some(site) = &wanted.site {
        values.push(site.clone());
        // The site first, then its tests: the time does not grow with the archive.
        only.push(format!(
            "x.record IN (SELECT record FROM placing WHERE site = \
             (SELECT id FROM site WHERE name = ?{}))",
            values.len()
        ));
    }
    if let Some(tester) = wanted.tester {
        values.push(serial(tester));
        only.push(format!("t.serial = ?{}", values.len()));
    }
    let only = if only.is_empty() {
        String::new()
    } else {
        format!("WHERE {}", only.join(" AND "))
    };
    (select_tests(&only, "r.tester, r.number"), values)
}

/// A row of [`select_tests`].
pub(super) fn test_row(row: &Row<'_>) -> rusqlite::Result<TestRow> {
    let site: Option<String> = row.get(3 + MADE_COUNT)?;
    let appliance: Option<String> = row.get(4 + MADE_COUNT)?;
    let serial: String = row.get(0)?;
    Ok(TestRow {
        tester: tester(&serial)?,
        number: RecordNumber::new(row.get(1)?),
        sha256: digest_at(row, 2)?,
        made: made(row, 3)?.unwrap_or_default(),
        place: site.map(|site| Place { site, appliance }),
        test: test(row, 5 + MADE_COUNT)?,
    })
}

/// What [`super::verify`] reads of every record: serial, number, digest, previous, kind, unread,
/// [`MADE`], bytes, whether there is a test, the test.
pub(super) fn select_all() -> String {
    format!(
        "SELECT t.serial, r.number, r.sha256, r.previous, r.kind, r.unread, {MADE}, r.bytes, \
         x.record IS NOT NULL, {} FROM record r JOIN tester t ON t.id = r.tester \
         LEFT JOIN test x ON x.record = r.id ORDER BY r.tester, r.number",
        test_columns("x.")
    )
}

/// A row of [`select_all`].
pub(super) fn stored(row: &Row<'_>) -> rusqlite::Result<super::verify::Stored> {
    let serial: String = row.get(0)?;
    let kind: String = row.get(4)?;
    let after = 6 + MADE_COUNT;
    let has_test: bool = row.get(after + 1)?;
    let previous: Option<[u8; 32]> = row.get(3)?;
    Ok(super::verify::Stored {
        tester: tester(&serial)?,
        number: RecordNumber::new(row.get(1)?),
        sha256: digest_at(row, 2)?,
        bytes: row.get(after)?,
        columns: Columns {
            kind: Kind::named(&kind),
            unread: row.get(5)?,
            previous: previous.map(Digest),
            made: made(row, 6)?,
            test: if has_test {
                Some(test(row, after + 2)?)
            } else {
                None
            },
        },
    })
}

/// A row of [`super::copy::SELECT_ARRIVALS`].
pub(super) fn arrived(row: &Row<'_>) -> rusqlite::Result<super::copy::Arrived> {
    let serial: String = row.get(0)?;
    Ok(super::copy::Arrived {
        tester: tester(&serial)?,
        number: RecordNumber::new(row.get(1)?),
        source: row.get(2)?,
        name: row.get(3)?,
        at: UnixSeconds::new(unsigned(row.get(4)?)),
        damages: usize::try_from(row.get::<_, i64>(5)?).unwrap_or_default(),
        bytes: row.get(6)?,
    })
}

/// The values of a row of `record` behind tester, number, source and digest: previous, kind,
/// unread, [`MADE`].
pub(super) fn record_values(columns: &Columns) -> [Box<dyn ToSql>; 7] {
    let made = columns.made.as_ref();
    [
        Box::new(columns.previous.map(|digest| digest.0.to_vec())),
        Box::new(columns.kind.name()),
        Box::new(columns.unread.clone()),
        Box::new(made.map(|made| made.boot)),
        Box::new(made.map(|made| signed(made.millis))),
        Box::new(
            made.and_then(|made| made.clock)
                .map(|clock| signed(clock.get())),
        ),
        Box::new(made.map(|made| made.firmware.clone())),
    ]
}
