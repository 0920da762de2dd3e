//! The table of single faults (`hardware/faults.csv`, made by `hardware/tools/faults.py` from the
//! netlist and ngspice): its limits, that every part has its rows, and what the judgement of the
//! core says to the readings of every row.
//!
//! How a row becomes a verdict: `hardware_verdict`.
//!
//! No row of a part on a mains net may end in "proven". What is on a mains net follows from the
//! netlist (`hardware_mains`); there is no list of exceptions.

use slotwise_core::limits::CalibrationLimits;
use slotwise_core::verdict::Outcome;
use slotwise_tests::hardware::{Row, Table};
use slotwise_tests::hardware_mains::parts_on_mains;
use slotwise_tests::hardware_verdict::{
    RISES, finds_a_limiter_failed, is_refused_by_calibration, lead, limiters, name, number,
    outcome, own_readings,
};
use std::collections::{BTreeMap, BTreeSet};

/// A class A interrupter does not trip below 4 mA (NEC article 100 note, UL 943).
const TRIP_MA: f64 = 4.0;
/// Through a person with one part failed: 3.5 mA (IEC 61010-1 6.3.2, from memory).
const TOUCH_MA: f64 = 3.5;

/// Rows at or beyond a limit, in words.
fn beyond(table: &Table) -> Vec<String> {
    let mut found = Vec::new();
    for row in &table.rows {
        let name = format!("{} {}", row.get("designator"), row.get("failure"));
        for (column, limit) in [
            ("earth_ma", TRIP_MA),
            ("touch_ma", TOUCH_MA),
            ("volts_share", 1.0),
            ("heat_share", 1.0),
        ] {
            let value = number(row, column);
            // Written so that a NaN fails.
            let is_within = value < limit;
            if !is_within {
                found.push(format!("{name}: {column} {value}"));
            }
        }
    }
    found
}

#[test]
fn no_row_reaches_a_limit() {
    let table = Table::read("faults.csv");
    assert_eq!(beyond(&table), Vec::<String>::new());
    for (column, words) in [
        ("earth_ma", "mA into ground"),
        ("touch_ma", "mA through a person"),
        ("volts_share", "of a part's voltage"),
        ("heat_share", "of a part's power"),
    ] {
        let worst = table
            .rows
            .iter()
            .max_by(|a, b| number(a, column).total_cmp(&number(b, column)))
            .expect("rows");
        let place = worst.get(match column {
            "earth_ma" => "earth_at",
            "touch_ma" => "touch_at",
            "volts_share" => "volts_at",
            _ => "heat_at",
        });
        println!(
            "worst: {} {words}, {} {}, {place}",
            worst.get(column),
            worst.get("designator"),
            worst.get("failure")
        );
    }
    // What the safety notes say is what the table has.
    let safety = slotwise_tests::hardware::text("safety.md");
    for (column, row) in [
        (
            "earth_ma",
            "| into ground, one part failed or the firmware wrong |",
        ),
        ("touch_ma", "| through a person |"),
        ("volts_share", "| share of a part's voltage |"),
        ("heat_share", "| share of a part's power |"),
    ] {
        let worst = table
            .rows
            .iter()
            .map(|row| number(row, column))
            .fold(0.0, f64::max);
        let line = safety
            .lines()
            .find(|line| line.starts_with(row))
            .expect(row);
        assert!(
            line.contains(&format!("| {worst:.2}")),
            "{line}: the table has {worst:.2}"
        );
    }
    // ... and a table with a row beyond one is not passed.
    let mut text = slotwise_tests::hardware::text("faults.csv");
    let columns = table.columns().len();
    text.push_str(&format!(
        "R999,short,no,4.000{}\n",
        ",0".repeat(columns - 4)
    ));
    assert_eq!(beyond(&Table::parse(&text)).len(), 1);
}

