//! Prints the firmware's log in words.
//!
//! ```text
//! cargo run -p slotwise-tests --example firmware-log -- run [RECEPTACLE] [SECONDS] [OPTIONS OF run.mjs]
//! cargo run -p slotwise-tests --example firmware-log -- decode IMAGE.elf < FRAMES
//! ```
//!
//! `run` builds nothing: it takes the image of `firmware/rp2040/build.sh`, plugs it into a
//! receptacle of the bank (`sound` if none is named) in the emulator, and prints what it logged.
//! What the tester drives is not fed back: its paths read "not measured".

use std::io::{self, Read as _, Write as _};
use std::path::Path;
use std::process::ExitCode;

use slotwise_tests::emulator::{image, run_alone};
use slotwise_tests::firmware_log::{Decoded, decode};

const USAGE: &str = "firmware-log run [RECEPTACLE] [SECONDS] [OPTIONS OF run.mjs]\n\
                     firmware-log decode IMAGE.elf < FRAMES";

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let outcome = match arguments.iter().map(String::as_str).collect::<Vec<_>>()[..] {
        ["decode", elf] => from_input(Path::new(elf)),
        ["run", ref rest @ ..] => run(rest),
        _ => Err(USAGE.to_owned()),
    };
    match outcome.and_then(|decoded| print(&decoded)) {
        Ok(()) => ExitCode::SUCCESS,
        Err(text) => {
            eprintln!("{text}");
            ExitCode::FAILURE
        }
    }
}

fn from_input(elf: &Path) -> Result<Decoded, String> {
    let mut frames = Vec::new();
    io::stdin()
        .read_to_end(&mut frames)
        .map_err(|error| format!("standard input: {error}"))?;
    decode(elf, &frames)
}

fn run(rest: &[&str]) -> Result<Decoded, String> {
    let own = rest.iter().position(|part| part.starts_with("--"));
    let (own, more) = rest.split_at(own.unwrap_or(rest.len()));
    let receptacle = own.first().copied().unwrap_or("sound");
    let seconds = own.get(1).map_or(Ok(3), |text| text.parse());
    let seconds = seconds.map_err(|_| format!("SECONDS is a whole number\n{USAGE}"))?;
    let elf = image().ok_or(
        "no image made from these sources, or no emulator: run firmware/rp2040/build.sh and \
         npm ci --prefix tests/emulator",
    )?;
    let folder = tempfile::tempdir().map_err(|error| format!("no room for the run: {error}"))?;
    run_alone(&elf, folder.path(), receptacle, seconds, more)?;
    let frames = std::fs::read(folder.path().join("log.bin"));
    decode(&elf, &frames.map_err(|error| format!("the log: {error}"))?)
}

fn print(decoded: &Decoded) -> Result<(), String> {
    let mut out = io::stdout().lock();
    let shut = |error: io::Error| format!("standard output: {error}");
    for line in &decoded.lines {
        writeln!(out, "{line}").map_err(shut)?;
    }
    if decoded.malformed > 0 {
        eprintln!(
            "{} frames are not of this image, or were written over before they were read",
            decoded.malformed
        );
    }
    Ok(())
}
