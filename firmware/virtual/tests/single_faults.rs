//! Currents into ground and through a person with any one part of the tester failed: the table,
//! by the circuit solver and by construction.
//!
//! Bounds: 0.5 mA steady is the leakage that cord-connected equipment is allowed (UL 101, as
//! quoted in UL 8750 8.7.1) and the touch current of IEC 61010-1:2010 6.3.1 (from memory); 4 mA is
//! what a class A interrupter does not trip below (NEC Article 100, Informational Note; UL 943).

use slotwise_virtual::faults::{
    Clip, Closings, Design, Failure, Fault, Firmware, Part, Place, Row, at_rest, table,
};
use slotwise_virtual::house::Tripping;
use std::collections::BTreeMap;

const STEADY: f64 = 0.5;
const ALWAYS: f64 = 4.0;
/// Where a class A interrupter must trip.
const TRIPS: f64 = 6.0;

fn milliamperes(row: &Row) -> f64 {
    f64::from(row.worst().get()) * 1e3
}

fn line(row: &Row) -> String {
    let clip = match row.place.clip {
        Clip::Free => "",
        Clip::Frame => ", clip on frame",
        Clip::Hand => ", clip in a hand",
    };
    let fault = row
        .fault
        .map_or("nothing failed".to_owned(), |fault| fault.to_string());
    let trips = match row.tripping() {
        Tripping::DoesNot => "stays".to_owned(),
        Tripping::May => "may trip".to_owned(),
        Tripping::Within(time) => format!("trips in {:.3} s", time.as_secs_f64()),
    };
    format!(
        "{fault:<30} {:<44} {:<16} {:7.3} {:7.3} {:7.3}  {:>9.2} s  {trips}",
        format!("{}{clip}", row.place.name),
        row.closings.name(),
        f64::from(row.into_ground.get()) * 1e3,
        f64::from(row.through_person.get()) * 1e3,
        f64::from(row.by_construction.get()) * 1e3,
        row.curve().as_secs_f64(),
    )
}

const HEAD: &str = "failed                         place                                        closed           \
                    ground  person  by hand   UL 943 curve   class A";

/// The worst row of each fault.
fn worst_of_each(rows: &[Row]) -> Vec<&Row> {
    let mut worst: BTreeMap<String, &Row> = BTreeMap::new();
    for row in rows {
        let name = row.fault.map_or(String::new(), |fault| fault.to_string());
        let entry = worst.entry(name).or_insert(row);
        if milliamperes(row) > milliamperes(entry) {
            *entry = row;
        }
    }
    worst.into_values().collect()
}

fn print(title: &str, rows: &[Row]) {
    println!(
        "\n{title}: {} rows; the worst of each failure, mA\n{HEAD}",
        rows.len()
    );
    for row in worst_of_each(rows) {
        println!("{}", line(row));
    }
}

/// Solver and construction, the bound, and the curve of every row.
fn check(rows: &[Row]) -> Vec<&Row> {
    for row in rows {
        let (solved, by_hand) = (
            f64::from(row.into_ground.get()),
            f64::from(row.by_construction.get()),
        );
        // A body is taken in series with each current on its own, so what is by hand may be
        // more where two of them meet in one; nowhere less.
        let is_body = row.place.ground.is_none() || row.place.clip == Clip::Hand;
        let more = if is_body { 0.15 } else { 0.02 };
        let is_more = row.is_bound || solved >= (1.0 - more) * by_hand - 3e-6;
        assert!(
            solved <= 1.02 * by_hand + 3e-6 && is_more,
            "solver and construction differ: {}",
            line(row)
        );
        // T = (20 / I)^1.43, I in mA.
        let seconds = (20.0 / milliamperes(row).max(1e-3)).powf(1.43);
        let curve = row.curve().as_secs_f64();
        if milliamperes(row) < 264.0 {
            assert!((curve / seconds - 1.0).abs() < 1e-3, "{}", line(row));
        }
    }
    rows.iter()
        .filter(|row| milliamperes(row) >= ALWAYS)
        .collect()
}

#[test]
fn what_flows_as_long_as_it_is_plugged_in_stays_below_half_a_milliampere() {
    for design in [Design::DRAWN, Design::PROPOSED] {
        let rows = at_rest(&design).unwrap();
        check(&rows);
        for row in &rows {
            assert!(milliamperes(row) < STEADY, "{}", line(row));
        }
    }
    let rows = at_rest(&Design::DRAWN).unwrap();
    println!("\nAt rest, nothing failed, mA\n{HEAD}");
    for row in &rows {
        println!("{}", line(row));
    }
    // By hand: three equal strings, a leg on one: the star at 44 V, 132 / (3 x 992.4k) each.
    let sound = rows.iter().find(|row| row.place.name == "sound").unwrap();
    assert!((milliamperes(sound) - 132.0 / 3.0 / 992.4).abs() < 1e-4);
}

