//! The real image stopped in every way that it can be, in the emulator: what the next start
//! records of it, read as the host program pulls and shows it. Each stop is told once.
//!
//! What happened is known from the emulator's own report: its program counter at the fault, its
//! clock at the reset.

use std::fs;
use std::path::Path;
use std::process::Command;
use std::time::{Duration, Instant};

use serde_json::Value;
use slotwise::firmware_builds::known;
use slotwise_tests::emulator::{
    EmulatedBoard, Feed, Given, host_program, image_or_word, report, run_alone,
};
use slotwise_tests::firmware_log::{Decoded, decode};
use slotwise_tests::image::Image;

/// Exit code of the host program where the tester does not answer.
const LINK: i32 = 4;

/// A run with these mishaps.
struct Run {
    folder: tempfile::TempDir,
    report: Value,
    log: Decoded,
}

fn run(elf: &Path, receptacle: &str, seconds: u64, more: &[&str]) -> Run {
    let folder = tempfile::tempdir().expect("a temporary folder");
    run_alone(elf, folder.path(), receptacle, seconds, more).expect("it runs");
    let report = report(&folder.path().join("report.json"));
    assert_eq!(report["loggedInInterrupts"], 0, "no log in an interrupt");
    let frames = fs::read(folder.path().join("log.bin")).expect("a log");
    let log = decode(elf, &frames).expect("the image has a log");
    Run {
        folder,
        report,
        log,
    }
}

/// Switches the tester of a run on again and pulls and shows its journal with the host program:
/// the JSON document, the table, and what `doctor` says.
fn pull(elf: &Path, run: &Run) -> (Value, String, Value) {
    let program = host_program();
    let path = |name: &str| run.folder.path().join(name);
    let board = EmulatedBoard::start(Given {
        elf,
        feed: Feed::Frames(&path("frames.bin")),
        nor: &path("nor.bin"),
        report: &path("report.json"),
        seconds: 3600,
        more: &[],
    })
    .expect("the emulator starts");
    let port = board.port().expect("a port");
    let file = path("pulled.slotlog");
    let deadline = Instant::now() + Duration::from_secs(1200);
    // A machine with much else to do may run the board too slowly for the host's patience.
    let host = |arguments: &[&str]| loop {
        let output = Command::new(&program)
            .args(arguments)
            .output()
            .expect("the host program starts");
        let text = String::from_utf8(output.stdout).expect("text");
        if output.status.code() != Some(LINK) && !text.is_empty() {
            return text;
        }
        let errors = String::from_utf8_lossy(&output.stderr).into_owned();
        assert!(Instant::now() < deadline, "{arguments:?}: {text}{errors}");
    };
    let name = file.to_str().expect("text");
    host(&["pull", "--port", &port, "--out", name]);
    let doctor = host(&["doctor", "--port", &port, "--json"]);
    assert!(board.finish().expect("it ends"), "nothing that ends a run");
    let shown = host(&["show", name, "--json"]);
    let table = host(&["show", name]);
    (
        serde_json::from_str(&shown).expect("JSON"),
        table,
        serde_json::from_str(&doctor).expect("JSON"),
    )
}

/// The starts of a document, in order.
fn starts(document: &Value) -> Vec<&Value> {
    let records = document["records"].as_array().expect("records");
    records
        .iter()
        .map(|record| &record["start"])
        .filter(|start| !start.is_null())
        .collect()
}

