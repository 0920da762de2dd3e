//! The command line: what can be asked, in plain words.

mod office;

use std::path::PathBuf;
use std::time::Duration;

use clap::{ArgGroup, Args, Parser, Subcommand, ValueEnum};
use slotwise_core::limits::BandSet;
use slotwise_core::slots::ClipTarget;

use crate::exit;

pub use office::{
    ArchiveCommand, ArchiveFile, BackupArgs, ExportArgs, ImportArgs, NoteArgs, PlaceArgs,
    ReportArgs, ServeArgs, VerifyArgs, VisitsCommand, VisitsListArgs,
};

/// Pull, show and judge what a Slotwise receptacle tester measured.
///
/// Without a tester, start with `slotwise tour`.
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
    /// accuracy beside it, resistors of 1 and 10 ohm, and joins for the four leads. Nothing in
    /// the tester changes before the last step is confirmed. With --json every line is an object
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
    /// Write the tests of an archive for other programs: CSV, or JSON with a published schema.
    #[command(after_long_help = exit::table())]
    Export(ExportArgs),
}

/// Options of `calibrate`.
#[derive(Debug, Args)]
pub struct CalibrateArgs {
    /// The tester's port, such as /dev/ttyACM0 or COM5; not needed if one tester is plugged in.
    #[arg(long)]
    pub port: Option<String>,
    /// Accuracy of the meter in percent: 0.1 for a reference, 1.5 for a handheld meter.
    #[arg(long, value_name = "PERCENT", value_parser = percent)]
    pub meter_percent: f32,
    /// Tolerance of the two resistors in percent.
    #[arg(long, value_name = "PERCENT", default_value_t = 0.1, value_parser = percent)]
    pub resistor_percent: f32,
    /// The low resistor.
    #[arg(long, value_name = "OHM", default_value_t = 1.0, value_parser = low_ohms)]
    pub low_ohms: f32,
    /// The high resistor.
    #[arg(long, value_name = "OHM", default_value_t = 10.0, value_parser = high_ohms)]
    pub high_ohms: f32,
    /// Temperature at the bench in degrees Celsius.
    #[arg(long, value_name = "C", allow_negative_numbers = true, value_parser = celsius)]
    pub temperature: f32,
    /// Print JSON lines instead of words.
    #[arg(long)]
    pub json: bool,
}

/// Options of `doctor`.
#[derive(Debug, Args)]
pub struct DoctorArgs {
    /// The tester's port, such as /dev/ttyACM0 or COM5; not needed if one tester is plugged in.
    #[arg(long)]
    pub port: Option<String>,
    /// Set the tester's clock to that of this computer.
    #[arg(long)]
    pub set_clock: bool,
    /// Print JSON instead of words.
    #[arg(long)]
    pub json: bool,
}

fn between(text: &str, low: f32, high: f32) -> Result<f32, String> {
    match text.parse::<f32>() {
        Ok(value) if (low..=high).contains(&value) => Ok(value),
        _ => Err(format!("a number from {low} to {high}, please")),
    }
}

fn percent(text: &str) -> Result<f32, String> {
    between(text, 0.001, 5.0)
}

fn low_ohms(text: &str) -> Result<f32, String> {
    between(text, 0.9, 1.1)
}

fn high_ohms(text: &str) -> Result<f32, String> {
    between(text, 9.0, 11.0)
}

fn celsius(text: &str) -> Result<f32, String> {
    between(text, -20.0, 60.0)
}

/// Options of `atlas`.
#[derive(Debug, Args)]
pub struct AtlasArgs {
    /// Draw this many houses and testers for each wiring, judge them, and print the counts
    /// instead of the atlas.
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u64).range(1..=1 << 40))]
    pub trials: Option<u64>,
    /// Seed of the draws: the same seed gives the same counts.
    #[arg(long, value_name = "S", default_value_t = 1, requires = "trials")]
    pub seed: u64,
    /// Draw for this receptacle of the terrace only; may be given again. Tester faults are left
    /// out then.
    #[arg(long, value_name = "NAME", requires = "trials")]
    pub only: Vec<String>,
    /// Also write the counts, their limits and the claims to this page, and the counts to a
    /// JSON file of the same name beside it, after every class. A run that was ended goes on
    /// from there when it is given again.
    #[arg(long, value_name = "FILE.md", requires = "trials")]
    pub report: Option<PathBuf>,
    /// Also solve the networks of the first M trials by ngspice, which has to be installed:
    /// print how long both take and how far they are apart.
    #[arg(long, value_name = "M", requires = "trials", num_args = 0..=1,
          default_missing_value = "210", value_parser = clap::value_parser!(u64).range(1..=100_000))]
    pub against_ngspice: Option<u64>,
    /// Print JSON instead of the tables.
    #[arg(long)]
    pub json: bool,
}

