//! The program `slotwise`: parse, run, one error line, exit code.

use std::process::ExitCode;

use clap::Parser as _;
use slotwise::cli::Cli;
use slotwise::commands;

fn main() -> ExitCode {
    let cli = Cli::parse();
    let exit = commands::run(cli).unwrap_or_else(|error| {
        anstream::eprintln!("slotwise: {error}");
        error.exit()
    });
    exit.into()
}
