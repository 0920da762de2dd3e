//! How a batch gets into the database, in the transaction of the caller: a thousand records a
//! statement, because every statement goes to the server and back.

use std::collections::{BTreeMap, BTreeSet};

use postgres::types::ToSql;
use postgres::{Error, Transaction};

use super::rows;
use crate::archive::columns::{Cell, TestColumns, test_columns};
use crate::archive::{Batch, Columns, Fault, Imported, QUANTITIES};
use crate::chain::digest;
use crate::log_file::KeptRecord;

/// Records a statement.
const AT_ONCE: usize = 1000;

/// Takes the batch in and looks at the chain around it.
pub(super) fn take_in(transaction: &mut Transaction<'_>, batch: &Batch) -> Result<Imported, Error> {
    let serial = rows::serial(batch.tester);
    transaction.execute(
        "INSERT INTO tester (serial) VALUES ($1) ON CONFLICT DO NOTHING",
        &[&serial],
    )?;
    // The row is held until the end: batches of one tester come in one after the other.
    let tester: i64 = transaction
        .query_one(
            "SELECT id FROM tester WHERE serial = $1 FOR UPDATE",
            &[&serial],
        )?
        .try_get(0)?;
    let source: i64 = transaction
        .query_one(
            "INSERT INTO source (name, imported_at, damages) VALUES ($1, $2, $3) RETURNING id",
            &[
                &batch.source,
                &batch.at.get().cast_signed(),
                &i64::try_from(batch.damages).unwrap_or(i64::MAX),
            ],
        )?
        .try_get(0)?;
    let mut imported = Imported::default();
    for some in batch.records.chunks(AT_ONCE) {
        keep(transaction, (tester, source), batch, some, &mut imported)?;
    }
    imported.faults = links(transaction, tester, batch)?;
    Ok(imported)
}

/// Keeps some records of a batch.
fn keep(
    transaction: &mut Transaction<'_>,
    (tester, source): (i64, i64),
    batch: &Batch,
    some: &[KeptRecord],
    imported: &mut Imported,
) -> Result<(), Error> {
    // Of a number that comes twice the first is kept, and the second looked at afterwards.
    let mut numbers = BTreeSet::new();
    let (first, again): (Vec<&KeptRecord>, Vec<&KeptRecord>) =
        some.iter().partition(|kept| numbers.insert(kept.number));
    let columns: Vec<Columns> = first
        .iter()
        .map(|kept| Columns::of(batch.tester, kept.number, &kept.bytes))
        .collect();
    let made = || columns.iter().map(|columns| columns.made.as_ref());
    let added = transaction.query(
        "INSERT INTO record (tester, number, source, sha256, bytes, previous, kind, unread, \
         boot, millis, clock, firmware) \
         SELECT $1, new.number, $2, new.sha256, new.bytes, new.previous, new.kind, new.unread, \
         new.boot, new.millis, new.clock, new.firmware FROM unnest($3::bigint[], $4::bytea[], \
         $5::bytea[], $6::bytea[], $7::text[], $8::text[], $9::bigint[], $10::bigint[], \
         $11::bigint[], $12::text[]) AS new (number, sha256, bytes, previous, kind, unread, boot, \
         millis, clock, firmware) ON CONFLICT (tester, number) DO NOTHING RETURNING number, id",
        &[
            &tester,
            &source,
            &list(first.iter().map(|kept| i64::from(kept.number.get()))),
            &list(first.iter().map(|kept| digest(&kept.bytes).0.to_vec())),
            &list(first.iter().map(|kept| kept.bytes.as_slice())),
            &list(
                columns
                    .iter()
                    .map(|one| one.previous.map(|digest| digest.0.to_vec())),
            ),
            &list(columns.iter().map(|one| one.kind.name())),
            &list(columns.iter().map(|one| one.unread.clone())),
            &list(made().map(|made| made.map(|made| i64::from(made.boot)))),
            &list(made().map(|made| made.map(|made| made.millis.cast_signed()))),
            &list(made().map(|made| {
                made.and_then(|made| made.clock)
                    .map(|clock| clock.get().cast_signed())
            })),
            &list(made().map(|made| made.map(|made| made.firmware.clone()))),
        ],
    )?;
    let mut ids = BTreeMap::new();
    for row in added {
        ids.insert(row.try_get::<_, i64>(0)?, row.try_get::<_, i64>(1)?);
    }
    imported.added += ids.len() as u64;
    let id_of = |kept: &KeptRecord| ids.get(&i64::from(kept.number.get())).copied();
    let tests: Vec<(i64, &TestColumns)> = first
        .iter()
        .zip(&columns)
        .filter_map(|(kept, columns)| Some((id_of(kept)?, columns.test.as_ref()?)))
        .collect();
    keep_tests(transaction, &tests)?;
    let there: Vec<&KeptRecord> = first
        .into_iter()
        .filter(|kept| id_of(kept).is_none())
        .chain(again)
        .collect();
    compare(transaction, (tester, source), &there, imported)
}

fn list<T>(values: impl Iterator<Item = T>) -> Vec<T> {
    values.collect()
}

