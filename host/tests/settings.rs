//! The file of settings: its defaults hold, what is typed wins, and a file that is wrong is said.

mod support;

use std::path::{Path, PathBuf};

use predicates::prelude::PredicateBooleanExt as _;
use predicates::str::contains;
use slotwise::archive::SqliteArchive;
use support::slotwise;

fn with(config: &Path) -> assert_cmd::Command {
    let mut command = slotwise();
    command.env("SLOTWISE_CONFIG", config);
    command
}

fn settings(folder: &Path, text: &str) -> PathBuf {
    let file = folder.join("slotwise.toml");
    std::fs::write(&file, text).unwrap();
    file
}

#[test]
fn an_archive_in_the_settings_need_not_be_typed_and_one_that_is_typed_wins() {
    let folder = tempfile::tempdir().unwrap();
    let config = settings(folder.path(), "archive = \"office.db\"\n");
    for name in ["office.db", "other.db"] {
        drop(SqliteArchive::open_or_make(&folder.path().join(name)).unwrap());
    }
    let mut archive = SqliteArchive::open_or_make(&folder.path().join("other.db")).unwrap();
    slotwise::archive::Archive::site(&mut archive, "Larkfield Terrace 1").unwrap();
    drop(archive);
    // From its own folder on, wherever the program is run.
    with(&config)
        .args(["archive", "info"])
        .assert()
        .code(0)
        .stdout(contains("0 sites"));
    with(&config)
        .args(["archive", "info", "--archive"])
        .arg(folder.path().join("other.db"))
        .assert()
        .code(0)
        .stdout(contains("1 sites"));
    // Without settings it must be typed.
    slotwise().args(["archive", "info"]).assert().code(2);
    // The schema needs no archive, and a pull goes to one only when asked to.
    with(&config).args(["export", "--schema"]).assert().code(0);
    with(&config)
        .args(["pull", "--port", "/dev/no-such-port"])
        .assert()
        .code(2);
}

#[test]
fn help_shows_the_default_that_holds() {
    let folder = tempfile::tempdir().unwrap();
    let text = "band = \"maryland\"\nport = \"/dev/ttyACM7\"\nprepared_by = \"Tern & Fell\"\n";
    let config = settings(folder.path(), text);
    let help = |command: &str| with(&config).args([command, "--help"]).assert().code(0);
    help("judge").stdout(contains("[default: maryland]"));
    help("pull").stdout(contains("[default: /dev/ttyACM7]"));
    help("report").stdout(contains("[default: \"Tern & Fell\"]"));
    // The network's port is another thing.
    help("serve").stdout(contains("[default: 8017]").and(contains("ttyACM7").not()));
}

#[test]
fn settings_that_are_wrong_are_said_with_their_place_and_nothing_is_done() {
    let folder = tempfile::tempdir().unwrap();
    for (text, said) in [
        ("archiv = \"a.db\"\n", "archiv"),
        ("archive = 7\n", "line 1"),
        (
            "band = \"middling\"\n",
            "utilization, service, maryland, illinois",
        ),
        ("band = ", "line 1"),
    ] {
        let config = settings(folder.path(), text);
        with(&config)
            .args(["export", "--schema"])
            .assert()
            .code(5)
            .stdout("")
            .stderr(
                contains("slotwise.toml")
                    .and(contains(said))
                    .and(contains("SLOTWISE_CONFIG=")),
            );
    }
    with(&folder.path().join("not-there.toml"))
        .args(["export", "--schema"])
        .assert()
        .code(5);
}
