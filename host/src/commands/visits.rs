//! `visits`: what belongs together in an archive, and where tests were made.

use std::fmt::Write as _;

use comfy_table::presets::UTF8_FULL_CONDENSED;
use comfy_table::{ContentArrangement, Table};
use serde::Serialize;
use slotwise_core::limits::{BandSet, Limits};
use slotwise_core::record::{Body, RecordNumber, decode};
use slotwise_core::units::UnixSeconds;

use super::archive::print_json;
use super::note::{Found, findings_of, found_lines};
use super::out;
use crate::archive::{self, Archive, KeptNote, Place, Wanted};
use crate::cli::{PlaceArgs, VisitsCommand, VisitsListArgs};
use crate::error::Error;
use crate::exit::Exit;
use crate::report::table::width;
use crate::texts::{English, Language, codes};
use crate::visits::{Checklist, Explained, Grouper, Visit, explains};

/// Runs `visits`.
///
/// # Errors
/// An archive that cannot be used.
pub(super) fn run(command: &VisitsCommand) -> Result<Exit, Error> {
    match command {
        VisitsCommand::List(args) => list(args),
        VisitsCommand::Place(args) => place(args),
    }
}

fn place(args: &PlaceArgs) -> Result<Exit, Error> {
    let mut archive = archive::open(&args.archive.archive)?;
    let site = archive.site(&args.site)?;
    let appliance = match &args.appliance {
        Some(name) => Some(archive.appliance(site, name)?),
        None => None,
    };
    let (from, to) = args.records;
    let placed = archive.place(
        args.tester,
        RecordNumber::new(from),
        RecordNumber::new(to),
        site,
        appliance,
    )?;
    out(&format!("{placed} tests are at {}\n", plain(&args.site)))?;
    Ok(Exit::Done)
}

#[derive(Serialize)]
struct Document {
    format: &'static str,
    version: u32,
    visits: Vec<VisitEntry>,
    notes: Vec<NoteEntry>,
}

#[derive(Serialize)]
struct VisitEntry {
    site: Option<String>,
    appliance: Option<String>,
    tester: String,
    first_record: u32,
    last_record: u32,
    tests: usize,
    unix_seconds: Option<[u64; 2]>,
    gravest: String,
    finding: Option<String>,
    notes: Vec<NoteEntry>,
    explained: Vec<ExplainedEntry>,
}

#[derive(Serialize)]
struct NoteEntry {
    site: String,
    appliance: Option<String>,
    unix_seconds: u64,
    remark: String,
    photos: Vec<String>,
    findings: Vec<Found>,
}

#[derive(Serialize)]
struct ExplainedEntry {
    record: u32,
    finding: &'static str,
    seen: &'static str,
    #[serde(skip)]
    words: String,
}

fn list(args: &VisitsListArgs) -> Result<Exit, Error> {
    let archive = archive::open(&args.archive.archive)?;
    let visits = visits_of(archive.as_ref(), args.site.as_deref())?;
    let mut notes: Vec<Option<KeptNote>> = archive
        .notes(args.site.as_deref())?
        .into_iter()
        .map(Some)
        .collect();
    let language: &dyn Language = &English;
    let limits = Limits::with_band(BandSet::from(args.band));
    let mut entries = Vec::new();
    for visit in &visits {
        let mut own = Vec::new();
        for note in &mut notes {
            if let Some(note) = note.take_if(|note| visit.takes(&note.place, note.at)) {
                own.push(note);
            }
        }
        entries.push(entry(archive.as_ref(), language, &limits, visit, own)?);
    }
    let notes: Vec<NoteEntry> = notes
        .into_iter()
        .flatten()
        .map(|note| note_entry(language, &limits, note))
        .collect();
    if args.json {
        print_json(&Document {
            format: "slotwise-visits",
            version: 1,
            visits: entries,
            notes,
        })?;
    } else {
        out(&text(language, &entries, &notes))?;
    }
    Ok(Exit::Done)
}

/// The visits of a site, or of the whole archive.
pub(crate) fn visits_of(archive: &dyn Archive, site: Option<&str>) -> Result<Vec<Visit>, Error> {
    let wanted = Wanted {
        site: site.map(str::to_owned),
        tester: None,
    };
    let mut grouper = Grouper::default();
    let mut visits = Vec::new();
    archive.each_test(&wanted, &mut |test| {
        visits.extend(grouper.push(test));
        Ok(())
    })?;
    visits.extend(grouper.finish());
    Ok(visits)
}

