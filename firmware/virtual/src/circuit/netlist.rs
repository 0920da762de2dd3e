//! Writes a network as a netlist for ngspice, so that a solver of other authors can be held
//! against ours.
//!
//! The text is a whole batch job: elements, one frequency of small-signal analysis, and a
//! `print` of each probe's real and imaginary part with 16 digits. A source's series
//! resistance and inductance become elements with nodes of their own.
//!
//! A resistor below 100 ohm goes out as what it is by definition, a voltage of so many ohms
//! times its current (an `H` source that reads its own current), and pivots must be half of
//! the largest (`pivrel`, a thousandth by default). With `R` elements and small pivots ngspice
//! adds siemens to the picofarads of open conductors, and of the 25 mV between two of them it
//! loses 1.6e-4: arithmetic with 60 digits on the same netlist sides with our solver to 4e-11.
//!
//! Three traps of the format are met here. A node called `gnd` would be the reference, and
//! upper and lower case are one: every node is called by its number first, `n7_gnd`. A node
//! that only capacitors hold has no direct-current potential: `noopac` leaves the operating
//! point out, which a linear network may. An amplitude there is whatever the reader wants:
//! ours are RMS on both sides.

use super::solve::LOW;
use super::{Circuit, CircuitError, Node, Passive, Source};
use core::fmt::Write as _;

impl Circuit {
    /// The network at `hertz` as a batch job for ngspice (39 or later, `ngspice -n -b`). It
    /// prints, for the probe of index `i` (first node against second), the lines
    /// `real(probe<i>) = <volts>` and `imag(probe<i>) = <volts>`.
    ///
    /// # Errors
    /// [`CircuitError`] where [`Circuit::solve`] would refuse the network before solving it.
    pub fn netlist(&self, hertz: f64, probes: &[[Node; 2]]) -> Result<String, CircuitError> {
        self.check(hertz)?;
        let mut text = String::from("* a network of Slotwise; phasors are RMS values\n");
        for (index, passage) in self.passages.iter().enumerate() {
            let [from, to] = [passage.from, passage.to].map(|node| self.spice_name(node));
            let (letter, value) = match passage.passive {
                Passive::Resistor(ohms) if ohms < LOW => {
                    let inner = format!("r{index}_{from}");
                    line(
                        &mut text,
                        format_args!("Vr{index} {from} {inner} DC 0 AC 0"),
                    );
                    let value = f64::from(ohms.get());
                    line(
                        &mut text,
                        format_args!("H{index} {inner} {to} Vr{index} {value:e}"),
                    );
                    continue;
                }
                Passive::Resistor(ohms) => ('R', f64::from(ohms.get())),
                Passive::Capacitor(farads) => ('C', farads.get()),
                Passive::Inductor(henries) => ('L', henries.get()),
            };
            line(
                &mut text,
                format_args!("{letter}{index} {from} {to} {value:e}"),
            );
        }
        for (index, source) in self.sources.iter().enumerate() {
            self.write_source(&mut text, index, source);
        }
        line(
            &mut text,
            format_args!(
                ".options noopac pivrel=0.5\n.control\nset numdgt=15\nac lin 1 {hertz:e} {hertz:e}"
            ),
        );
        for (index, probe) in probes.iter().enumerate() {
            let [first, second] = probe.map(|node| self.spice_potential(node));
            line(
                &mut text,
                format_args!(
                    "let probe{index} = {first}-{second}\nprint real(probe{index}) imag(probe{index})"
                ),
            );
        }
        text.push_str("quit 0\n.endc\n.end\n");
        Ok(text)
    }

    /// Resistance and inductance from the plus terminal inwards, then the force itself.
    fn write_source(&self, text: &mut String, index: usize, source: &Source) {
        let mut inner = self.spice_name(source.plus);
        let series = [
            ('R', f64::from(source.resistance.get())),
            ('L', source.inductance.get()),
        ];
        for (letter, value) in series.into_iter().filter(|(_, value)| *value > 0.0) {
            let next = format!("s{index}_behind_{}", letter.to_ascii_lowercase());
            line(
                text,
                format_args!("{letter}s{index} {inner} {next} {value:e}"),
            );
            inner = next;
        }
        let minus = self.spice_name(source.minus);
        let (volts, degrees) = (source.emf.norm(), source.emf.arg().to_degrees());
        line(
            text,
            format_args!("V{index} {inner} {minus} DC 0 AC {volts:e} {degrees:e}"),
        );
    }

