//! `tour`: the whole way with no hardware. A virtual tester is carried along the terrace, its
//! log is pulled over its port, read back from the file, judged and reported; then the office's
//! part: an archive that is checked, a visit to every house, a note, the report of the last house, and
//! the tests for other programs.

use std::fs;
use std::path::{Path, PathBuf};
use std::thread;
use std::time::{Duration, Instant};

use slotwise_core::limits::BandSet;
use slotwise_core::record::{RecordNumber, TesterId};
use slotwise_core::units::Millis;

use super::print::write_page;
use super::pull::Pull;
use super::report::Asked;
use super::{note, out};
use crate::archive::{self, Archive, NewNote, Shown, Wanted, batch_of};
use crate::bench::scenario;
use crate::bench::terrace::{self, Stop};
use crate::bench::{INVENTED_CLOCK, LineWish, Pace, VirtualTester};
use crate::cli::TourArgs;
use crate::client::Client;
use crate::document::{html, pdf};
use crate::error::{Error, FileError};
use crate::exit::Exit;
#[cfg(feature = "parquet")]
use crate::export::export_parquet;
use crate::export::{Form, export};
use crate::log_file::{self, LogWriter, replace};
use crate::report::{Origin, Place, Report, json, table};
use crate::visits::{Checklist, GroundWire, HandReading, Joined};

/// The files of a tour.
const LOG: &str = "larkfield-terrace.slotlog";
const PAGE: &str = "report.html";
const JSON: &str = "report.json";
const ARCHIVE: &str = "office.db";
const VISIT_PAGE: &str = "visit.html";
const VISIT_PAPER: &str = "visit.pdf";
const TESTS: &str = "tests.csv";
#[cfg(feature = "parquet")]
const FLEET: &str = "fleet";

/// The invented office.
const OFFICE: &str = "Tern & Fell Heating";

/// Milliseconds of the tester's time from plug to test: the pins have to sit.
const SETTLE: u64 = 100;

/// How long one test may take on the wall clock, on a slow computer.
const PATIENCE: Duration = Duration::from_secs(120);

/// Runs `tour`.
///
/// # Errors
/// A folder that cannot be written, or a virtual tester that came to grief.
pub(super) fn run(args: &TourArgs) -> Result<Exit, Error> {
    let stops = stops(args)?;
    prepare(&args.out, args.force)?;
    let say = |text: &str| {
        if !args.quiet {
            note(text);
        }
    };
    let Some(first) = stops.first() else {
        return Err(Error::NoSuchReceptacle("any".to_owned()));
    };
    let wish = if args.no_pty {
        LineWish::Memory
    } else {
        LineWish::Best
    };
    let mut tester = VirtualTester::start(&first.receptacle, Pace::TOUR, wish)?;
    match tester.port() {
        Some(port) => say(&format!(
            "the virtual tester is on the pseudo-terminal {port}"
        )),
        None => say("no pseudo-terminals here: the virtual tester is on a line in memory instead"),
    }
    let mut client = Client::new(tester.connect()?);
    let client_id = client.hello()?.0.tester;
    let mut places = Vec::new();
    for (count, stop) in stops.iter().enumerate() {
        say(&format!(
            "{} of {}: {} ({})",
            count + 1,
            stops.len(),
            stop.place,
            stop.name
        ));
        // A tester begins a test by itself when it is switched on; that one is let end first.
        let before = if count == 0 {
            wait_for_end(&mut client, stop, None)?
        } else {
            carry(&tester, &mut client, stop)?;
            client.status()?.newest
        };
        client.start_test(stop.receptacle.clip)?;
        let newest = wait_for_end(&mut client, stop, before)?
            .ok_or_else(|| Error::Bench(format!("no record of {}", stop.place)))?;
        // What the load steps tell makes records of its own.
        pass(&mut client, stop.stays.get())?;
        let newest = client.status()?.newest.unwrap_or(newest);
        places.push((newest, stop));
    }

    tester.unplug()?;

    let log = args.out.join(LOG);
    let mut pull = Pull::new(LogWriter::create(&log, true)?, true);
    pull.run(&mut client, RecordNumber::FIRST)?;
    let records = pull.records;
    pull.writer.finish()?;
    say(&format!("{records} records are in {}", log.display()));
    tester.stop()?;

    let mut report = Report::of_log(LOG.to_owned(), &log_file::read(&log)?);
    report.origin = Origin::Invented;
    report.judge_again(BandSet::default());
    name_places(&mut report, &places);
    let document = json::document(&report)?;
    replace(&args.out.join(JSON), document.as_bytes())?;
    let visit = office(&args.out, &log, &places, client_id)?;
    let page = args.out.join(PAGE);
    write_page(&report, &page, true, args.quiet)?;
    if args.json {
        out(&document)?;
    } else {
        out(&table::render(&report, table::width()))?;
        out(&format!(
            "Everything above is invented. The report is {}; in the same folder are {ARCHIVE}, the \
             office's archive, {VISIT_PAGE} and {VISIT_PAPER}, what is handed over for {visit}, and \
             {TESTS} for a spreadsheet. To walk through the archive: slotwise serve --archive {}\n",
            page.display(),
            args.out.join(ARCHIVE).display()
        ))?;
    }
    Ok(report.wholeness())
}

