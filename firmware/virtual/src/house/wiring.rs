//! Wires a house, a receptacle and a tester into one network.
//!
//! Conventions: the reference node is the far earth. Leg 2's electromotive force is the
//! negative of leg 1's at every harmonic (one centre-tapped winding). An open conductor ends
//! in stray capacitance, never in nothing, as it does in a wall.

use super::Strays;
use super::receptacle::{Conductor, EmiFilter, Joint, Landed, Receptacle};
use crate::circuit::{Branch, Circuit, Node, Phasor, Solution};
use crate::quantity::{Farads, Henries};
use crate::tester::{Paths, Specimen};
use core::f64::consts::TAU;
use slotwise_core::slots::{ClipTarget, LEADS};
use slotwise_core::units::{Amperes, Ohms};

/// A tight joint, all terminals of a conductor together.
pub(super) const SOUND_JOINT: Ohms = Ohms::new(0.015);
/// A blade or pin in its contact.
pub(super) const CONTACT: Ohms = Ohms::new(0.005);
/// A closed breaker.
const BREAKER: Ohms = Ohms::new(0.005);
/// The main bonding jumper.
const BOND: Ohms = Ohms::new(0.001);
/// What an appliance's amperes are stated at.
pub(super) const RATED_VOLTS: f32 = 120.0;
/// Capacitance between neighbouring conductors of building cable, each metre.
const CABLE_FARADS_PER_METRE: f64 = 80e-12;
/// A metal frame of an appliance to the room.
pub(super) const FRAME_TO_ROOM: Farads = Farads::from_pico(300.0);
/// A generator's windings to earth.
const GENERATOR_TO_EARTH: Farads = Farads::from_pico(2000.0);

/// The network of a receptacle at one harmonic, and the nodes of it that are looked at.
#[derive(Clone, Debug)]
pub struct Wired {
    /// Everything from the transformer to the converter's pins.
    pub circuit: Circuit,
    /// Order of the harmonic; 1 is the fundamental.
    pub order: u32,
    /// The frequency it is solved at, in hertz.
    pub hertz: f64,
    /// The three terminals and the clip, in channel order.
    pub slots: [Node; LEADS],
    /// Where the tester's strings begin: narrow, wide, the inner ground node, which the
    /// reference resistor parts from the ground hole, and the inner clip node, which another
    /// parts from the clip.
    pub leads: [Node; LEADS],
    /// The tester's star.
    pub star: Node,
    /// Positive and negative pin of each channel.
    pub pins: [[Node; 2]; LEADS],
    /// The conductors that pass through the current transformer of the interrupter; empty
    /// where there is none.
    pub(super) sensed: Vec<Branch>,
}

/// Both ends of the branch cable's conductors, as they are needed.
struct BoxEnds {
    hot: [Option<Node>; 2],
    neutral: Node,
    ground: Node,
    sensed: Vec<Branch>,
}

impl Wired {
    /// Wires it all, leg 1's winding at `emf` for the harmonic of `order`, the appliance
    /// drawing current if `appliance_on`.
    pub(super) fn build(
        receptacle: &Receptacle,
        specimen: &Specimen,
        (order, emf): (u32, Phasor),
        appliance_on: bool,
    ) -> Self {
        let mut circuit = Circuit::new();
        let panel = Panel::wire(&mut circuit, receptacle, emf);
        let ends = panel.branch(&mut circuit, receptacle);
        let (slots, frame) = wire_slots(&mut circuit, receptacle, &ends);
        if let Some(appliance) = receptacle.appliance {
            let [narrow, wide, _, _] = slots;
            wire_filter(&mut circuit, (narrow, wide, frame), appliance.filter);
            if let (Some(frame), Some(ohms)) = (frame, appliance.joined) {
                circuit.resistor(wide, frame, ohms);
            }
            if appliance_on {
                wire_load(&mut circuit, narrow, wide, appliance.current);
                if let Some(frame) = frame {
                    wire_load(&mut circuit, narrow, frame, appliance.leak);
                }
            }
        }

        let star = circuit.node("star");
        circuit.capacitor(star, Node::REFERENCE, specimen.barrier);
        let [narrow, wide, ground, clip] = slots;
        let inner = circuit.node("inner ground");
        circuit.resistor(inner, ground, specimen.currents.reference);
        let inner_clip = circuit.node("inner clip");
        circuit.resistor(inner_clip, clip, specimen.currents.clip_reference);
        let leads = [narrow, wide, inner, inner_clip];
        let names = ["narrow", "wide", "ground", "clip"];
        let pins = core::array::from_fn(|channel| {
            specimen.strings[channel].place(&mut circuit, names[channel], leads[channel], star)
        });
        for (one, other) in [(narrow, wide), (narrow, ground), (wide, ground)] {
            circuit.capacitor(one, other, specimen.cord);
        }
        Self {
            circuit,
            order,
            hertz: f64::from(receptacle.supply.frequency.get()) * f64::from(order),
            slots,
            leads,
            star,
            pins,
            sensed: ends.sensed,
        }
    }

