//! A start of the tester as values of the JSON document.

use serde::Serialize;
use slotwise_core::start::{Start, Stop, Stopped};

use crate::texts::codes;

/// A start.
#[derive(Serialize)]
pub(crate) struct StartEntry {
    cause: &'static str,
    /// Which build of the firmware; null if it is no finished image.
    build: Option<String>,
    /// How the run before ended, if its program stopped by itself and the tester still knew.
    #[serde(skip_serializing_if = "Option::is_none")]
    stopped: Option<StoppedEntry>,
}

#[derive(Serialize)]
struct StoppedEntry {
    /// The start that ended; 0 if it ended before it knew.
    boot: u32,
    millis_since_boot: u64,
    by: &'static str,
    #[serde(flatten)]
    place: Place,
}

#[derive(Serialize)]
#[serde(untagged)]
enum Place {
    Source {
        file: String,
        line: u32,
    },
    Address {
        program_counter: String,
        link_register: String,
        interrupt: u32,
    },
    Stages {
        missing_stages: Vec<&'static str>,
    },
}

impl StartEntry {
    pub(crate) fn of(start: &Start) -> Self {
        Self {
            cause: codes::boot(start.cause),
            build: start.build.map(|build| build.to_string()),
            stopped: start.stopped.as_ref().map(StoppedEntry::of),
        }
    }
}

impl StoppedEntry {
    fn of(stopped: &Stopped) -> Self {
        Self {
            boot: stopped.boot,
            millis_since_boot: stopped.at.get(),
            by: codes::stop(stopped.how),
            place: match stopped.how {
                Stop::Panic { file, line } => Place::Source {
                    file: file.to_string(),
                    line,
                },
                Stop::Fault { pc, lr, psr } => Place::Address {
                    program_counter: format!("{pc:08x}"),
                    link_register: format!("{lr:08x}"),
                    interrupt: psr & 0x1ff,
                },
                Stop::Watchdog { missing } => Place::Stages {
                    missing_stages: missing.iter().map(codes::stage).collect(),
                },
            },
        }
    }
}
