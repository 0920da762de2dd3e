//! What can go wrong, in words that say what happened, where, and what to do. Each error has
//! the exit code that `--help` documents.

use std::io;
use std::path::PathBuf;
use std::time::Duration;

use slotwise_core::link::{PROTOCOL, Refusal};
use slotwise_core::record::{RecordNumber, SCHEMA};

use crate::exit::Exit;

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
    /// A recorded waveform could not be used.
    #[error(transparent)]
    Samples(#[from] SamplesError),
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
    /// Standard output could not be written.
    #[error("cannot write to standard output: {0}")]
    Output(#[source] io::Error),
    /// The document could not be put into JSON.
    #[error("cannot write JSON: {0}; this is a mistake in the program, please report it")]
    Json(#[from] serde_json::Error),
}

impl Error {
    /// The exit code of this error.
    #[must_use]
    pub const fn exit(&self) -> Exit {
        match self {
            Self::Port(_) => Exit::Port,
            Self::Link(error) => error.exit(),
            Self::File(error) => error.exit(),
            Self::Samples(_) => Exit::File,
            Self::Bench(_) | Self::Json(_) => Exit::Program,
            Self::NoSuchReceptacle(_) | Self::NoSuchRecord { .. } => Exit::Usage,
            Self::NoPseudoTerminals => Exit::Port,
            Self::Output(_) | Self::FolderInUse { .. } => Exit::CannotWrite,
        }
    }
}

/// Why a port could not be opened.
#[derive(Debug, thiserror::Error)]
pub enum PortError {
    /// No port was named and none looks like a tester.
    #[error(
        "no tester found on this computer; plug it in, or name its port with --port ({})",
        candidates(found)
    )]
    NoTester {
        /// The ports that there are.
        found: Vec<String>,
    },
    /// Several testers.
    #[error("more than one tester is plugged in ({}); name one with --port", found.join(", "))]
    Several {
        /// Their ports.
        found: Vec<String>,
    },
    /// No such port.
    #[error(
        "port {port}: not there; check the cable and the name ({})",
        candidates(found)
    )]
    NotThere {
        /// The name asked for.
        port: String,
        /// The ports that there are.
        found: Vec<String>,
    },
    /// No right to open it.
    #[error(
        "port {port}: no right to open it; on Linux add your user to the group that owns it \
         (`sudo usermod -aG dialout $USER`, on some systems `uucp`) and log in again"
    )]
    NoRights {
        /// The port.
        port: String,
    },
    /// Another program has it.
    #[error(
        "port {port}: in use by another program; close it (a serial monitor, another slotwise)"
    )]
    Busy {
        /// The port.
        port: String,
    },
    /// Not a serial port at all.
    #[error(
        "port {port}: not a serial port; name the tester's port ({})",
        candidates(found)
    )]
    NotSerial {
        /// The name asked for.
        port: String,
        /// The ports that there are.
        found: Vec<String>,
    },
    /// Anything else.
    #[error("port {port}: cannot be opened: {reason}; unplug the tester, plug it in, try again")]
    Other {
        /// The port.
        port: String,
        /// What the system says.
        reason: String,
    },
}

fn candidates(found: &[String]) -> String {
    if found.is_empty() {
        "there is no serial port on this computer now".to_owned()
    } else {
        format!("ports now: {}", found.join(", "))
    }
}

/// Why an open link did not do.
#[derive(Debug, thiserror::Error)]
pub enum LinkError {
    /// Nothing came.
    #[error(
        "{line}: no answer within {}; is it the tester's port, and is the tester switched on?",
        seconds(waited)
    )]
    Silent {
        /// The port.
        line: String,
        /// How long was waited, all tries together.
        waited: Duration,
    },
    /// Bytes came, but no message.
    #[error(
        "{line}: {bytes} bytes came, but no message of a Slotwise tester; \
         another device seems to be on this port: check --port"
    )]
    Garbage {
        /// The port.
        line: String,
        /// How many bytes.
        bytes: u64,
    },
    /// The line broke.
    #[error("{line}: the line broke: {source}; plug the tester in again, what came is kept")]
    Broken {
        /// The port.
        line: String,
        /// What the system says.
        source: io::Error,
    },
    /// The tester speaks another protocol.
    #[error(
        "{line}: the tester speaks link protocol {spoken}, this program {PROTOCOL}; {}",
        older_side(*spoken)
    )]
    Protocol {
        /// The port.
        line: String,
        /// What the tester speaks.
        spoken: u16,
    },
    /// The tester refused.
    #[error("{line}: the tester refuses: {}", refusal(reason))]
    Refused {
        /// The port.
        line: String,
        /// Why.
        reason: Refusal,
    },
    /// The tester answered something else than what was asked.
    #[error(
        "{line}: the tester's answer does not fit the question ({asked}); unplug it, try again"
    )]
    Unexpected {
        /// The port.
        line: String,
        /// What was asked.
        asked: &'static str,
    },
    /// A pull came to a stop.
    #[error(
        "{line}: the pull stopped at record {next} after {tries} tries; \
         check the cable, then pull the rest with --from {next}"
    )]
    Stopped {
        /// The port.
        line: String,
        /// First record that is missing.
        next: u32,
        /// How often it was asked for.
        tries: u32,
    },
}