fn entry(
    archive: &dyn Archive,
    language: &dyn Language,
    limits: &Limits,
    visit: &Visit,
    notes: Vec<KeptNote>,
) -> Result<VisitEntry, Error> {
    let mut explained = Vec::new();
    for note in &notes {
        let answers = Checklist::of_answers(&note.answers);
        for test in &visit.tests {
            let Some(bytes) = archive.bytes(test.tester, test.number)? else {
                continue;
            };
            let Ok(record) = decode(&bytes) else {
                continue;
            };
            if let Body::Test(kept) = &record.body {
                let record = test.number.get();
                explained.extend(
                    explains(&answers, &kept.verdict)
                        .into_iter()
                        .map(|one| explained_entry(language, record, one)),
                );
            }
        }
    }
    let gravest = visit.gravest();
    let number = |test: Option<&crate::archive::TestRow>| test.map_or(0, |t| t.number.get());
    Ok(VisitEntry {
        site: visit.place.as_ref().map(|place| place.site.clone()),
        appliance: visit.place.as_ref().and_then(|p| p.appliance.clone()),
        tester: visit.tester.to_string(),
        first_record: number(visit.tests.first()),
        last_record: number(visit.tests.last()),
        tests: visit.tests.len(),
        unix_seconds: visit.clocks().map(|(from, to)| [from.get(), to.get()]),
        gravest: gravest.map(|t| t.test.outcome.clone()).unwrap_or_default(),
        finding: gravest.and_then(|t| t.test.finding.clone()),
        notes: notes
            .into_iter()
            .map(|note| note_entry(language, limits, note))
            .collect(),
        explained,
    })
}

fn explained_entry(language: &dyn Language, record: u32, one: Explained) -> ExplainedEntry {
    ExplainedEntry {
        record,
        finding: codes::finding(one.finding),
        seen: codes::wiring(one.seen),
        words: format!(
            "{} {record} ({}): {}",
            language.visits().explains,
            language.finding(one.finding).title,
            language.wiring(one.seen)
        ),
    }
}

fn note_entry(language: &dyn Language, limits: &Limits, note: KeptNote) -> NoteEntry {
    let findings = findings_of(language, &note.readings, &note.answers, limits);
    let Place { site, appliance } = note.place;
    NoteEntry {
        site,
        appliance,
        unix_seconds: note.at.get(),
        remark: note.remark,
        photos: note.photos,
        findings,
    }
}

fn text(language: &dyn Language, visits: &[VisitEntry], notes: &[NoteEntry]) -> String {
    let words = language.visits();
    if visits.is_empty() && notes.is_empty() {
        return format!("{}\n", words.none);
    }
    let mut table = Table::new();
    table
        .load_style(UTF8_FULL_CONDENSED)
        .set_content_arrangement(ContentArrangement::Dynamic)
        .set_width(width())
        .set_header([
            words.place,
            words.when,
            words.tester,
            words.records,
            words.tests,
            words.answer,
            words.finding,
        ]);
    for visit in visits {
        let place = match &visit.site {
            Some(site) => place_words(site, visit.appliance.as_deref()),
            None => words.no_place.to_owned(),
        };
        let when = visit
            .unix_seconds
            .map_or_else(|| words.no_clock.to_owned(), |[from, _]| minute(from));
        table.add_row([
            place,
            when,
            visit.tester.clone(),
            records(visit.first_record, visit.last_record),
            visit.tests.to_string(),
            visit.gravest.clone(),
            visit.finding.clone().unwrap_or_default(),
        ]);
    }
    let mut text = String::new();
    // Writing to a String cannot fail.
    if !visits.is_empty() {
        let _ = writeln!(text, "{table}");
    }
    let with_notes = visits.iter().flat_map(|visit| {
        visit
            .notes
            .iter()
            .map(move |note| (note, visit.explained.as_slice()))
    });
    let alone = notes.iter().map(|note| (note, [].as_slice()));
    let mut any = false;
    for (note, explained) in with_notes.chain(alone) {
        any = true;
        let place = place_words(&note.site, note.appliance.as_deref());
        let when = minute(note.unix_seconds);
        let _ = writeln!(text, "\n{}: {place}, {when}", words.note);
        text.push_str(&found_lines(language, &note.findings));
        for one in explained {
            let _ = writeln!(text, "  {}", one.words);
        }
        if !note.remark.is_empty() {
            let _ = writeln!(text, "  {}", plain(&note.remark));
        }
        if !note.photos.is_empty() {
            let photos: Vec<String> = note.photos.iter().map(|photo| plain(photo)).collect();
            let _ = writeln!(text, "  {}: {}", words.photos, photos.join(", "));
        }
    }
    if any {
        let _ = writeln!(text, "\n{}", words.as_shown);
    }
    text
}

fn place_words(site: &str, appliance: Option<&str>) -> String {
    match appliance {
        Some(appliance) => format!("{}, {}", plain(site), plain(appliance)),
        None => plain(site),
    }
}

fn records(first: u32, last: u32) -> String {
    if first == last {
        first.to_string()
    } else {
        format!("{first}-{last}")
    }
}

/// A clock to the minute; seconds that no calendar has stay seconds.
fn minute(seconds: u64) -> String {
    UnixSeconds::new(seconds)
        .get()
        .try_into()
        .ok()
        .and_then(|seconds| jiff::Timestamp::from_second(seconds).ok())
        .map_or_else(
            || format!("{seconds} s"),
            |time| time.strftime("%Y-%m-%d %H:%M").to_string(),
        )
}

/// Words of a person on a terminal: what would steer it is written out instead.
pub(super) fn plain(text: &str) -> String {
    text.chars()
        .flat_map(|c| {
            let steers = c.is_control() || matches!(c, '\u{200E}' | '\u{200F}' | '\u{202A}'..='\u{202E}' | '\u{2066}'..='\u{2069}');
            let escaped = steers.then(|| c.escape_unicode());
            let same = (!steers).then_some(c);
            escaped.into_iter().flatten().chain(same)
        })
        .collect()
}