    /// Closes `paths` of the tester's own currents, the drive at `drive` volts.
    pub fn connect(&mut self, specimen: &Specimen, paths: Paths, drive: Phasor) {
        paths.place(&mut self.circuit, &specimen.currents, self.leads, drive);
    }

    /// What an interrupter at the panel sees: the sum of the currents that its conductors
    /// carry into the branch, RMS amperes; none where there is no interrupter. With one hot
    /// conductor it is the hot current less what the neutral brings back.
    #[must_use]
    pub fn residual(&self, solution: &Solution) -> Option<Phasor> {
        (!self.sensed.is_empty())
            .then(|| self.sensed.iter().map(|&one| solution.current(one)).sum())
    }
}

/// The buses of the panel.
struct Panel {
    legs: [Node; 2],
    neutral: Node,
    ground: Node,
}

impl Panel {
    fn wire(circuit: &mut Circuit, receptacle: &Receptacle, emf: Phasor) -> Self {
        let house = &receptacle.house;
        let tap = circuit.node("transformer centre tap");
        let neutral = circuit.node("neutral bus");
        let ground = circuit.node("ground bus");
        if house.bonded {
            circuit.resistor(tap, Node::REFERENCE, house.utility_earth);
            match house.panel_bond {
                Joint::Sound => circuit.resistor(neutral, ground, BOND),
                Joint::Weak(ohms) => circuit.resistor(neutral, ground, BOND + ohms),
                Joint::Open => {}
            }
        } else {
            circuit.capacitor(tap, Node::REFERENCE, GENERATOR_TO_EARTH);
        }
        circuit.resistor(ground, Node::REFERENCE, house.rod);
        wire_joint(
            circuit,
            tap,
            neutral,
            house.service,
            house.service_neutral,
            receptacle.strays.across_break,
            "service neutral",
        );
        // Stated as a reactance at 60 Hz, whatever the frequency of the solve.
        let inductance = Henries::new(f64::from(house.transformer_reactance.get()) / (TAU * 60.0));
        let mut leg = |name: &str, emf: Phasor, drawn: Amperes| {
            let winding = circuit.node(&format!("{name} winding"));
            let bus = circuit.node(&format!("{name} bus"));
            circuit.source(winding, tap, emf, house.transformer, inductance);
            circuit.resistor(winding, bus, house.service);
            wire_load(circuit, bus, neutral, drawn);
            bus
        };
        let legs = [
            leg("leg 1", emf, house.background[0]),
            leg("leg 2", -emf, house.background[1]),
        ];
        Self {
            legs,
            neutral,
            ground,
        }
    }

    /// The load side of the breaker of `leg`. What hangs on it lies beside the ground conductor
    /// all the way from the panel.
    fn breaker(
        &self,
        circuit: &mut Circuit,
        receptacle: &Receptacle,
        leg: usize,
        run: Farads,
        sensed: &mut Vec<Branch>,
    ) -> Node {
        let breaker = circuit.node(&format!("{} after the breaker", HOT_NAMES[leg]));
        if receptacle.breaker_on {
            circuit.resistor(self.legs[leg], breaker, BREAKER);
        } else {
            circuit.capacitor(self.legs[leg], breaker, receptacle.strays.neighbour);
        }
        let breaker = sense(circuit, receptacle, breaker, sensed);
        circuit.capacitor(breaker, self.ground, run);
        breaker
    }

