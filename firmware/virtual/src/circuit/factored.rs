//! A network that is factored once, and the states of it that differ by a few impedances.
//!
//! A house has about sixty unknowns and few cells beside the diagonal: its matrix is factored
//! as a sparse one. Beyond 128 unknowns it is a dense one, by LU with partial pivoting. Every
//! solution of a network's own sources is mended once by what it leaves of its equations.
//!
//! The currents of added impedances are the only new unknowns, `z i + (B^T Z B) i = B^T v0`,
//! where `Z` is what a current of one ampere does to the network with its sources dead
//! (Woodbury's formula).

use super::sparse::{Factors, Sparse};
use super::{CircuitError, Node, Phasor, Solution};
use nalgebra::{DMatrix, DVector, Dyn, LU};

/// An impedance between two nodes of a network that is already factored.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bridge {
    /// Its first node; its current flows from here.
    pub from: Node,
    /// Its second node.
    pub to: Node,
    /// In ohms; not zero.
    pub impedance: Phasor,
}

/// A network factored at one frequency.
#[derive(Clone, Debug)]
pub struct Factored {
    nodes: usize,
    factors: Triangles,
    /// What its own sources do.
    own: Solution,
}

#[derive(Clone, Debug)]
pub(super) enum Triangles {
    Sparse(Factors),
    Dense(Box<LU<Phasor, Dyn, Dyn>>),
}

impl Triangles {
    fn solve(&self, right: Vec<Phasor>) -> Result<Vec<Phasor>, CircuitError> {
        match self {
            Self::Sparse(factors) => Ok(factors.solve(right)),
            Self::Dense(factors) => Ok(factors
                .solve(&DVector::from_vec(right))
                .ok_or(CircuitError::Singular)?
                .data
                .into()),
        }
    }
}

/// The equations as they were before they were factored: addends of the cells.
#[derive(Clone, Debug)]
pub(super) struct Equations {
    unknowns: usize,
    cells: Vec<(usize, usize, Phasor)>,
}

impl Equations {
    pub(super) fn new(unknowns: usize, cells: usize) -> Self {
        Self {
            unknowns,
            cells: Vec::with_capacity(cells),
        }
    }

    pub(super) fn add(&mut self, row: usize, column: usize, value: Phasor) {
        self.cells.push((row, column, value));
    }

    /// Factors them, by the pivots of `like` where those will do.
    pub(super) fn factor(&self, like: Option<&Factored>) -> Result<Triangles, CircuitError> {
        match Sparse::new(self.unknowns) {
            Some(mut matrix) => {
                for &(row, column, value) in &self.cells {
                    matrix.add(row, column, value);
                }
                let order = match like.map(|like| &like.factors) {
                    Some(Triangles::Sparse(factors)) => factors.order(),
                    _ => &[],
                };
                Ok(Triangles::Sparse(matrix.factor(order)?))
            }
            None => Ok(self.factor_dense()),
        }
    }

    fn factor_dense(&self) -> Triangles {
        let mut matrix = DMatrix::<Phasor>::zeros(self.unknowns, self.unknowns);
        for &(row, column, value) in &self.cells {
            matrix[(row, column)] += value;
        }
        Triangles::Dense(Box::new(matrix.lu()))
    }

    /// Solves for one right side, and once more for what is left of it. Sparse pivots are taken
    /// for few cells first: of 120 V some 1e-11 V would be lost between two open slots, which
    /// may be all that stands there.
    fn solve(
        &self,
        factors: &Triangles,
        mut right: Vec<Phasor>,
    ) -> Result<Vec<Phasor>, CircuitError> {
        let mut values = factors.solve(right.clone())?;
        for &(row, column, value) in &self.cells {
            right[row] -= value * values[column];
        }
        for (value, more) in values.iter_mut().zip(factors.solve(right)?) {
            *value += more;
        }
        if values.iter().all(|value| value.is_finite()) {
            Ok(values)
        } else {
            Err(CircuitError::Singular)
        }
    }
}

impl Factored {
    pub(super) fn new(
        nodes: usize,
        equations: &Equations,
        factors: Triangles,
        right: Vec<Phasor>,
    ) -> Result<Self, CircuitError> {
        let values = equations.solve(&factors, right)?;
        Ok(Self {
            nodes,
            factors,
            own: Solution { nodes, values },
        })
    }

    /// The network as it is.
    #[must_use]
    pub const fn solution(&self) -> &Solution {
        &self.own
    }

    pub(super) fn into_solution(self) -> Solution {
        self.own
    }