/// The office's part: the log into an archive, every stop to its site, a note at the last one,
/// and the report of the visit there. Returns the name of that site.
fn office(
    folder: &Path,
    log: &Path,
    places: &[(RecordNumber, &Stop)],
    tester: TesterId,
) -> Result<String, Error> {
    let db = folder.join(ARCHIVE);
    // That of an earlier tour, with what SQLite may have left beside it.
    for ending in ["", "-wal", "-shm"] {
        let mut name = db.clone().into_os_string();
        name.push(ending);
        let _ = fs::remove_file(name);
    }
    let mut archive = archive::open_or_make(&db)?;
    archive.import(&batch_of(LOG, log_file::read(log)?, INVENTED_CLOCK)?)?;
    let mut from = RecordNumber::FIRST;
    let mut handed_over = None;
    let mut longest = Millis::default();
    for (newest, stop) in places {
        let (site, appliance) = terrace::site_of(stop);
        let kept = archive.site(&site)?;
        let room = archive.appliance(kept, &appliance)?;
        archive.place(tester, from, *newest, kept, Some(room))?;
        from = newest.next();
        // The one where most was seen; without any, the last.
        if stop.stays >= longest {
            longest = stop.stays;
            handed_over = Some((site, appliance, kept, room));
        }
    }
    let Some((site, appliance, kept, room)) = handed_over else {
        return Ok(String::new());
    };
    archive.add_note(&NewNote {
        site: kept,
        appliance: Some(room),
        at: INVENTED_CLOCK,
        readings: [
            (HandReading::NeutralToCommon, 1.2),
            (HandReading::NeutralToBurner, 0.6),
        ]
        .map(|(what, number)| (what.name().to_owned(), Shown::Number(number)))
        .into(),
        answers: Checklist {
            joined: Some(Joined::PanelOnly),
            ground_wire: Some(GroundWire::Wire),
            ..Checklist::default()
        }
        .to_answers(),
        remark: "Invented: lug at the furnace frame tightened.".to_owned(),
        photos: Vec::new(),
    })?;
    let asked = Asked {
        site: &site,
        appliance: Some(&appliance),
        visit: None,
        band: BandSet::default(),
        prepared_by: OFFICE,
    };
    let document = asked.make(archive.as_ref())?.document;
    replace(&folder.join(VISIT_PAGE), html::page(&document).as_bytes())?;
    replace(&folder.join(VISIT_PAPER), &pdf::sheets(&document)?)?;
    for_others(archive.as_ref(), folder)?;
    Ok(format!("{site}, {appliance}"))
}

/// Checks the archive, and writes its tests for other programs.
fn for_others(archive: &dyn Archive, folder: &Path) -> Result<(), Error> {
    let mut wrong = Vec::new();
    archive.verify(&mut |fault| wrong.push(fault.to_string()))?;
    for fault in wrong {
        note(&fault);
    }
    let mut tests = Vec::new();
    export(archive, &Wanted::default(), Form::Csv, &mut tests)?;
    replace(&folder.join(TESTS), &tests)?;
    #[cfg(feature = "parquet")]
    export_parquet(archive, &folder.join(FLEET), OFFICE, &mut |_| {})?;
    Ok(())
}

/// The receptacles of the files, or else of the terrace.
fn stops(args: &TourArgs) -> Result<Vec<Stop>, Error> {
    if args.scenario.is_empty() {
        return terrace::stops(args.all);
    }
    let read = |file: &PathBuf| scenario::read(file).map_err(Error::from);
    args.scenario.iter().map(read).collect()
}

/// Makes the folder. A folder with other things in it than a tour's is left alone.
fn prepare(folder: &Path, force: bool) -> Result<(), Error> {
    let cannot = |source| FileError::CannotWrite {
        file: folder.to_owned(),
        source,
    };
    fs::create_dir_all(folder).map_err(cannot)?;
    let mut is_empty = true;
    for entry in fs::read_dir(folder).map_err(cannot)? {
        entry.map_err(cannot)?;
        is_empty = false;
    }
    if is_empty || force || folder.join(LOG).exists() {
        Ok(())
    } else {
        Err(Error::FolderInUse {
            folder: folder.to_owned(),
        })
    }
}

/// Pulls the tester out and plugs it in at `stop`.
fn carry(tester: &VirtualTester, client: &mut Client, stop: &Stop) -> Result<(), Error> {
    tester.unplug()?;
    pass(client, SETTLE)?;
    tester.plug(&stop.receptacle)?;
    pass(client, SETTLE)
}

/// Waits until no test is running and the newest record is another than `before`.
fn wait_for_end(
    client: &mut Client,
    stop: &Stop,
    before: Option<RecordNumber>,
) -> Result<Option<RecordNumber>, Error> {
    let deadline = Instant::now() + PATIENCE;
    loop {
        let status = client.status()?;
        if !status.testing && (before.is_none() || status.newest > before) {
            return Ok(status.newest);
        }
        if Instant::now() > deadline {
            return Err(Error::Bench(format!(
                "the test at {} did not end",
                stop.place
            )));
        }
        thread::sleep(Duration::from_millis(1));
    }
}

/// Waits until `millis` of the tester's time have passed.
fn pass(client: &mut Client, millis: u64) -> Result<(), Error> {
    let until = Millis::new(client.status()?.now.get() + millis);
    while client.status()?.now < until {
        thread::sleep(Duration::from_millis(1));
    }
    Ok(())
}

/// Gives every test the place where it was made: the first stop whose newest record is not
/// older.
fn name_places(report: &mut Report, places: &[(RecordNumber, &Stop)]) {
    for item in &mut report.items {
        if item.test().is_none() {
            continue;
        }
        let stop = places.iter().find(|(newest, _)| item.number <= *newest);
        item.place = stop.map(|(_, stop)| Place {
            name: stop.place.clone(),
            wired: stop.story.clone(),
        });
    }
}