    /// Runs the branch cable's conductors to the box.
    fn branch(&self, circuit: &mut Circuit, receptacle: &Receptacle) -> BoxEnds {
        let strays = &receptacle.strays;
        let copper = receptacle.cable.conductor().resistance();
        let run = Farads::new(CABLE_FARADS_PER_METRE * receptacle.cable.length.get());
        let conductor = |circuit: &mut Circuit, name: &str, from: Node, length: f32, joint| {
            let end = circuit.node(&format!("{name} at the box"));
            let copper = copper * length;
            wire_joint(circuit, from, end, copper, joint, strays.across_break, name);
            end
        };
        let landed = receptacle.landed;
        let exchanged = matches!(landed, Landed::HotNeutralExchanged | Landed::BusesExchanged);
        let slots = [receptacle.narrow, receptacle.wide, receptacle.ground];
        let wanted = [
            slots.contains(&Conductor::Leg1) || landed != Landed::Right,
            slots.contains(&Conductor::Leg2),
        ];
        let mut sensed = Vec::new();
        let breakers: [Option<Node>; 2] = core::array::from_fn(|leg| {
            wanted[leg].then(|| self.breaker(circuit, receptacle, leg, run, &mut sensed))
        });
        let fed = breakers[0].unwrap_or(self.legs[0]);
        let neutral_bus = sense(circuit, receptacle, self.neutral, &mut sensed);

        let neutral_start = if exchanged { fed } else { neutral_bus };
        let (neutral_start, ground_start, shared) = match receptacle.joined_upstream {
            Some(share) => {
                let join = circuit.node("join upstream");
                circuit.resistor(neutral_start, join, copper * share.get() + SOUND_JOINT);
                (join, join, share.get())
            }
            None => match landed {
                Landed::BusesExchanged | Landed::GroundOnHot => (neutral_start, fed, 0.0),
                Landed::Right | Landed::HotNeutralExchanged => (neutral_start, self.ground, 0.0),
            },
        };
        let rest = 1.0 - shared;
        let joint = receptacle.neutral_joint;
        let neutral = conductor(circuit, "neutral", neutral_start, rest, joint);
        let joint = receptacle.ground_joint;
        let ground = conductor(circuit, "ground", ground_start, rest, joint);
        circuit.capacitor(neutral, ground, strays.neutral_ground);
        let mut hot = [None; 2];
        for leg in 0..2 {
            let Some(breaker) = breakers[leg] else {
                continue;
            };
            let from = if exchanged && leg == 0 {
                neutral_bus
            } else {
                breaker
            };
            let name = HOT_NAMES[leg];
            let end = conductor(circuit, name, from, 1.0, receptacle.hot_joint);
            circuit.capacitor(end, ground, strays.hot_ground);
            circuit.capacitor(end, neutral, strays.hot_neutral);
            hot[leg] = Some(end);
        }
        BoxEnds {
            hot,
            neutral,
            ground,
            sensed,
        }
    }
}

/// The terminal of the interrupter behind `bus`, where there is one; the conductor between
/// them is one of those whose currents it adds up.
fn sense(
    circuit: &mut Circuit,
    receptacle: &Receptacle,
    bus: Node,
    sensed: &mut Vec<Branch>,
) -> Node {
    if receptacle.gfci.is_none() {
        return bus;
    }
    let terminal = circuit.node("terminal of the interrupter");
    sensed.push(circuit.join(terminal, bus));
    terminal
}

/// Names of the hot conductors.
const HOT_NAMES: [&str; 2] = ["hot of leg 1", "hot of leg 2"];