#[test]
fn every_part_on_the_mains_side_has_its_rows() {
    // Parts of the sheets at mains potential, by number: leads, strings, converter, probe, drive.
    let netlist = Table::read("netlist.csv");
    let parts: BTreeSet<&str> = netlist
        .rows
        .iter()
        .filter(|row| {
            let net = row.get("net");
            [
                "NARROW",
                "WIDE",
                "GROUND_PIN",
                "INNER_GROUND",
                "CLIP",
                "STAR",
                "DRIVE_COM",
                "DRIVE_RETURN",
                "+3V3_STAR",
            ]
            .contains(&net)
                || net.starts_with("AIN")
        })
        .map(|row| row.get("designator"))
        .filter(|part| !part.starts_with('J'))
        .collect();
    let table = Table::read("faults.csv");
    let rows: BTreeSet<(&str, &str)> = table
        .rows
        .iter()
        .map(|row| (row.get("designator"), row.get("failure")))
        .collect();
    for part in &parts {
        for failure in ["open", "short"] {
            assert!(
                rows.contains(&(*part, failure)),
                "{part} {failure} has no row"
            );
        }
    }
    println!("{} parts, {} rows", parts.len(), rows.len());
    assert!(parts.len() >= 50);
}

#[test]
fn what_is_on_a_mains_net_follows_from_the_netlist() {
    let netlist = slotwise_tests::hardware::text("netlist.csv");
    let parts = parts_on_mains(&Table::parse(&netlist));
    // The script that makes the table says the same by itself.
    let table = Table::read("faults.csv");
    let said: BTreeSet<String> = table
        .rows
        .iter()
        .filter(|row| row.get("on_mains") == "yes")
        .map(|row| row.get("designator").to_owned())
        .collect();
    assert_eq!(parts, said);
    println!("{} parts on mains nets: {parts:?}", parts.len());
    for part in [
        "R101", "R102", "R201", "R233", "R502", "K501", "K602", "Q611", "Q624", "R620", "R608",
        "U603",
    ] {
        assert!(parts.contains(part), "{part}");
    }
    for part in [
        "R204", "C201", "U301", "PS601", "U601", "U604", "R603", "U401", "J101",
    ] {
        assert!(!parts.contains(part), "{part}");
    }
    // A filter moved to a lead, and a capacitor of the drive's supply on wide, are found.
    for (right, wrong, part) in [
        ("\nR235,1,,", "\nR235,1,,INNER_CLIP\n#,1,,", "R235"),
        ("\nC603,1,,", "\nC603,1,,WIDE\n#,1,,", "C603"),
    ] {
        assert!(netlist.contains(right), "{right}");
        let moved = parts_on_mains(&Table::parse(&netlist.replace(right, wrong)));
        assert!(moved.contains(part), "{part}");
    }
}

/// No row of a part on a mains net ends in "proven". Of the others none does but at a sound
/// receptacle; and there only a tester with nothing wrong, and the failures of `unseen.csv`: each with
/// the reason why its readings are right, and with the check that finds it.
#[test]
fn proven_is_said_with_no_failed_part_but_those_that_no_reading_can_show() {
    let table = Table::read("faults_readings.csv");
    let own = Table::read("faults_self.csv");
    let mains = parts_on_mains(&Table::read("netlist.csv"));
    let mut outcomes: BTreeMap<String, usize> = BTreeMap::new();
    let mut proven = BTreeSet::new();
    let mut on_mains = 0;
    for row in &table.rows {
        let outcome = outcome(row, &own);
        *outcomes.entry(format!("{outcome:?}")).or_default() += 1;
        if mains.contains(row.get("designator")) {
            on_mains += 1;
            let at = (name(row), row.get("input"));
            assert_ne!(outcome, Outcome::Proven, "{at:?}");
        }
        // A program that is wrong says what it likes: not a matter of readings.
        if outcome == Outcome::Proven && row.get("designator") != "firmware" {
            assert_eq!(row.get("input"), "sound", "{:?}", name(row));
            proven.insert(name(row));
        }
    }
    println!("{} readings judged: {outcomes:?}", table.rows.len());
    // The check can fail: the tester with nothing wrong is among them.
    let none = ("none".to_owned(), "none".to_owned());
    assert!(proven.remove(&none), "nothing is proven at all");
    let unseen = Table::read("unseen.csv");
    let listed: BTreeSet<_> = unseen.rows.iter().map(name).collect();
    assert_eq!(proven, listed, "said proven, and listed");
    println!(
        "{on_mains} readings of parts on mains nets, none proven; {} failures of other parts are \
         not seen in use",
        listed.len()
    );
    assert!(on_mains > 1000, "{on_mains}");
}

