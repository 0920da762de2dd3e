//! The utility's supply: voltage of a leg, frequency, harmonics and how they wander.
//!
//! Both legs come from one centre-tapped winding, so every harmonic of leg 2 is the negative
//! of leg 1's. Frequency and amplitude wander as slow sinusoids with a closed form, so that
//! the waveform at any instant is known without having played what came before.

use crate::circuit::Phasor;
use core::f64::consts::TAU;
use slotwise_core::units::{Hertz, Radians, Ratio, Volts};

/// One harmonic of the leg's electromotive force.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Harmonic {
    /// Its order: 3 is three times the line frequency.
    pub order: u32,
    /// Its amplitude against the fundamental.
    pub amplitude: Ratio,
    /// Its phase where the fundamental's cosine peaks.
    pub phase: Radians,
}

/// Slow changes of the supply. All zero: none.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Drift {
    /// Peak deviation of the frequency, sinusoidal with [`Self::period_seconds`].
    pub frequency_swing: Hertz,
    /// Steady change of the frequency, hertz each second.
    pub frequency_ramp_per_second: Hertz,
    /// Peak deviation of the amplitude, sinusoidal with [`Self::period_seconds`].
    pub amplitude_swing: Ratio,
    /// Period of both swings, in seconds; 0 is no swing.
    pub period_seconds: f32,
}

/// What the transformer's winding delivers.
#[derive(Clone, Debug, PartialEq)]
pub struct Supply {
    /// RMS fundamental of one leg against the centre tap, nothing drawn.
    pub leg: Volts,
    /// Line frequency at time zero.
    pub frequency: Hertz,
    /// Harmonics beside the fundamental.
    pub harmonics: Vec<Harmonic>,
    /// Slow changes.
    pub drift: Drift,
}

impl Default for Supply {
    fn default() -> Self {
        Self::ordinary()
    }
}

impl Supply {
    /// 120 V at 60 Hz with the harmonics of an ordinary house.
    ///
    /// Amplitudes are the medians over household mains recorded for the PLAID data set
    /// (Medico et al., Scientific Data 7, 2020): 0.46, 1.31, 0.73, 0.46 and 0.50 % at orders
    /// 3, 5, 7, 9 and 13; the phases are judgement.
    #[must_use]
    pub fn ordinary() -> Self {
        let harmonics = [
            (3, 0.0046, 0.4),
            (5, 0.0131, 2.6),
            (7, 0.0073, -0.9),
            (9, 0.0046, 1.8),
            (13, 0.0050, -2.2),
        ];
        Self {
            leg: Volts::new(120.0),
            frequency: Hertz::new(60.0),
            harmonics: harmonics
                .into_iter()
                .map(|(order, amplitude, phase)| Harmonic {
                    order,
                    amplitude: Ratio::new(amplitude),
                    phase: Radians::new(phase),
                })
                .collect(),
            drift: Drift::default(),
        }
    }

    /// A pure sine of this leg voltage and frequency.
    #[must_use]
    pub const fn pure(leg: Volts, frequency: Hertz) -> Self {
        Self {
            leg,
            frequency,
            harmonics: Vec::new(),
            drift: Drift {
                frequency_swing: Hertz::ZERO,
                frequency_ramp_per_second: Hertz::ZERO,
                amplitude_swing: Ratio::ZERO,
                period_seconds: 0.0,
            },
        }
    }

    /// Total harmonic distortion of the electromotive force.
    #[must_use]
    pub fn thd(&self) -> Ratio {
        let power: f64 = self
            .harmonics
            .iter()
            .map(|harmonic| f64::from(harmonic.amplitude.get()).powi(2))
            .sum();
        Ratio::new(power.sqrt() as f32)
    }