/// Options of `tour`.
#[derive(Debug, Args)]
pub struct TourArgs {
    /// Folder for the log, the page and the JSON; files of an earlier tour are replaced.
    #[arg(long, value_name = "DIR", default_value = "slotwise-tour")]
    pub out: PathBuf,
    /// Visit every receptacle of the terrace, not one a house.
    #[arg(long)]
    pub all: bool,
    /// Visit the receptacle that this file describes, not the terrace; may be given again.
    #[arg(long, value_name = "FILE.toml", conflicts_with = "all")]
    pub scenario: Vec<PathBuf>,
    /// Write into the folder even if other things are in it.
    #[arg(long)]
    pub force: bool,
    /// Print JSON instead of the table.
    #[arg(long)]
    pub json: bool,
    /// Say nothing while working.
    #[arg(long, short)]
    pub quiet: bool,
    /// Use a line in memory even where there are pseudo-terminals.
    #[arg(long)]
    pub no_pty: bool,
}

/// Options of `pull`.
#[derive(Debug, Args)]
pub struct PullArgs {
    /// The tester's port, such as /dev/ttyACM0 or COM5; not needed if one tester is plugged in.
    #[arg(long)]
    pub port: Option<String>,
    /// The file to write.
    #[arg(long, value_name = "FILE.slotlog", required_unless_present = "archive")]
    pub out: Option<PathBuf>,
    /// Put the records straight into this archive; what is there already is not pulled again.
    #[arg(long, value_name = "FILE.db", conflicts_with_all = ["out", "force"])]
    pub archive: Option<PathBuf>,
    /// First record wanted: without it, record 1, or the first that the archive has not.
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..))]
    pub from: Option<u32>,
    /// Replace the file if it is there.
    #[arg(long)]
    pub force: bool,
    /// Afterwards let the tester use the room of its records again, if the file or the archive
    /// holds them all and their numbers and chain are right.
    #[arg(long)]
    pub free: bool,
    /// Print what was pulled as JSON.
    #[arg(long)]
    pub json: bool,
    /// Say nothing while working.
    #[arg(long, short)]
    pub quiet: bool,
}

/// Options of `show`.
#[derive(Debug, Args)]
pub struct ShowArgs {
    /// A log that `slotwise pull` wrote.
    #[arg(value_name = "FILE.slotlog")]
    pub file: PathBuf,
    #[command(flatten)]
    /// How to print it.
    pub print: PrintArgs,
}

/// How to print a report.
#[derive(Debug, Args)]
pub struct PrintArgs {
    /// Print the full sheet of this record instead of the table.
    #[arg(long, value_name = "N", conflicts_with = "json")]
    pub record: Option<u32>,
    /// Print JSON instead of the table.
    #[arg(long)]
    pub json: bool,
    /// Also write the page to this file.
    #[arg(long, value_name = "FILE.html")]
    pub html: Option<PathBuf>,
    /// Replace the page's file if it is there.
    #[arg(long, requires = "html")]
    pub force: bool,
}

/// Options of `judge`.
#[derive(Debug, Args)]
#[command(group = ArgGroup::new("what").required(true).args(["file", "samples"]))]
pub struct JudgeArgs {
    /// A log that `slotwise pull` wrote.
    #[arg(value_name = "FILE.slotlog")]
    pub file: Option<PathBuf>,
    /// A recorded waveform: CSV with a header naming the pairs nw, gw, ng (two suffice), volts
    /// at one instant a line; lines that begin with # are passed over.
    #[arg(long, value_name = "FILE.csv", requires = "rate")]
    pub samples: Option<PathBuf>,
    /// Samples a second of the waveform.
    #[arg(long, value_name = "HZ", requires = "samples", value_parser = rate)]
    pub rate: Option<f64>,
    /// The waveform is whole line cycles: play it end to end until it is long enough.
    #[arg(long, requires = "samples")]
    pub repeat: bool,
    /// What the clip was on, if the waveform has a column cw (clip against wide).
    #[arg(long, requires = "samples")]
    pub clip: Option<Clip>,
    /// Supply band to judge under.
    #[arg(long, default_value = "utilization")]
    pub band: Band,
    #[command(flatten)]
    /// How to print it.
    pub print: PrintArgs,
}

fn rate(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(rate) if (4_000.0..=10_000_000.0).contains(&rate) => Ok(rate),
        Ok(_) => Err("between 4000 and 10000000 samples a second, please".to_owned()),
        Err(_) => Err("not a number of samples a second".to_owned()),
    }
}

/// What the clip was on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Clip {
    /// On the frame of the appliance on this receptacle.
    Frame,
    /// On an earth that does not come through this receptacle.
    Earth,
}

