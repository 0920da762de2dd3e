//! What can go wrong with a file.

use std::io;
use std::path::PathBuf;

use slotwise_core::link::PROTOCOL;
use slotwise_core::record::{RecordNumber, SCHEMA};

use crate::exit::Exit;

/// Why a file could not be used.
#[derive(Debug, thiserror::Error)]
pub enum FileError {
    /// The settings cannot be understood.
    #[error(
        "{}: settings: {what}; mend the file, or run with SLOTWISE_CONFIG= to leave it out",
        file.display()
    )]
    Settings {
        /// The file.
        file: PathBuf,
        /// What is wrong, and where.
        what: String,
    },
    /// Cannot be read at all.
    #[error("{}: cannot be read: {source}; check the name and the rights", file.display())]
    Unreadable {
        /// The file.
        file: PathBuf,
        /// What the system says.
        source: io::Error,
    },
    /// Holds nothing.
    #[error("{}: the file is empty; pull the log again", file.display())]
    Empty {
        /// The file.
        file: PathBuf,
    },
    /// Not a log.
    #[error(
        "{}: not a Slotwise log (no whole frame in the first {looked} bytes); \
         give a file that `slotwise pull` wrote",
        file.display()
    )]
    NotALog {
        /// The file.
        file: PathBuf,
        /// Bytes looked at.
        looked: u64,
    },
    /// A log of a newer protocol.
    #[error(
        "{}: pulled from a tester of link protocol {found}, this version reads {PROTOCOL}; \
         update Slotwise; the file is left as it is",
        file.display()
    )]
    NewerProtocol {
        /// The file.
        file: PathBuf,
        /// Its protocol.
        found: u16,
    },
    /// It is there already.
    #[error("{}: already there; give another name, or --force to replace it", file.display())]
    Exists {
        /// The file.
        file: PathBuf,
    },
    /// Cannot be written.
    #[error("{}: cannot be written: {source}; check folder, rights and space", file.display())]
    CannotWrite {
        /// The file.
        file: PathBuf,
        /// What the system says.
        source: io::Error,
    },
}

impl FileError {
    pub(super) const fn exit(&self) -> Exit {
        match self {
            Self::Settings { .. }
            | Self::Unreadable { .. }
            | Self::Empty { .. }
            | Self::NotALog { .. } => Exit::File,
            Self::NewerProtocol { .. } => Exit::Newer,
            Self::Exists { .. } | Self::CannotWrite { .. } => Exit::CannotWrite,
        }
    }
}

/// The note for records that only a newer version reads.
#[must_use]
pub fn newer_records(numbers: &[RecordNumber]) -> String {
    let list: Vec<String> = numbers.iter().map(|n| n.get().to_string()).collect();
    format!(
        "records of a newer schema than {SCHEMA}, which this version reads: {}; \
         update Slotwise to see them; they are kept unchanged",
        list.join(", ")
    )
}
