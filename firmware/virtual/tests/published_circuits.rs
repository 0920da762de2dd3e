//! The network against hand-derived closed forms and published examples.

use core::f64::consts::TAU;
use slotwise_core::units::{Celsius, Ohms};
use slotwise_virtual::circuit::{Circuit, Node, Phasor};
use slotwise_virtual::house::{Copper, Gauge};
use slotwise_virtual::quantity::{Farads, Henries, Metres};

fn emf(volts: f64) -> Phasor {
    Phasor::new(volts, 0.0)
}

fn source(circuit: &mut Circuit, plus: Node, volts: f64) {
    circuit.source(
        plus,
        Node::REFERENCE,
        emf(volts),
        Ohms::ZERO,
        Henries::new(0.0),
    );
}

#[test]
fn hot_to_ground_is_the_sum_of_the_other_two() {
    // "Diagnosing power problems at the receptacle": H-N 118.5, N-G 1.5, H-G 120.0 on a
    // loaded circuit. 120.0 V at the panel, a neutral of 0.1 ohm that carries 15 A, and a
    // load of 118.5 V / 15 A; the ground carries nothing.
    let mut circuit = Circuit::new();
    let [hot, neutral, ground] = ["hot", "neutral", "ground"].map(|name| circuit.node(name));
    source(&mut circuit, hot, 120.0);
    circuit.resistor(hot, neutral, Ohms::new(118.5 / 15.0));
    circuit.resistor(neutral, Node::REFERENCE, Ohms::new(0.1));
    circuit.resistor(ground, Node::REFERENCE, Ohms::new(0.1));
    let solution = circuit.solve(60.0).unwrap();
    for (first, second, volts) in [
        (hot, neutral, 118.5),
        (neutral, ground, 1.5),
        (hot, ground, 120.0),
    ] {
        let got = solution.voltage(first, second).norm();
        assert!((got - volts).abs() < 1e-5, "{got} {volts}");
    }
}

#[test]
fn two_volts_of_neutral_to_ground_are_a_drop_of_3_3_per_cent() {
    // A retired electrician's rule (Mike Holt forum, "Ground to neutral voltage"): 2 V of
    // N-G under load is 3.3 % of circuit drop at 120 V, since half of it is on the neutral.
    let wire = Copper {
        gauge: Gauge::Awg12,
        length: Metres::from_feet(100.0),
        temperature: Celsius::new(75.0),
    };
    let ohms = wire.resistance();
    let amperes = 2.0 / f64::from(ohms.get());
    let mut circuit = Circuit::new();
    let [panel, hot, neutral] = ["panel", "hot", "neutral"].map(|name| circuit.node(name));
    source(&mut circuit, panel, 120.0);
    circuit.resistor(panel, hot, ohms);
    circuit.resistor(neutral, Node::REFERENCE, ohms);
    let load = (120.0 - 4.0) / amperes;
    circuit.resistor(hot, neutral, Ohms::new(load as f32));
    let solution = circuit.solve(60.0).unwrap();
    let neutral_to_ground = solution.potential(neutral).norm();
    let drop = 120.0 - solution.voltage(hot, neutral).norm();
    assert!((neutral_to_ground - 2.0).abs() < 1e-5);
    assert!((100.0 * drop / 120.0 - 3.333).abs() < 0.001, "{drop}");
    // Half of the drop, as the rule says.
    assert!((neutral_to_ground / drop - 0.5).abs() < 1e-6);
}

#[test]
fn twenty_amperes_over_a_hundred_feet_of_12_awg_lose_7_7_volts() {
    // VD = 2 L R I / 1000 with NEC Chapter 9 Table 8: 1.93 ohm/kft gives 7.72 V.
    let wire = Copper {
        gauge: Gauge::Awg12,
        length: Metres::from_feet(100.0),
        temperature: Celsius::new(75.0),
    };
    let mut circuit = Circuit::new();
    let [panel, hot, neutral] = ["panel", "hot", "neutral"].map(|name| circuit.node(name));
    source(&mut circuit, panel, 120.0);
    circuit.resistor(panel, hot, wire.resistance());
    circuit.resistor(neutral, Node::REFERENCE, wire.resistance());
    circuit.resistor(hot, neutral, Ohms::new((120.0 - 7.72) / 20.0));
    let solution = circuit.solve(60.0).unwrap();
    let drop = 120.0 - solution.voltage(hot, neutral).norm();
    assert!((drop - 7.72).abs() < 0.03, "{drop}");
    // The exam lesson's K of 12.9 is stranded wire: 7.9 V, 2 % more.
    assert!((drop / 7.902 - 1.0 / 1.02).abs() < 0.006, "{drop}");
}

