//! `bench`: a virtual tester behind a pseudo-terminal, for trying the program or writing one.

use std::thread;
use std::time::{Duration, Instant};

use serde::Serialize;

use super::{note, out};
use crate::bench::terrace::Stop;
use crate::bench::{LineWish, Pace, VirtualTester, scenario, terrace};
use crate::cli::BenchArgs;
use crate::error::Error;
use crate::exit::Exit;

/// Runs `bench`.
///
/// # Errors
/// A receptacle that is not there, or a system without pseudo-terminals.
pub(super) fn run(args: &BenchArgs) -> Result<Exit, Error> {
    if args.list {
        return list(args.json);
    }
    if args.example {
        out(scenario::EXAMPLE)?;
        return Ok(Exit::Done);
    }
    let stop = match &args.scenario {
        Some(file) => scenario::read(file)?,
        None => Stop::from(terrace::named(&args.receptacle)?),
    };
    let tester = VirtualTester::start(&stop.receptacle, Pace::REAL, LineWish::Best)?;
    let Some(port) = tester.port() else {
        return Err(Error::NoPseudoTerminals);
    };
    if args.json {
        let serving = Serving {
            format: "slotwise-bench",
            version: 1,
            port,
            receptacle: &stop.name,
            place: &stop.place,
            wired_as: &stop.story,
        };
        out(&format!("{}\n", serde_json::to_string(&serving)?))?;
    } else {
        out(&format!("{port}\n"))?;
        note(&format!(
            "a virtual tester is plugged in at {} ({}): {}",
            stop.place, stop.name, stop.story
        ));
        note(&format!("in another terminal: slotwise live --port {port}"));
        note(&format!(
            "or: slotwise pull --port {port} --out bench.slotlog"
        ));
        note("everything here is invented; Ctrl-C ends it");
    }
    let until = args
        .seconds
        .map(|seconds| Instant::now() + Duration::from_secs(seconds));
    while until.is_none_or(|until| Instant::now() < until) {
        if !tester.is_running() {
            return Err(Error::Bench("its thread ended".to_owned()));
        }
        thread::sleep(Duration::from_millis(50));
    }
    tester.stop()?;
    Ok(Exit::Done)
}

#[derive(Serialize)]
struct Serving<'b> {
    format: &'static str,
    version: u32,
    port: &'b str,
    receptacle: &'b str,
    place: &'b str,
    wired_as: &'b str,
}

#[derive(Serialize)]
struct Listed {
    name: &'static str,
    place: &'static str,
    wired_as: &'static str,
}

fn list(json: bool) -> Result<Exit, Error> {
    let all = terrace::all();
    if json {
        let listed: Vec<Listed> = all
            .iter()
            .map(|named| Listed {
                name: named.name,
                place: named.place,
                wired_as: named.story,
            })
            .collect();
        out(&format!("{}\n", serde_json::to_string_pretty(&listed)?))?;
    } else {
        let longest = all.iter().map(|named| named.name.len()).max().unwrap_or(0);
        let mut text = String::from("Larkfield Terrace (invented):\n");
        for named in all {
            text.push_str(&format!(
                "  {:<longest$}  {}: {}\n",
                named.name, named.place, named.story
            ));
        }
        out(&text)?;
    }
    Ok(Exit::Done)
}
