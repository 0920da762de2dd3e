//! Progress of long commands: a bar with a rate where standard error is a terminal, and nothing of
//! it anywhere else.
#![cfg(unix)]

mod support;

use std::fs::OpenOptions;
use std::io::Read as _;
use std::path::Path;
use std::process::{Command, Stdio};

use assert_cmd::cargo::CommandCargoExt as _;
use predicates::prelude::PredicateBooleanExt as _;
use predicates::str::contains;
use serialport::{SerialPort as _, TTYPort};
use support::{OPEN_GROUND, SOUND, log_frames, records, slotwise, write_log};

/// Runs the program with its standard error on a terminal; returns what that saw, and standard output.
fn on_a_terminal(arguments: &[&str], no_color: bool) -> (String, String) {
    let (mut far, near) = TTYPort::pair().unwrap();
    let open = || OpenOptions::new().write(true).open(near.name().unwrap());
    let mut command = Command::cargo_bin("slotwise").unwrap();
    command
        .args(arguments)
        .env("SLOTWISE_CONFIG", "")
        .env("TERM", "xterm")
        .env_remove("NO_COLOR")
        .stdout(Stdio::piped())
        .stderr(open().unwrap());
    if no_color {
        command.env("NO_COLOR", "1");
    }
    let mut child = command.spawn().unwrap();
    drop(command);
    let mut seen = Vec::new();
    let mut bytes = [0; 4096];
    far.set_timeout(std::time::Duration::from_millis(50))
        .unwrap();
    let mut ended = false;
    loop {
        match far.read(&mut bytes) {
            Ok(count) if count > 0 => seen.extend_from_slice(&bytes[..count]),
            // Nothing for a while: once more after the program has ended.
            _ if ended => break,
            _ => ended = child.try_wait().unwrap().is_some(),
        }
    }
    assert!(child.wait().unwrap().success());
    let mut printed = String::new();
    child.stdout.unwrap().read_to_string(&mut printed).unwrap();
    (String::from_utf8_lossy(&seen).into_owned(), printed)
}

fn log_in(folder: &Path) -> String {
    let log = write_log(folder, &log_frames(&records(&[SOUND, OPEN_GROUND, SOUND])));
    log.to_str().unwrap().to_owned()
}

#[test]
fn a_terminal_sees_how_far_it_is_and_how_fast() {
    let folder = tempfile::tempdir().unwrap();
    let log = log_in(folder.path());
    let name = |name: &str| folder.path().join(name).to_str().unwrap().to_owned();
    let db = name("a.db");
    for no_color in [false, true] {
        let (seen, printed) =
            on_a_terminal(&["archive", "import", "--archive", &db, &log], no_color);
        assert!(seen.contains("/s") && seen.contains("left"), "{seen:?}");
        assert!(printed.contains("1 of 1 files are in"), "{printed}");
        assert!(!printed.contains("left"));
        let csv = name("a.csv");
        let (seen, _) = on_a_terminal(
            &[
                "export",
                "--archive",
                &db,
                "--csv",
                "--force",
                "--out",
                &csv,
            ],
            no_color,
        );
        assert!(seen.contains("of 3 tests, "), "{seen:?}");
        // Colours are `CSI ... m` (ECMA-48, SGR).
        let colours = seen.split('\u{1b}').any(|part| {
            part.strip_prefix('[')
                .and_then(|part| {
                    part.find(|c: char| c.is_ascii_alphabetic())
                        .map(|at| &part[at..])
                })
                .is_some_and(|end| end.starts_with('m'))
        });
        assert!(!colours, "{seen:?}");
    }
    // JSON is for a program, whoever looks at the other stream.
    let (seen, printed) = on_a_terminal(
        &["archive", "import", "--json", "--archive", &db, &log],
        false,
    );
    assert_eq!(seen, "");
    assert!(printed.starts_with('{'));
}

#[test]
fn no_terminal_sees_nothing_of_it() {
    let folder = tempfile::tempdir().unwrap();
    let log = log_in(folder.path());
    let db = folder.path().join("a.db");
    slotwise()
        .args(["archive", "import", "--archive"])
        .arg(&db)
        .arg(&log)
        .assert()
        .code(0)
        .stderr("")
        .stdout(contains("1 of 1 files"));
    slotwise()
        .args(["export", "--csv", "--archive"])
        .arg(&db)
        .arg("--out")
        .arg(folder.path().join("a.csv"))
        .assert()
        .code(0)
        .stdout("")
        .stderr(contains("3 tests are in").and(contains("left").not()));
}