/// Numbers that are there already: the same bytes, or a conflict to be kept beside.
fn compare(
    transaction: &mut Transaction<'_>,
    (tester, source): (i64, i64),
    there: &[&KeptRecord],
    imported: &mut Imported,
) -> Result<(), Error> {
    if there.is_empty() {
        return Ok(());
    }
    let numbers = list(there.iter().map(|kept| i64::from(kept.number.get())));
    let mut bytes = BTreeMap::new();
    for row in transaction.query(
        "SELECT number, bytes FROM record WHERE tester = $1 AND number = ANY ($2)",
        &[&tester, &numbers],
    )? {
        bytes.insert(row.try_get::<_, i64>(0)?, row.try_get::<_, Vec<u8>>(1)?);
    }
    for kept in there {
        let number = i64::from(kept.number.get());
        if bytes.get(&number) == Some(&kept.bytes) {
            imported.already += 1;
            continue;
        }
        let sha256 = digest(&kept.bytes).0.to_vec();
        transaction.execute(
            "INSERT INTO conflict (tester, number, source, sha256, bytes) \
             VALUES ($1, $2, $3, $4, $5) ON CONFLICT DO NOTHING",
            &[&tester, &number, &source, &sha256, &kept.bytes],
        )?;
        imported.conflicts.push(kept.number);
    }
    Ok(())
}

/// Keeps the values of tests, by the id of their record.
pub(super) fn keep_tests(
    transaction: &mut Transaction<'_>,
    tests: &[(i64, &TestColumns)],
) -> Result<(), Error> {
    if tests.is_empty() {
        return Ok(());
    }
    let of = || tests.iter().map(|(_, test)| *test);
    let mut values: Vec<Box<dyn ToSql + Sync>> = vec![
        Box::new(list(tests.iter().map(|(id, _)| *id))),
        Box::new(list(of().map(|test| test.outcome.clone()))),
        Box::new(list(of().map(|test| test.finding.clone()))),
        Box::new(list(of().map(|test| test.clip.clone()))),
        Box::new(list(of().map(|test| i64::from(test.windows)))),
        Box::new(list(of().map(|test| test.calibrated))),
    ];
    let mut kinds = ["bigint", "text", "text", "text", "bigint", "boolean"].to_vec();
    for index in 0..QUANTITIES.len() {
        let cells = || of().filter_map(|test| test.cells.get(index));
        let known = |cell: &Cell| match cell {
            Cell::Known { value, u } => (Some(f64::from(*value)), u.map(f64::from)),
            Cell::Missing(_) => (None, None),
        };
        let missing = |cell: &Cell| match cell {
            Cell::Known { .. } => None,
            Cell::Missing(reason) => Some(reason.clone()),
        };
        values.push(Box::new(list(cells().map(|cell| known(cell).0))));
        values.push(Box::new(list(cells().map(|cell| known(cell).1))));
        values.push(Box::new(list(cells().map(missing))));
        kinds.extend(["double precision", "double precision", "text"]);
    }
    let lists = kinds
        .iter()
        .zip(1..)
        .map(|(kind, at)| format!("${at}::{kind}[]"));
    let lists = lists.collect::<Vec<_>>().join(", ");
    let sql = format!(
        "INSERT INTO test (record, {}) SELECT * FROM unnest({lists})",
        test_columns("")
    );
    let values: Vec<&(dyn ToSql + Sync)> = values.iter().map(AsRef::as_ref).collect();
    transaction.execute(&sql, &values)?;
    Ok(())
}

/// What of the chain is wrong from the first record of the batch to the one behind its last.
fn links(
    transaction: &mut Transaction<'_>,
    tester: i64,
    batch: &Batch,
) -> Result<Vec<Fault>, Error> {
    let (Some(first), Some(last)) = (batch.records.first(), batch.records.last()) else {
        return Ok(Vec::new());
    };
    let first = i64::from(first.number.get());
    let behind = i64::from(last.number.get()) + 1;
    let nothing = vec![0_u8; 32];
    let wrong = transaction.query(
        "SELECT r.number, b.number IS NULL, \
           (SELECT max(e.number) FROM record e WHERE e.tester = r.tester AND e.number < r.number) \
         FROM record r LEFT JOIN record b ON b.tester = r.tester AND b.number = r.number - 1 \
         WHERE r.tester = $1 AND r.number BETWEEN $2 AND $3 AND CASE \
           WHEN r.number = 1 THEN r.previous <> $4 \
           WHEN b.number IS NULL THEN TRUE ELSE r.previous <> b.sha256 END \
         ORDER BY r.number",
        &[&tester, &first, &behind, &nothing],
    )?;
    let mut faults = Vec::new();
    for row in wrong {
        let Some(number) = rows::number_if(&row, 0)? else {
            continue;
        };
        let is_gap: bool = row.try_get(1)?;
        let earlier = rows::number_if(&row, 2)?;
        faults.extend(Fault::of_link(batch.tester, number, is_gap, earlier));
    }
    Ok(faults)
}
