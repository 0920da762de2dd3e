//! `completions` and `manual`: what a shell and `man` know of the commands, made from the command
//! line itself, so neither can say anything else than `--help`.

use clap::CommandFactory as _;

use super::out;
use crate::cli::{Cli, CompletionsArgs, ManualArgs};
use crate::error::{Error, FileError};
use crate::exit::Exit;

/// Prints the completions of a shell.
///
/// # Errors
/// Standard output.
pub(super) fn completions(args: &CompletionsArgs) -> Result<Exit, Error> {
    let mut command = Cli::command();
    let name = command.get_name().to_owned();
    let mut script = Vec::new();
    clap_complete::generate(args.shell, &mut command, name, &mut script);
    out(&String::from_utf8_lossy(&script))?;
    Ok(Exit::Done)
}

/// Writes a page for `man` for every command into a folder.
///
/// # Errors
/// A folder or file that cannot be written.
pub(super) fn manual(args: &ManualArgs) -> Result<Exit, Error> {
    let cannot = |source| FileError::CannotWrite {
        file: args.out.clone(),
        source,
    };
    std::fs::create_dir_all(&args.out).map_err(cannot)?;
    clap_mangen::generate_to(Cli::command(), &args.out).map_err(cannot)?;
    out(&format!(
        "the pages are in {0}; try: man {0}/slotwise.1\n",
        args.out.display()
    ))?;
    Ok(Exit::Done)
}