    /// What one ampere that enters at `from` and leaves at `to` does to the network with its
    /// sources dead. The voltage between the two is the impedance that the network has there.
    ///
    /// # Errors
    /// [`CircuitError::Singular`] where the numbers have no end.
    ///
    /// # Panics
    /// If a node belongs to a larger circuit.
    pub fn one_ampere(&self, from: Node, to: Node) -> Result<Solution, CircuitError> {
        let zero = Phasor::new(0.0, 0.0);
        let mut right = vec![zero; self.own.values.len()];
        for (node, amperes) in [(from, 1.0), (to, -1.0)] {
            if let Some(index) = node.0.checked_sub(1) {
                assert!(
                    index < self.nodes,
                    "this node is not of the factored circuit"
                );
                right[index] += amperes;
            }
        }
        let values = self.factors.solve(right)?;
        Ok(Solution {
            nodes: self.nodes,
            values,
        })
    }

    /// The network with `bridges` in it, and their currents.
    ///
    /// # Errors
    /// [`CircuitError::Singular`] where network and bridges together have no one solution.
    pub fn bridged(&self, bridges: &[Bridge]) -> Result<(Solution, Vec<Phasor>), CircuitError> {
        let mut moved = Vec::with_capacity(bridges.len());
        for bridge in bridges {
            moved.push(self.one_ampere(bridge.from, bridge.to)?);
        }
        let across = |solution: &Solution, bridge: &Bridge| -> Phasor {
            solution.voltage(bridge.from, bridge.to)
        };
        let mut matrix = Sparse::new(bridges.len()).ok_or(CircuitError::Singular)?;
        for (row, bridge) in bridges.iter().enumerate() {
            matrix.add(row, row, bridge.impedance);
            for (column, moved) in moved.iter().enumerate() {
                matrix.add(row, column, across(moved, bridge));
            }
        }
        let open = bridges.iter().map(|bridge| across(&self.own, bridge));
        let currents = matrix.factor(&[])?.solve(open.collect());
        let mut solution = self.own.clone();
        for (moved, current) in moved.iter().zip(&currents) {
            for (value, by_one) in solution.values.iter_mut().zip(&moved.values) {
                *value -= by_one * current;
            }
        }
        if solution.values.iter().all(|value| value.is_finite()) {
            Ok((solution, currents))
        } else {
            Err(CircuitError::Singular)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::Circuit;
    use super::*;
    use crate::house::{Appliance, EmiFilter, Gfci, Receptacle, Wired, bank, enumeration};
    use crate::quantity::Henries;
    use crate::tester::{Specimen, Tolerance};
    use slotwise_core::slots::ClipTarget;
    use slotwise_core::units::{Amperes, Ohms};

    fn supply(circuit: &mut Circuit, plus: Node, volts: f64) {
        circuit.source(
            plus,
            Node::REFERENCE,
            Phasor::new(volts, 0.0),
            Ohms::ZERO,
            Henries::new(0.0),
        );
    }

    /// How far two potentials of one network are apart, against the larger of the value and a
    /// pivot's rounding of 120 V.
    fn apart(one: Phasor, other: Phasor) -> f64 {
        (one - other).norm() / other.norm().max(1e-4)
    }

    /// Every network of the enumeration and of the terrace, with every part a house can have.
    fn houses() -> Vec<(String, Wired)> {
        let heavy = |receptacle: &Receptacle| {
            let load = Appliance {
                leak: Amperes::new(0.0005),
                ..Appliance::steady(12.0)
            };
            receptacle
                .clone()
                .with_appliance(load.with_filter(EmiFilter::USUAL))
                .with_gfci(Gfci::ClassA)
                .with_clip(ClipTarget::IndependentEarth)
        };
        let entries = enumeration()
            .iter()
            .map(|entry| (entry.name.clone(), &entry.receptacle));
        let terrace = bank()
            .iter()
            .map(|named| (named.name.to_owned(), &named.receptacle));
        let mut all = Vec::new();
        for (seed, (name, receptacle)) in (1..).zip(entries.chain(terrace)) {
            let specimen = Specimen::draw(seed, &Tolerance::USUAL);
            for receptacle in [receptacle.clone(), heavy(receptacle)] {
                for wired in receptacle.networks(&specimen, true).unwrap() {
                    all.push((name.clone(), wired));
                }
            }
        }
        all
    }

    #[test]
    fn sparse_and_dense_factors_say_the_same_of_every_house() {
        let mut worst = (0.0, String::new());
        let houses = houses();
        assert!(houses.len() > 2_000, "{}", houses.len());
        for (name, wired) in houses {
            let circuit = &wired.circuit;
            let sparse = circuit.factor(wired.hertz).unwrap();
            assert!(matches!(sparse.factors, Triangles::Sparse(_)));
            let (equations, right) = circuit.equations(wired.hertz);
            let factors = equations.factor_dense();
            let dense = circuit.factored(&equations, factors, right).unwrap();
            let [narrow, wide, ground, clip] = wired.slots;
            let pairs = [
                [narrow, wide],
                [ground, wide],
                [narrow, ground],
                [clip, wide],
            ];
            let pins = wired.pins.map(|[plus, minus]| [plus, minus]);
            for [first, second] in pairs.into_iter().chain(pins) {
                let [one, other] = [&sparse, &dense].map(|it| it.own.voltage(first, second));
                let off = apart(one, other);
                if off > worst.0 {
                    worst = (
                        off,
                        format!("{name}, harmonic {}: {one} {other}", wired.order),
                    );
                }
            }
        }
        println!("{:.1e}: {}", worst.0, worst.1);
        assert!(worst.0 < 1e-9, "{worst:?}");
    }

    #[test]
    fn a_bridge_over_the_factors_is_a_part_in_the_network() {
        let mut worst = (0.0, String::new());
        for (name, mut wired) in houses() {
            let [narrow, wide, ground, clip] = wired.slots;
            let ends = [[clip, Node::REFERENCE], [narrow, wide], [narrow, ground]];
            let ohms = [10.0, 12.0, 90_010.0];
            let bridges: [Bridge; 3] = core::array::from_fn(|index| Bridge {
                from: ends[index][0],
                to: ends[index][1],
                impedance: Phasor::new(f64::from(ohms[index]), 0.0),
            });
            let factored = wired.circuit.factor(wired.hertz).unwrap();
            let (bridged, currents) = factored.bridged(&bridges).unwrap();
            for ([from, to], ohms) in ends.into_iter().zip(ohms) {
                wired.circuit.resistor(from, to, Ohms::new(ohms));
            }
            let built = wired.circuit.solve(wired.hertz).unwrap();
            for (([from, to], current), ohms) in ends.into_iter().zip(currents).zip(ohms) {
                let [one, other] = [&bridged, &built].map(|it| it.voltage(from, to));
                let law = current * f64::from(ohms);
                let off = apart(one, other).max(apart(law, other));
                if off > worst.0 {
                    worst = (off, format!("{name}, {ohms} ohm: {one} {other} {law}"));
                }
            }
        }
        println!("{:.1e}: {}", worst.0, worst.1);
        assert!(worst.0 < 1e-9, "{worst:?}");
    }

    #[test]
    fn the_pivots_of_one_frequency_do_at_another() {
        for (name, wired) in houses().into_iter().filter(|(_, wired)| wired.order == 1) {
            let line = wired.circuit.factor(wired.hertz).unwrap();
            let like = wired.circuit.factor_like(&line, 85.0).unwrap();
            let anew = wired.circuit.factor(85.0).unwrap();
            let [narrow, wide, ground, _] = wired.slots;
            for [first, second] in [[narrow, wide], [ground, wide]] {
                let [one, other] = [&like, &anew].map(|it| it.own.voltage(first, second));
                assert!(apart(one, other) < 1e-9, "{name}: {one} {other}");
            }
        }
    }

    #[test]
    fn one_ampere_makes_the_impedance_into_volts() {
        let mut circuit = Circuit::new();
        let [top, middle] = ["top", "middle"].map(|name| circuit.node(name));
        supply(&mut circuit, top, 120.0);
        circuit.resistor(top, middle, Ohms::new(300.0));
        circuit.resistor(middle, Node::REFERENCE, Ohms::new(600.0));
        let factored = circuit.factor(60.0).unwrap();
        let seen = factored.one_ampere(middle, Node::REFERENCE).unwrap();
        assert!((seen.potential(middle) - Phasor::new(200.0, 0.0)).norm() < 1e-12);
        assert!(seen.potential(top).norm() < 1e-12);
    }

    #[test]
    fn a_network_beyond_the_masks_is_solved_as_a_dense_one() {
        // 200 resistors of 1 kohm from 200 V to earth: node k stands at k volts.
        let mut circuit = Circuit::new();
        let mut below = Node::REFERENCE;
        let nodes: Vec<Node> = (1..=200)
            .map(|index| {
                let node = circuit.node(&format!("step {index}"));
                circuit.resistor(below, node, Ohms::new(1000.0));
                below = node;
                node
            })
            .collect();
        supply(&mut circuit, below, 200.0);
        let factored = circuit.factor(60.0).unwrap();
        assert!(matches!(factored.factors, Triangles::Dense(_)));
        for (node, volts) in nodes.into_iter().zip(1..) {
            let error = factored.solution().potential(node) - f64::from(volts);
            assert!(error.norm() < 1e-10, "{error}");
        }
    }
}