#[test]
fn the_supply_with_two_15_ohm_wires_feeds_its_load_12_5_volts() {
    // Kuphaldt, Lessons In Electric Circuits I: 14 V, 250 ohm, two wires of 15 ohm: 12.5 V;
    // at 35 degC (15.909 ohm) 12.42 V, each wire 0.79 V.
    for (wire, load, lost) in [(15.0, 12.5, 0.75), (15.909, 12.42, 0.79)] {
        let mut circuit = Circuit::new();
        let [top, upper, lower] = ["top", "upper", "lower"].map(|name| circuit.node(name));
        source(&mut circuit, top, 14.0);
        circuit.resistor(top, upper, Ohms::new(wire));
        circuit.resistor(upper, lower, Ohms::new(250.0));
        circuit.resistor(lower, Node::REFERENCE, Ohms::new(wire));
        let solution = circuit.solve(60.0).unwrap();
        assert!((solution.voltage(upper, lower).norm() - load).abs() < 0.005);
        assert!((solution.potential(lower).norm() - lost).abs() < 0.005);
    }
}

#[test]
fn a_capacitive_divider_ignores_frequency_and_a_resistive_one_too() {
    for hertz in [60.0, 180.0, 780.0] {
        let mut circuit = Circuit::new();
        let [top, capacitive, resistive] = ["top", "c", "r"].map(|name| circuit.node(name));
        source(&mut circuit, top, 120.0);
        circuit.capacitor(top, capacitive, Farads::from_pico(100.0));
        circuit.capacitor(capacitive, Node::REFERENCE, Farads::from_pico(300.0));
        circuit.resistor(top, resistive, Ohms::new(3000.0));
        circuit.resistor(resistive, Node::REFERENCE, Ohms::new(1000.0));
        let solution = circuit.solve(hertz).unwrap();
        assert!((solution.potential(capacitive) - emf(30.0)).norm() < 1e-9);
        assert!((solution.potential(resistive) - emf(30.0)).norm() < 1e-9);
    }
}

#[test]
fn a_floating_star_of_equal_strings_sits_at_their_mean() {
    // Three equal resistors to 120, 0 and 0 V: star at 40 V; with the third lead open 60 V.
    for (leads, star_volts) in [(&[120.0, 0.0, 0.0][..], 40.0), (&[120.0, 0.0], 60.0)] {
        let mut circuit = Circuit::new();
        let star = circuit.node("star");
        for (index, volts) in leads.iter().enumerate() {
            let lead = circuit.node(&format!("lead {index}"));
            source(&mut circuit, lead, *volts);
            circuit.resistor(lead, star, Ohms::new(992_400.0));
        }
        let got = circuit.solve(60.0).unwrap().potential(star);
        assert!((got - emf(star_volts)).norm() < 1e-9);
    }
}

#[test]
fn the_barrier_drains_the_star_in_quadrature_as_the_measurement_notes_say() {
    // "0.45 V for 30 pF, 40 V and 1 Mohm": the sum of the string voltages is
    // j w C_b R V_star.
    let mut circuit = Circuit::new();
    let star = circuit.node("star");
    let leads: Vec<Node> = [120.0, 0.0, 0.0]
        .into_iter()
        .map(|volts| {
            let lead = circuit.node("lead");
            source(&mut circuit, lead, volts);
            circuit.resistor(lead, star, Ohms::new(1.0e6));
            lead
        })
        .collect();
    circuit.capacitor(star, Node::REFERENCE, Farads::from_pico(30.0));
    let solution = circuit.solve(60.0).unwrap();
    let sum: Phasor = leads.iter().map(|lead| solution.voltage(*lead, star)).sum();
    let expected = Phasor::new(0.0, TAU * 60.0 * 30e-12 * 1.0e6) * solution.potential(star);
    assert!((sum - expected).norm() < 1e-9);
    assert!((sum.norm() - 0.45).abs() < 0.005, "{sum}");
    assert!(sum.re.abs() < 0.01);
}