impl From<Clip> for ClipTarget {
    fn from(clip: Clip) -> Self {
        match clip {
            Clip::Frame => Self::ApplianceFrame,
            Clip::Earth => Self::IndependentEarth,
        }
    }
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

/// Options of `live`.
#[derive(Debug, Args)]
pub struct LiveArgs {
    /// The tester's port, such as /dev/ttyACM0 or COM5; not needed if one tester is plugged in.
    #[arg(long)]
    pub port: Option<String>,
    /// What the clip is on; a test begins that knows it.
    #[arg(long)]
    pub clip: Option<LiveClip>,
    /// Begin a load-cycle watch, as soon as the tester can.
    #[arg(long)]
    pub watch: bool,
    /// End after this time, such as 30s or 5m; without it, q or Ctrl-C ends it.
    #[arg(long = "for", value_name = "TIME", value_parser = length)]
    pub until: Option<Duration>,
    /// Print JSON lines even on a terminal.
    #[arg(long)]
    pub json: bool,
}

/// What the clip is on now.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum LiveClip {
    /// On the frame of the appliance on this receptacle.
    Frame,
    /// On an earth that does not come through this receptacle.
    Earth,
    /// On nothing.
    None,
}

impl From<LiveClip> for ClipTarget {
    fn from(clip: LiveClip) -> Self {
        match clip {
            LiveClip::Frame => Self::ApplianceFrame,
            LiveClip::Earth => Self::IndependentEarth,
            LiveClip::None => Self::NotConnected,
        }
    }
}

fn length(text: &str) -> Result<Duration, String> {
    let wrong = || "a time such as 30s, 5m or 1h, please".to_owned();
    let signed: jiff::SignedDuration = text.parse().map_err(|_| wrong())?;
    match Duration::try_from(signed) {
        Ok(length) if !length.is_zero() => Ok(length),
        _ => Err(wrong()),
    }
}

/// Options of `bench`.
#[derive(Debug, Args)]
pub struct BenchArgs {
    /// The receptacle to plug into; see --list.
    #[arg(long, value_name = "NAME", default_value = "1")]
    pub receptacle: String,
    /// Plug into the receptacle that this file describes; see --example.
    #[arg(long, value_name = "FILE.toml", conflicts_with_all = ["receptacle", "list"])]
    pub scenario: Option<PathBuf>,
    /// List the receptacles and end.
    #[arg(long)]
    pub list: bool,
    /// Print an example of a scenario file, with every key, and end.
    #[arg(long, conflicts_with_all = ["list", "scenario", "seconds", "json"])]
    pub example: bool,
    /// End after so many seconds; without it, Ctrl-C ends it.
    #[arg(long, value_name = "S", conflicts_with = "list")]
    pub seconds: Option<u64>,
    /// Print JSON instead of words.
    #[arg(long)]
    pub json: bool,
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::CommandFactory as _;

    #[test]
    fn the_definition_is_consistent() {
        Cli::command().debug_assert();
    }

    #[test]
    fn judge_wants_a_log_or_samples_and_a_rate() {
        let parse = |line: &str| Cli::try_parse_from(line.split(' '));
        assert!(parse("slotwise judge").is_err());
        assert!(parse("slotwise judge a.slotlog").is_ok());
        assert!(parse("slotwise judge --samples a.csv").is_err());
        assert!(parse("slotwise judge --samples a.csv --rate 30000").is_ok());
        assert!(parse("slotwise judge --samples a.csv --rate 10").is_err());
        assert!(parse("slotwise judge a.slotlog --samples a.csv --rate 30000").is_err());
        assert!(parse("slotwise judge a.slotlog --repeat").is_err());
    }

    #[test]
    fn live_takes_a_time_with_its_unit() {
        let until = |time: &str| {
            let parsed = Cli::try_parse_from(["slotwise", "live", "--for", time]).ok()?;
            match parsed.command {
                Command::Live(args) => args.until,
                _ => None,
            }
        };
        assert_eq!(until("30s"), Some(Duration::from_secs(30)));
        assert_eq!(until("5m"), Some(Duration::from_secs(300)));
        for wrong in ["30", "0s", "-5s", "soon", ""] {
            assert_eq!(until(wrong), None, "{wrong}");
        }
    }

    #[test]
    fn the_help_of_a_band_gives_the_numbers_that_are_judged_by() {
        let mut sets = Vec::new();
        for band in Band::value_variants() {
            let set = BandSet::from(*band);
            let value = band.to_possible_value().expect("none is hidden");
            let help = value.get_help().expect("each has help").to_string();
            let (low, high) = (set.band().low.get(), set.band().high.get());
            assert!(help.contains(&format!("{low:.0}-{high:.0} V")), "{help}");
            assert!(!sets.contains(&set), "{band:?}");
            sets.push(set);
        }
        assert_eq!(sets.len(), BandSet::ALL.len());
        let parsed = Cli::try_parse_from(["slotwise", "judge", "a.slotlog"]).expect("a command");
        let Command::Judge(args) = parsed.command else {
            panic!("not judge");
        };
        assert_eq!(BandSet::from(args.band), BandSet::default());
    }

    #[test]
    fn the_long_help_of_every_command_holds_the_exit_codes() {
        let mut command = Cli::command();
        let names: Vec<String> = command
            .get_subcommands()
            .map(|sub| sub.get_name().to_owned())
            .collect();
        for name in names {
            let sub = command.find_subcommand_mut(&name).expect("listed");
            let help = sub.render_long_help().to_string();
            assert!(help.contains("metal may be live"), "{name}");
        }
    }
}