/// What is not seen leaves every reading that "proven" rests on right, holds every limit, and is
/// found by a step of the checks, which has to find it by the figures of the tables; and no relay
/// that stays closed is among it.
#[test]
fn what_is_not_seen_is_harmless_and_has_a_check() {
    let readings = Table::read("faults_readings.csv");
    let own = Table::read("faults_self.csv");
    let faults = Table::read("faults.csv");
    let checks = slotwise_tests::hardware::text("checks.md");
    let unseen = Table::read("unseen.csv");
    let limits = CalibrationLimits::DEFAULT;
    let whole = own
        .rows
        .iter()
        .find(|row| row.get("designator") == "none")
        .expect("a row with nothing failed");
    assert_eq!(limiters(whole).check(&limits), Ok(()));
    assert!(!is_refused_by_calibration(whole));
    for (part, failure) in [
        ("R102", "short"),
        ("K602", "open"),
        ("R626", "short"),
        ("R603", "open"),
    ] {
        let is_this = |row: &&Row| name(row) == (part.to_owned(), failure.to_owned());
        let row = own.rows.iter().find(is_this).expect(part);
        assert!(is_refused_by_calibration(row), "{part} {failure}");
    }
    let mut found: BTreeMap<&str, usize> = BTreeMap::new();
    for row in &unseen.rows {
        let (part, failure) = name(row);
        let at = format!("{part} {failure}");
        assert!(!(part.starts_with('K') && failure == "short"), "{at}");
        assert!(row.get("why_right").len() > 20, "{at}: no reason");
        let is_this = |other: &&Row| name(other) == (part.clone(), failure.clone());
        let own = own_readings(&own, row);
        let found_by = row.get("found_by");
        *found.entry(found_by).or_default() += 1;
        assert_eq!(limiters(own).check(&limits), Ok(()), "{at}: a limiter");
        match found_by {
            // Nothing is weakened: the reason says so.
            "none" => {
                let harmless = ["C602", "C603"];
                assert!(harmless.contains(&part.as_str()), "{at}: never found");
            }
            // By the noise with the inputs shorted, if there is any.
            "start" => assert!(part.starts_with("C3") || part.starts_with("C4"), "{at}"),
            // Filters: host/tests/calibrate.rs calibrates such testers.
            "calibration" => assert!(
                part.starts_with('C') || part.starts_with("R2") || is_refused_by_calibration(own),
                "{at}: the calibration does not refuse it"
            ),
            step => assert!(
                checks.contains(&format!("\n| {step} |")),
                "{at}: no step {step} in checks.md"
            ),
        }
        let read = readings
            .rows
            .iter()
            .filter(is_this)
            .find(|row| row.get("input") == "sound")
            .expect(&at);
        let [narrow, wide, ground, clip] =
            ["narrow", "wide", "ground", "clip"].map(|name| lead(read, name));
        // 120 V within half of what a calibration with a handheld meter leaves, 1.5 %; neutral,
        // ground and clip together; an earth path of 0.2 ohm; a P2 that finds no joint.
        assert!(((narrow - wide).norm() - 120.0).abs() < 0.9, "{at}");
        assert!((ground - wide).norm() < 0.5, "{at}");
        assert!((clip - wide).norm() < 0.5, "{at}");
        assert!((number(read, "p1_ohm") - 0.2).abs() < 0.1, "{at}");
        for column in ["p2_ohm", "p2_clip_ohm"] {
            let p2 = number(own, column);
            assert!((p2 - 0.4).abs() < 0.8, "{at}: {column} {p2}");
        }
        let held = faults.rows.iter().find(is_this).expect(&at);
        let (earth, touch) = (held.get("earth_ma"), held.get("touch_ma"));
        assert!(number(held, "earth_ma") < TRIP_MA, "{at}");
        assert!(number(held, "touch_ma") < TOUCH_MA, "{at}");
        let bound = format!("{earth} mA into ground and {touch} mA through a person at most");
        assert!(row.get("bounded_by").starts_with(&bound), "{at}: {bound}");
    }
    println!(
        "{} failures not seen in use, found by {found:?}",
        unseen.rows.len()
    );
    assert!(!unseen.rows.is_empty());
}

