//! Opening the archive: the settings that keep what was said to be kept, patience with other
//! programs, and another look at what an older version could not read
//! or order.

use std::path::Path;
use std::time::{Duration, Instant};

use rusqlite::{Connection, ErrorCode, OpenFlags, TransactionBehavior, params};
use slotwise_core::record::RecordNumber;

use super::sqlite::SqliteArchive;
use super::{ArchiveError, Columns, migrations, natural, rows};

/// How long another program that is writing is waited for.
const PATIENCE: Duration = Duration::from_secs(10);

/// From one try to the next, while another program has the file locked and SQLite does not
/// wait by itself.
pub(super) const REST: Duration = Duration::from_millis(20);

impl SqliteArchive {
    /// Opens, and tries again while another program is at the same step: SQLite does not wait
    /// (says "busy" at once, whatever the time-out) where two change the journal mode, or one
    /// changes it while the other is about to write.
    pub(super) fn open_with(file: &Path, extra: OpenFlags) -> Result<Self, ArchiveError> {
        let started = Instant::now();
        loop {
            match Self::try_to_open(file, extra) {
                Err(ArchiveError::Database { source, .. })
                    if source.sqlite_error_code() == Some(ErrorCode::DatabaseBusy)
                        && started.elapsed() < PATIENCE =>
                {
                    std::thread::sleep(REST);
                }
                opened_or_refused => return opened_or_refused,
            }
        }
    }

    fn try_to_open(file: &Path, extra: OpenFlags) -> Result<Self, ArchiveError> {
        // Without SQLITE_OPEN_URI, so that a file name is a file name whatever is in it.
        let flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX | extra;
        let failed = |source| ArchiveError::Database {
            file: file.to_owned(),
            source,
        };
        let mut connection = Connection::open_with_flags(file, flags).map_err(failed)?;
        connection.busy_timeout(PATIENCE).map_err(failed)?;
        migrations::bring_up(&mut connection, file)?;
        connection
            .pragma_update(None, "journal_mode", "wal")
            .map_err(failed)?;
        connection
            .pragma_update(None, "foreign_keys", true)
            .map_err(failed)?;
        // A power cut must not take a batch that was said to be kept.
        connection
            .pragma_update(None, "synchronous", "full")
            .map_err(failed)?;
        let mut archive = Self {
            connection,
            file: file.to_owned(),
        };
        archive.read_again().map_err(failed)?;
        natural::fill(&mut archive.connection).map_err(failed)?;
        Ok(archive)
    }

    /// Reads what an older version kept unread.
    fn read_again(&mut self) -> rusqlite::Result<()> {
        let mut readable = Vec::new();
        {
            let mut unread = self.connection.prepare(
                "SELECT r.id, t.serial, r.number, r.bytes FROM record r \
                 JOIN tester t ON t.id = r.tester WHERE r.kind = 'unread'",
            )?;
            let mut found = unread.query([])?;
            while let Some(row) = found.next()? {
                let serial: String = row.get(1)?;
                let number = RecordNumber::new(row.get(2)?);
                let bytes: Vec<u8> = row.get(3)?;
                let columns = Columns::of(rows::tester(&serial)?, number, &bytes);
                if columns.unread.is_none() {
                    readable.push((row.get::<_, i64>(0)?, columns));
                }
            }
        }
        if readable.is_empty() {
            return Ok(());
        }
        let transaction = self
            .connection
            .transaction_with_behavior(TransactionBehavior::Immediate)?;
        for (id, columns) in readable {
            let [previous, kind, unread, boot, millis, clock, firmware] =
                rows::record_values(&columns);
            let changed = transaction.execute(
                "UPDATE record SET previous = ?2, kind = ?3, unread = ?4, boot = ?5, millis = ?6, \
                 clock = ?7, firmware = ?8 WHERE id = ?1 AND kind = 'unread'",
                params![id, previous, kind, unread, boot, millis, clock, firmware],
            )?;
            if let (1, Some(test)) = (changed, &columns.test) {
                transaction.execute(&rows::insert_test(), rows::test_values(id, test))?;
            }
        }
        transaction.commit()
    }
}