/// What a measurement sends into ground, or through a person who holds the frame of an open ground
/// at earth, so that the interlocks see nothing wrong: pulses of the probe, four seconds of drive.
#[test]
fn a_measurement_with_nothing_failed() {
    println!("\nMeasuring, nothing failed, mA\n{HEAD}");
    let places = Place::all();
    for (name, closings, most) in [
        ("sound", Closings::PROBE, 1.6),
        ("sound", Closings::TO_GROUND, 2.1),
        ("lost service neutral", Closings::PROBE, 1.8),
        ("open ground, person", Closings::PROBE, 1.6),
        ("open ground, person", Closings::TO_GROUND, 1.8),
        ("power off", Closings::TO_CLIP, 2.1),
    ] {
        for place in places.iter().filter(|place| place.name == name) {
            let row = Row::new(&Design::DRAWN, None, *place, closings).unwrap();
            println!("{}", line(&row));
            assert!(milliamperes(&row) < most, "{}", line(&row));
            check(std::slice::from_ref(&row));
        }
    }
    // By hand: 132 V over 90 kohm and the body, 1.459 mA, and a third of a string's current.
    let person = places
        .iter()
        .find(|place| place.name == "open ground, person" && place.clip == Clip::Free)
        .unwrap();
    let row = Row::new(&Design::DRAWN, None, *person, Closings::PROBE).unwrap();
    let by_hand = 132.0 / 90.51 + 132.0 / 3.0 / 992.4;
    assert!((f64::from(row.through_person.get()) * 1e3 - by_hand).abs() < 2e-3);
}

#[test]
fn no_single_failure_reaches_four_milliamperes() {
    let rows = table(&Design::APART, Firmware::Right).unwrap();
    print("Any one part failed, relays kept apart", &rows);
    let beyond = check(&rows);
    assert!(beyond.is_empty(), "{}", line(beyond[0]));
    // Every part of the list is there, at every place, and does something somewhere.
    let faults = Fault::all(&Design::APART);
    assert_eq!(rows.len(), (faults.len() + 1) * 36);
    let rests = at_rest(&Design::APART).unwrap();
    assert!(rows.iter().any(|row| {
        row.fault.is_none() && row.closings == Closings::TO_GROUND && row.place.name == "sound"
    }));
    // Interlocks: with nothing failed P1 and P2 are not closed where ground is live.
    for row in rows.iter().filter(|row| row.fault.is_none()) {
        if ["reversed", "ground on hot", "ground on the other leg"].contains(&row.place.name) {
            assert_eq!(row.closings, Closings::NONE, "{}", line(row));
        }
    }
    let still: Vec<String> = faults
        .iter()
        .filter(|fault| {
            rows.iter()
                .filter(|row| row.fault == Some(**fault))
                .zip(&rests)
                .all(|(row, rest)| (milliamperes(row) - milliamperes(rest)).abs() < 1e-9)
        })
        .map(ToString::to_string)
        .collect();
    assert!(still.is_empty(), "these failures change nothing: {still:?}");
}

#[test]
fn as_first_drawn_probe_and_clip_drive_together_are_too_much() {
    let rows = table(&Design::DRAWN, Firmware::Right).unwrap();
    let beyond = check(&rows);
    println!("\nAs first drawn, one failure, 4 mA or more\n{HEAD}");
    for row in &beyond {
        println!("{}", line(row));
    }
    assert!(!beyond.is_empty(), "the bound can be missed");
    for row in beyond {
        assert!(row.closings.probe && row.closings.to_clip, "{}", line(row));
    }
}

#[test]
fn a_wrong_program_beside_a_failed_part_needs_two_limiters_and_more_probe() {
    let rows = table(&Design::APART, Firmware::Wrong).unwrap();
    let beyond: Vec<Row> = check(&rows).into_iter().cloned().collect();
    print(
        "Relays kept apart, program wrong as well, 4 mA or more",
        &beyond,
    );
    let has = |is: fn(&Part) -> bool| {
        beyond
            .iter()
            .any(|row| row.fault.is_some_and(|fault| is(&fault.part)))
    };
    assert!(has(|part| matches!(part, Part::Limiter(..))));
    assert!(has(|part| matches!(part, Part::ProbeResistor(_))));
    for row in &beyond {
        let fault = row.fault.expect("the program alone is held");
        assert!(fault.failure != Failure::Open, "{}", line(row));
    }

    let rows = table(&Design::PROPOSED, Firmware::Wrong).unwrap();
    print(
        "As proposed, any one part failed and the program wrong as well",
        &rows,
    );
    for row in check(&rows) {
        // These two show themselves: the tone is on the path while nothing is commanded.
        let is_relay = row.fault.is_some_and(|fault| {
            matches!(
                fault.part,
                Part::DriveContact(_) | Part::DriveDriver(_) | Part::Logic
            )
        });
        assert!(is_relay && milliamperes(row) < TRIPS, "{}", line(row));
    }
    let rows = table(&Design::PROPOSED, Firmware::Right).unwrap();
    print("As proposed, any one part failed", &rows);
    let beyond = check(&rows);
    assert!(beyond.is_empty(), "{}", line(beyond[0]));
    let worst = rows.iter().map(milliamperes).fold(0.0, f64::max);
    assert!(
        worst < 3.7,
        "{worst}: a margin for parts of 1 % and a level of 5 %"
    );
}
