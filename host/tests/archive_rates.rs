//! The archive beside plain inserts of the same rows: a benchmark that prints ratios.

mod archives;
mod support;

use std::collections::BTreeMap;
use std::time::Instant;

use archives::{batch, faults, kept, some};
use rusqlite::types::Value;
use rusqlite::{Connection, params_from_iter};
use slotwise::archive::{Archive, SqliteArchive, Wanted};
use slotwise_core::record::RecordNumber;
use support::TESTER;

/// Rows of a table as plain values.
fn rows_of(connection: &Connection, table: &str) -> (String, Vec<Vec<Value>>) {
    let mut all = connection
        .prepare(&format!("SELECT * FROM {table}"))
        .unwrap();
    let names: Vec<&str> = all.column_names().collect();
    let names = names.join(", ");
    let width = all.column_count();
    let rows = all
        .query_map([], |row| (0..width).map(|index| row.get(index)).collect())
        .unwrap()
        .map(Result::unwrap)
        .collect();
    (names, rows)
}

/// Prints, asserts no times: `cargo test -p slotwise --test archive rates -- --nocapture`.
#[test]
fn rates_beside_plain_inserts_of_the_same_rows() {
    let folder = tempfile::tempdir().unwrap();
    let db = folder.path().join("a.db");
    let all = some(10_000);
    let mut archive = SqliteArchive::open_or_make(&db).unwrap();
    let records = batch(kept(&all, 1));
    let began = Instant::now();
    let imported = archive.import(&records).unwrap();
    let ours = began.elapsed();
    assert_eq!(imported.added as usize, all.len());
    assert_eq!(imported.faults, []);
    let began = Instant::now();
    assert_eq!(archive.import(&records).unwrap().added, 0);
    let again = began.elapsed();

    let connection = Connection::open(&db).unwrap();
    let tables = ["record", "test"].map(|table| (table, rows_of(&connection, table)));
    let plain = Connection::open(folder.path().join("plain.db")).unwrap();
    plain
        .execute_batch("PRAGMA journal_mode = wal; PRAGMA synchronous = full")
        .unwrap();
    for (table, (names, _)) in &tables {
        plain
            .execute_batch(&format!("CREATE TABLE {table} ({names})"))
            .unwrap();
    }
    let began = Instant::now();
    plain.execute_batch("BEGIN").unwrap();
    for (table, (_, rows)) in &tables {
        let marks = vec!["?"; rows[0].len()].join(", ");
        let sql = format!("INSERT INTO {table} VALUES ({marks})");
        let mut insert = plain.prepare(&sql).unwrap();
        for row in rows {
            insert.execute(params_from_iter(row)).unwrap();
        }
    }
    plain.execute_batch("COMMIT").unwrap();
    let theirs = began.elapsed();

    let site = archive.site("Larkfield Terrace 4").unwrap();
    let numbers = (RecordNumber::new(5_000), RecordNumber::new(5_019));
    archive
        .place(TESTER, numbers.0, numbers.1, site, None)
        .unwrap();
    let wanted = Wanted {
        site: Some("Larkfield Terrace 4".to_owned()),
        tester: None,
    };
    let open = |archive: &SqliteArchive| {
        let mut tests = 0;
        let began = Instant::now();
        for _ in 0..100 {
            let count = &mut |_| {
                tests += 1;
                Ok(())
            };
            archive.each_test(&wanted, count).unwrap();
        }
        assert_eq!(tests, 20 * 100);
        began.elapsed() / 100
    };
    let opened = open(&archive);
    let small = folder.path().join("small.db");
    let mut little = SqliteArchive::open_or_make(&small).unwrap();
    little.import(&batch(kept(&all[..101], 1))).unwrap();
    let site = little.site("Larkfield Terrace 4").unwrap();
    let numbers = (RecordNumber::new(50), RecordNumber::new(69));
    little
        .place(TESTER, numbers.0, numbers.1, site, None)
        .unwrap();
    let opened_little = open(&little);
    let began = Instant::now();
    assert_eq!(faults(&archive), []);
    let verified = began.elapsed();
    let ratio = |a: std::time::Duration, b: std::time::Duration| a.as_secs_f64() / b.as_secs_f64();
    let figures = BTreeMap::from([
        ("import / plain inserts", ratio(ours, theirs)),
        ("second import / plain inserts", ratio(again, theirs)),
        ("verify / plain inserts", ratio(verified, theirs)),
        (
            "site open at 10,001 records / at 101",
            ratio(opened, opened_little),
        ),
    ]);
    println!("{} records, {theirs:?} by plain inserts", all.len());
    for (what, figure) in figures {
        println!("{what}: {figure:.2}");
    }
}
