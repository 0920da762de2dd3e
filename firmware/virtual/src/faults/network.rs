//! The currents by the solver: the tester with its failed part in its place.
//!
//! The line and the drive are solved apart, at 60 and 85 Hz, and add up as RMS. A limiter is a
//! resistance that is raised until its current is what it lets pass; limited current is nearly
//! square, so its peak is taken for its RMS. The drive counts as 85 Hz of its level's RMS.

use super::parts::{Limb, Parts, SHORT};
use super::place::{BODY, Clip, Place, WIRE};
use crate::circuit::{Branch, Circuit, CircuitError, Node, Phasor, Solution};
use crate::quantity::Henries;
use slotwise_core::units::Ohms;

/// Holds every node down, so that a part that is open leaves none without a potential.
const STRAY: f64 = 1e11;

const LINE: f64 = 60.0;
const DRIVE: f64 = 85.0;

/// Currents, RMS amperes.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Currents {
    /// Out of the ground hole and the clip, into whatever they are on: what an interrupter
    /// upstream misses.
    pub(super) into_ground: f64,
    /// Through the person, if there is one.
    pub(super) through_person: f64,
}

/// A network of the line with what is looked at.
#[derive(Clone, Debug)]
pub struct Network {
    /// The network.
    pub circuit: Circuit,
    /// The frequency it is solved at, hertz.
    pub hertz: f64,
    /// Pairs of nodes, the ohms between them, and the sign with which their current goes into
    /// ground: the ground conductor, or the body that holds a frame; then the clip's.
    pub ground: Vec<([Node; 2], Ohms)>,
    persons: Vec<Branch>,
    grounds: Vec<Branch>,
    limbs: [Option<Branch>; 3],
    /// Narrow, wide, ground hole, clip.
    slots: [Node; 4],
}

/// A conductor to a pole of the supply, which its current is asked of.
fn to_pole(circuit: &mut Circuit, node: Node, volts: f64, ohms: f64) -> Branch {
    circuit.source(
        node,
        Node::REFERENCE,
        Phasor::new(volts, 0.0),
        Ohms::new(ohms as f32),
        Henries::new(0.0),
    )
}

impl Network {
    /// The line alone (`drive` none), or the drive alone at its level.
    pub(super) fn new(place: &Place, parts: &Parts, drive: Option<f64>) -> Self {
        let mut circuit = Circuit::new();
        let names = [
            "narrow",
            "wide",
            "ground hole",
            "clip",
            "inner ground",
            "star",
        ];
        let nodes = names.map(|name| circuit.node(name));
        let [narrow, wide, hole, clip, inner, star] = nodes;
        for node in nodes {
            circuit.resistor(node, Node::REFERENCE, Ohms::new(STRAY as f32));
        }
        let on = if drive.is_some() { 0.0 } else { 1.0 };
        for (node, pole) in [(narrow, place.narrow), (wide, place.wide)] {
            to_pole(&mut circuit, node, on * place.volts(pole), WIRE);
        }
        let (mut grounds, mut persons, mut ground) = (Vec::new(), Vec::new(), Vec::new());
        // A far end of its own, so that the current is a voltage too.
        let mut earthed = |circuit: &mut Circuit, node: Node, volts: f64, ohms: f64| {
            let far = circuit.node("far end");
            circuit.resistor(node, far, Ohms::new(ohms as f32));
            let branch = to_pole(circuit, far, volts, 0.0);
            ground.push(([node, far], Ohms::new(ohms as f32)));
            grounds.push(branch);
            branch
        };
        match place.ground {
            Some(pole) => {
                earthed(&mut circuit, hole, on * place.volts(pole), WIRE);
            }
            None => persons.push(earthed(&mut circuit, hole, 0.0, BODY)),
        }
        match place.clip {
            Clip::Free => {}
            Clip::Frame => circuit.resistor(clip, hole, Ohms::new(SHORT as f32)),
            Clip::Hand => persons.push(earthed(&mut circuit, clip, 0.0, BODY)),
        }

        let mut resistor = |from: Node, to: Node, ohms: f64| {
            if ohms.is_finite() {
                circuit.resistor(from, to, Ohms::new(ohms as f32));
            }
        };
        resistor(hole, inner, parts.reference);
        for (lead, ohms) in [narrow, wide, inner, clip].into_iter().zip(parts.strings) {
            resistor(lead, star, ohms);
        }
        if parts.star_earthed {
            resistor(star, Node::REFERENCE, SHORT);
        }
        if parts.probe_closed {
            resistor(narrow, inner, parts.probe);
        }
        let bridge = circuit.node("bridge");
        circuit.resistor(bridge, Node::REFERENCE, Ohms::new(STRAY as f32));
        let ends = [(wide, bridge), (bridge, inner), (bridge, clip)];
        let emfs = [drive.unwrap_or(0.0), 0.0, 0.0];
        let mut limbs = [None; 3];
        for (((branch, limb), (from, to)), emf) in
            limbs.iter_mut().zip(parts.limbs).zip(ends).zip(emfs)
        {
            if limb.closed && limb.ohms.is_finite() {
                *branch = Some(circuit.source(
                    from,
                    to,
                    Phasor::new(emf, 0.0),
                    Ohms::new(limb.ohms as f32),
                    Henries::new(0.0),
                ));
            }
        }
        Self {
            circuit,
            hertz: if drive.is_some() { DRIVE } else { LINE },
            ground,
            persons,
            grounds,
            limbs,
            slots: [narrow, wide, hole, clip],
        }
    }

