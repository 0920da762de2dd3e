//! Decides whether a network can have a solution before any arithmetic, so that an error
//! names a node and not a pivot.
//!
//! Two sets are grown by union: nodes tied together by anything (a node outside the
//! reference's set floats), and nodes tied together by ideal sources alone (an ideal source
//! inside one set closes a loop).

use super::{Circuit, CircuitError, Node, Passive};

/// Nodes grouped by what ties them together.
struct Groups {
    parent: Vec<usize>,
}

impl Groups {
    fn of(nodes: usize) -> Self {
        Self {
            parent: (0..nodes).collect(),
        }
    }

    fn root(&mut self, mut node: usize) -> usize {
        while self.parent[node] != node {
            self.parent[node] = self.parent[self.parent[node]];
            node = self.parent[node];
        }
        node
    }

    /// Ties two nodes together; false if they already were.
    fn tie(&mut self, one: Node, other: Node) -> bool {
        let (one, other) = (self.root(one.0), self.root(other.0));
        self.parent[one] = other;
        one != other
    }
}

impl Circuit {
    pub(super) fn check(&self, hertz: f64) -> Result<(), CircuitError> {
        if !(hertz.is_finite() && hertz > 0.0) {
            return Err(CircuitError::Frequency);
        }
        self.check_values()?;
        let nodes = self.names.len() + 1;
        let mut tied = Groups::of(nodes);
        for passage in &self.passages {
            tied.tie(passage.from, passage.to);
        }
        let mut rigid = Groups::of(nodes);
        for source in &self.sources {
            tied.tie(source.plus, source.minus);
            if source.is_ideal() && !rigid.tie(source.plus, source.minus) {
                return Err(CircuitError::Loop {
                    from: self.name(source.plus).to_owned(),
                    to: self.name(source.minus).to_owned(),
                });
            }
        }
        let ground = tied.root(Node::REFERENCE.0);
        let floating: Vec<String> = (1..nodes)
            .filter(|&node| tied.root(node) != ground)
            .map(|node| self.name(Node(node)).to_owned())
            .collect();
        if floating.is_empty() {
            Ok(())
        } else {
            Err(CircuitError::Floating { names: floating })
        }
    }

    fn check_values(&self) -> Result<(), CircuitError> {
        let error = |element, from, to| CircuitError::Value {
            element,
            from: self.name(from).to_owned(),
            to: self.name(to).to_owned(),
        };
        for passage in &self.passages {
            let (kind, value) = match passage.passive {
                Passive::Resistor(ohms) => ("resistor", f64::from(ohms.get())),
                Passive::Capacitor(farads) => ("capacitor", farads.get()),
                Passive::Inductor(henries) => ("inductor", henries.get()),
            };
            if !(value.is_finite() && value > 0.0) {
                return Err(error(kind, passage.from, passage.to));
            }
        }
        for source in &self.sources {
            let resistance = f64::from(source.resistance.get());
            let inductance = source.inductance.get();
            let sound = source.emf.is_finite()
                && resistance.is_finite()
                && resistance >= 0.0
                && inductance.is_finite()
                && inductance >= 0.0;
            if !sound {
                return Err(error("source", source.plus, source.minus));
            }
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::super::Phasor;
    use super::*;
    use crate::quantity::{Farads, Henries};
    use slotwise_core::units::Ohms;

    #[test]
    fn a_node_on_nothing_is_named() {
        let mut circuit = Circuit::new();
        let live = circuit.node("hot bus");
        let island = circuit.node("island");
        let shore = circuit.node("shore");
        circuit.resistor(live, Node::REFERENCE, Ohms::new(10.0));
        circuit.resistor(island, shore, Ohms::new(1.0));
        let error = circuit.solve(60.0).unwrap_err();
        assert_eq!(
            error,
            CircuitError::Floating {
                names: vec!["island".into(), "shore".into()]
            }
        );
        assert!(error.to_string().contains("node island, shore floats"));
    }

    #[test]
    fn a_capacitor_ties_a_node_down() {
        let mut circuit = Circuit::new();
        let node = circuit.node("slot");
        circuit.capacitor(node, Node::REFERENCE, Farads::from_pico(30.0));
        let solution = circuit.solve(60.0).expect("tied by the capacitor");
        assert_eq!(solution.potential(node), Phasor::new(0.0, 0.0));
    }

    #[test]
    fn two_joins_in_parallel_are_a_loop() {
        let mut circuit = Circuit::new();
        let node = circuit.node("bus");
        circuit.join(node, Node::REFERENCE);
        circuit.join(node, Node::REFERENCE);
        assert!(matches!(
            circuit.solve(60.0),
            Err(CircuitError::Loop { .. })
        ));
    }

    #[test]
    fn a_resistor_of_zero_ohms_is_refused_by_its_nodes() {
        let mut circuit = Circuit::new();
        let node = circuit.node("bus");
        circuit.resistor(node, Node::REFERENCE, Ohms::ZERO);
        let text = circuit.solve(60.0).unwrap_err().to_string();
        assert!(text.contains("resistor") && text.contains("bus"), "{text}");
    }

    #[test]
    fn a_loss_free_resonance_is_singular() {
        // L and C in parallel with L C (2 pi f)^2 = 1: the admittance cancels exactly.
        let mut circuit = Circuit::new();
        let node = circuit.node("tank");
        let omega = core::f64::consts::TAU * 60.0;
        circuit.capacitor(node, Node::REFERENCE, Farads::new(1.0 / omega));
        circuit.inductor(node, Node::REFERENCE, Henries::new(1.0 / omega));
        assert_eq!(circuit.solve(60.0).unwrap_err(), CircuitError::Singular);
    }
}
