//! Receptacles from files: the example is a receptacle of the terrace, slips of the pen are told
//! with line and column, and a tester can be plugged in.

mod support;

use std::fs;
use std::path::{Path, PathBuf};

use predicates::prelude::PredicateBooleanExt as _;
use predicates::str::contains;
use slotwise::bench::scenario::{self, EXAMPLE, parse};
use slotwise_core::units::{Ohms, Ratio};
use slotwise_virtual::house::{Appliance, Conductor, Joint, Receptacle, find};
use support::slotwise;

fn example() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("scenarios/weak-neutral.toml")
}

#[test]
fn the_example_is_the_weak_neutral_of_the_terrace() {
    let stop = scenario::read(&example()).unwrap();
    let named = find("weak-neutral").unwrap();
    assert_eq!(stop.name, named.name);
    assert_eq!(stop.place, named.place);
    assert_eq!(stop.story, named.story);
    let usual = named.receptacle.clone();
    let supply = usual.supply.clone().with_thd(Ratio::new(0.019));
    assert_eq!(stop.receptacle, usual.with_supply(supply));
}

#[test]
fn what_is_left_out_is_as_on_a_sound_receptacle() {
    let stop = parse("a", "name = \"bare\"").unwrap();
    assert_eq!(stop.receptacle, Receptacle::sound());
    assert_eq!((stop.place.as_str(), stop.story.as_str()), ("bare", ""));
}

#[test]
fn every_fault_can_be_written() {
    let text = r#"
        name = "a"
        breaker = "off"
        jumper-ohms = 0.005
        [slots]
        narrow = "neutral"
        wide = "leg-2"
        ground = { rod-ohms = 25 }
        [joints]
        hot = { ohms = 2 }
        ground = "open"
        [appliance]
        amperes = 9
        leak-milliamperes = 0.5
    "#;
    let seen = parse("a", text).unwrap().receptacle;
    let appliance = Appliance {
        leak: slotwise_core::units::Amperes::new(0.0005),
        ..Appliance::steady(9.0)
    };
    let expected = Receptacle {
        breaker_on: false,
        jumper: Some(Ohms::new(0.005)),
        hot_joint: Joint::Weak(Ohms::new(2.0)),
        ground_joint: Joint::Open,
        appliance: Some(appliance),
        ..Receptacle::sound().with_slots(
            Conductor::Neutral,
            Conductor::Leg2,
            Conductor::Rod(Ohms::new(25.0)),
        )
    };
    assert_eq!(seen, expected);
}

/// Each line of the table: the file, where the mistake is, and what has to be said of it.
#[test]
fn a_slip_of_the_pen_is_told_with_line_column_and_what_may_stand_there() {
    for (text, line, column, said) in [
        ("", 1, 1, "name"),
        ("name = \"a\"\njumpers-ohm = 1\n", 2, 1, "jumper-ohms"),
        ("name = \"a\"\nbreaker = \"of\"\n", 2, 11, "`off`"),
        ("name = \"a\"\n[slots]\nwide = \"leg-3\"\n", 3, 8, "`leg-2`"),
        (
            "name = \"a\"\n[slots]\nnarow = \"leg-1\"\n",
            3,
            1,
            "`narrow`",
        ),
        ("name = \"a\"\n[joints]\nhot = \"lose\"\n", 3, 7, "`sound`"),
        (
            "name = \"a\"\n[joints]\nhot = { ohms = -1 }\n",
            3,
            16,
            "from 0 to",
        ),
        (
            "name = \"a\"\n[supply]\nvolts = nan\n",
            3,
            9,
            "from 0 to 300",
        ),
        (
            "name = \"a\"\n[supply]\nvolts = 301\n",
            3,
            9,
            "from 0 to 300",
        ),
        (
            "name = \"a\"\n[supply]\nhertz = \"60\"\n",
            3,
            9,
            "from 40 to 70",
        ),
        (
            "name = \"a\"\n[appliance]\noff-seconds = 2\n",
            2,
            1,
            "amperes",
        ),
        ("name = \"\u{e4}\" x\n", 1, 12, ""),
    ] {
        let error = parse("file.toml", text).expect_err(text).to_string();
        let place = format!("file.toml: line {line}, column {column}: ");
        assert!(error.starts_with(&place), "{text:?}: {error}");
        assert!(error.contains(said), "{text:?}: {error}");
        assert!(error.contains("bench --example"), "{error}");
        assert!(!error.contains('\n'), "{error}");
    }
}

#[test]
fn the_example_that_is_printed_is_the_file() {
    slotwise()
        .args(["bench", "--example"])
        .assert()
        .code(0)
        .stdout(EXAMPLE.to_owned());
    assert_eq!(fs::read_to_string(example()).unwrap(), EXAMPLE);
    scenario::parse("example", EXAMPLE).unwrap();
}

#[test]
fn a_scenario_that_is_not_there_is_an_error_of_the_file() {
    for command in ["bench", "tour"] {
        slotwise()
            .args([command, "--scenario", "not-there.toml"])
            .assert()
            .code(5)
            .stderr(contains("not-there.toml: cannot be read"));
    }
    slotwise()
        .args(["bench", "--list", "--scenario", "a.toml"])
        .assert()
        .code(2);
}

#[test]
fn a_tour_visits_the_receptacles_of_the_files() {
    let folder = tempfile::tempdir().unwrap();
    let live = folder.path().join("live.toml");
    fs::write(
        &live,
        "name = \"live\"\nplace = \"Cellar\"\nclip = \"independent-earth\"\njumper-ohms = 0.005\n\
         [slots]\nnarrow = \"neutral\"\nwide = \"leg-1\"\nground = \"nothing\"\n",
    )
    .unwrap();
    let out = folder.path().join("tour");
    slotwise()
        .args(["tour", "--no-pty", "--quiet", "--scenario"])
        .arg(example())
        .arg("--scenario")
        .arg(&live)
        .arg("--out")
        .arg(&out)
        .assert()
        .code(0)
        .stdout(contains("Number 7,").and(contains("Cellar")));
    let text = fs::read_to_string(out.join("report.json")).unwrap();
    let report: serde_json::Value = serde_json::from_str(&text).unwrap();
    let records = report["records"].as_array().unwrap();
    let last = records.last().unwrap();
    assert_eq!(last["receptacle"], "Cellar");
    let verdict = &last["test"]["verdict"];
    assert_eq!(verdict["outcome"], "danger");
    let finding = &verdict["findings"][0];
    assert_eq!(finding["code"], "reversed-and-joined");
    assert_eq!(finding["severity"], "metal-may-be-live");
    assert!(finding["appliance"].as_str().unwrap().contains("flame"));
}

#[cfg(unix)]
#[test]
fn a_bench_serves_the_receptacle_of_a_file() {
    slotwise()
        .args(["bench", "--seconds", "1", "--json", "--scenario"])
        .arg(example())
        .assert()
        .code(0)
        .stdout(contains("\"receptacle\":\"weak-neutral\"").and(contains("loose neutral screw")));
}
