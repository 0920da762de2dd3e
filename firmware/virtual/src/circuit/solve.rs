//! The solution of a checked network: potentials of the nodes, currents of sources and joins.
//!
//! Rows 0..n are Kirchhoff's current law at the nodes after the reference, in amperes;
//! rows n.. are the voltage law of each source, `V_plus - V_minus + Z I = E` with `I` leaving
//! the plus terminal. A house has about sixty unknowns; how they are found is said in
//! `factored`.
//!
//! Resistors below 100 ohm get a current of their own, like a source of zero volts. As
//! admittances, a contact of 5 mohm (200 S) would stand in one sum with the picofarads of an
//! open conductor (1e-8 S), and ten digits would be lost there: some microvolts on an open
//! neutral.

use super::factored::{Equations, Factored, Triangles};
use super::{Branch, Circuit, CircuitError, Node, Passive, Phasor, Source};
use crate::quantity::Henries;
use core::f64::consts::TAU;
use slotwise_core::units::Ohms;

/// Below this a resistor is solved by its current, above by its admittance.
pub(super) const LOW: Ohms = Ohms::new(100.0);

/// Potentials and currents of one solve.
#[derive(Clone, Debug)]
pub struct Solution {
    pub(super) nodes: usize,
    pub(super) values: Vec<Phasor>,
}

impl Solution {
    /// Potential of `node` above the reference, in volts.
    ///
    /// # Panics
    /// If `node` belongs to a larger circuit than the one that was solved.
    #[must_use]
    pub fn potential(&self, node: Node) -> Phasor {
        match node.0.checked_sub(1) {
            None => Phasor::new(0.0, 0.0),
            Some(index) => {
                assert!(index < self.nodes, "this node is not of the solved circuit");
                self.values[index]
            }
        }
    }

    /// Voltage of `first` against `second`, in volts.
    #[must_use]
    pub fn voltage(&self, first: Node, second: Node) -> Phasor {
        self.potential(first) - self.potential(second)
    }

    /// Current out of the plus terminal of a source, or out of the first node of a join, in
    /// amperes.
    ///
    /// # Panics
    /// If `branch` belongs to a larger circuit than the one that was solved.
    #[must_use]
    pub fn current(&self, branch: Branch) -> Phasor {
        self.values[self.nodes + branch.0]
    }
}

impl Circuit {
    pub(super) fn factor_checked(
        &self,
        hertz: f64,
        like: Option<&Factored>,
    ) -> Result<Factored, CircuitError> {
        let (equations, right) = self.equations(hertz);
        let factors = equations.factor(like)?;
        self.factored(&equations, factors, right)
    }

    pub(super) fn factored(
        &self,
        equations: &Equations,
        factors: Triangles,
        right: Vec<Phasor>,
    ) -> Result<Factored, CircuitError> {
        Factored::new(self.names.len(), equations, factors, right)
    }

    /// The equations and their right side.
    pub(super) fn equations(&self, hertz: f64) -> (Equations, Vec<Phasor>) {
        let nodes = self.names.len();
        let unknowns = nodes + self.sources.len() + self.low().count();
        let parts = self.passages.len() + self.sources.len();
        let mut cells = Equations::new(unknowns, 4 * parts);
        let mut right = vec![Phasor::new(0.0, 0.0); unknowns];
        let omega = TAU * hertz;
        for passage in &self.passages {
            let admittance = match passage.passive {
                Passive::Resistor(ohms) if ohms < LOW => continue,
                Passive::Resistor(ohms) => Phasor::new(1.0 / f64::from(ohms.get()), 0.0),
                Passive::Capacitor(farads) => Phasor::new(0.0, omega * farads.get()),
                Passive::Inductor(henries) => Phasor::new(0.0, -1.0 / (omega * henries.get())),
            };
            let ends = [passage.from, passage.to].map(|node| node.0.checked_sub(1));
            for end in ends.into_iter().flatten() {
                cells.add(end, end, admittance);
            }
            if let [Some(from), Some(to)] = ends {
                cells.add(from, to, -admittance);
                cells.add(to, from, -admittance);
            }
        }
        for (index, source) in self.sources.iter().copied().chain(self.low()).enumerate() {
            let row = nodes + index;
            let one = Phasor::new(1.0, 0.0);
            for (node, sign) in [(source.plus, one), (source.minus, -one)] {
                if let Some(end) = node.0.checked_sub(1) {
                    cells.add(end, row, -sign);
                    cells.add(row, end, sign);
                }
            }
            let impedance = Phasor::new(
                f64::from(source.resistance.get()),
                omega * source.inductance.get(),
            );
            if impedance != Phasor::new(0.0, 0.0) {
                cells.add(row, row, impedance);
            }
            right[row] = source.emf;
        }
        (cells, right)
    }

