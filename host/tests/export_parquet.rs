//! `export --parquet` by the program: where the office's name comes from, what is refused, and what
//! is left when a month cannot be written. What is in the files is read by `tests/tests/parquet.rs`.
#![cfg(feature = "parquet")]

mod archives;
mod support;

use std::fs;
use std::path::Path;

use archives::{batch, kept};
use predicates::prelude::PredicateBooleanExt as _;
use predicates::str::contains;
use slotwise::archive::{Archive as _, SqliteArchive};
use support::{OPEN_GROUND, SOUND, records, slotwise};

/// Three tests of 2 March 2026.
fn archive_in(db: &Path) {
    let mut archive = SqliteArchive::open_or_make(db).unwrap();
    archive
        .import(&batch(kept(&records(&[SOUND, OPEN_GROUND, SOUND]), 1)))
        .unwrap();
}

#[test]
fn the_office_comes_from_the_command_line_or_the_settings_and_from_nowhere_else() {
    let folder = tempfile::tempdir().unwrap();
    let db = folder.path().join("a.db");
    archive_in(&db);
    let tree = folder.path().join("fleet");
    let run = |config: &str, rest: &[&str]| {
        let mut command = slotwise();
        command.env("SLOTWISE_CONFIG", config);
        command.args(["export", "--archive"]).arg(&db);
        command.arg("--parquet").arg(&tree).args(rest).assert()
    };
    run("", &[])
        .code(2)
        .stderr(contains("--office").and(contains("settings")));
    run("", &["--office", " "]).code(2);
    assert!(!tree.exists(), "nothing is made without a name");
    let config = folder.path().join("slotwise.toml");
    fs::write(&config, "office = \"Tern & Fell\"\n").unwrap();
    let config = config.to_str().unwrap();
    run(config, &[])
        .code(0)
        .stderr(contains("3 tests are in").and(contains("office=Tern & Fell, files: 1")));
    run(config, &["--office", "../Nord"]).code(0);
    let mut offices: Vec<String> = fs::read_dir(&tree)
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    offices.sort();
    assert_eq!(offices, ["office=..%2FNord", "office=Tern & Fell"]);
    for office in offices {
        let file = tree.join(office).join("month=2026-03/part-0.parquet");
        let bytes = fs::read(file).unwrap();
        // The format's magic at both ends (Apache Parquet, "File format").
        assert!(bytes.starts_with(b"PAR1") && bytes.ends_with(b"PAR1"));
    }
    // A part of an office's tests would take the place of all of them.
    for rest in [
        ["--site", "x"],
        ["--tester", "51070000000000ab"],
        ["--out", "x"],
    ] {
        run(config, &rest)
            .code(2)
            .stderr(contains("cannot be used with"));
    }
}

#[test]
fn a_month_that_cannot_be_written_leaves_the_others_as_they_were() {
    let folder = tempfile::tempdir().unwrap();
    let db = folder.path().join("a.db");
    archive_in(&db);
    let tree = folder.path().join("fleet");
    let office = tree.join("office=Tern");
    let other = office.join("month=2025-12");
    fs::create_dir_all(&other).unwrap();
    fs::write(other.join("part-0.parquet"), b"of before").unwrap();
    let blocked = office.join("month=2026-03");
    fs::write(&blocked, b"no folder").unwrap();
    let run = || {
        let mut command = slotwise();
        command.args(["export", "--office", "Tern", "--archive"]);
        command.arg(&db).arg("--parquet").arg(&tree).assert()
    };
    run()
        .code(7)
        .stderr(contains("month=2026-03").and(contains("cannot be written")));
    assert_eq!(
        fs::read(other.join("part-0.parquet")).unwrap(),
        b"of before"
    );
    fs::remove_file(&blocked).unwrap();
    run().code(0);
    assert!(blocked.join("part-0.parquet").is_file());
    assert!(!other.exists(), "a month without tests is gone");
}
