//! How a batch gets into the database: record by record, in the transaction of the caller.

use rusqlite::{Transaction, params};
use slotwise_core::record::RecordNumber;

use super::{Batch, Columns, Fault, Imported, rows};
use crate::chain::digest;
use crate::log_file::KeptRecord;

/// Takes the batch in and looks at the chain around it.
pub(super) fn take_in(transaction: &Transaction<'_>, batch: &Batch) -> rusqlite::Result<Imported> {
    let serial = rows::serial(batch.tester);
    transaction.execute(
        "INSERT INTO tester (serial) VALUES (?1) ON CONFLICT DO NOTHING",
        [&serial],
    )?;
    let tester: i64 = transaction.query_row(
        "SELECT id FROM tester WHERE serial = ?1",
        [&serial],
        |row| row.get(0),
    )?;
    transaction.execute(
        "INSERT INTO source (name, imported_at, damages) VALUES (?1, ?2, ?3)",
        params![
            batch.source,
            rows::signed(batch.at.get()),
            rows::signed(batch.damages as u64)
        ],
    )?;
    let source = transaction.last_insert_rowid();
    let mut imported = Imported::default();
    {
        let mut records = transaction.prepare_cached(
            "INSERT INTO record (tester, number, source, sha256, bytes, previous, kind, unread, \
             boot, millis, clock, firmware) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?) \
             ON CONFLICT (tester, number) DO NOTHING",
        )?;
        let mut tests = transaction.prepare_cached(&rows::insert_test())?;
        for kept in &batch.records {
            let columns = Columns::of(batch.tester, kept.number, &kept.bytes);
            let sha256 = digest(&kept.bytes).0;
            let [previous, kind, unread, boot, millis, clock, firmware] =
                rows::record_values(&columns);
            let added = records.execute(params![
                tester,
                kept.number.get(),
                source,
                sha256,
                kept.bytes,
                previous,
                kind,
                unread,
                boot,
                millis,
                clock,
                firmware
            ])?;
            if added == 0 {
                again(transaction, (tester, source), kept, sha256, &mut imported)?;
                continue;
            }
            imported.added += 1;
            if let Some(test) = &columns.test {
                tests.execute(rows::test_values(transaction.last_insert_rowid(), test))?;
            }
        }
    }
    imported.faults = links(transaction, tester, batch)?;
    Ok(imported)
}

/// A number that is there already: the same bytes, or a conflict to be kept beside.
fn again(
    transaction: &Transaction<'_>,
    (tester, source): (i64, i64),
    kept: &KeptRecord,
    sha256: [u8; 32],
    imported: &mut Imported,
) -> rusqlite::Result<()> {
    let there: Vec<u8> = transaction
        .prepare_cached("SELECT bytes FROM record WHERE tester = ?1 AND number = ?2")?
        .query_row(params![tester, kept.number.get()], |row| row.get(0))?;
    if there == kept.bytes {
        imported.already += 1;
        return Ok(());
    }
    transaction.execute(
        "INSERT INTO conflict (tester, number, source, sha256, bytes) VALUES (?1, ?2, ?3, ?4, ?5) \
         ON CONFLICT DO NOTHING",
        params![tester, kept.number.get(), source, sha256, kept.bytes],
    )?;
    imported.conflicts.push(kept.number);
    Ok(())
}

/// What of the chain is wrong from the first record of the batch to the one behind its last.
fn links(
    transaction: &Transaction<'_>,
    tester: i64,
    batch: &Batch,
) -> rusqlite::Result<Vec<Fault>> {
    let (Some(first), Some(last)) = (batch.records.first(), batch.records.last()) else {
        return Ok(Vec::new());
    };
    let mut wrong = transaction.prepare_cached(
        "SELECT r.number, b.number IS NULL, \
           (SELECT max(e.number) FROM record e WHERE e.tester = r.tester AND e.number < r.number) \
         FROM record r LEFT JOIN record b ON b.tester = r.tester AND b.number = r.number - 1 \
         WHERE r.tester = ?1 AND r.number BETWEEN ?2 AND ?3 AND CASE \
           WHEN r.number = 1 THEN r.previous <> zeroblob(32) \
           WHEN b.number IS NULL THEN 1 ELSE r.previous <> b.sha256 END \
         ORDER BY r.number",
    )?;
    let behind = i64::from(last.number.get()) + 1;
    let mut rows = wrong.query(params![tester, first.number.get(), behind])?;
    let mut faults = Vec::new();
    while let Some(row) = rows.next()? {
        let number = RecordNumber::new(row.get(0)?);
        let is_gap: bool = row.get(1)?;
        let earlier: Option<u32> = row.get(2)?;
        let earlier = earlier.map(RecordNumber::new);
        faults.extend(Fault::of_link(batch.tester, number, is_gap, earlier));
    }
    Ok(faults)
}