    /// The same supply with its harmonics scaled to a distortion of `thd`. A supply without
    /// harmonics takes the ordinary ones first.
    #[must_use]
    pub fn with_thd(mut self, thd: Ratio) -> Self {
        if self.harmonics.is_empty() {
            self.harmonics = Self::ordinary().harmonics;
        }
        let factor = thd.get() / self.thd().get();
        for harmonic in &mut self.harmonics {
            harmonic.amplitude = harmonic.amplitude * factor;
        }
        self
    }

    /// Electromotive force of leg 1 at the fundamental, RMS volts.
    #[must_use]
    pub fn fundamental(&self) -> Phasor {
        Phasor::new(f64::from(self.leg.get()), 0.0)
    }

    /// Electromotive force of leg 1 at its harmonics, as orders and RMS volts.
    pub fn overtones(&self) -> impl Iterator<Item = (u32, Phasor)> {
        let leg = f64::from(self.leg.get());
        self.harmonics.iter().map(move |harmonic| {
            let volts = leg * f64::from(harmonic.amplitude.get());
            let phase = f64::from(harmonic.phase.get());
            (harmonic.order, Phasor::from_polar(volts, phase))
        })
    }

    /// Phase of the fundamental, in radians, `seconds` after time zero: the integral of the
    /// frequency.
    #[must_use]
    pub fn phase(&self, seconds: f64) -> f64 {
        let ramp = f64::from(self.drift.frequency_ramp_per_second.get());
        let steady = f64::from(self.frequency.get()) * seconds + ramp * seconds * seconds / 2.0;
        let swing = f64::from(self.drift.frequency_swing.get());
        TAU * steady
            + self.swing_rate().map_or(0.0, |rate| {
                TAU * swing * (1.0 - (rate * seconds).cos()) / rate
            })
    }

    /// Frequency, in hertz, `seconds` after time zero.
    #[must_use]
    pub fn frequency_at(&self, seconds: f64) -> f64 {
        let ramp = f64::from(self.drift.frequency_ramp_per_second.get());
        let swing = f64::from(self.drift.frequency_swing.get());
        f64::from(self.frequency.get())
            + ramp * seconds
            + self
                .swing_rate()
                .map_or(0.0, |rate| swing * (rate * seconds).sin())
    }

    /// Amplitude against nominal, `seconds` after time zero.
    #[must_use]
    pub fn amplitude_at(&self, seconds: f64) -> f64 {
        let swing = f64::from(self.drift.amplitude_swing.get());
        1.0 + self
            .swing_rate()
            .map_or(0.0, |rate| swing * (rate * seconds).sin())
    }

    /// Radians each second of the swings, if there are any.
    fn swing_rate(&self) -> Option<f64> {
        let period = f64::from(self.drift.period_seconds);
        (period > 0.0).then(|| TAU / period)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_distortion_asked_for_is_the_distortion_given() {
        for thd in [0.0, 0.0192, 0.05] {
            let supply = Supply::ordinary().with_thd(Ratio::new(thd));
            assert!((supply.thd().get() - thd).abs() < 1e-7);
        }
        let pure = Supply::pure(Volts::new(120.0), Hertz::new(60.0));
        assert_eq!(pure.thd().get(), 0.0);
        assert!((pure.with_thd(Ratio::new(0.03)).thd().get() - 0.03).abs() < 1e-7);
    }

    #[test]
    fn the_phase_is_the_integral_of_the_frequency() {
        let supply = Supply {
            drift: Drift {
                frequency_swing: Hertz::new(0.05),
                frequency_ramp_per_second: Hertz::new(0.01),
                amplitude_swing: Ratio::new(0.01),
                period_seconds: 7.0,
            },
            ..Supply::ordinary()
        };
        // Central difference of the phase against the stated frequency.
        for step in 0..20 {
            let t = f64::from(step) * 0.7;
            let slope = (supply.phase(t + 1e-4) - supply.phase(t - 1e-4)) / (2e-4 * TAU);
            assert!((slope - supply.frequency_at(t)).abs() < 1e-6, "{t} {slope}");
        }
        assert_eq!(supply.phase(0.0), 0.0);
    }
}
