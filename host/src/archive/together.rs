//! Many small changes as one.

use super::{ArchiveError, SqliteArchive};

impl SqliteArchive {
    /// Does what `work` does in one transaction, whole or not at all. The disk is waited for once, not
    /// once a change. An import is a transaction of its own and has no place in `work`.
    ///
    /// # Errors
    /// That of `work`, or what the database says; nothing is kept then.
    pub fn together<T>(
        &mut self,
        work: impl FnOnce(&mut Self) -> Result<T, ArchiveError>,
    ) -> Result<T, ArchiveError> {
        let run = |archive: &Self, sql| {
            archive
                .connection
                .execute_batch(sql)
                .map_err(|source| ArchiveError::Database {
                    file: archive.file.clone(),
                    source,
                })
        };
        run(self, "BEGIN IMMEDIATE")?;
        let done = work(self).and_then(|done| run(self, "COMMIT").map(|()| done));
        if done.is_err() {
            // Undone with the connection at the latest.
            let _ = run(self, "ROLLBACK");
        }
        done
    }
}

#[cfg(test)]
mod tests {
    use crate::archive::{Archive as _, ArchiveError, SqliteArchive};

    #[test]
    fn what_fails_in_the_middle_leaves_nothing() {
        let folder = tempfile::tempdir().unwrap();
        let mut archive = SqliteArchive::open_or_make(&folder.path().join("a.db")).unwrap();
        let failed = archive.together(|archive| {
            archive.site("Larkfield Terrace 1")?;
            archive.site("")
        });
        assert!(matches!(failed, Err(ArchiveError::Name { .. })));
        assert_eq!(archive.counts().unwrap().sites, 0);
        archive
            .together(|archive| archive.site("Larkfield Terrace 1"))
            .unwrap();
        assert_eq!(archive.counts().unwrap().sites, 1);
    }
}
