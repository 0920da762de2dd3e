//! `judge --samples`: recorded waveforms through front end, core and verdict.

mod support;

use std::fmt::Write as _;
use std::path::{Path, PathBuf};

use predicates::prelude::PredicateBooleanExt as _;
use predicates::str::contains;
use support::slotwise;

/// Samples a second of the recordings made here.
const RATE: f64 = 30_000.0;

/// RMS volts and angle in degrees.
type Wave = (f64, f64);

/// `seconds` of sines at 60 Hz in columns of these names.
fn recording(folder: &Path, columns: &[(&str, Wave)], seconds: f64) -> PathBuf {
    let mut text = String::from("# an invented recording\n");
    let names: Vec<&str> = columns.iter().map(|(name, _)| *name).collect();
    writeln!(text, "{}", names.join(",")).unwrap();
    for n in 0..(seconds * RATE) as u32 {
        let turn = f64::from(n) / RATE * 60.0 * std::f64::consts::TAU;
        let volts: Vec<String> = columns
            .iter()
            .map(|(_, (rms, degrees))| {
                let volts = rms * 2.0_f64.sqrt() * (turn + degrees.to_radians()).sin();
                format!("{volts:.3}")
            })
            .collect();
        writeln!(text, "{}", volts.join(",")).unwrap();
    }
    let file = folder.join("waves.csv");
    std::fs::write(&file, text).unwrap();
    file
}

fn judge(file: &Path, more: &[&str]) -> assert_cmd::assert::Assert {
    slotwise()
        .args(["judge", "--rate", "30000", "--samples"])
        .arg(file)
        .args(more)
        .assert()
}

#[test]
fn one_cycle_played_again_and_again_is_enough() {
    let folder = tempfile::tempdir().unwrap();
    let cycle = 1.0 / 60.0;
    let file = recording(
        folder.path(),
        &[("nw", (119.5, 0.0)), ("gw", (0.1, 0.0))],
        cycle,
    );
    judge(&file, &["--repeat"])
        .code(0)
        .stdout(contains("Reads sound").and(contains("119.5")));
    judge(&file, &[])
        .code(5)
        .stderr(contains("a test needs").and(contains("--repeat")));
}

#[test]
fn every_wiring_of_the_table_gets_its_exit_code() {
    let folder = tempfile::tempdir().unwrap();
    for (columns, exit, finding) in [
        (
            [("nw", (119.5, 0.0)), ("ng", (119.5, 0.0))],
            0,
            "reads-sound",
        ),
        (
            [("nw", (119.5, 0.0)), ("gw", (119.5, 0.0))],
            11,
            "reversed-polarity",
        ),
        (
            [("nw", (119.5, 0.0)), ("gw", (57.8, 0.0))],
            10,
            "open-ground",
        ),
        (
            [("nw", (64.2, 0.0)), ("ng", (119.5, -9.0))],
            11,
            "open-neutral",
        ),
        ([("nw", (239.5, 0.0)), ("gw", (119.8, 0.0))], 10, "two-hots"),
        ([("nw", (0.2, 0.0)), ("gw", (0.0, 0.0))], 10, "dead"),
        (
            [("nw", (100.0, 0.0)), ("gw", (0.1, 0.0))],
            10,
            "supply-too-low",
        ),
    ] {
        let file = recording(folder.path(), &columns, 1.0 / 60.0);
        let assert = judge(&file, &["--repeat", "--json"]).code(exit);
        let json: serde_json::Value = serde_json::from_slice(&assert.get_output().stdout).unwrap();
        let first = &json["records"][0]["test"]["verdict"]["findings"][0]["code"];
        assert_eq!(first, finding, "{columns:?}");
        assert_eq!(json["origin"], "recording");
    }
}

#[test]
fn the_clip_column_counts_for_what_the_clip_was_on() {
    let folder = tempfile::tempdir().unwrap();
    let columns = [
        ("nw", (119.5, 0.0)),
        ("gw", (0.02, 0.0)),
        ("cw", (119.6, 0.0)),
    ];
    let file = recording(folder.path(), &columns, 1.0 / 60.0);
    judge(&file, &["--repeat", "--clip", "earth"])
        .code(11)
        .stdout(contains("exchanged"));
    judge(&file, &["--repeat"])
        .code(5)
        .stderr(contains("--clip does not say"));
    let file = recording(folder.path(), &columns[..2], 1.0 / 60.0);
    judge(&file, &["--repeat", "--clip", "frame"])
        .code(5)
        .stderr(contains("no column cw"));
}

#[test]
fn the_value_read_is_the_value_recorded() {
    let folder = tempfile::tempdir().unwrap();
    let columns = [("nw", (118.5, 0.0)), ("ng", (120.0, 0.0))];
    let file = recording(folder.path(), &columns, 2.5);
    let assert = judge(&file, &["--json"]).code(0);
    let json: serde_json::Value = serde_json::from_slice(&assert.get_output().stdout).unwrap();
    let slots = &json["records"][0]["test"]["evidence"]["slots"];
    for (pair, expected) in [
        ("narrow_wide", 118.5),
        ("ground_wide", 1.5),
        ("narrow_ground", 120.0),
    ] {
        let read = slots[pair]["fundamental"]["value"].as_f64().unwrap();
        assert!((read / expected - 1.0).abs() < 5e-4, "{pair} {read}");
    }
    let hertz = json["records"][0]["test"]["evidence"]["frequency"]["value"]
        .as_f64()
        .unwrap();
    assert!((hertz - 60.0).abs() < 2e-3, "{hertz}");
}

#[test]
fn bad_columns_and_values_are_named_by_line_and_column() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("waves.csv");
    for (text, expected) in [
        (
            "nw,gw\n1,2\n3,x\n",
            "line 3, column 2 (gw): `x` is not a voltage",
        ),
        ("nw,hot\n1,2\n", "line 1: column 2 is called `hot`"),
        (
            "nw,gw\n1,2\n3\n",
            "line 3: 1 values, the header names 2 columns",
        ),
        (
            "nw,gw,ng\n0,0,0\n120,60,20\n",
            "line 3: nw - ng - gw is 40.0 V",
        ),
        ("", "no samples"),
    ] {
        std::fs::write(&file, text).unwrap();
        judge(&file, &["--repeat"])
            .code(5)
            .stdout("")
            .stderr(contains(expected));
    }
    judge(&folder.path().join("nothing.csv"), &[])
        .code(5)
        .stderr(contains("nothing.csv"));
}

#[test]
fn samples_without_a_rate_are_a_usage_error() {
    slotwise()
        .args(["judge", "--samples", "waves.csv"])
        .assert()
        .code(2)
        .stderr(contains("--rate"));
}
