//! `judge`: judges a log again under the limits of this program, or a recorded waveform; the
//! exit code tells the gravest verdict.

use std::path::Path;

use slotwise_core::slots::ClipTarget;

use super::print::print;
use crate::bench::recorded::{self, Play};
use crate::cli::JudgeArgs;
use crate::error::{Error, SamplesError};
use crate::exit::Exit;
use crate::log_file;
use crate::report::Report;
use crate::samples;

/// Runs `judge`.
///
/// # Errors
/// A file that cannot be used.
pub(super) fn run(args: &JudgeArgs) -> Result<Exit, Error> {
    if let (Some(file), Some(rate)) = (&args.samples, args.rate) {
        return judge_samples(file, rate, args);
    }
    // The command line has one of the two.
    let file = args.file.as_deref().unwrap_or_else(|| Path::new(""));
    let log = log_file::read(file)?;
    let mut report = Report::of_log(file.display().to_string(), &log);
    report.judge_again(args.band.into());
    print(&report, file, &args.print)?;
    Ok(report.wholeness().graver(report.judgement()))
}

fn judge_samples(file: &Path, rate: f64, args: &JudgeArgs) -> Result<Exit, Error> {
    let recording = samples::read(file)?;
    let name = file.display().to_string();
    match (&recording.cw, args.clip) {
        (Some(_), None) => return Err(SamplesError::ClipUnsaid { file: name }.into()),
        (None, Some(_)) => return Err(SamplesError::ClipMissing { file: name }.into()),
        _ => {}
    }
    let play = Play {
        name: &name,
        rate,
        repeat: args.repeat,
        clip: args.clip.map_or(ClipTarget::NotConnected, ClipTarget::from),
        band: args.band.into(),
    };
    let report = recorded::judge(recording, play)?;
    print(&report, file, &args.print)?;
    Ok(report.judgement())
}