    /// The resistors that get a current of their own.
    fn low(&self) -> impl Iterator<Item = Source> {
        self.passages
            .iter()
            .filter_map(|passage| match passage.passive {
                Passive::Resistor(resistance) if resistance < LOW => Some(Source {
                    plus: passage.from,
                    minus: passage.to,
                    emf: Phasor::new(0.0, 0.0),
                    resistance,
                    inductance: Henries::new(0.0),
                }),
                _ => None,
            })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::Farads;

    fn supply(circuit: &mut Circuit, plus: Node, volts: f64) -> Branch {
        circuit.source(
            plus,
            Node::REFERENCE,
            Phasor::new(volts, 0.0),
            Ohms::ZERO,
            Henries::new(0.0),
        )
    }

    #[test]
    fn a_divider_divides() {
        let mut circuit = Circuit::new();
        let [top, middle] = ["top", "middle"].map(|name| circuit.node(name));
        let feed = supply(&mut circuit, top, 120.0);
        circuit.resistor(top, middle, Ohms::new(3.0));
        circuit.resistor(middle, Node::REFERENCE, Ohms::new(1.0));
        let solution = circuit.solve(60.0).unwrap();
        assert!((solution.potential(middle) - Phasor::new(30.0, 0.0)).norm() < 1e-12);
        assert!((solution.current(feed) - Phasor::new(30.0, 0.0)).norm() < 1e-12);
    }

    #[test]
    fn a_low_pass_at_its_corner_lags_by_45_degrees() {
        // H = 1 / (1 + j w R C); at w R C = 1 the magnitude is 1/sqrt 2 and the phase -45.
        let mut circuit = Circuit::new();
        let [input, output] = ["input", "output"].map(|name| circuit.node(name));
        supply(&mut circuit, input, 1.0);
        circuit.resistor(input, output, Ohms::new(1000.0));
        circuit.capacitor(
            output,
            Node::REFERENCE,
            Farads::new(1.0 / (TAU * 60.0 * 1000.0)),
        );
        let answer = circuit.solve(60.0).unwrap().potential(output);
        assert!((answer.norm() - core::f64::consts::FRAC_1_SQRT_2).abs() < 1e-12);
        assert!((answer.arg().to_degrees() + 45.0).abs() < 1e-10);
    }

    #[test]
    fn an_inductive_source_drops_in_quadrature() {
        // 100 V behind 3 ohm and j4 ohm into 0 ohm: 20 A at -53.13 degrees.
        let mut circuit = Circuit::new();
        let node = circuit.node("terminal");
        let source = circuit.source(
            node,
            Node::REFERENCE,
            Phasor::new(100.0, 0.0),
            Ohms::new(3.0),
            Henries::new(4.0 / (TAU * 60.0)),
        );
        circuit.join(node, Node::REFERENCE);
        let current = circuit.solve(60.0).unwrap().current(source);
        assert!((current.norm() - 20.0).abs() < 1e-10);
        assert!((current.arg() + (4.0f64 / 3.0).atan()).abs() < 1e-12);
    }

    #[test]
    fn picofarads_beside_milliohms_keep_their_digits() {
        // 120 V through 10 pF into 1 Mohm beside a 1 mohm loop that carries 100 A:
        // V = 120 R / (R + 1/(j w C)).
        let mut circuit = Circuit::new();
        let [hot, floating, shunt] = ["hot", "floating", "shunt"].map(|name| circuit.node(name));
        circuit.source(
            hot,
            Node::REFERENCE,
            Phasor::new(120.0, 0.0),
            Ohms::ZERO,
            Henries::new(0.0),
        );
        circuit.resistor(hot, shunt, Ohms::new(1.2));
        circuit.resistor(shunt, Node::REFERENCE, Ohms::new(0.001));
        circuit.capacitor(hot, floating, Farads::from_pico(10.0));
        circuit.resistor(floating, Node::REFERENCE, Ohms::new(1.0e6));
        let reactance = Phasor::new(0.0, -1.0 / (TAU * 60.0 * 10e-12));
        let expected = 120.0 * 1.0e6 / (1.0e6 + reactance);
        let got = circuit.solve(60.0).unwrap().potential(floating);
        assert!((got - expected).norm() < 1e-12 * 120.0, "{got} {expected}");
    }

    #[test]
    fn an_island_behind_a_milliohm_keeps_its_digits() {
        // Two nodes joined by 1 mohm, 25 Mohm to 120 V on one, 75 Mohm to earth on the other:
        // 90 V.
        let mut circuit = Circuit::new();
        let [hot, one, other] = ["hot", "one", "other"].map(|name| circuit.node(name));
        supply(&mut circuit, hot, 120.0);
        circuit.resistor(hot, one, Ohms::new(25.0e6));
        circuit.resistor(one, other, Ohms::new(0.001));
        circuit.resistor(other, Node::REFERENCE, Ohms::new(75.0e6));
        let solution = circuit.solve(60.0).unwrap();
        for node in [one, other] {
            let error = (solution.potential(node) - Phasor::new(90.0, 0.0)).norm();
            // As admittances, 1000 S beside 1e-8 S, the error would be some 1e-4.
            assert!(error < 1e-8, "{error}");
        }
    }

    #[test]
    fn a_bridge_of_equal_ratios_has_no_current_in_its_join() {
        let mut circuit = Circuit::new();
        let [top, left, right] = ["top", "left", "right"].map(|name| circuit.node(name));
        supply(&mut circuit, top, 10.0);
        for (node, upper, lower) in [(left, 100.0, 200.0), (right, 10.0, 20.0)] {
            circuit.resistor(top, node, Ohms::new(upper));
            circuit.resistor(node, Node::REFERENCE, Ohms::new(lower));
        }
        let bridge = circuit.join(left, right);
        assert!(circuit.solve(60.0).unwrap().current(bridge).norm() < 1e-14);
    }
}
