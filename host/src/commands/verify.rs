//! `archive verify`: every record of an archive, checked.

use serde::Serialize;

use super::archive::print_json;
use super::{note, out};
use crate::archive::{self, Fault};
use crate::cli::VerifyArgs;
use crate::error::Error;
use crate::exit::Exit;

#[derive(Serialize)]
struct Document {
    format: &'static str,
    version: u32,
    testers: u64,
    records: u64,
    whole: bool,
    faults: Vec<Entry>,
    file: Vec<String>,
}

#[derive(Serialize)]
struct Entry {
    tester: String,
    record: u32,
    what: String,
}

/// Runs `archive verify`.
///
/// # Errors
/// An archive that cannot be read.
pub(super) fn run(args: &VerifyArgs) -> Result<Exit, Error> {
    let file = &args.archive.archive;
    let archive = archive::open(file)?;
    let mut faults = Vec::new();
    let verified = archive.verify(&mut |fault: Fault| {
        if !args.json {
            note(&fault.to_string());
        }
        faults.push(Entry {
            tester: fault.tester.to_string(),
            record: fault.number.get(),
            what: fault.to_string(),
        });
    })?;
    for line in &verified.file {
        note(&format!("{}: {line}", file.display()));
    }
    let exit = if verified.is_whole() {
        Exit::Done
    } else {
        Exit::File
    };
    if args.json {
        print_json(&Document {
            format: "slotwise-verify",
            version: 1,
            testers: verified.testers,
            records: verified.records,
            whole: verified.is_whole(),
            faults,
            file: verified.file,
        })?;
    } else if verified.is_whole() {
        out(&format!(
            "{} records of {} testers: whole, and each follows from the one before\n",
            verified.records, verified.testers
        ))?;
    } else {
        out(&format!(
            "{} records of {} testers: {} faults. A gap is filled by pulling and importing again; \
             for a changed record, look into the backup\n",
            verified.records,
            verified.testers,
            verified.faults + verified.file.len() as u64
        ))?;
    }
    Ok(exit)
}