impl LinkError {
    const fn exit(&self) -> Exit {
        match self {
            Self::Protocol { spoken, .. } if *spoken > PROTOCOL => Exit::Newer,
            _ => Exit::Link,
        }
    }
}

fn seconds(duration: &Duration) -> String {
    format!("{:.1} s", duration.as_secs_f32())
}

const fn older_side(spoken: u16) -> &'static str {
    if spoken > PROTOCOL {
        "update Slotwise on this computer"
    } else {
        "update the tester's firmware"
    }
}

fn refusal(reason: &Refusal) -> String {
    match reason {
        Refusal::NotUnderstood => {
            "it does not understand the question; update its firmware".to_owned()
        }
        Refusal::Protocol { spoken } => format!("it speaks link protocol {spoken}"),
        Refusal::JournalUnreadable { number } => format!(
            "its journal cannot be read at record {}; pull with --from {}",
            number.get(),
            number.next().get()
        ),
        Refusal::Busy => "a test is running; wait a few seconds and try again".to_owned(),
    }
}

/// Why a file could not be used.
#[derive(Debug, thiserror::Error)]
pub enum FileError {
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
    const fn exit(&self) -> Exit {
        match self {
            Self::Unreadable { .. } | Self::Empty { .. } | Self::NotALog { .. } => Exit::File,
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

/// Why a recorded waveform could not be used.
#[derive(Debug, thiserror::Error)]
pub enum SamplesError {
    /// Cannot be read.
    #[error("{file}: cannot be read: {reason}; check the name and the rights")]
    Unreadable {
        /// The file.
        file: String,
        /// What the system says.
        reason: String,
    },
    /// The header is not understood.
    #[error(
        "{file}: line {line}: column {column} is called `{found}`; \
         the header names the pairs: nw, gw, ng (two of them suffice), and cw for the clip"
    )]
    Header {
        /// The file.
        file: String,
        /// Line, from 1.
        line: u64,
        /// Column, from 1.
        column: usize,
        /// What stands there.
        found: String,
    },
    /// Too few pairs.
    #[error(
        "{file}: line {line}: the header names too few pairs; \
         two of nw, gw, ng are needed, for example `nw,gw`"
    )]
    TooFewPairs {
        /// The file.
        file: String,
        /// Line, from 1.
        line: u64,
    },
    /// A value is not a number of volts.
    #[error(
        "{file}: line {line}, column {column} ({pair}): `{found}` is not a voltage; \
         write volts as plain numbers, for example -12.5, between -600 and 600"
    )]
    Value {
        /// The file.
        file: String,
        /// Line, from 1.
        line: u64,
        /// Column, from 1.
        column: usize,
        /// The pair of this column.
        pair: &'static str,
        /// What stands there.
        found: String,
    },
    /// A row of another length.
    #[error("{file}: line {line}: {found} values, the header names {expected} columns")]
    RowLength {
        /// The file.
        file: String,
        /// Line, from 1.
        line: u64,
        /// Values found.
        found: usize,
        /// Columns named.
        expected: usize,
    },
    /// Three pairs that contradict each other.
    #[error(
        "{file}: line {line}: nw - ng - gw is {residue:.1} V, but around one receptacle it is 0; \
         check the signs: nw is narrow against wide, gw ground against wide, ng narrow against ground"
    )]
    NotClosed {
        /// The file.
        file: String,
        /// Line, from 1.
        line: u64,
        /// By how much.
        residue: f64,
    },
    /// No samples.
    #[error(
        "{file}: no samples in it; at least two lines after the header hold the volts of one instant each"
    )]
    NoSamples {
        /// The file.
        file: String,
    },
    /// Too short for a window.
    #[error(
        "{file}: {got:.3} s of samples, a test needs {needed:.1} s; record longer, give the right \
         --rate, or add --repeat if the recording is whole cycles that may be joined end to end"
    )]
    TooShort {
        /// The file.
        file: String,
        /// Seconds in it.
        got: f64,
        /// Seconds needed.
        needed: f64,
    },
    /// A clip column without a word on what the clip was on.
    #[error("{file}: there is a clip column (cw), but --clip does not say what the clip was on")]
    ClipUnsaid {
        /// The file.
        file: String,
    },
    /// A word on the clip without a clip column.
    #[error("{file}: --clip is given, but there is no column cw (clip against wide)")]
    ClipMissing {
        /// The file.
        file: String,
    },
}
