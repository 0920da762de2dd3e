//! Printing a report the way that the options ask for.

use std::path::Path;

use super::{note, out};
use crate::cli::PrintArgs;
use crate::client::RawFrame;
use crate::error::{Error, newer_records};
use crate::log_file::{LogWriter, replace};
use crate::report::{Report, html, json, sheet, table};

/// Prints `report`; says on standard error what of the log is not whole.
///
/// # Errors
/// [`Error::NoSuchRecord`], or a page that cannot be written.
pub(super) fn print(report: &Report, file: &Path, args: &PrintArgs) -> Result<(), Error> {
    if let Some(page) = &args.html {
        write_page(report, page, args.force, false)?;
    }
    if args.json {
        out(&json::document(report)?)?;
    } else if let Some(number) = args.record {
        let item = report.items.iter().find(|item| item.number.get() == number);
        let item = item.ok_or_else(|| Error::NoSuchRecord {
            file: file.to_owned(),
            number,
        })?;
        out(&sheet::render(report, item, table::width()))?;
    } else {
        out(&table::render(report, table::width()))?;
    }
    complain(report, file);
    Ok(())
}

/// Writes the page of `report`.
///
/// # Errors
/// What kept it from being written.
pub(super) fn write_page(
    report: &Report,
    page: &Path,
    force: bool,
    quiet: bool,
) -> Result<(), Error> {
    let text = html::page(report);
    if force {
        replace(page, text.as_bytes())?;
    } else {
        let mut writer = LogWriter::create(page, false)?;
        writer.append(&RawFrame(text.into_bytes()))?;
        writer.finish()?;
    }
    if !quiet {
        note(&format!("the page is {}", page.display()));
    }
    Ok(())
}

fn complain(report: &Report, file: &Path) {
    let file = file.display();
    for damage in &report.damages {
        note(&format!("{file}: {damage}"));
    }
    let newer = report.newer();
    for item in &report.items {
        let number = item.number.get();
        if item.link.is_wrong() {
            let what = report.language.chain(item.link);
            note(&format!("{file}: record {number}: {what}"));
        }
        if let Err(why) = &item.record
            && !newer.contains(&item.number)
        {
            note(&format!("{file}: record {number}: {why}"));
        }
    }
    if !newer.is_empty() {
        note(&format!("{file}: {}", newer_records(&newer)));
    }
    if report.is_damaged() {
        note(&format!(
            "{file}: not whole; everything that is whole is shown. \
             Nothing is lost in the tester: pull the log again"
        ));
    }
}