    fn solve(&self) -> Result<Solution, CircuitError> {
        self.circuit.solve(self.hertz)
    }
}

/// RMS of the line's voltages at rest: narrow-wide, ground-wide, narrow-ground, clip-wide.
pub(super) fn voltages(place: &Place, parts: &Parts) -> Result<[f64; 4], CircuitError> {
    let network = Network::new(place, parts, None);
    let solution = network.solve()?;
    let [narrow, wide, hole, clip] = network.slots;
    Ok([(narrow, wide), (hole, wide), (narrow, hole), (clip, wide)]
        .map(|(one, other)| solution.voltage(one, other).norm()))
}

/// The line's network with its limiters where they settle.
pub(super) fn settled(place: &Place, parts: &Parts) -> Result<Network, CircuitError> {
    let mut parts = *parts;
    for _ in 0..200 {
        let network = Network::new(place, &parts, None);
        let solution = network.solve()?;
        let mut moved = false;
        for (limb, branch) in parts.limbs.iter_mut().zip(network.limbs) {
            let amperes = branch.map_or(0.0, |branch| solution.current(branch).norm());
            if amperes > limb.limit * (1.0 + 1e-6) {
                limb.ohms *= amperes / limb.limit;
                moved = true;
            }
        }
        if !moved {
            return Ok(network);
        }
    }
    Err(CircuitError::Singular)
}

/// The currents of `parts` at `place`.
pub(super) fn currents(place: &Place, parts: &Parts) -> Result<Currents, CircuitError> {
    let line = settled(place, parts)?;
    let solved = line.solve()?;
    let drive = Network::new(place, parts, Some(parts.level));
    let driven = drive.solve()?;
    // What the limiters leave of the drive beside the line.
    let mut left: f64 = 1.0;
    for ((line, drive), limb) in line.limbs.iter().zip(drive.limbs).zip(parts.limbs) {
        if let (Some(line), Some(drive)) = (line, drive) {
            let (line, drive) = (solved.current(*line).norm(), driven.current(drive).norm());
            left = left.min(share_left(line, drive, limb));
        }
    }
    let sum = |which: fn(&Network) -> &Vec<Branch>| {
        let of = |network: &Network, solution: &Solution| -> f64 {
            let total: Phasor = which(network).iter().map(|&b| solution.current(b)).sum();
            total.norm()
        };
        of(&line, &solved).hypot(left * of(&drive, &driven))
    };
    Ok(Currents {
        into_ground: sum(|network| &network.grounds),
        through_person: sum(|network| &network.persons),
    })
}

/// Share of the drive's current that a limb lets pass beside so much of the line's.
fn share_left(line: f64, drive: f64, limb: Limb) -> f64 {
    if line.hypot(drive) <= limb.limit {
        1.0
    } else {
        (limb.limit * limb.limit - line * line).max(0.0).sqrt() / drive
    }
}
