//! Currents with a part failed against ngspice: the worst rows of the table, solved by a program
//! of other authors.
//!
//! What is compared is the line's current out of ground hole and clip, as the voltage over the
//! conductors and bodies that it flows through; limiters stand where they settled. Tolerance:
//! 1e-5 of the current, with a floor of 1 nA.
//!
//! Limits: the network is ours on both sides; what the drive itself adds at 85 Hz is not
//! compared.

use slotwise_tests::ngspice::{is_ngspice_here, probed};
use slotwise_virtual::circuit::{Node, Phasor};
use slotwise_virtual::faults::{Design, Firmware, Row, table};
use std::collections::BTreeMap;

const TOLERANCE: f64 = 1e-5;
const FLOOR_AMPERES: f64 = 1e-9;

/// The worst row of each place, program wrong as well: limiters in their limit, limiters shorted,
/// probe resistors shorted, bodies.
fn worst_of_each_place(design: &Design) -> Vec<Row> {
    let mut worst: BTreeMap<String, Row> = BTreeMap::new();
    for row in table(design, Firmware::Wrong).expect("solved") {
        let name = format!("{} {:?}", row.place.name, row.place.clip);
        let entry = worst.entry(name).or_insert_with(|| row.clone());
        if row.worst() > entry.worst() {
            *entry = row;
        }
    }
    worst.into_values().collect()
}

#[test]
fn currents_into_ground_are_those_that_ngspice_finds() {
    if !is_ngspice_here() {
        return;
    }
    let mut most = 0.0_f64;
    let mut compared = 0;
    for design in [Design::APART, Design::PROPOSED] {
        for row in worst_of_each_place(&design) {
            let network = row.network().expect("solved");
            let probes: Vec<[Node; 2]> = network.ground.iter().map(|(pair, _)| *pair).collect();
            let text = network
                .circuit
                .netlist(network.hertz, &probes)
                .expect("exported");
            let theirs: Phasor = probed(&text, probes.len())
                .iter()
                .zip(&network.ground)
                .map(|(volts, (_, ohms))| volts / f64::from(ohms.get()))
                .sum();
            let ours = f64::from(row.line_into_ground().expect("solved").get());
            let off = (ours - theirs.norm()).abs();
            let allowed = (TOLERANCE * theirs.norm()).max(FLOOR_AMPERES);
            let fault = row.fault.map(|fault| fault.to_string()).unwrap_or_default();
            println!(
                "{:<32} {:<6} {fault:<30} {:<16} {:9.5} mA here, {:9.5} mA there",
                row.place.name,
                format!("{:?}", row.place.clip),
                row.closings.name(),
                ours * 1e3,
                theirs.norm() * 1e3
            );
            assert!(off <= allowed, "{ours} A here, {} A there", theirs.norm());
            most = most.max(off / allowed);
            compared += 1;
        }
    }
    println!("{compared} rows, worst {most:.3} of what is allowed");
    assert!(compared >= 24);
}
