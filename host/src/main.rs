//! The program `slotwise`: settings, command line, run, one error line, exit code.

use std::process::ExitCode;

use clap::{CommandFactory as _, FromArgMatches as _};
use slotwise::cli::Cli;
use slotwise::commands;
use slotwise::error::Error;
use slotwise::exit::Exit;
use slotwise::settings::Settings;

fn main() -> ExitCode {
    let exit = run().unwrap_or_else(|error| {
        anstream::eprintln!("slotwise: {error}");
        error.exit()
    });
    exit.into()
}

fn run() -> Result<Exit, Error> {
    let settings = Settings::load()?;
    let matches = settings.apply(Cli::command()).get_matches();
    // What clap has matched fits what it was derived from.
    let cli = Cli::from_arg_matches(&matches).unwrap_or_else(|error| error.exit());
    commands::run(cli)
}