/// Every failure of a limiter that steps 15a and 15b of the checks would refuse, and every other
/// that the test of the limiters sees, in both legs: the row says so, and the verdict is a tester fault.
#[test]
fn a_limiter_that_does_not_hold_is_a_tester_fault() {
    let table = Table::read("faults_readings.csv");
    let own = Table::read("faults_self.csv");
    let faults = Table::read("faults.csv");
    let limits = CalibrationLimits::DEFAULT;
    let mut found = [0, 0];
    for row in table.rows.iter().filter(|row| row.get("input") == "sound") {
        let own_row = own_readings(&own, row);
        let is_refused = limiters(own_row).check(&limits).is_err();
        if is_refused {
            assert_ne!(outcome(row, &own), Outcome::Proven, "{:?}", name(row));
        }
        if !finds_a_limiter_failed(own_row) {
            continue;
        }
        assert_eq!(outcome(row, &own), Outcome::TesterFault, "{:?}", name(row));
        let is_this = |other: &&Row| name(other) == name(row);
        let says = faults.rows.iter().find(is_this).expect("a row");
        let says = says.get("says_at_a_sound_receptacle");
        let legs = ["to ground", "to the clip"]
            .map(|leg| says.contains(&format!("P2's limiter {leg} does not hold: tester fault")));
        assert!(legs.contains(&true), "{:?}: {says}", name(row));
        for (count, is_said) in found.iter_mut().zip(legs) {
            *count += usize::from(is_said);
        }
        // The test of a limiter is not the reader of a level: whole parts elsewhere do not fail it.
        let of_drive = ["Q6", "R6", "U6", "K6"];
        let part = row.get("designator");
        assert!(of_drive.iter().any(|of| part.starts_with(of)), "{part}");
    }
    println!("limiters found failed, to ground and to the clip: {found:?}");
    assert_eq!(found[0], found[1], "the two legs are alike");
    assert!(found[0] >= 30, "{found:?}");
    // Sound, with parts of the middle.
    let whole = own.rows.iter().find(|row| row.get("designator") == "none");
    let whole = whole.expect("a row with nothing failed");
    for column in RISES {
        let rise = number(whole, column);
        assert!((rise - 1.14).abs() < 0.02, "{column} {rise}");
    }
}

/// Each relay that stays closed, by name: the row says so, and the verdict is a tester fault.
#[test]
fn a_relay_that_stays_closed_is_a_tester_fault() {
    let table = Table::read("faults_readings.csv");
    let own = Table::read("faults_self.csv");
    let faults = Table::read("faults.csv");
    for relay in ["K501", "K502", "K601", "K602"] {
        let is_short = |row: &&Row| name(row) == (relay.to_owned(), "short".to_owned());
        let row = table
            .rows
            .iter()
            .filter(is_short)
            .find(|row| row.get("input") == "sound")
            .expect(relay);
        assert_eq!(outcome(row, &own), Outcome::TesterFault, "{relay}");
        let says = faults.rows.iter().find(is_short).expect(relay);
        let says = says.get("says_at_a_sound_receptacle");
        assert!(
            says.contains("does not open: tester fault"),
            "{relay}: {says}"
        );
    }
}
