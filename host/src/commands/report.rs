//! `report`: one visit as a page or on paper.

use std::path::{Path, PathBuf};

use slotwise_core::limits::BandSet;

use super::note;
use super::visits::visits_of;
use crate::archive::{self, Archive, KeptNote};
use crate::bench::is_virtual;
use crate::cli::ReportArgs;
use crate::client::RawFrame;
use crate::document::{Document, html, pdf};
use crate::error::Error;
use crate::exit::Exit;
use crate::log_file::{LogWriter, replace};
use crate::report::visit::{VisitReport, document};
use crate::texts::English;
use crate::visits::{Dossier, Visit};

/// Runs `report`.
///
/// # Errors
/// An archive that cannot be used, a visit that is not there, a file that cannot be written.
pub(super) fn run(args: &ReportArgs) -> Result<Exit, Error> {
    // Before any work: the form of each file is told by its name.
    let forms = args
        .out
        .iter()
        .map(|file| Ok((Form::of(file)?, file)))
        .collect::<Result<Vec<_>, Error>>()?;
    let archive = archive::open(&args.archive.archive)?;
    let asked = Asked {
        site: &args.site,
        appliance: args.appliance.as_deref(),
        visit: args.visit,
        band: BandSet::from(args.choice.band),
        prepared_by: args.choice.prepared_by.as_deref().unwrap_or_default(),
    };
    let made = asked.make(archive.as_ref())?;
    for (form, file) in forms {
        write(&made.document, form, file, args.force)?;
        note(&format!(
            "visit {} of {} is in {}",
            made.number,
            made.count,
            file.display()
        ));
    }
    // What cannot be trusted ends the run with another code, and still is shown.
    Ok(if made.is_damaged {
        note("a record of this visit is missing, was changed, or cannot be read: pull again");
        Exit::File
    } else {
        Exit::Done
    })
}

/// Which visit, and how it is judged.
pub(crate) struct Asked<'a> {
    pub(crate) site: &'a str,
    pub(crate) appliance: Option<&'a str>,
    /// Counted from the oldest; `None` is the newest.
    pub(crate) visit: Option<usize>,
    pub(crate) band: BandSet,
    pub(crate) prepared_by: &'a str,
}

/// A report of one of `count` visits.
pub(crate) struct Made {
    pub(crate) document: Document,
    number: usize,
    count: usize,
    is_damaged: bool,
}

impl Asked<'_> {
    /// Puts the report together.
    pub(crate) fn make(&self, archive: &dyn Archive) -> Result<Made, Error> {
        let visits: Vec<Visit> = visits_of(archive, Some(self.site))?
            .into_iter()
            .filter(|visit| self.appliance.is_none() || appliance_of(visit) == self.appliance)
            .collect();
        let count = visits.len();
        let number = self.visit.unwrap_or(count);
        let visit = number
            .checked_sub(1)
            .and_then(|index| visits.into_iter().nth(index))
            .ok_or_else(|| Error::NoSuchVisit {
                site: super::visits::plain(self.site),
                count,
            })?;
        let notes: Vec<KeptNote> = archive
            .notes(Some(self.site))?
            .into_iter()
            .filter(|note| visit.takes(&note.place, note.at))
            .collect();
        let dossier = Dossier::gather(archive, visit, notes)?;
        Ok(Made {
            document: document(&VisitReport {
                dossier: &dossier,
                band: self.band,
                prepared_by: self.prepared_by,
                is_invented: is_virtual(dossier.visit.tester),
                language: &English,
            }),
            number,
            count,
            is_damaged: dossier.is_damaged(),
        })
    }
}

fn appliance_of(visit: &Visit) -> Option<&str> {
    visit.place.as_ref()?.appliance.as_deref()
}

/// What a report is written as.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Form {
    Page,
    Paper,
}

impl Form {
    fn of(file: &Path) -> Result<Self, Error> {
        let ending = file.extension().and_then(|ending| ending.to_str());
        match ending.map(str::to_ascii_lowercase).as_deref() {
            Some("html" | "htm") => Ok(Self::Page),
            Some("pdf") => Ok(Self::Paper),
            _ => Err(Error::UnknownForm {
                file: PathBuf::from(file),
            }),
        }
    }
}

fn write(document: &Document, form: Form, file: &Path, force: bool) -> Result<(), Error> {
    let bytes = match form {
        Form::Page => html::page(document).into_bytes(),
        Form::Paper => pdf::sheets(document)?,
    };
    if force {
        return Ok(replace(file, &bytes)?);
    }
    let mut writer = LogWriter::create(file, false)?;
    writer.append(&RawFrame(bytes))?;
    Ok(writer.finish()?)
}
