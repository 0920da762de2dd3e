//! The command line of what needs no tester: logs, waveforms, the atlas.

use std::path::PathBuf;

use clap::{ArgGroup, Args, ValueEnum};
use slotwise_core::slots::ClipTarget;

use super::Band;

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
