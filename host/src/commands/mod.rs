//! What each command does. A command returns how the run ended; an error ends it early.

mod archive;
mod atlas;
mod bench;
mod calibrate;
mod clear;
mod doctor;
mod export;
mod judge;
mod live;
mod manual;
mod note;
mod print;
mod progress;
mod pull;
mod report;
mod serve;
mod show;
mod tour;
mod verify;
mod visits;

use std::io::Write as _;

pub(crate) use archive::now;
pub(crate) use report::Asked;
pub(crate) use visits::visits_of;

use crate::cli::{Cli, Command};
use crate::error::Error;
use crate::exit::Exit;

/// Runs the command line.
///
/// # Errors
/// Any [`Error`]; it knows its exit code.
pub fn run(cli: Cli) -> Result<Exit, Error> {
    match cli.command {
        Command::Pull(args) => pull::run(&args),
        Command::Show(args) => show::run(&args),
        Command::Judge(args) => judge::run(&args),
        Command::Tour(args) => tour::run(&args),
        Command::Live(args) => live::run(&args),
        Command::Bench(args) => bench::run(&args),
        Command::Calibrate(args) => calibrate::run(&args),
        Command::Doctor(args) => doctor::run(&args),
        Command::Atlas(args) => atlas::run(&args),
        Command::Archive(command) => archive::run(&command),
        Command::Visits(command) => visits::run(&command),
        Command::Note(args) => note::run(&args),
        Command::Report(args) => report::run(&args),
        Command::Serve(args) => serve::run(&args),
        Command::Export(args) => export::run(&args),
        Command::Completions(args) => manual::completions(&args),
        Command::Manual(args) => manual::manual(&args),
    }
}

/// Prints to standard output. A reader that has gone away ends the printing quietly.
fn out(text: &str) -> Result<(), Error> {
    let mut stdout = anstream::stdout().lock();
    let written = stdout.write_all(text.as_bytes());
    match written.and_then(|()| stdout.flush()) {
        Err(error) if error.kind() == std::io::ErrorKind::BrokenPipe => Ok(()),
        other => other.map_err(Error::Output),
    }
}

/// Says something beside the result, on standard error.
fn note(text: &str) {
    anstream::eprintln!("slotwise: {text}");
}
