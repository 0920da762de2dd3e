//! `archive` and `pull --archive`: records into the archive, a copy of it, what is in it.

use std::path::Path;

use serde::Serialize;
use slotwise_core::link::JournalReport;
use slotwise_core::record::{RecordNumber, TesterId};
use slotwise_core::units::UnixSeconds;

use super::clear::{self, Cleared};
use super::progress::{Of, Progress};
use super::{note, out, verify};
use crate::archive::{self, Archive, Arrival, Imported, batch_of};
use crate::cli::{ArchiveCommand, BackupArgs, CopyArgs, ImportArgs, PullArgs, VerifyArgs};
use crate::client::Client;
use crate::error::Error;
use crate::exit::Exit;
use crate::log_file::{self, KeptRecord, LogFile};
use crate::pulling;

/// Runs `archive`.
///
/// # Errors
/// An archive that cannot be used.
pub(super) fn run(command: &ArchiveCommand) -> Result<Exit, Error> {
    match command {
        ArchiveCommand::Import(args) => import(args),
        ArchiveCommand::Verify(args) => verify::run(args),
        ArchiveCommand::Backup(args) => backup(args),
        ArchiveCommand::Copy(args) => copy(args),
        ArchiveCommand::Info(args) => info(args),
    }
}

#[derive(Serialize)]
struct Summary {
    format: &'static str,
    version: u32,
    files: Vec<FileSummary>,
    not_imported: Vec<NotImported>,
    /// Last record that the tester knows to be verified, if one was asked.
    #[serde(skip_serializing_if = "Option::is_none")]
    verified: Option<u32>,
    /// Last record whose room the tester may use again, as far as this pull was told.
    #[serde(skip_serializing_if = "Option::is_none")]
    freed: Option<u32>,
}

#[derive(Serialize)]
struct FileSummary {
    source: String,
    tester: String,
    added: u64,
    already: u64,
    conflicts: Vec<u32>,
    chain: Vec<String>,
    damages: usize,
}

#[derive(Serialize)]
struct NotImported {
    source: String,
    why: String,
}

fn import(args: &ImportArgs) -> Result<Exit, Error> {
    let mut archive = archive::open_or_make(&args.archive.archive)?;
    let mut exit = Exit::Done;
    let mut files = Vec::new();
    let mut not_imported = Vec::new();
    let size = |file: &Path| std::fs::metadata(file).map_or(0, |about| about.len());
    let total = args.files.iter().map(|file| size(file)).sum();
    let bar = Progress::begin(Of::Bytes, total, args.json);
    let (mut read, mut added) = (0, 0);
    for file in &args.files {
        let arrival = import_file(archive.as_mut(), file, &bar);
        read += size(file);
        bar.at(read);
        match arrival {
            Ok(arrival) => {
                added += arrival.imported.added;
                bar.with(added.to_string());
                bar.say(|| exit = exit.graver(complain(&arrival)));
                files.push(summary(arrival));
            }
            Err(error) => {
                bar.say(|| note(&error.to_string()));
                exit = exit.graver(error.exit());
                not_imported.push(NotImported {
                    source: file.display().to_string(),
                    why: error.to_string(),
                });
            }
        }
    }
    drop(bar);
    if args.json {
        print_json(&Summary {
            format: "slotwise-import",
            version: 1,
            files,
            not_imported,
            verified: None,
            freed: None,
        })?;
    } else {
        let already: u64 = files.iter().map(|file| file.already).sum();
        out(&format!(
            "{} of {} files are in {}: {added} new records, {already} were there already\n",
            files.len(),
            args.files.len(),
            archive::shown(&args.archive.archive).display()
        ))?;
    }
    Ok(exit)
}

fn import_file(archive: &mut dyn Archive, file: &Path, bar: &Progress) -> Result<Arrival, Error> {
    let source = file.display().to_string();
    let log = log_file::read(file)?;
    for damage in &log.damages {
        bar.say(|| note(&format!("{source}: {damage}")));
    }
    let batch = batch_of(&source, log, now())?;
    let imported = archive.import(&batch)?;
    Ok(Arrival {
        source,
        tester: batch.tester,
        damages: batch.damages,
        imported,
    })
}

/// Says what is not as it should be with an arrival.
fn complain(arrival: &Arrival) -> Exit {
    let Arrival {
        source,
        tester,
        damages,
        imported,
    } = arrival;
    for number in &imported.conflicts {
        note(&format!(
            "{source}: tester {tester}, record {}: it is in the archive with other bytes; both are \
             kept. One of the two logs was changed",
            number.get()
        ));
    }
    for fault in &imported.faults {
        note(&format!("{source}: {fault}"));
    }
    if *damages > 0 {
        note(&format!(
            "{source}: not whole; every whole record of it is in the archive. Nothing is lost in \
             the tester: pull the log again and import that too"
        ));
    }
    if *damages > 0 || !imported.conflicts.is_empty() || !imported.faults.is_empty() {
        Exit::File
    } else {
        Exit::Done
    }
}

fn summary(arrival: Arrival) -> FileSummary {
    let Imported {
        added,
        already,
        conflicts,
        faults,
    } = arrival.imported;
    FileSummary {
        source: arrival.source,
        tester: arrival.tester.to_string(),
        added,
        already,
        conflicts: conflicts.iter().map(|number| number.get()).collect(),
        chain: faults.iter().map(ToString::to_string).collect(),
        damages: arrival.damages,
    }
}

