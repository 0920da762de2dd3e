//! What can go wrong, in words that say what happened, where, and what to do. Each error has
//! the exit code that `--help` documents.

mod file;
mod link;
mod samples;
mod scenario;

use std::io;
use std::net::SocketAddr;
use std::path::PathBuf;

use crate::archive::ArchiveError;
use crate::document::pdf::PdfError;
use crate::exit::Exit;

pub use file::{FileError, newer_records};
pub use link::{LinkError, PortError};
pub use samples::SamplesError;
pub use scenario::ScenarioError;

/// Any failure of a command.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    /// A port could not be opened.
    #[error(transparent)]
    Port(#[from] PortError),
    /// The tester did not answer as it should.
    #[error(transparent)]
    Link(#[from] LinkError),
    /// A file could not be used.
    #[error(transparent)]
    File(#[from] FileError),
    /// An archive could not be used.
    #[error(transparent)]
    Archive(#[from] ArchiveError),
    /// A recorded waveform could not be used.
    #[error(transparent)]
    Samples(#[from] SamplesError),
    /// The description of a receptacle could not be used.
    #[error(transparent)]
    Scenario(#[from] ScenarioError),
    /// The virtual tester could not be run.
    #[error("the virtual tester stopped: {0}; this is a mistake in the program, please report it")]
    Bench(String),
    /// The system has no pseudo-terminals.
    #[error(
        "this system has no pseudo-terminals, so no other program could reach the virtual tester; \
         `slotwise tour` works without them"
    )]
    NoPseudoTerminals,
    /// There are other things in the folder.
    #[error(
        "{}: other files are in this folder; name a new one with --out, or --force to write there",
        folder.display()
    )]
    FolderInUse {
        /// The folder.
        folder: PathBuf,
    },
    /// There is no receptacle of this name on the virtual terrace.
    #[error("there is no receptacle named `{0}`; `slotwise bench --list` names them all")]
    NoSuchReceptacle(String),
    /// There is no record of this number in the file.
    #[error("{}: there is no record {number} in it; `slotwise show` without --record lists them", file.display())]
    NoSuchRecord {
        /// The file.
        file: PathBuf,
        /// The number asked for.
        number: u32,
    },
    /// There is no such visit.
    #[error(
        "{site}: visits here: {count}; `slotwise visits list` shows them all, and `slotwise \
         visits place` says where tests were made"
    )]
    NoSuchVisit {
        /// The site.
        site: String,
        /// How many there are.
        count: usize,
    },
    /// The name of a report's file does not tell its form.
    #[error("{}: a report is a page or on paper; let the name end in .html or .pdf", file.display())]
    UnknownForm {
        /// The file.
        file: PathBuf,
    },
    /// The pages cannot be served there.
    #[error(
        "cannot serve pages at {address}: {source}; another program may have it: choose another \
         with --port"
    )]
    CannotListen {
        /// The address.
        address: SocketAddr,
        /// What the system says.
        source: io::Error,
    },
    /// The paper could not be printed.
    #[error(transparent)]
    Pdf(#[from] PdfError),
    /// The counts beside a report are not those of this run.
    #[error("{}: {what}; name another report, or take this file away", file.display())]
    OtherTrials {
        /// The file with the counts.
        file: PathBuf,
        /// What is in it.
        what: String,
    },
    /// There is no ngspice.
    #[error(
        "ngspice does not start: {0}; install it (on Debian the package ngspice), or leave \
             --against-ngspice out"
    )]
    NoNgspice(#[source] io::Error),
    /// It did not answer as it should.
    #[error("ngspice did not solve the networks: {0}; version 39 or later is needed")]
    Ngspice(String),
    /// Standard output could not be written.
    #[error("cannot write to standard output: {0}")]
    Output(#[source] io::Error),
    /// Standard input could not be read.
    #[error("cannot read the answers from standard input: {0}")]
    Input(#[source] io::Error),
    /// The document could not be put into JSON.
    #[error("cannot write JSON: {0}; this is a mistake in the program, please report it")]
    Json(#[from] serde_json::Error),
}

impl Error {
    /// The exit code of this error.
    #[must_use]
    pub const fn exit(&self) -> Exit {
        match self {
            Self::Port(_) | Self::CannotListen { .. } => Exit::Port,
            Self::Link(error) => error.exit(),
            Self::File(error) => error.exit(),
            Self::Archive(error) => error.exit(),
            Self::Samples(_) | Self::Scenario(_) | Self::OtherTrials { .. } | Self::Input(_) => {
                Exit::File
            }
            Self::Bench(_) | Self::Json(_) | Self::Pdf(_) => Exit::Program,
            Self::NoSuchReceptacle(_)
            | Self::NoSuchRecord { .. }
            | Self::NoSuchVisit { .. }
            | Self::UnknownForm { .. }
            | Self::NoNgspice(_)
            | Self::Ngspice(_) => Exit::Usage,
            Self::NoPseudoTerminals => Exit::Port,
            Self::Output(_) | Self::FolderInUse { .. } => Exit::CannotWrite,
        }
    }
}
