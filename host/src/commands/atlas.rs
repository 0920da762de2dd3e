//! `atlas`: every wiring of a receptacle, by what the slots cannot tell apart; with `--trials`,
//! how drawn houses and testers are judged.

use std::path::{Path, PathBuf};
use std::time::Instant;
use std::{fs, io};

use super::{note, out};
use crate::bench::atlas::table;
use crate::bench::trials::{self, ClassCount, Confusion, Settings, find};
use crate::cli::AtlasArgs;
use crate::error::Error;
use crate::exit::Exit;
use crate::log_file::replace;
use crate::report::{self, atlas, table::width};
use crate::texts::English;

/// Runs `atlas`.
///
/// # Errors
/// A wiring that has no solution, which is a mistake in the program; a report that cannot be
/// written or gone on with.
pub(super) fn run(args: &AtlasArgs) -> Result<Exit, Error> {
    if let Some(trials) = args.trials {
        let seed = args.seed;
        return run_trials(Settings { trials, seed }, args);
    }
    let table = table()?;
    if args.json {
        out(&atlas::document(&table)?)?;
    } else {
        out(&atlas::render(&table, &English, width()))?;
    }
    Ok(Exit::Done)
}

/// Exit code 1 where a claim does not hold: then judge or model is wrong.
fn run_trials(settings: Settings, args: &AtlasArgs) -> Result<Exit, Error> {
    if let Some(name) = args.only.iter().find(|name| find(name).is_none()) {
        return Err(Error::NoSuchReceptacle(name.clone()));
    }
    let keeper = match &args.report {
        Some(page) => Some(Keeper::new(page, settings)?),
        None => None,
    };
    let finished = match &keeper {
        Some(keeper) => keeper.finished()?,
        None => Vec::new(),
    };
    let already = drawn(&finished);
    for class in &finished {
        note(&format!("{}: {} draws, kept", class.name, class.draws));
    }
    let began = Instant::now();
    let mut told: Vec<&str> = finished.iter().map(|class| class.name).collect();
    let confusion = trials::run(settings, &args.only, finished, |so_far| {
        for class in &so_far.classes {
            if !told.contains(&class.name) {
                told.push(class.name);
                note(&format!("{}: {} draws", class.name, class.draws));
            }
        }
        match &keeper {
            Some(keeper) => keeper.keep(so_far),
            None => Ok(()),
        }
    })?;
    let speed = (drawn(&confusion.classes) - already, began.elapsed());
    if let Some(keeper) = &keeper {
        keeper.keep(&confusion)?;
        note(&format!("the report is {}", keeper.page.display()));
    }
    let against = match args.against_ngspice {
        Some(networks) => Some(trials::against_ngspice(settings, networks)?),
        None => None,
    };
    if args.json {
        let seconds = speed.1.as_secs_f64();
        let against = against.as_ref();
        out(&report::trials::document(
            &confusion, settings, seconds, against,
        )?)?;
    } else {
        let text = report::trials::render(&confusion, settings, speed, &English, width());
        out(&text)?;
        if let Some(against) = &against {
            out(&report::trials::comparison(against))?;
        }
    }
    if against.is_some_and(|against| !against.agrees()) {
        return Ok(Exit::Program);
    }
    if confusion.claims().iter().all(trials::Claim::holds) {
        Ok(Exit::Done)
    } else {
        Ok(Exit::Program)
    }
}

fn drawn(classes: &[ClassCount]) -> u64 {
    classes.iter().map(|class| class.draws).sum()
}

/// The report of a run and the counts beside it.
struct Keeper {
    page: PathBuf,
    counts: PathBuf,
    settings: Settings,
    made_by: String,
}

impl Keeper {
    fn new(page: &Path, settings: Settings) -> Result<Self, Error> {
        Ok(Self {
            page: page.to_owned(),
            counts: page.with_extension("json"),
            settings,
            made_by: trials::fingerprint(settings.seed)?,
        })
    }

    /// What an earlier run of the same settings has drawn.
    fn finished(&self) -> Result<Vec<ClassCount>, Error> {
        let other = |what: String| Error::OtherTrials {
            file: self.counts.clone(),
            what,
        };
        match fs::read_to_string(&self.counts) {
            Ok(text) => report::trials::taken_up(&text, self.settings, &self.made_by)
                .map_err(|what| other(what.to_owned())),
            Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(Vec::new()),
            Err(error) => Err(other(format!("it cannot be read: {error}"))),
        }
    }

    fn keep(&self, confusion: &Confusion) -> Result<(), Error> {
        let counts = report::trials::kept(confusion, self.settings, &self.made_by)?;
        replace(&self.counts, counts.as_bytes())?;
        let page = report::trials::page(confusion, self.settings, &self.made_by, &English);
        replace(&self.page, page.as_bytes())?;
        Ok(())
    }
}
