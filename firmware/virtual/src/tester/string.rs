//! One sensing string: from a lead down to the star, and the filter that taps its foot.

use crate::circuit::{Circuit, Node, Phasor};
use crate::quantity::Farads;
use core::f64::consts::TAU;
use slotwise_core::units::Ohms;

/// The parts of one string.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SensingString {
    /// The three high resistors in series.
    pub chain: Ohms,
    /// The resistor at the foot, over which the converter looks.
    pub foot: Ohms,
    /// Filter resistors to the positive and the negative input.
    pub filter: [Ohms; 2],
    /// Filter capacitor across the inputs.
    pub capacitor: Farads,
    /// Resistance of the converter's input.
    pub input: Ohms,
}

impl SensingString {
    /// The string with every part at its nominal value.
    pub const NOMINAL: Self = Self {
        chain: Ohms::new(990_000.0),
        foot: Ohms::new(2_400.0),
        filter: [Ohms::new(1_000.0), Ohms::new(1_000.0)],
        capacitor: Farads::from_pico(10_000.0),
        input: Ohms::new(300_000.0),
    };

    /// Voltage at the converter's pins for one volt of lead against star, at `hertz`.
    #[must_use]
    pub fn gain(&self, hertz: f64) -> Phasor {
        let [chain, foot, plus, minus, input] = self.ohms();
        let parallel = |a: Phasor, b: Phasor| a * b / (a + b);
        let real = |ohms| Phasor::new(ohms, 0.0);
        let capacitor = Phasor::new(0.0, -1.0 / (TAU * hertz * self.capacitor.get()));
        let pins = parallel(real(input), capacitor);
        let filter = pins + plus + minus;
        let tap = parallel(real(foot), filter);
        (tap / (tap + chain)) * (pins / filter)
    }

    /// Its gain for a steady voltage; the magnitude at 60 Hz is 1.3e-4 below it.
    #[must_use]
    pub fn steady_gain(&self) -> f64 {
        let [chain, foot, plus, minus, input] = self.ohms();
        let filter = plus + minus + input;
        let tap = foot * filter / (foot + filter);
        tap / (tap + chain) * input / filter
    }

    /// Time constant of its filter, in seconds: the capacitor and what it sees.
    #[must_use]
    pub fn time_constant(&self) -> f64 {
        let [chain, foot, plus, minus, input] = self.ohms();
        let source = chain * foot / (chain + foot) + plus + minus;
        source * input / (source + input) * self.capacitor.get()
    }

    /// Its resistance from lead to star for a steady voltage.
    #[must_use]
    pub fn resistance(&self) -> f64 {
        let [chain, foot, plus, minus, input] = self.ohms();
        let filter = plus + minus + input;
        chain + foot * filter / (foot + filter)
    }

    /// Adds the string between `lead` and `star`; returns the positive and the negative pin.
    pub fn place(&self, circuit: &mut Circuit, name: &str, lead: Node, star: Node) -> [Node; 2] {
        let tap = circuit.node(&format!("{name} string foot"));
        let plus = circuit.node(&format!("{name} positive pin"));
        let minus = circuit.node(&format!("{name} negative pin"));
        circuit.resistor(lead, tap, self.chain);
        circuit.resistor(tap, star, self.foot);
        circuit.resistor(tap, plus, self.filter[0]);
        circuit.resistor(star, minus, self.filter[1]);
        circuit.capacitor(plus, minus, self.capacitor);
        circuit.resistor(plus, minus, self.input);
        [plus, minus]
    }

    fn ohms(&self) -> [f64; 5] {
        [
            self.chain,
            self.foot,
            self.filter[0],
            self.filter[1],
            self.input,
        ]
        .map(|ohms| f64::from(ohms.get()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::Henries;

    #[test]
    fn the_nominal_string_has_the_gain_of_the_hardware_notes() {
        // Hardware notes section 4 (ngspice): 2.38315e-3 at 60 Hz, -0.935 degrees.
        let gain = SensingString::NOMINAL.gain(60.0);
        assert!((gain.norm() - 2.38315e-3).abs() < 2e-8, "{}", gain.norm());
        let degrees = gain.arg().to_degrees();
        assert!((degrees + 0.935).abs() < 0.001, "{degrees}");
        // 120 V gives 285.98 mV at the pins; 1.2 V peak is 503 V peak at the lead.
        assert!((gain.norm() * 120.0 - 0.28598).abs() < 1e-5);
        assert!((1.2 / gain.norm() - 503.5).abs() < 0.5);
    }

    #[test]
    fn closed_form_and_network_agree() {
        for hertz in [60.0, 300.0, 780.0] {
            let mut circuit = Circuit::new();
            let lead = circuit.node("lead");
            circuit.source(
                lead,
                Node::REFERENCE,
                Phasor::new(120.0, 0.0),
                Ohms::ZERO,
                Henries::new(0.0),
            );
            let [plus, minus] =
                SensingString::NOMINAL.place(&mut circuit, "narrow", lead, Node::REFERENCE);
            let solved = circuit.solve(hertz).unwrap().voltage(plus, minus) / 120.0;
            let closed = SensingString::NOMINAL.gain(hertz);
            assert!((solved / closed - 1.0).norm() < 1e-11, "{solved} {closed}");
        }
    }

    #[test]
    fn the_steady_gain_is_the_limit_of_low_frequency() {
        let string = SensingString::NOMINAL;
        assert!((string.gain(1e-3).norm() / string.steady_gain() - 1.0).abs() < 1e-9);
        let droop = string.gain(60.0).norm() / string.steady_gain();
        assert!((1.0 - droop - 1.35e-4).abs() < 2e-5, "{droop}");
        assert!((string.resistance() - 992_381.0).abs() < 1.0);
        // One pole: the phase at 60 Hz is its angle.
        let angle = (TAU * 60.0 * string.time_constant()).atan();
        assert!((string.gain(60.0).arg() + angle).abs() < 1e-12);
    }
}
