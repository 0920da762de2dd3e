//! `show`: what a log holds, as the tester said it.

use super::print::print;
use crate::cli::ShowArgs;
use crate::error::Error;
use crate::exit::Exit;
use crate::log_file;
use crate::report::Report;

/// Runs `show`.
///
/// # Errors
/// A file that cannot be used.
pub(super) fn run(args: &ShowArgs) -> Result<Exit, Error> {
    let log = log_file::read(&args.file)?;
    let report = Report::of_log(args.file.display().to_string(), &log);
    print(&report, &args.file, &args.print)?;
    Ok(report.wholeness())
}
