//! Exit codes: what the program tells a script. The numbers are documented in `--help` and
//! never change their meaning; 0 is only given where nothing is in doubt.

use std::fmt::Write as _;
use std::process::ExitCode;

use slotwise_core::verdict::Outcome;

/// How a run ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(u8)]
pub enum Exit {
    /// Everything that was asked is done; for `judge` and `live`, no fault was found.
    Done = 0,
    /// A mistake in the program itself.
    Program = 1,
    /// The command line is not understood.
    Usage = 2,
    /// The port cannot be opened.
    Port = 3,
    /// The port is open, but no tester answers on it, or not to the end.
    Link = 4,
    /// A file cannot be read, or is damaged.
    File = 5,
    /// A record, file or tester speaks a newer version.
    Newer = 6,
    /// A file cannot be written.
    CannotWrite = 7,
    /// `judge`, `live`: a fault was found.
    Fault = 10,
    /// `judge`, `live`: metal may be live.
    Danger = 11,
    /// `judge`, `live`: no answer, from the evidence or from the tester.
    CannotTell = 12,
}

impl Exit {
    /// Every code, in the order of their numbers.
    pub const ALL: [Self; 11] = [
        Self::Done,
        Self::Program,
        Self::Usage,
        Self::Port,
        Self::Link,
        Self::File,
        Self::Newer,
        Self::CannotWrite,
        Self::Fault,
        Self::Danger,
        Self::CannotTell,
    ];

    /// How a run ends that tells a verdict.
    #[must_use]
    pub const fn of(outcome: Outcome) -> Self {
        match outcome {
            Outcome::Proven | Outcome::NoFaultFound => Self::Done,
            Outcome::Fault => Self::Fault,
            Outcome::Danger => Self::Danger,
            Outcome::CannotTell | Outcome::TesterFault => Self::CannotTell,
        }
    }

    /// The number that the shell sees.
    #[must_use]
    pub const fn code(self) -> u8 {
        self as u8
    }

    /// What it means, for the table in `--help`.
    #[must_use]
    pub const fn meaning(self) -> &'static str {
        match self {
            Self::Done => "done; for judge and live: no fault found, or proven",
            Self::Program => "a mistake in this program; please report it",
            Self::Usage => "the command line is not understood",
            Self::Port => "the port is not there, not yours to open, or in use",
            Self::Link => "no tester answers on the port, or it stopped answering",
            Self::File => "a file cannot be read, or a part of it is damaged",
            Self::Newer => "written by a newer version: update Slotwise",
            Self::CannotWrite => "a file cannot be written, or is already there",
            Self::Fault => "judge and live: a fault was found",
            Self::Danger => "judge and live: metal may be live",
            Self::CannotTell => "judge and live: no answer (cannot tell, or tester fault)",
        }
    }

    /// The graver of two endings of one run. A danger outranks everything, also a damaged
    /// file: it must not get lost. Then what kept the answer from being whole, then a fault,
    /// then doubt.
    #[must_use]
    pub fn graver(self, other: Self) -> Self {
        if self.rank() >= other.rank() {
            self
        } else {
            other
        }
    }

    const fn rank(self) -> u8 {
        match self {
            Self::Done => 0,
            Self::CannotTell => 1,
            Self::Fault => 2,
            Self::Newer => 3,
            Self::File => 4,
            Self::Link => 5,
            Self::Port => 6,
            Self::CannotWrite => 7,
            Self::Usage => 8,
            Self::Program => 9,
            Self::Danger => 10,
        }
    }
}

impl From<Exit> for ExitCode {
    fn from(exit: Exit) -> Self {
        Self::from(exit.code())
    }
}

/// The table that `--help` prints.
#[must_use]
pub fn table() -> String {
    let mut text = String::from("Exit codes:\n");
    for exit in Exit::ALL {
        // Writing to a String cannot fail.
        let _ = writeln!(text, "  {:>2}  {}", exit.code(), exit.meaning());
    }
    text.push_str(
        "\nA danger (11) outranks every other code of a run. \
         Set NO_COLOR to print without colour.",
    );
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn codes_are_the_documented_ones_and_in_order() {
        let codes = Exit::ALL.map(Exit::code);
        assert_eq!(codes, [0, 1, 2, 3, 4, 5, 6, 7, 10, 11, 12]);
    }

    #[test]
    fn danger_outranks_all_and_done_nothing() {
        for exit in Exit::ALL {
            assert_eq!(exit.graver(Exit::Danger), Exit::Danger);
            assert_eq!(Exit::Danger.graver(exit), Exit::Danger);
            assert_eq!(exit.graver(Exit::Done), exit);
        }
        assert_eq!(Exit::Fault.graver(Exit::CannotTell), Exit::Fault);
        assert_eq!(Exit::Fault.graver(Exit::File), Exit::File);
    }

    #[test]
    fn the_table_names_every_code() {
        let table = table();
        for exit in Exit::ALL {
            assert!(table.contains(exit.meaning()), "{exit:?}");
        }
    }
}
