//! What can go wrong with a port, and on an open link.

use std::io;
use std::time::Duration;

use slotwise_core::link::{JournalRefusal, PROTOCOL, Refusal};

use crate::exit::Exit;

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
    /// The tester refused what was asked of its log memory.
    #[error("{line}: the tester refuses: {}", journal_refusal(*reason))]
    Journal {
        /// The port.
        line: String,
        /// Why.
        reason: JournalRefusal,
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
    /// A tester that was watched went away.
    #[error(
        "{line}: the tester went away and did not come back within {}; \
         check the cable and start again",
        seconds(waited)
    )]
    Gone {
        /// The port.
        line: String,
        /// How long it was waited for.
        waited: Duration,
    },
}

impl LinkError {
    pub(super) const fn exit(&self) -> Exit {
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
        Refusal::SelfTest => "it failed a test of itself and measures nothing: look at its last \
             record (`slotwise pull`), switch it off and on, and have it checked if it says so again"
            .to_owned(),
        Refusal::Busy => "a test is running; wait a few seconds and try again".to_owned(),
    }
}

const fn journal_refusal(reason: JournalRefusal) -> &'static str {
    match reason {
        JournalRefusal::NotTheSame => {
            "its last record is not the one in the file, or it was freed before; pull again"
        }
        JournalRefusal::NothingToFree => "no record is verified that is not freed already",
        JournalRefusal::Token => "the question came too late or was another one; try again",
        JournalRefusal::NotStored => {
            "its log memory did not take it, and nothing was freed; have the tester checked"
        }
        JournalRefusal::Failed => "its log memory failed; have the tester checked",
    }
}
