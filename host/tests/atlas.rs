//! The atlas of wirings as it is printed.

mod support;

use std::collections::BTreeSet;

use slotwise::bench::atlas::table;
use slotwise::report::atlas::{document, render};
use slotwise::texts::English;
use support::slotwise;

#[test]
fn the_tables_are_the_known_ones() {
    insta::assert_snapshot!("atlas_110", render(&table().unwrap(), &English, 110));
}

#[test]
fn no_line_is_wider_than_the_terminal() {
    let table = table().unwrap();
    for width in [60_u16, 80, 110, 200] {
        for line in render(&table, &English, width).lines() {
            let wide = line.chars().count();
            assert!(wide <= usize::from(width), "{wide} > {width}: {line}");
        }
    }
}

#[test]
fn every_wiring_is_in_one_table_and_one_row() {
    let table = table().unwrap();
    let mut names = BTreeSet::new();
    for class in &table.classes {
        let mut rows: Vec<usize> = class.at_best.concat();
        rows.sort_unstable();
        assert_eq!(rows, (0..class.members.len()).collect::<Vec<_>>());
        names.extend(class.members.iter().map(|member| member.name));
    }
    assert_eq!(names.len(), 190);
    let rows: usize = table.classes.iter().map(|class| class.at_best.len()).sum();
    assert_eq!(rows, table.left_by[5].1);
    assert_eq!(table.classes.len(), table.left_by[0].1);
}

/// The verdict printed over a class is that of its first wiring; the others get it as well.
#[test]
fn the_set_named_over_a_class_holds_every_wiring_of_it() {
    for class in table().unwrap().classes {
        let rivals = class.verdict.first().unwrap().rivals;
        for member in class.members {
            // A supply beyond its band is said before the wiring.
            if !rivals.is_empty() {
                assert!(rivals.contains(member.topology), "{}", member.name);
            }
        }
    }
}

#[test]
fn the_command_prints_tables_and_json() {
    let output = slotwise().arg("atlas").output().unwrap();
    assert!(output.status.success());
    assert!(
        String::from_utf8(output.stdout)
            .unwrap()
            .contains("buses-exchanged")
    );

    let output = slotwise().args(["atlas", "--json"]).output().unwrap();
    assert!(output.status.success());
    let json: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(json["format"], "slotwise-atlas");
    assert_eq!(
        json,
        serde_json::from_str::<serde_json::Value>(&document(&table().unwrap()).unwrap()).unwrap()
    );
    let classes = json["classes"].as_array().unwrap();
    let sound = classes
        .iter()
        .find(|class| class["finding"] == "reads-sound")
        .unwrap();
    assert_eq!(sound["answer"], "no-fault-found");
    let wirings = sound["wirings"].as_array().unwrap();
    let of = |name: &str| {
        wirings
            .iter()
            .find(|wiring| wiring["name"] == name)
            .unwrap()
    };
    assert_eq!(of("leg1-neutral-ground")["p1_ohms"], 0.174);
    assert_eq!(of("leg1-neutral-ground")["p1_from_wide_ohms"], "refused");
    assert_eq!(of("buses-exchanged")["energises_ground"], true);
}

#[test]
fn trials_print_counts_and_claims_and_the_same_seed_gives_the_same_counts() {
    let run = || {
        let output = std::process::Command::new(env!("CARGO_BIN_EXE_slotwise"))
            .args(["atlas", "--trials", "20", "--seed", "7", "--json"])
            .output()
            .expect("the program starts");
        assert!(output.status.success(), "{output:?}");
        let mut document: serde_json::Value =
            serde_json::from_slice(&output.stdout).expect("it prints JSON");
        document["seconds"] = 0.into();
        document
    };
    let first = run();
    assert_eq!(first["format"], "slotwise-trials");
    assert_eq!(first["claims"].as_array().map(Vec::len), Some(4));
    assert_eq!(first["classes"][0]["draws"], 20);
    assert_eq!(first, run());
}

#[test]
fn trials_of_one_wiring_alone_claim_only_what_they_drew() {
    let output = std::process::Command::new(env!("CARGO_BIN_EXE_slotwise"))
        .args([
            "atlas",
            "--trials",
            "30",
            "--only",
            "buses-exchanged",
            "--json",
        ])
        .output()
        .expect("the program starts");
    assert!(output.status.success(), "{output:?}");
    let document: serde_json::Value =
        serde_json::from_slice(&output.stdout).expect("it prints JSON");
    assert_eq!(document["classes"].as_array().map(Vec::len), Some(1));
    assert_eq!(document["classes"][0]["energised"], 30);
    assert_eq!(document["claims"].as_array().map(Vec::len), Some(2));
}

#[test]
fn trials_of_a_wiring_that_is_not_there_are_an_error() {
    let output = std::process::Command::new(env!("CARGO_BIN_EXE_slotwise"))
        .args(["atlas", "--trials", "30", "--only", "nowhere"])
        .output()
        .expect("the program starts");
    assert!(!output.status.success());
    assert!(String::from_utf8_lossy(&output.stderr).contains("nowhere"));
}