    fn spice_name(&self, node: Node) -> String {
        if node == Node::REFERENCE {
            return "0".to_owned();
        }
        let name: String = self
            .name(node)
            .chars()
            .map(|c| if c.is_ascii_alphanumeric() { c } else { '_' })
            .collect();
        format!("n{}_{name}", node.0).to_ascii_lowercase()
    }

    /// A node's potential in an expression; the reference has no vector of its own.
    fn spice_potential(&self, node: Node) -> String {
        if node == Node::REFERENCE {
            "0".to_owned()
        } else {
            format!("v({})", self.spice_name(node))
        }
    }
}

fn line(text: &mut String, arguments: core::fmt::Arguments<'_>) {
    // A string cannot refuse to grow.
    let _ = writeln!(text, "{arguments}");
}

#[cfg(test)]
mod tests {
    use super::super::Phasor;
    use super::*;
    use crate::quantity::{Farads, Henries};
    use slotwise_core::units::Ohms;

    #[test]
    fn every_element_gets_its_line() {
        let mut circuit = Circuit::new();
        let [hot, slot] = ["Leg 1 bus", "GND"].map(|name| circuit.node(name));
        circuit.source(
            hot,
            Node::REFERENCE,
            Phasor::new(0.0, 120.0),
            Ohms::new(0.5),
            Henries::new(1e-4),
        );
        circuit.resistor(hot, slot, Ohms::new(0.005));
        circuit.capacitor(slot, Node::REFERENCE, Farads::from_pico(30.0));
        circuit.inductor(slot, Node::REFERENCE, Henries::new(2.0));
        circuit.join(slot, hot);
        circuit.resistor(hot, slot, Ohms::new(250.0));
        let text = circuit
            .netlist(60.0, &[[slot, Node::REFERENCE], [hot, slot]])
            .expect("sound");
        let lines: Vec<&str> = text.lines().collect();
        for wanted in [
            "Vr0 n1_leg_1_bus r0_n1_leg_1_bus DC 0 AC 0",
            "H0 r0_n1_leg_1_bus n2_gnd Vr0 4.999999888241291e-3",
            "R3 n1_leg_1_bus n2_gnd 2.5e2",
            "C1 n2_gnd 0 3e-11",
            "L2 n2_gnd 0 2e0",
            "Rs0 n1_leg_1_bus s0_behind_r 5e-1",
            "Ls0 s0_behind_r s0_behind_l 1e-4",
            "V0 s0_behind_l 0 DC 0 AC 1.2e2 9e1",
            "V1 n2_gnd n1_leg_1_bus DC 0 AC 0e0 0e0",
            "ac lin 1 6e1 6e1",
            "let probe0 = v(n2_gnd)-0",
            "let probe1 = v(n1_leg_1_bus)-v(n2_gnd)",
        ] {
            assert!(lines.contains(&wanted), "{wanted} is not in\n{text}");
        }
    }

    #[test]
    fn nodes_that_differ_in_case_or_signs_alone_stay_apart() {
        let mut circuit = Circuit::new();
        let nodes = ["Bus-1", "bus 1", "BUS_1"].map(|name| circuit.node(name));
        let names = nodes.map(|node| circuit.spice_name(node));
        assert_eq!(names, ["n1_bus_1", "n2_bus_1", "n3_bus_1"]);
    }

    #[test]
    fn a_floating_network_is_not_exported() {
        let mut circuit = Circuit::new();
        let [one, other] = ["island", "shore"].map(|name| circuit.node(name));
        circuit.resistor(one, other, Ohms::new(1.0));
        assert!(matches!(
            circuit.netlist(60.0, &[]),
            Err(CircuitError::Floating { .. })
        ));
    }
}
