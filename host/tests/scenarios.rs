//! Receptacles from files: the example is a receptacle of the terrace, slips of the pen are told
//! with line and column, and a tester can be plugged in.

mod support;

use std::fs;
use std::path::{Path, PathBuf};

use predicates::prelude::PredicateBooleanExt as _;
use predicates::str::contains;
use slotwise::bench::scenario::{self, EXAMPLE, parse};
use slotwise_core::slots::ClipTarget;
use slotwise_core::units::{Amperes, Celsius, Ohms, Ratio, Volts};
use slotwise_virtual::house::{
    Appliance, BranchCable, Conductor, EmiFilter, Gauge, Gfci, House, Joint, Receptacle, Strays,
    find,
};
use slotwise_virtual::quantity::{Farads, Metres};
use slotwise_virtual::tester::Specimen;
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

/// Every key that says what stands behind the box, with another value than the usual one.
#[test]
fn a_long_branch_is_read_key_by_key() {
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("scenarios/long-branch.toml");
    let seen = scenario::read(&file).unwrap().receptacle;
    let farads = Farads::from_pico;
    let sound = Receptacle::sound();
    let mut supply = sound.supply.clone();
    supply.leg = Volts::new(118.0);
    let expected = Receptacle {
        supply,
        clip: ClipTarget::ApplianceFrame,
        gfci: Some(Gfci::ClassA),
        independent_earth: Ohms::new(40.0),
        appliance: Some(Appliance {
            leak: Amperes::new(0.3 / 1000.0),
            joined: Some(Ohms::new(2000.0)),
            filter: EmiFilter {
                across: farads(1000.0 * 100.0),
                to_frame: farads(1000.0 * f64::from(2.2_f32)),
            },
            ..Appliance::steady(3.0)
        }),
        cable: BranchCable {
            gauge: Gauge::Awg12,
            length: Metres::from_feet(150.0),
            temperature: Celsius::new(4.0),
        },
        house: House {
            transformer: Ohms::new(0.025),
            transformer_reactance: Ohms::new(0.03),
            service: Ohms::new(0.02),
            service_neutral: Joint::Weak(Ohms::new(0.05)),
            background: [Amperes::new(4.0), Amperes::new(15.0)],
            utility_earth: Ohms::new(8.0),
            rod: Ohms::new(60.0),
            bonded: true,
            panel_bond: Joint::Weak(Ohms::new(0.5)),
        },
        strays: Strays {
            hot_ground: farads(90.0),
            neutral_ground: farads(200.0),
            hot_neutral: farads(50.0),
            across_break: farads(12.0),
            neighbour: farads(20.0),
            room: farads(4.0),
        },
        ..sound
    };
    assert_eq!(seen, expected);
    let floating = parse("a", "name = \"a\"\n[house]\nbonded = false\n").unwrap();
    assert!(!floating.receptacle.house.bonded);
    let specimen = Specimen::nominal(1);
    assert!(seen.imbalance(&specimen, true).unwrap().is_some());
}

/// Every number of the example is looked at: another one in its place is another receptacle.
#[test]
fn no_key_of_the_example_is_passed_over() {
    let usual = parse("example", EXAMPLE).unwrap().receptacle;
    let mut numbers = 0;
    for (at, line) in EXAMPLE.lines().enumerate() {
        let Some((key, value)) = line.trim_start_matches("# ").split_once(" = ") else {
            continue;
        };
        let value = value.split('#').next().unwrap().trim();
        if value.parse::<f32>().is_err() {
            continue;
        }
        let changed: Vec<String> = EXAMPLE
            .lines()
            .enumerate()
            .map(|(index, line)| {
                if index == at {
                    format!("{key} = 44.5")
                } else {
                    line.to_owned()
                }
            })
            .collect();
        let stop = parse("changed", &changed.join("\n")).expect(key);
        assert_ne!(stop.receptacle, usual, "{key}");
        numbers += 1;
    }
    assert!(numbers >= 27, "{numbers}");
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
        (
            "name = \"a\"\n[cable]\ngauge = \"awg-13\"\n",
            3,
            9,
            "`awg-14`",
        ),
        (
            "name = \"a\"\n[house]\nrod-ohms = 0\n",
            3,
            12,
            "from 0.001 to",
        ),
        (
            "name = \"a\"\ninterrupter = \"class-b\"\n",
            2,
            15,
            "`class-a`",
        ),
        (
            "name = \"a\"\n[strays]\nroom-picofarad = 2\n",
            3,
            1,
            "`room-picofarads`",
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
