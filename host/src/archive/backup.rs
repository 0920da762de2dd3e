//! A copy of the archive while other programs may be writing to it: whole or not there at all.

use std::path::{Path, PathBuf};

use rusqlite::Connection;
use rusqlite::backup::{Backup, StepResult};

use super::ArchiveError;
use super::opening::REST;

/// Copies the archive behind `connection` to the new file `to`.
pub(super) fn backup(connection: &Connection, to: &Path) -> Result<(), ArchiveError> {
    into_new_file(to, |part| {
        copy(connection, part).map_err(|source| ArchiveError::Database {
            file: part.to_owned(),
            source,
        })
    })
}

/// Lets `fill` write an archive beside `to`, and gives it the name when it is whole.
pub(super) fn into_new_file(
    to: &Path,
    fill: impl FnOnce(&Path) -> Result<(), ArchiveError>,
) -> Result<(), ArchiveError> {
    let there = || ArchiveError::BackupThere {
        file: to.to_owned(),
    };
    if to.exists() {
        return Err(there());
    }
    let mut part = to.as_os_str().to_owned();
    part.push(".part");
    let part = PathBuf::from(part);
    let cannot = |source| ArchiveError::CannotWrite {
        file: part.clone(),
        source,
    };
    // Nobody else's part is written over.
    std::fs::OpenOptions::new()
        .write(true)
        .create_new(true)
        .open(&part)
        .map_err(cannot)?;
    let copied = fill(&part);
    // A link takes the name only if it is still free; a rename would take it in any case.
    let named = copied.and_then(|()| match std::fs::hard_link(&part, to) {
        Err(error) if error.kind() == std::io::ErrorKind::AlreadyExists => Err(there()),
        // Some file systems have no links; there the name was free a moment ago.
        Err(_) => std::fs::rename(&part, to).map_err(cannot),
        Ok(()) => Ok(()),
    });
    let _ = std::fs::remove_file(&part);
    named
}

/// Copies all pages in one step. In a write-ahead log that step sees one state of the archive
/// and keeps nobody from writing; many small steps would begin again at every write of another
/// program.
fn copy(from: &Connection, part: &Path) -> rusqlite::Result<()> {
    let mut to = Connection::open(part)?;
    {
        let backup = Backup::new(from, &mut to)?;
        loop {
            match backup.step(-1)? {
                StepResult::Done => break,
                _ => std::thread::sleep(REST),
            }
        }
    }
    to.close().map_err(|(_, error)| error)
}
