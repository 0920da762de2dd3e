//! The check of a whole archive: the database's own file, then every record.

use rusqlite::Connection;
use slotwise_core::record::RecordNumber;

use super::verify::Walk;
use super::{Fault, FaultKind, Verified, rows};

/// Looks at everything; hands over what is wrong.
pub(super) fn examine(
    connection: &Connection,
    found: &mut dyn FnMut(Fault),
) -> rusqlite::Result<Verified> {
    // One state of the archive from first to last, whoever writes meanwhile.
    let transaction = connection.unchecked_transaction()?;
    let mut verified = Verified::default();
    {
        let mut check = transaction.prepare("PRAGMA integrity_check")?;
        let mut lines = check.query([])?;
        while let Some(row) = lines.next()? {
            let line: String = row.get(0)?;
            if line != "ok" {
                verified.file.push(line);
            }
        }
        let mut keys = transaction.prepare("PRAGMA foreign_key_check")?;
        let mut lines = keys.query([])?;
        while let Some(row) = lines.next()? {
            let table: String = row.get(0)?;
            let parent: String = row.get(2)?;
            verified.file.push(format!(
                "a row of {table} names a row of {parent} that is not there"
            ));
        }
        let mut walk = Walk::default();
        let mut all = transaction.prepare(&rows::select_all())?;
        let mut records = all.query([])?;
        while let Some(row) = records.next()? {
            let serial: String = row.get(0)?;
            let tester = rows::tester(&serial)?;
            let number = RecordNumber::new(row.get(1)?);
            let mut fault = |kind| {
                verified.faults += 1;
                found(Fault {
                    tester,
                    number,
                    kind,
                });
            };
            match rows::stored(row) {
                Ok(stored) => walk.check(&stored, &mut fault),
                Err(error) => fault(FaultKind::Row(error.to_string())),
            }
        }
        verified.testers = walk.testers;
        verified.records = walk.records;
        // What the list of sites reads of a test must be the test's own.
        let mut placings = transaction.prepare(
            "SELECT t.serial, r.number FROM placing p JOIN record r ON r.id = p.record \
             JOIN tester t ON t.id = r.tester LEFT JOIN test x ON x.record = p.record \
             WHERE p.outcome IS NOT x.outcome OR p.clock IS NOT r.clock \
             ORDER BY r.tester, r.number",
        )?;
        let mut wrong = placings.query([])?;
        while let Some(row) = wrong.next()? {
            let serial: String = row.get(0)?;
            verified.faults += 1;
            found(Fault {
                tester: rows::tester(&serial)?,
                number: RecordNumber::new(row.get(1)?),
                kind: FaultKind::Column,
            });
        }
        let mut conflicts = transaction.prepare(
            "SELECT t.serial, c.number FROM conflict c JOIN tester t ON t.id = c.tester \
             ORDER BY c.tester, c.number",
        )?;
        let mut records = conflicts.query([])?;
        while let Some(row) = records.next()? {
            let serial: String = row.get(0)?;
            verified.faults += 1;
            found(Fault {
                tester: rows::tester(&serial)?,
                number: RecordNumber::new(row.get(1)?),
                kind: FaultKind::Conflict,
            });
        }
    }
    Ok(verified)
}
