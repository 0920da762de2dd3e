//! The table of single faults (`hardware/faults.csv`, made by `hardware/tools/faults.py` from the
//! netlist and ngspice): its limits, that every part has its rows, and what the judgement of the
//! core says to the readings of every row.
//!
//! The judge gets the best case besides: steady voltages, a load step that shows a separate
//! ground, the clip on an independent earth, no bad frame. So a row is not "proven" by what its
//! voltages and P1 read, not by what somebody forgot to ask.

use slotwise_core::evidence::{
    Evidence, FrameHealth, LoadStep, Measured, Missing, PairVoltage, Phasor, Reading, SlotVoltages,
    ZeroSum,
};
use slotwise_core::judge::judge;
use slotwise_core::limits::Limits;
use slotwise_core::slots::ClipTarget;
use slotwise_core::units::{Hertz, Ohms, Radians, Ratio, Volts};
use slotwise_core::verdict::Outcome;
use slotwise_tests::hardware::{Row, Table};
use slotwise_virtual::circuit::Phasor as Complex;
use std::collections::{BTreeMap, BTreeSet};

/// A class A interrupter does not trip below 4 mA (NEC article 100 note, UL 943).
const TRIP_MA: f64 = 4.0;
/// Through a person with one part failed: 3.5 mA (IEC 61010-1 6.3.2, from memory).
const TOUCH_MA: f64 = 3.5;

fn number(row: &Row, column: &str) -> f64 {
    row.get(column).parse().expect("a number")
}

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
    text.push_str(&format!("R999,short,4.000{}\n", ",0".repeat(columns - 3)));
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

fn lead(row: &Row, name: &str) -> Complex {
    Complex::new(
        number(row, &format!("{name}_re")),
        number(row, &format!("{name}_im")),
    )
}

fn pair(volts: Complex) -> PairVoltage {
    let rms = Volts::from_f64(volts.norm());
    PairVoltage {
        fundamental: Phasor {
            rms,
            angle: Radians::from_f64(volts.arg()),
        },
        true_rms: rms,
        residual: Volts::ZERO,
        mean: Volts::ZERO,
    }
}

/// The evidence of one row, the best case besides.
fn evidence(row: &Row) -> Evidence {
    let leads = ["narrow", "wide", "ground", "clip"].map(|name| lead(row, name));
    let [narrow, wide, ground, clip] = leads;
    let pairs = [narrow - wide, ground - wide, narrow - ground];
    let reference = (0..3)
        .max_by(|&a, &b| pairs[a].norm().total_cmp(&pairs[b].norm()))
        .expect("three pairs");
    let turn = Complex::from_polar(1.0, -pairs[reference].arg());
    let sum: Complex = leads.iter().sum();
    let largest = leads.iter().map(|v| v.norm()).fold(0.0, f64::max);
    // In phase with the lead that the sum is nearest to quadrature with.
    let in_phase = leads
        .iter()
        .filter(|lead| lead.norm() > 0.05 * largest)
        .map(|lead| (sum * lead.conj()).re.abs() / lead.norm())
        .fold(f64::INFINITY, f64::min);
    let mut evidence = Evidence::empty();
    evidence.health = FrameHealth {
        calibrated: true,
        windows: 10,
        bad_frames: 0,
        clipped_frames: 0,
    };
    evidence.slots = Ok(SlotVoltages {
        pairs: pairs.map(|volts| pair(volts * turn)),
        reference,
        u_gain: Ratio::new(0.0011),
        u_floor: Volts::new(0.002),
        leads: leads.map(|volts| Volts::from_f64(volts.norm())),
    });
    evidence.zero_sum = ZeroSum {
        in_phase: Volts::from_f64(in_phase),
        quadrature: Volts::from_f64((sum.norm_sqr() - in_phase * in_phase).max(0.0).sqrt()),
    };
    evidence.frequency = Measured::known(Hertz::new(60.0), Hertz::new(0.002));
    evidence.earth_path = match row.get("p1_ohm").parse::<f32>() {
        Ok(ohms) => Measured::known(Ohms::new(ohms), Ohms::new(0.05)),
        Err(_) => Measured::Missing(Missing::Refused),
    };
    evidence.load_step = Ok(LoadStep {
        rho: Reading {
            value: Ratio::new(0.44),
            u: Ratio::new(0.02),
        },
        rho_imaginary: Ratio::ZERO,
        steps: 5,
        sag: Volts::new(2.4),
    });
    evidence.clip_target = ClipTarget::IndependentEarth;
    evidence.clip_wide = Ok(pair((clip - wide) * turn).fundamental);
    evidence
}

#[test]
fn no_fault_makes_a_bad_receptacle_read_as_proven() {
    let table = Table::read("faults_readings.csv");
    let mut outcomes: BTreeMap<String, usize> = BTreeMap::new();
    let mut wrong = Vec::new();
    let mut count = 0;
    for row in table.rows.iter().filter(|row| row.get("frames") == "yes") {
        count += 1;
        let verdict = judge(&evidence(row), &Limits::DEFAULT);
        *outcomes
            .entry(format!("{:?}", verdict.outcome))
            .or_default() += 1;
        if verdict.outcome != Outcome::Proven {
            continue;
        }
        let is_sound = row.get("input") == "sound";
        let [narrow, wide, ground] = ["narrow", "wide", "ground"].map(|name| lead(row, name));
        // Proven is right where the receptacle is sound and what is read is what is there.
        let is_right = ((narrow - wide).norm() - 120.0).abs() < 3.6
            && (ground - wide).norm() < 0.5
            && row
                .get("p1_ohm")
                .parse::<f64>()
                .is_ok_and(|ohms| (ohms - 0.2).abs() < 0.5);
        if !(is_sound && is_right) {
            wrong.push(format!(
                "{} {} at {}",
                row.get("designator"),
                row.get("failure"),
                row.get("input")
            ));
        }
    }
    println!("{count} readings judged: {outcomes:?}");
    assert!(count > 500, "{count}");
    assert_eq!(wrong, Vec::<String>::new());
    // The check can fail: the tester with nothing wrong reads proven at a sound receptacle.
    let sound = table
        .rows
        .iter()
        .find(|row| row.get("designator") == "none" && row.get("input") == "sound")
        .expect("the tester with nothing wrong");
    let verdict = judge(&evidence(sound), &Limits::DEFAULT);
    assert_eq!(verdict.outcome, Outcome::Proven, "{verdict:?}");
}
