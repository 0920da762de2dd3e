//! `atlas`: every wiring of a receptacle, by what the slots cannot tell apart; with `--trials`,
//! how drawn houses and testers are judged.

use std::time::Instant;

use super::{note, out};
use crate::bench::atlas::table;
use crate::bench::trials::{self, Settings, find};
use crate::cli::AtlasArgs;
use crate::error::Error;
use crate::exit::Exit;
use crate::report::{self, atlas, table::width};
use crate::texts::English;

/// Runs `atlas`.
///
/// # Errors
/// A wiring that has no solution, which is a mistake in the program.
pub(super) fn run(args: &AtlasArgs) -> Result<Exit, Error> {
    if let Some(trials) = args.trials {
        let seed = args.seed;
        return run_trials(Settings { trials, seed }, &args.only, args.json);
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
fn run_trials(settings: Settings, only: &[String], json: bool) -> Result<Exit, Error> {
    if let Some(name) = only.iter().find(|name| find(name).is_none()) {
        return Err(Error::NoSuchReceptacle(name.clone()));
    }
    let began = Instant::now();
    let confusion = trials::run(settings, only, |class| {
        note(&format!("{}: {} draws", class.name, class.draws));
    })
    .map_err(|error| Error::Bench(error.to_string()))?;
    let seconds = began.elapsed().as_secs_f64();
    if json {
        out(&report::trials::document(&confusion, settings, seconds)?)?;
    } else {
        let text = report::trials::render(&confusion, settings, seconds, &English, width());
        out(&text)?;
    }
    if confusion.claims().iter().all(trials::Claim::holds) {
        Ok(Exit::Done)
    } else {
        Ok(Exit::Program)
    }
}
