//! `atlas`: every wiring of a receptacle, by what the slots cannot tell apart.

use super::out;
use crate::bench::atlas::table;
use crate::cli::AtlasArgs;
use crate::error::Error;
use crate::exit::Exit;
use crate::report::{atlas, table::width};
use crate::texts::English;

/// Runs `atlas`.
///
/// # Errors
/// A wiring that has no solution, which is a mistake in the program.
pub(super) fn run(args: &AtlasArgs) -> Result<Exit, Error> {
    let table = table()?;
    if args.json {
        out(&atlas::document(&table)?)?;
    } else {
        out(&atlas::render(&table, &English, width()))?;
    }
    Ok(Exit::Done)
}