fn backup(args: &BackupArgs) -> Result<Exit, Error> {
    let archive = archive::open(&args.archive.archive)?;
    archive.backup(&args.out)?;
    let copy = archive::open(&args.out)?;
    let counts = copy.counts()?;
    out(&format!(
        "{} records of {} testers are in {}\n",
        counts.records,
        counts.testers,
        args.out.display()
    ))?;
    Ok(Exit::Done)
}

fn copy(args: &CopyArgs) -> Result<Exit, Error> {
    let from = archive::open(&args.archive.archive)?;
    let mut to = archive::open_or_make(&args.to)?;
    let counts = archive::copy(from.as_ref(), to.as_mut())?;
    out(&format!(
        "{} records of {} testers are in {}\n",
        counts.records,
        counts.testers,
        archive::shown(&args.to).display()
    ))?;
    Ok(Exit::Done)
}

#[derive(Serialize)]
struct Info {
    format: &'static str,
    version: u32,
    testers: u64,
    records: u64,
    tests: u64,
    unread: u64,
    conflicts: u64,
    sites: u64,
}

fn info(args: &VerifyArgs) -> Result<Exit, Error> {
    let counts = archive::open(&args.archive.archive)?.counts()?;
    if args.json {
        print_json(&Info {
            format: "slotwise-archive-info",
            version: 1,
            testers: counts.testers,
            records: counts.records,
            tests: counts.tests,
            unread: counts.unread,
            conflicts: counts.conflicts,
            sites: counts.sites,
        })?;
    } else {
        out(&format!(
            "{} records, {} of them tests, of {} testers; {} sites; {} kept unread; {} conflicts\n",
            counts.records,
            counts.tests,
            counts.testers,
            counts.sites,
            counts.unread,
            counts.conflicts
        ))?;
    }
    Ok(Exit::Done)
}

/// Pulls the records that `file` has not straight into it. What came before a line broke is
/// kept.
///
/// # Errors
/// Link or archive.
pub(super) fn pull_into(
    client: &mut Client,
    line: &str,
    file: &Path,
    args: &PullArgs,
) -> Result<Exit, Error> {
    let mut archive = archive::open_or_make(file)?;
    let from = args.from.map(RecordNumber::new);
    let bar = Progress::begin(Of::Records, 0, args.quiet || args.json);
    let arrived = pulling::pull_into(client, archive.as_mut(), line, from, now(), &mut |heard| {
        bar.of(heard.of.into());
        bar.at(heard.done.into());
    })?;
    drop(bar);
    let arrival = Arrival {
        source: line.to_owned(),
        tester: arrived.tester,
        damages: 0,
        imported: arrived.imported,
    };
    let mut exit = complain(&arrival);
    for number in arrived.unreadable {
        note(&format!(
            "{line}: the tester cannot read record {} of its own journal; the others are pulled. \
             Have its log memory checked",
            number.get()
        ));
        exit = exit.graver(Exit::Link);
    }
    arrived.ended?;
    // The archive has committed. Nothing of a pull with a hole in it is confirmed, nor of a part
    // that somebody asked for without meaning to free it.
    let cleared = if exit == Exit::Done && (args.free || args.from.is_none()) {
        let kept = |report: &JournalReport| kept_of(archive.as_ref(), arrived.tester, report);
        clear::clear(client, kept, args.free, args.quiet)?
    } else {
        if args.free {
            note("nothing was freed in the tester");
        }
        Cleared::default()
    };
    exit = cleared.exit.map_or(exit, |cleared| exit.graver(cleared));
    if args.json {
        print_json(&Summary {
            format: "slotwise-import",
            version: 1,
            files: vec![summary(arrival)],
            not_imported: Vec::new(),
            verified: cleared.verified.map(RecordNumber::get),
            freed: cleared.freed.map(RecordNumber::get),
        })?;
    } else {
        out(&format!(
            "{} new records of tester {} are in {}; {} were there already\n",
            arrival.imported.added,
            arrived.tester,
            archive::shown(file).display(),
            arrival.imported.already
        ))?;
        if let Some(freed) = cleared.freed.filter(|_| args.free) {
            out(&format!(
                "verified; the tester may use the room of the records up to {} again\n",
                freed.get()
            ))?;
        }
    }
    Ok(exit)
}

/// What the archive holds of a journal, read back: the first row without a gap of what its tester
/// was not told of. If that begins late, nothing is confirmed.
fn kept_of(
    archive: &dyn Archive,
    tester: TesterId,
    report: &JournalReport,
) -> Result<LogFile, Error> {
    let mut log = LogFile::default();
    let Some((oldest, newest)) = report.kept else {
        return Ok(log);
    };
    let mut number = report
        .confirmed
        .map_or(oldest, RecordNumber::next)
        .max(oldest);
    while number <= newest {
        match archive.bytes(tester, number)? {
            Some(bytes) => log.records.push(KeptRecord {
                number,
                bytes,
                at_byte: 0,
            }),
            None if log.records.is_empty() => {}
            None => break,
        }
        number = number.next();
    }
    Ok(log)
}

/// The clock of this computer.
pub(crate) fn now() -> UnixSeconds {
    UnixSeconds::new(u64::try_from(jiff::Timestamp::now().as_second()).unwrap_or_default())
}

/// Prints a document.
pub(super) fn print_json(document: &impl Serialize) -> Result<(), Error> {
    let mut text = serde_json::to_string_pretty(document)?;
    text.push('\n');
    out(&text)
}
