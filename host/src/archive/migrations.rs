//! The steps from an empty file to the archive of this version, and who may be opened.
//!
//! A step, once released, is never changed; a new one is added at the end. The number of steps
//! done stands in `user_version`; `application_id` says that the file is an archive at all.

use std::path::Path;

use rusqlite::{Connection, ErrorCode, TransactionBehavior};

use super::ArchiveError;

/// The steps, in order.
const STEPS: [&str; 4] = [
    include_str!("migrations/1.sql"),
    include_str!("migrations/2.sql"),
    include_str!("migrations/3.sql"),
    include_str!("migrations/4.sql"),
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
    // One reading transaction: what is looked at belongs to one moment, also while another
    // program brings the same file up.
    let looking = connection.transaction().map_err(failed)?;
    if is_up_to(&looking, file, target).map_err(failed)?? {
        return Ok(());
    }
    drop(looking);
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::archive::{Archive as _, Counts, SqliteArchive};

    /// An archive as version 1 left it, with a record that it could not read.
    fn of_version_one(file: &Path) {
        let mut connection = Connection::open(file).unwrap();
        bring_up_to(&mut connection, file, 1).unwrap();
        connection
            .execute_batch(
                "INSERT INTO tester VALUES (1, '51070000000000ab');
                 INSERT INTO source VALUES (1, 'old.slotlog', 1772460000, 0);
                 INSERT INTO record (tester, number, source, sha256, kind, unread, bytes)
                 VALUES (1, 5, 1, zeroblob(32), 'unread', 'of old', x'0102');",
            )
            .unwrap();
    }

    #[test]
    fn an_older_archive_is_brought_up_and_keeps_what_it_held() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("old.db");
        of_version_one(&file);
        for _ in 0..2 {
            let mut archive = SqliteArchive::open(&file).unwrap();
            let counts = archive.counts().unwrap();
            assert_eq!((counts.testers, counts.records, counts.unread), (1, 1, 1));
            archive.site("Larkfield Terrace 1").unwrap();
        }
        let archive = SqliteArchive::open(&file).unwrap();
        assert_eq!(archive.counts().unwrap().sites, 1);
    }

    /// Version 3 had neither the order of sites nor outcome and clock beside a place.
    #[test]
    fn places_of_version_three_get_what_the_list_needs() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("old.db");
        let mut connection = Connection::open(&file).unwrap();
        bring_up_to(&mut connection, &file, 3).unwrap();
        let missing: Vec<String> = crate::archive::QUANTITIES
            .iter()
            .map(|(name, _)| format!("{name}_missing"))
            .collect();
        connection
            .execute_batch(&format!(
                "INSERT INTO tester VALUES (1, '51070000000000ab');
                 INSERT INTO source VALUES (1, 'old.slotlog', 1772460000, 0);
                 INSERT INTO record (id, tester, number, source, sha256, kind, clock, bytes)
                 VALUES (9, 1, 5, 1, zeroblob(32), 'test', 1772460007, x'0102');
                 INSERT INTO test (record, outcome, clip, windows, calibrated, {})
                 VALUES (9, 'fault', 'free', 10, 1, {});
                 INSERT INTO site VALUES (1, 'Unit 10'), (2, 'Unit 2');
                 INSERT INTO placing VALUES (9, 2, NULL);",
                missing.join(", "),
                vec!["'old'"; missing.len()].join(", "),
            ))
            .unwrap();
        drop(connection);
        let archive = SqliteArchive::open(&file).unwrap();
        let wanted = crate::archive::SitesWanted {
            most: 9,
            ..Default::default()
        };
        let sites = archive.sites(&wanted).unwrap();
        let names: Vec<&str> = sites.iter().map(|site| &*site.name).collect();
        assert_eq!(names, ["Unit 2", "Unit 10"]);
        assert_eq!(sites[0].outcomes, ["fault"]);
        assert_eq!(sites[0].newest.unwrap().get(), 1_772_460_007);
        let failing = crate::archive::SitesWanted {
            failing: true,
            ..wanted
        };
        assert_eq!(archive.sites(&failing).unwrap().len(), 1);
    }

    #[test]
    fn two_programs_may_bring_the_same_archive_up() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("new.db");
        let counts: Vec<Counts> = std::thread::scope(|scope| {
            let opened = [0; 16].map(|_| {
                scope.spawn(|| {
                    SqliteArchive::open_or_make(&file)
                        .unwrap()
                        .counts()
                        .unwrap()
                })
            });
            opened.into_iter().map(|one| one.join().unwrap()).collect()
        });
        assert_eq!(counts, [Counts::default(); 16]);
    }

    #[test]
    fn what_is_no_archive_of_this_version_is_left_as_it_is() {
        let folder = tempfile::tempdir().unwrap();
        let name = |name: &str| folder.path().join(name);
        let newer = name("newer.db");
        drop(SqliteArchive::open_or_make(&newer).unwrap());
        let connection = Connection::open(&newer).unwrap();
        connection
            .pragma_update(None, "user_version", NEWEST + 1)
            .unwrap();
        drop(connection);
        let other = name("other.db");
        let connection = Connection::open(&other).unwrap();
        connection.execute_batch("CREATE TABLE site (x)").unwrap();
        drop(connection);
        let text = name("text.db");
        std::fs::write(
            &text,
            "no database, but long enough to be read as one\n".repeat(20),
        )
        .unwrap();
        for (file, is_newer) in [(&newer, true), (&other, false), (&text, false)] {
            let before = std::fs::read(file).unwrap();
            let error = SqliteArchive::open_or_make(file).unwrap_err();
            let expected = match error {
                ArchiveError::Newer { found, known, .. } => is_newer && found == known + 1,
                ArchiveError::NotAnArchive { .. } => !is_newer,
                _ => false,
            };
            assert!(expected, "{}: {error:?}", file.display());
            assert_eq!(std::fs::read(file).unwrap(), before, "{}", file.display());
        }
        let none = name("none.db");
        assert!(matches!(
            SqliteArchive::open(&none),
            Err(ArchiveError::NotThere { .. })
        ));
        assert!(!none.exists(), "looking makes no file");
    }
}