#[test]
fn every_stop_leaves_one_record_that_is_pulled_and_said_in_words() {
    let Some(elf) = image_or_word() else { return };
    let run = run(
        &elf,
        "sound",
        9,
        &[
            "--panic-at",
            "1500",
            "--crash-at",
            "3000",
            "--skip-frames-at",
            "4500",
            "--restart-at",
            "7500:pin",
            "--restart-at",
            "8000:dip",
            "--restart-at",
            "8500:power",
        ],
    );
    let resets = run.report["watchdogResets"].as_array().expect("a list");
    let causes: Vec<_> = resets.iter().map(|reset| &reset["cause"]).collect();
    assert_eq!(causes, ["forced", "forced", "timer"]);
    let (document, table, doctor) = pull(&elf, &run);
    let starts = starts(&document);
    let causes: Vec<_> = starts.iter().map(|start| &start["cause"]).collect();
    assert_eq!(
        causes,
        [
            "power-on",
            "panic",
            "panic",
            "watchdog",
            "reset-pin",
            "power-dip",
            "power-on",
            "power-on"
        ]
    );
    let build = Image::read(&elf).build().to_string();
    for start in &starts {
        assert_eq!(start["build"], build.as_str());
    }
    let told: Vec<_> = starts
        .iter()
        .map(|start| &start["stopped"])
        .enumerate()
        .filter(|(_, stopped)| !stopped.is_null())
        .collect();
    let places: Vec<_> = told.iter().map(|(place, _)| *place).collect();
    assert_eq!(places, [1, 2, 3], "each stop once, in the start after it");

    // tests/emulator/machine.mjs makes the program panic with this place.
    let panic = told[0].1;
    assert_eq!(panic["by"], "panic");
    assert_eq!(panic["file"], "tests/emulator/machine.mjs");
    assert_eq!(panic["line"], 4711);
    let since = |stopped: &Value, from: f64, to: f64| {
        let ran = stopped["millis_since_boot"].as_f64().expect("ms");
        // To the millisecond of the last poll.
        assert!((ran - (to - from)).abs() < 3.0, "{ran} of {}", to - from);
    };
    let at = |place: usize| resets[place]["ms"].as_f64().expect("ms");
    since(panic, 0.0, at(0));
    let fault = told[1].1;
    assert_eq!(fault["by"], "fault");
    let real = &run.report["faults"][0];
    let hex = |text: &Value| u32::from_str_radix(text.as_str().expect("text"), 16).expect("hex");
    assert_eq!(hex(&fault["program_counter"]), hex(&real["pc"]));
    assert_eq!(hex(&fault["link_register"]), hex(&real["lr"]));
    since(fault, at(0), at(1));
    let watchdog = told[2].1;
    assert_eq!(watchdog["by"], "watchdog");
    assert_eq!(watchdog["missing_stages"], serde_json::json!(["frames"]));
    since(watchdog, at(1), at(2));
    for (place, boot) in [(0, 1), (1, 2), (2, 3)] {
        assert_eq!(told[place].1["boot"], boot);
    }

    // Single words: the table breaks lines.
    for word in ["4711", "processor", "readings", "dipped"] {
        assert!(table.contains(word), "{word}: {table}");
    }
    assert_eq!(doctor["tester"]["firmware_build"], build.as_str());
    assert_eq!(doctor["tester"]["start"]["cause"], "power-on");
    let is_listed = known().iter().any(|one| one.build.to_string() == build);
    let is_unknown = doctor["tester"]["firmware_is"] == "unknown";
    assert_eq!(is_unknown, !is_listed, "{doctor:#}");
}

#[test]
fn a_log_of_a_start_a_test_and_a_watchdogs_reset_holds_what_happened() {
    let Some(elf) = image_or_word() else { return };
    let run = run(&elf, "reversed-polarity", 5, &["--hang-at", "2500"]);
    let build = Image::read(&elf).build();
    let expected = [
        &format!("info  firmware 0.1.0, build Some({build})"),
        "info  start: PowerOn",
        "info  start 1 of this tester is ready",
        "info  converter started",
        "info  record 1 is kept",
        "info  answer: Danger",
        "info  record 2 is kept",
        "info  start: Watchdog",
        "warn  start 1 ended after 2",
        "info  start 2 of this tester is ready",
        "info  record 3 is kept",
    ];
    let mut lines = run.log.lines.iter();
    for expected in expected {
        assert!(
            lines.any(|line| line.contains(expected)),
            "{expected}: {:#?}",
            run.log.lines
        );
    }
    assert_eq!(run.log.malformed, 0);
    // Times rise within each start.
    let times: Vec<f64> = run
        .log
        .lines
        .iter()
        .map(|line| line.split_whitespace().next().expect("a time"))
        .map(|time| time.parse().expect("seconds"))
        .collect();
    let falls = times.windows(2).filter(|pair| pair[0] > pair[1]).count();
    assert_eq!(falls, 1, "{times:?}");
}

/// A probe that asked for the whole log and went away: without it the tester does not wait.
#[test]
fn a_log_that_nobody_reads_holds_nothing_up() {
    let Some(elf) = image_or_word() else { return };
    let folder = tempfile::tempdir().expect("a temporary folder");
    run_alone(
        &elf,
        folder.path(),
        "reversed-polarity",
        4,
        &["--log-stuck"],
    )
    .expect("it runs");
    let report = report(&folder.path().join("report.json"));
    assert_eq!(report["watchdogResets"].as_array().map_or(0, Vec::len), 0);
    assert_eq!(report["converter"]["missedWhileStreaming"], 0);
    // The converter's restarts, the answer and its record are logged, 0.5 s and later.
    let lit = report["lamps"]["changes"].as_u64().expect("counted");
    assert!(lit > 5, "{lit}");
}

#[test]
fn the_image_says_which_build_it_is() {
    let Some(elf) = image_or_word() else { return };
    let image = Image::read(&elf);
    assert_eq!(image.marked_build(), Some(image.build()));
    // A build of the same length with one other bit is another build.
    let mut other = image.clone();
    let last = other.flash.len() - 1;
    other.flash[last] ^= 1;
    assert_ne!(other.build(), image.build());
    // The UF2 holds the same bytes: 256 of every 512 (UF2, "File format").
    let uf2 = fs::read(elf.with_extension("uf2")).expect("written beside it");
    let blocks = uf2.chunks(512).flat_map(|block| &block[32..288]).copied();
    let mut flashed: Vec<u8> = blocks.collect();
    assert!(
        flashed
            .split_off(image.flash.len())
            .iter()
            .all(|byte| *byte == 0xff)
    );
    assert!(flashed == image.flash, "the UF2 differs from the ELF");
}
