//! What can go wrong with an archive.

use std::io;
use std::path::PathBuf;

use crate::exit::Exit;

/// Why an archive could not be used.
#[derive(Debug, thiserror::Error)]
pub enum ArchiveError {
    /// There is none.
    #[error(
        "{}: there is no such archive; `slotwise archive import` makes one",
        file.display()
    )]
    NotThere {
        /// The file.
        file: PathBuf,
    },
    /// Another kind of file.
    #[error(
        "{}: not a Slotwise archive; give a file that `slotwise archive import` made",
        file.display()
    )]
    NotAnArchive {
        /// The file.
        file: PathBuf,
    },
    /// Written by a newer version.
    #[error(
        "{}: an archive of version {found}, this program knows {known}; \
         update Slotwise; the archive is left as it is",
        file.display()
    )]
    Newer {
        /// The file.
        file: PathBuf,
        /// Its version.
        found: i64,
        /// Newest that this program knows.
        known: i64,
    },
    /// The database says no.
    #[error("{}: {source}; nothing of this step was kept{}", file.display(), advice(source))]
    Database {
        /// The file.
        file: PathBuf,
        /// What it says.
        source: rusqlite::Error,
    },
    /// What is stored cannot be understood.
    #[error(
        "{}: {what}; it was changed by another program: run `slotwise archive verify` on it",
        file.display()
    )]
    Content {
        /// The file.
        file: PathBuf,
        /// What cannot be understood.
        what: String,
    },
    /// The server says no, or cannot be reached.
    #[error("{}: {what}; nothing of this step was kept", place.display())]
    Server {
        /// Its address, without a password.
        place: PathBuf,
        /// What it says.
        what: String,
    },
    /// An address of a server in a program that knows only files.
    #[error(
        "{}: this program was built without PostgreSQL; build it with `--features postgres`, or \
         name a file",
        place.display()
    )]
    NoPostgres {
        /// The address, without a password.
        place: PathBuf,
    },
    /// A copy needs an empty archive.
    #[error(
        "the archive to copy to holds {records} records and {sites} sites already; name a new one. \
         Logs are brought together by `slotwise archive import`"
    )]
    NotEmpty {
        /// Records in it.
        records: u64,
        /// Sites in it.
        sites: u64,
    },
    /// A log that does not say whose it is.
    #[error(
        "{source_name}: the frame with the tester's name is missing and no record in it can be \
         read, so nobody knows whose these are; pull the log again"
    )]
    Whose {
        /// The log.
        source_name: String,
    },
    /// The backup's file is there already.
    #[error("{}: already there; name a new file for the backup", file.display())]
    BackupThere {
        /// The file.
        file: PathBuf,
    },
    /// A file beside the archive cannot be written.
    #[error("{}: cannot be written: {source}; check folder, rights and space", file.display())]
    CannotWrite {
        /// The file.
        file: PathBuf,
        /// What the system says.
        source: io::Error,
    },
    /// A name that cannot be one.
    #[error("a {what} needs a name of 1 to {most} characters; this one has {found}")]
    Name {
        /// Site or appliance.
        what: &'static str,
        /// Most characters.
        most: usize,
        /// Characters found.
        found: usize,
    },
    /// There is no such site.
    #[error("there is no site named `{0}`; `slotwise visits list` lists them")]
    NoSuchSite(String),
    /// There are no such tests.
    #[error(
        "tester {tester} has no tests among records {from} to {to} in this archive; \
         `slotwise visits list` lists what there is"
    )]
    NoSuchTests {
        /// Which tester.
        tester: String,
        /// First record.
        from: u32,
        /// Last record.
        to: u32,
    },
    /// An office's name that no folder can have.
    #[error(
        "`{name}` cannot be the name of an office, which has 1 to {most} characters; give --office \
         NAME, or `office` in the settings"
    )]
    Office {
        /// Most characters.
        most: usize,
        /// The name, or its beginning.
        name: String,
    },
    /// Another export into the same folder.
    #[error(
        "{}: another export into this folder is running; try again when it is done",
        folder.display()
    )]
    Exporting {
        /// The office's folder.
        folder: PathBuf,
    },
    /// What is printed could not be written.
    #[error("cannot write: {0}; check folder, rights and space")]
    Output(#[source] io::Error),
}

impl ArchiveError {
    /// The exit code.
    #[must_use]
    pub const fn exit(&self) -> Exit {
        match self {
            Self::NotThere { .. }
            | Self::NotAnArchive { .. }
            | Self::Content { .. }
            | Self::Whose { .. } => Exit::File,
            Self::Newer { .. } => Exit::Newer,
            Self::Database { .. }
            | Self::Server { .. }
            | Self::BackupThere { .. }
            | Self::CannotWrite { .. }
            | Self::Exporting { .. }
            | Self::Output(_) => Exit::CannotWrite,
            Self::NoPostgres { .. }
            | Self::NotEmpty { .. }
            | Self::Name { .. }
            | Self::Office { .. }
            | Self::NoSuchSite(_)
            | Self::NoSuchTests { .. } => Exit::Usage,
        }
    }
}

fn advice(source: &rusqlite::Error) -> &'static str {
    use rusqlite::ErrorCode;
    match source.sqlite_error_code() {
        Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => {
            ". Another program is writing to it: try again in a moment"
        }
        Some(ErrorCode::DiskFull) => ". The disk is full: make room and try again",
        Some(ErrorCode::ReadOnly | ErrorCode::CannotOpen | ErrorCode::PermissionDenied) => {
            ". Check the rights of file and folder"
        }
        Some(ErrorCode::DatabaseCorrupt) => {
            ". The file is damaged: go back to a backup and import the logs since then again"
        }
        _ => "",
    }
}