/// The terminals of the receptacle and the clip, in channel order, and the appliance's frame if there
/// is one.
fn wire_slots(
    circuit: &mut Circuit,
    receptacle: &Receptacle,
    ends: &BoxEnds,
) -> ([Node; LEADS], Option<Node>) {
    let conductors = [receptacle.narrow, receptacle.wide, receptacle.ground];
    let names = ["narrow slot", "wide slot", "ground hole"];
    let [narrow, wide, ground] = core::array::from_fn(|slot| {
        let node = circuit.node(names[slot]);
        let end = match conductors[slot] {
            Conductor::Leg1 => ends.hot[0],
            Conductor::Leg2 => ends.hot[1],
            Conductor::Neutral => Some(ends.neutral),
            Conductor::Ground => Some(ends.ground),
            Conductor::Rod(ohms) => {
                circuit.resistor(node, Node::REFERENCE, ohms);
                None
            }
            Conductor::Nothing => None,
        };
        if let Some(end) = end {
            circuit.resistor(node, end, CONTACT);
        }
        circuit.capacitor(node, Node::REFERENCE, receptacle.strays.room);
        node
    });
    if conductors[2] == Conductor::Nothing {
        // Terminals and pigtails that lie beside the other two conductors in the box.
        let Strays {
            hot_ground,
            neutral_ground,
            ..
        } = receptacle.strays;
        circuit.capacitor(ground, narrow, hot_ground);
        circuit.capacitor(ground, wide, neutral_ground);
    }
    if let Some(jumper) = receptacle.jumper {
        circuit.resistor(wide, ground, jumper);
    }

    let frame = wire_frame(circuit, receptacle, ground);
    let clip = circuit.node("clip");
    circuit.capacitor(clip, Node::REFERENCE, receptacle.strays.room);
    match (receptacle.clip, frame) {
        (ClipTarget::ApplianceFrame, Some(frame)) => circuit.resistor(clip, frame, CONTACT),
        (ClipTarget::IndependentEarth, _) => {
            circuit.resistor(clip, Node::REFERENCE, receptacle.independent_earth);
        }
        _ => {}
    }
    ([narrow, wide, ground, clip], frame)
}

/// The frame of what hangs on the ground hole, if anything does: an appliance is plugged in,
/// or the clip is on one.
fn wire_frame(circuit: &mut Circuit, receptacle: &Receptacle, ground: Node) -> Option<Node> {
    if receptacle.appliance.is_none() && receptacle.clip != ClipTarget::ApplianceFrame {
        return None;
    }
    let frame = circuit.node("appliance frame");
    wire_joint(
        circuit,
        ground,
        frame,
        CONTACT,
        receptacle.frame_joint,
        receptacle.strays.across_break,
        "frame",
    );
    circuit.capacitor(frame, Node::REFERENCE, FRAME_TO_ROOM);
    Some(frame)
}

/// The capacitors of an interference filter on narrow, wide and the frame; none for zero.
fn wire_filter(
    circuit: &mut Circuit,
    (narrow, wide, frame): (Node, Node, Option<Node>),
    filter: EmiFilter,
) {
    let mut wire = |from, to, farads: Farads| {
        // A value that is none goes into the network, which refuses it.
        if farads != Farads::new(0.0) {
            circuit.capacitor(from, to, farads);
        }
    };
    wire(narrow, wide, filter.across);
    if let Some(frame) = frame {
        wire(narrow, frame, filter.to_frame);
        wire(wide, frame, filter.to_frame);
    }
}

/// A resistance that draws `amperes` at 120 V; none for zero.
fn wire_load(circuit: &mut Circuit, from: Node, to: Node, amperes: Amperes) {
    if amperes.get() > 0.0 {
        circuit.resistor(from, to, Ohms::new(RATED_VOLTS / amperes.get()));
    }
}

/// A conductor of `copper` that ends in `joint`.
fn wire_joint(
    circuit: &mut Circuit,
    from: Node,
    to: Node,
    copper: Ohms,
    joint: Joint,
    across_break: Farads,
    name: &str,
) {
    match joint {
        Joint::Sound => circuit.resistor(from, to, copper + SOUND_JOINT),
        Joint::Weak(ohms) => circuit.resistor(from, to, copper + ohms),
        Joint::Open => {
            let broken = circuit.node(&format!("{name} up to the break"));
            circuit.resistor(from, broken, copper);
            circuit.capacitor(broken, to, across_break);
        }
    }
}
