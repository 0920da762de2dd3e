//! The command line of what talks with a tester, real or virtual.

use std::path::PathBuf;
use std::time::Duration;

use clap::{Args, ValueEnum};
use slotwise_core::slots::ClipTarget;

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
    /// Print the file that gives the right to the tester's port on Linux, and end: slotwise doctor
    /// --udev-rule | sudo tee /etc/udev/rules.d/70-slotwise.rules
    #[arg(long, conflicts_with_all = ["set_clock", "json"])]
    pub udev_rule: bool,
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
