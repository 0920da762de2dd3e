//! The command line: what can be asked, in plain words.

mod logs;
mod office;
mod testers;

use std::path::PathBuf;

use clap::{Args, Parser, Subcommand, ValueEnum};
use slotwise_core::limits::BandSet;

use crate::exit;

pub use logs::{AtlasArgs, Clip, JudgeArgs, PrintArgs, ShowArgs};

pub use office::{
    ArchiveCommand, ArchiveFile, BackupArgs, CopyArgs, ExportArgs, ImportArgs, NoteArgs, PlaceArgs,
    ReportArgs, ReportChoice, ServeArgs, VerifyArgs, VisitsCommand, VisitsListArgs,
};
pub use testers::{BenchArgs, CalibrateArgs, DoctorArgs, LiveArgs, LiveClip, PullArgs, TourArgs};

/// Pull, show and judge what a Slotwise receptacle tester measured.
///
/// Without a tester, start with `slotwise tour`. Settings: archive, prepared_by, office, band and port
/// may stand in a file slotwise/slotwise.toml where this system keeps settings, or in the one
/// that SLOTWISE_CONFIG names; what is typed wins.
#[derive(Debug, Parser)]
#[command(name = "slotwise", version, after_long_help = exit::table())]
pub struct Cli {
    /// What to do.
    #[command(subcommand)]
    pub command: Command,
}

/// The commands.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Let a virtual tester look at the receptacles of an invented terrace, and report.
    ///
    /// No hardware is needed. The real firmware runs on a computed tester behind a
    /// pseudo-terminal; its log is pulled over that port, judged and reported.
    #[command(after_long_help = exit::table())]
    Tour(TourArgs),
    /// Copy the log of a tester into a file.
    #[command(after_long_help = exit::table())]
    Pull(PullArgs),
    /// Show what a pulled log holds.
    #[command(after_long_help = exit::table())]
    Show(ShowArgs),
    /// Judge a log again, or a recorded waveform; the exit code tells the verdict.
    #[command(after_long_help = exit::table())]
    Judge(JudgeArgs),
    /// See what a tester sees now: lamps, voltages, ohms, load steps, the finding in words.
    ///
    /// On a terminal it fills the screen. Otherwise, or with --json, it prints one JSON object
    /// a line: `event` is found, look, done, busy, not_sent or lost; a value is {value, u, unit}
    /// with its standard uncertainty, or {missing}. A tester that goes away is waited for, 20 s.
    /// The exit code tells the last answer; a danger seen at any time ends it with 11.
    #[command(after_long_help = exit::table())]
    Live(LiveArgs),
    /// Run a virtual tester at an invented receptacle, for trying things out.
    #[command(after_long_help = exit::table())]
    Bench(BenchArgs),
    /// Calibrate a tester, guided step by step.
    ///
    /// Needs a source of 60 to 132 V AC behind an isolating transformer, a meter of known
    /// accuracy beside it, resistors of 1 and 10 ohm, and joins for the four leads. First it asks
    /// what the limiters of the drive let through: steps 15a and 15b of hardware/checks.md. Nothing
    /// in the tester changes before the last step is confirmed. With --json every line is an object
    /// with `event` and `text`; answers are read from standard input all the same. Ends with 12
    /// where nothing was stored.
    #[command(after_long_help = exit::table())]
    Calibrate(CalibrateArgs),
    /// Look whether computer, port and tester are fit for work, and say what to do.
    ///
    /// Ends with 3 where the port cannot be opened, 4 where no tester answers, 6 where the tester
    /// is too new for this program, 12 where the tester is not fit to answer (calibration missing
    /// or expired, journal full or failed), else with 0.
    #[command(after_long_help = exit::table())]
    Doctor(DoctorArgs),
    /// List every wiring of a receptacle: what each means reads there, what cannot be told from
    /// it, and what would tell.
    ///
    /// 190 computed wirings, grouped by what the slots alone cannot tell apart.
    #[command(after_long_help = exit::table())]
    Atlas(AtlasArgs),
    /// Keep the logs of every tester in one archive, and check it.
    #[command(subcommand, after_long_help = exit::table())]
    Archive(ArchiveCommand),
    /// List the visits in an archive, and say which tests were made where.
    #[command(subcommand, after_long_help = exit::table())]
    Visits(VisitsCommand),
    /// Keep what a hand meter showed and what was seen at panel, electrode and appliance.
    ///
    /// Readings are judged by the same limits as the tester's; answers are told what they mean,
    /// and which tests at that place they explain.
    #[command(after_long_help = exit::table())]
    Note(NoteArgs),
    /// Write the report of one visit, as a page (.html) or on paper (.pdf).
    ///
    /// For a homeowner, an inspector, an electrician: the answer in words, what to do next, what
    /// each slot is on, every measured value with its uncertainty, what is not proven and how to
    /// prove it, notes of that visit, limits with their source, and the records it rests on.
    #[command(after_long_help = exit::table())]
    Report(ReportArgs),
    /// Show the archive in a browser: sites, visits, trends, reports.
    ///
    /// Plain pages without script, for this computer only unless --listen says otherwise.
    #[command(after_long_help = exit::table())]
    Serve(ServeArgs),
    /// Write the tests of an archive for other programs: CSV, JSON with a published schema, or
    /// Parquet.
    #[command(after_long_help = exit::table())]
    Export(ExportArgs),
    /// Print what lets a shell complete these commands.
    ///
    /// For bash, for example: slotwise completions bash >
    /// ~/.local/share/bash-completion/completions/slotwise
    #[command(after_long_help = exit::table())]
    Completions(CompletionsArgs),
    /// Write the manual: a page for `man` for every command.
    #[command(after_long_help = exit::table())]
    Manual(ManualArgs),
}

/// Options of `completions`.
#[derive(Debug, Args)]
pub struct CompletionsArgs {
    /// The shell.
    #[arg(value_name = "SHELL")]
    pub shell: clap_complete::Shell,
}

/// Options of `manual`.
#[derive(Debug, Args)]
pub struct ManualArgs {
    /// The folder for the pages; made if it is not there.
    #[arg(long, value_name = "DIR")]
    pub out: PathBuf,
}

/// A supply band. What each one is in numbers is said by the core's `limits`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Band {
    /// Voltage at the receptacle: ANSI C84.1 utilization, 108-126 V, out beyond 104-127 V.
    Utilization,
    /// Voltage at the point of delivery: ANSI C84.1 service, 114-126 V, out beyond 110-127 V.
    Service,
    /// Maryland's binding band of the service voltage: 114-126 V.
    Maryland,
    /// Illinois' binding band at the point of delivery: 113-127 V.
    Illinois,
}

impl From<Band> for BandSet {
    fn from(band: Band) -> Self {
        match band {
            Band::Utilization => Self::C84Utilization,
            Band::Service => Self::C84Service,
            Band::Maryland => Self::MarylandService,
            Band::Illinois => Self::IllinoisService,
        }
    }
}

#[cfg(test)]
mod tests;
