//! Linear circuits in the sinusoidal steady state, solved one frequency at a time.
//!
//! The model is modified nodal analysis: one unknown potential for each node but the
//! reference, one unknown current for each source and join. Phasors are RMS values. A
//! non-sinusoidal supply is several solves of the same circuit, one a harmonic, which is
//! exact as long as every element is linear.
//!
//! Limits: no coupled inductors, no controlled sources, no time domain; a conductor is a
//! resistance. The reactance of house wiring is under 3 % of its resistance at 14 and 12 AWG
//! and 4.2 % at 10 AWG (NEC Chapter 9 Table 9: 0.058 against 3.1 ohm per 1000 ft at 14 AWG in
//! PVC), in quadrature: 0.1 % of a drop's magnitude at most.

mod check;
mod factored;
mod netlist;
mod solve;
mod sparse;

use crate::quantity::{Farads, Henries};
use nalgebra::Complex;
use slotwise_core::units::Ohms;

pub use factored::{Bridge, Factored};
pub use solve::Solution;

/// An RMS phasor; its unit is said where it is used.
pub type Phasor = Complex<f64>;

/// A node of one [`Circuit`]. Node 0 is the reference.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Node(usize);

impl Node {
    /// The node whose potential is zero: the far earth, in a house.
    pub const REFERENCE: Self = Self(0);
}

/// A source or a join of one [`Circuit`], by which its current is asked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Branch(usize);

#[derive(Clone, Copy, Debug, PartialEq)]
enum Passive {
    Resistor(Ohms),
    Capacitor(Farads),
    Inductor(Henries),
}

#[derive(Clone, Copy, Debug)]
struct Passage {
    from: Node,
    to: Node,
    passive: Passive,
}

/// An electromotive force behind a series impedance; a join is one of zero volts and zero
/// impedance.
#[derive(Clone, Copy, Debug)]
struct Source {
    plus: Node,
    minus: Node,
    emf: Phasor,
    resistance: Ohms,
    inductance: Henries,
}

impl Source {
    const fn is_ideal(&self) -> bool {
        self.resistance.get() == 0.0 && self.inductance.get() == 0.0
    }
}

/// A network under construction.
#[derive(Clone, Debug, Default)]
pub struct Circuit {
    /// Names of the nodes after the reference.
    names: Vec<String>,
    passages: Vec<Passage>,
    sources: Vec<Source>,
}

impl Circuit {
    /// An empty network that has only the reference node.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// Adds a node. `name` is what errors call it.
    pub fn node(&mut self, name: &str) -> Node {
        self.names.push(name.to_owned());
        Node(self.names.len())
    }

    /// A resistor between two nodes.
    pub fn resistor(&mut self, from: Node, to: Node, resistance: Ohms) {
        self.passage(from, to, Passive::Resistor(resistance));
    }

    /// A capacitor between two nodes.
    pub fn capacitor(&mut self, from: Node, to: Node, capacitance: Farads) {
        self.passage(from, to, Passive::Capacitor(capacitance));
    }

    /// An inductor between two nodes.
    pub fn inductor(&mut self, from: Node, to: Node, inductance: Henries) {
        self.passage(from, to, Passive::Inductor(inductance));
    }

    /// A source whose `plus` terminal stands `emf` volts above `minus` when no current flows.
    pub fn source(
        &mut self,
        plus: Node,
        minus: Node,
        emf: Phasor,
        resistance: Ohms,
        inductance: Henries,
    ) -> Branch {
        self.sources.push(Source {
            plus,
            minus,
            emf,
            resistance,
            inductance,
        });
        Branch(self.sources.len() - 1)
    }

    /// Joins two nodes without resistance; the current through the join can be asked for.
    pub fn join(&mut self, one: Node, other: Node) -> Branch {
        self.source(
            one,
            other,
            Phasor::new(0.0, 0.0),
            Ohms::ZERO,
            Henries::new(0.0),
        )
    }

    /// Solves the network at `hertz`.
    ///
    /// # Errors
    /// [`CircuitError`] when a value is no value, a node floats, ideal sources form a loop,
    /// or the network resonates without loss.
    pub fn solve(&self, hertz: f64) -> Result<Solution, CircuitError> {
        Ok(self.factor(hertz)?.into_solution())
    }

    /// Solves the network at `hertz` and keeps its factors, for states that differ from it by a
    /// few impedances.
    ///
    /// # Errors
    /// As [`Self::solve`].
    pub fn factor(&self, hertz: f64) -> Result<Factored, CircuitError> {
        self.check(hertz)?;
        self.factor_checked(hertz, None)
    }

    /// As [`Self::factor`], by the pivots of `like`: this network at another frequency. Pivots
    /// are chosen anew from where one of those is too small.
    ///
    /// # Errors
    /// As [`Self::solve`].
    pub fn factor_like(&self, like: &Factored, hertz: f64) -> Result<Factored, CircuitError> {
        if !(hertz.is_finite() && hertz > 0.0) {
            return Err(CircuitError::Frequency);
        }
        self.factor_checked(hertz, Some(like))
    }

    fn passage(&mut self, from: Node, to: Node, passive: Passive) {
        self.passages.push(Passage { from, to, passive });
    }

    fn name(&self, node: Node) -> &str {
        match node.0.checked_sub(1) {
            None => "reference",
            Some(index) => &self.names[index],
        }
    }
}

/// Why a network has no solution.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum CircuitError {
    /// An element has a value that no part has.
    #[error(
        "the {element} from node {from:?} to node {to:?} has an impossible value; \
         give it a finite value above zero, or leave it out"
    )]
    Value {
        /// What kind of element.
        element: &'static str,
        /// Its first node.
        from: String,
        /// Its second node.
        to: String,
    },
    /// Nothing ties some nodes to the reference at this frequency.
    #[error(
        "node {} floats: nothing ties it to the reference at this frequency; \
         connect it, or give it its stray capacitance", names.join(", ")
    )]
    Floating {
        /// The nodes of no known potential.
        names: Vec<String>,
    },
    /// Joins or ideal sources form a loop, so the current around it has no one value.
    #[error(
        "joins or ideal sources form a loop through {from:?} and {to:?}; \
         give one of them a series resistance"
    )]
    Loop {
        /// Node where the loop closes.
        from: String,
        /// The other node of the closing element.
        to: String,
    },
    /// The equations have no unique solution although every node is tied down.
    #[error(
        "the network has no unique solution at this frequency: a loss-free resonance; \
         give the resonant part a resistance"
    )]
    Singular,
    /// The frequency is not one.
    #[error("a network is solved at a finite frequency above zero")]
    Frequency,
}
