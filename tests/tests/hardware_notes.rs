//! The hardware notes against the code: legend, constants, parts, links, and that nothing is
//! claimed that was not done. `SLOTWISE_WRITE_HARDWARE=1 cargo test -p slotwise-tests --test
//! hardware_notes` writes the legend anew.

use slotwise_core::drive::{DriveCalibration, TONE};
use slotwise_core::earth_path::PROBE;
use slotwise_core::front_end::{NOMINAL_GAIN, NOMINAL_VOLTS_PER_CODE, response};
use slotwise_core::lamps::Lamp;
use slotwise_core::limits::{DriveLimits, LimiterLimits, ProbeLimits, RelayLimits};
use slotwise_core::units::Hertz;
use slotwise_tests::hardware::{Table, text};
use slotwise_tests::hardware_legend::legend;
use slotwise_tests::outside::root;
use slotwise_virtual::tester::CurrentParts;
use std::collections::BTreeSet;
use std::fs;

const NOTES: [&str; 9] = [
    "README.md",
    "safety.md",
    "theory.md",
    "build.md",
    "checks.md",
    "calibration.md",
    "enclosure.md",
    "CHANGELOG.md",
    "legend.md",
];

/// Number beside `name` in the table of theory.md.
fn stated(theory: &str, name: &str) -> f64 {
    let tail = format!("`{name}` |");
    let line = theory
        .lines()
        .find(|line| line.ends_with(&tail))
        .unwrap_or_else(|| panic!("theory.md has no row for {name}"));
    let cell = line.split('|').nth(2).expect("a value").trim();
    cell.parse().expect("a number")
}

/// Rows of theory.md that differ from the code by more than their last digit.
fn constants_off(theory: &str) -> Vec<String> {
    let drive = DriveCalibration::NOMINAL;
    let reference = f64::from(CurrentParts::NOMINAL.reference.get());
    let rows = [
        ("front_end::NOMINAL_GAIN", NOMINAL_GAIN, 5e-6),
        (
            "front_end::NOMINAL_VOLTS_PER_CODE",
            NOMINAL_VOLTS_PER_CODE,
            2e-4,
        ),
        ("front_end::response", response(Hertz::new(60.0)), 1e-5),
        ("Calibration::reference", reference, 1e-6),
        ("earth_path::PROBE", f64::from(PROBE.get()), 1e-6),
        (
            "DriveCalibration::NOMINAL.level",
            f64::from(drive.level.get()),
            1e-6,
        ),
        (
            "DriveCalibration::NOMINAL.source",
            f64::from(drive.source.get()),
            1e-6,
        ),
        (
            "DriveCalibration::NOMINAL.lead_zero",
            f64::from(drive.lead_zero.get()),
            1e-6,
        ),
        (
            "LimiterLimits::raised_level",
            f64::from(LimiterLimits::DEFAULT.raised_level.get()),
            1e-6,
        ),
        (
            "LimiterLimits::held_least",
            f64::from(LimiterLimits::DEFAULT.held_least.get()),
            1e-6,
        ),
        (
            "LimiterLimits::held_most",
            f64::from(LimiterLimits::DEFAULT.held_most.get()),
            1e-6,
        ),
        ("drive::TONE", f64::from(TONE.get()), 1e-6),
        (
            "ProbeLimits::rest_most",
            f64::from(ProbeLimits::DEFAULT.rest_most.get()),
            1e-6,
        ),
        (
            "DriveLimits::path_most",
            f64::from(DriveLimits::DEFAULT.path_most.get()),
            1e-6,
        ),
        (
            "RelayLimits::flows",
            f64::from(RelayLimits::DEFAULT.flows.get()),
            1e-6,
        ),
    ];
    rows.iter()
        .filter_map(|(name, value, share)| {
            let stated = stated(theory, name);
            let is_right = (stated / value - 1.0).abs() <= *share;
            (!is_right).then(|| format!("{name}: theory.md {stated}, code {value}"))
        })
        .collect()
}

#[test]
fn the_legend_is_that_of_the_code() {
    let path = root().join("hardware/legend.md");
    if std::env::var_os("SLOTWISE_WRITE_HARDWARE").is_some() {
        fs::write(&path, legend()).expect("legend.md can be written");
    }
    assert_eq!(text("legend.md"), legend(), "see the top of this file");
}

#[test]
fn the_constants_of_the_theory_are_the_codes() {
    let theory = text("theory.md");
    assert_eq!(constants_off(&theory), Vec::<String>::new());
    for (right, wrong) in [
        ("| 90000 |", "| 91000 |"),
        ("| 2.38348e-3 |", "| 2.38448e-3 |"),
        ("ohm | 3000 |", "ohm | 2900 |"),
    ] {
        assert!(theory.contains(right), "{right}");
        let found = constants_off(&theory.replace(right, wrong));
        println!("noticed: {found:?}");
        assert_eq!(found.len(), 1, "{wrong}");
    }
}

#[test]
fn every_part_that_the_notes_name_is_in_the_parts_list() {
    let table = Table::read("parts.csv");
    let listed: BTreeSet<String> = table
        .rows
        .iter()
        .flat_map(|row| row.get("designators").split(' '))
        .map(str::to_owned)
        .collect();
    let known: BTreeSet<&str> = listed.iter().map(String::as_str).collect();
    let mut named = 0;
    for note in NOTES {
        for word in text(note).split(|c: char| !c.is_ascii_alphanumeric()) {
            let letters = word.trim_end_matches(|c: char| c.is_ascii_digit());
            let digits = word.len() - letters.len();
            let is_part = [
                "R", "C", "U", "K", "Q", "D", "J", "PS", "Y", "L", "SW", "BT",
            ]
            .contains(&letters)
                && digits >= 3;
            if is_part {
                named += 1;
                assert!(
                    known.contains(word),
                    "{note} names {word}, parts.csv does not"
                );
            }
        }
    }
    assert!(named > 50, "{named}");
}

#[test]
fn every_file_that_the_notes_point_at_is_there() {
    for note in NOTES {
        let text = text(note);
        for link in text.split("](").skip(1) {
            let target = link.split(')').next().unwrap_or_default();
            if !target.starts_with("http") {
                let path = root().join("hardware").join(target);
                assert!(path.exists(), "{note} points at {target}");
            }
        }
    }
}

#[test]
fn the_lamps_stand_in_the_order_of_the_code() {
    // pins.csv: the lamps of the board, from the top, on ascending pins.
    let table = Table::read("pins.csv");
    let lamps: Vec<&str> = table
        .rows
        .iter()
        .filter(|row| row.get("signal").starts_with("lamp "))
        .map(|row| row.get("signal"))
        .collect();
    let expected = Lamp::ALL.map(|lamp| match lamp {
        Lamp::LiveMetal => "lamp live metal",
        Lamp::WiredRight => "lamp wired right",
        Lamp::EarthPath => "lamp earth path",
        Lamp::Supply => "lamp supply",
        Lamp::SteadyUnderLoad => "lamp steady",
        Lamp::Proven => "lamp proven",
    });
    assert_eq!(lamps, expected);
}

#[test]
fn the_notes_say_that_nothing_was_built() {
    for note in ["README.md", "safety.md", "CHANGELOG.md"] {
        let text = text(note).to_lowercase().replace('\n', " ");
        assert!(
            text.contains("built or measured"),
            "{note} does not say that nothing was built or measured"
        );
    }
    let first = text("README.md");
    let gate = first.find("safety.md").expect("README points at safety.md");
    let pins = first.find("## Pins").expect("README has a part on pins");
    assert!(gate < pins, "safety comes first");
}
