//! The steps from an empty file to the archive of this version, and who may be opened.
//!
//! A step, once released, is never changed; a new one is added at the end. The number of steps
//! done stands in `user_version`; `application_id` says that the file is an archive at all.

use std::path::Path;

use rusqlite::{Connection, ErrorCode, TransactionBehavior};

use super::ArchiveError;

/// The steps, in order.
const STEPS: [&str; 2] = [
    include_str!("migrations/1.sql"),
    include_str!("migrations/2.sql"),
];

/// "SLOT" in ASCII: marks the file as an archive.
const APPLICATION: i64 = 0x534C_4F54;

/// Newest version that this program knows.
pub(super) const NEWEST: i64 = STEPS.len() as i64;

/// Brings the archive up to [`NEWEST`]; an empty file becomes one.
///
/// # Errors
/// [`ArchiveError::NotAnArchive`], [`ArchiveError::Newer`], or what the database says.
pub(super) fn bring_up(connection: &mut Connection, file: &Path) -> Result<(), ArchiveError> {
    bring_up_to(connection, file, NEWEST)
}

/// As [`bring_up`], but only to `target`: how an archive of an older version came about.
pub(super) fn bring_up_to(
    connection: &mut Connection,
    file: &Path,
    target: i64,
) -> Result<(), ArchiveError> {
    let failed = |source: rusqlite::Error| {
        if source.sqlite_error_code() == Some(ErrorCode::NotADatabase) {
            ArchiveError::NotAnArchive {
                file: file.to_owned(),
            }
        } else {
            ArchiveError::Database {
                file: file.to_owned(),
                source,
            }
        }
    };
    if is_up_to(connection, file, target).map_err(failed)?? {
        return Ok(());
    }
    // Two programs may come here at once; the second finds the work done.
    let transaction = connection
        .transaction_with_behavior(TransactionBehavior::Immediate)
        .map_err(failed)?;
    if !is_up_to(&transaction, file, target).map_err(failed)?? {
        let done = version(&transaction).map_err(failed)?;
        for (step, number) in STEPS.iter().zip(1..) {
            if number > done && number <= target {
                transaction.execute_batch(step).map_err(failed)?;
                transaction
                    .pragma_update(None, "user_version", number)
                    .map_err(failed)?;
            }
        }
        transaction
            .pragma_update(None, "application_id", APPLICATION)
            .map_err(failed)?;
    }
    transaction.commit().map_err(failed)
}

fn is_up_to(
    connection: &Connection,
    file: &Path,
    target: i64,
) -> rusqlite::Result<Result<bool, ArchiveError>> {
    let found = version(connection)?;
    let application: i64 = connection.pragma_query_value(None, "application_id", |r| r.get(0))?;
    let tables: i64 =
        connection.query_row("SELECT count(*) FROM sqlite_schema", [], |r| r.get(0))?;
    let is_empty = tables == 0 && found == 0 && application == 0;
    if !is_empty && (application != APPLICATION || found == 0) {
        return Ok(Err(ArchiveError::NotAnArchive {
            file: file.to_owned(),
        }));
    }
    if found > NEWEST {
        return Ok(Err(ArchiveError::Newer {
            file: file.to_owned(),
            found,
            known: NEWEST,
        }));
    }
    Ok(Ok(found >= target))
}

fn version(connection: &Connection) -> rusqlite::Result<i64> {
    connection.pragma_query_value(None, "user_version", |row| row.get(0))
}
