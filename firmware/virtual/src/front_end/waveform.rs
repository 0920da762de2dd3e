//! Plays a checked record into the strings.
//!
//! The star floats where the string currents sum to zero:
//! `V_star = sum(V_i / R_i) / sum(1 / R_i)` over the connected leads; a clip that is not in
//! the record hangs free and reads 0.
//!
//! Samples are interpolated linearly to 64 kHz and averaged by three boxcars of 16 taps, the
//! shape of the converter's sinc3 filter, centred on the frame's instant. The strings'
//! capacitance is left out: its gain at 60 Hz is taken at every frequency (0.1 % too much
//! at 180 Hz, 2 % at 780 Hz).

use super::{RATE, SlotWaveform, Source};
use crate::tester::Specimen;
use slotwise_core::slots::LEADS;

/// Taps of one boxcar, and how much faster than the frames the filter runs.
const BOXCAR: usize = 16;
/// Taps of three boxcars in a row.
const TAPS: usize = 3 * (BOXCAR - 1) + 1;

/// What comes after the last sample of a record.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Repeat {
    /// Nothing: all leads at the same potential.
    Once,
    /// The first sample again.
    Looped,
}

/// A record that is played from a given frame on.
#[derive(Clone, Debug)]
pub struct WaveformSource {
    waveform: SlotWaveform,
    repeat: Repeat,
    start: u64,
    /// Gain and conductance of each string.
    strings: [(f64, f64); LEADS],
    taps: [f64; TAPS],
}

impl WaveformSource {
    /// Plays `waveform` into the strings of `specimen` from frame `start` on.
    #[must_use]
    pub fn new(specimen: &Specimen, waveform: SlotWaveform, repeat: Repeat, start: u64) -> Self {
        Self {
            waveform,
            repeat,
            start,
            strings: specimen
                .strings
                .map(|string| (string.gain(60.0).norm(), 1.0 / string.resistance())),
            taps: taps(),
        }
    }

    /// Potentials of narrow, ground and clip against wide, `seconds` after the start.
    fn potentials(&self, seconds: f64) -> [f64; 3] {
        let length = self.waveform.narrow.len();
        let position = seconds * self.waveform.rate;
        let (index, next, part) = match self.repeat {
            Repeat::Once => {
                if position < 0.0 || position > (length - 1) as f64 {
                    return [0.0; 3];
                }
                let index = (position as usize).min(length - 2);
                (index, index + 1, position - index as f64)
            }
            Repeat::Looped => {
                let position = position.rem_euclid(length as f64);
                let whole = position.floor();
                let index = whole as usize % length;
                (index, (index + 1) % length, position - whole)
            }
        };
        let at = |samples: &[f64]| samples[index] * (1.0 - part) + samples[next] * part;
        [
            at(&self.waveform.narrow),
            at(&self.waveform.ground),
            self.waveform.clip.as_deref().map_or(0.0, at),
        ]
    }
}

impl Source for WaveformSource {
    fn pins(&mut self, number: u64) -> [f64; LEADS] {
        let Some(played) = number.checked_sub(self.start) else {
            return [0.0; LEADS];
        };
        let instant = played as f64 / RATE;
        let mut potentials = [0.0; 3];
        for (tap, weight) in self.taps.iter().enumerate() {
            let offset = (tap as f64 - (TAPS - 1) as f64 / 2.0) / (RATE * BOXCAR as f64);
            for (sum, value) in potentials.iter_mut().zip(self.potentials(instant + offset)) {
                *sum += weight * value;
            }
        }
        let [narrow, ground, clip] = potentials;
        let leads = [
            Some(narrow),
            Some(0.0),
            Some(ground),
            self.waveform.clip.as_ref().map(|_| clip),
        ];
        let (mut current, mut conductance) = (0.0, 0.0);
        for (lead, (_, siemens)) in leads.iter().zip(self.strings) {
            if let Some(volts) = lead {
                current += volts * siemens;
                conductance += siemens;
            }
        }
        let star = current / conductance;
        core::array::from_fn(|channel| {
            leads[channel].map_or(0.0, |volts| (volts - star) * self.strings[channel].0)
        })
    }
}

/// Three boxcars of 16 in a row, their sum 1.
fn taps() -> [f64; TAPS] {
    let mut taps = [0.0; TAPS];
    for one in 0..BOXCAR {
        for other in 0..BOXCAR {
            for third in 0..BOXCAR {
                taps[one + other + third] += 1.0 / (BOXCAR * BOXCAR * BOXCAR) as f64;
            }
        }
    }
    taps
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::front_end::SlotColumns;
    use slotwise_core::units::Volts;

    #[test]
    fn the_taps_are_symmetric_and_sum_to_one() {
        let taps = taps();
        assert!((taps.iter().sum::<f64>() - 1.0).abs() < 1e-12);
        for index in 0..TAPS {
            assert!((taps[index] - taps[TAPS - 1 - index]).abs() < 1e-15);
        }
    }

    #[test]
    fn a_free_clip_reads_nothing_and_currents_sum_to_zero() {
        let specimen = Specimen::draw(5, &crate::tester::Tolerance::USUAL);
        let waveform = SlotWaveform::new(
            SlotColumns {
                rate: 1000.0,
                nw: Some(vec![120.0; 100]),
                gw: Some(vec![2.0; 100]),
                ng: None,
                cw: None,
            },
            Volts::ZERO,
        )
        .unwrap();
        let mut source = WaveformSource::new(&specimen, waveform, Repeat::Looped, 10);
        assert_eq!(source.pins(9), [0.0; 4]);
        let pins = source.pins(200);
        assert_eq!(pins[3], 0.0);
        let leads: Vec<_> = (0..3)
            .map(|channel| pins[channel] / specimen.strings[channel].gain(60.0).norm())
            .collect();
        assert!((leads[0] - leads[1] - 120.0).abs() < 1e-9);
        assert!((leads[2] - leads[1] - 2.0).abs() < 1e-9);
        let current: f64 = (0..3)
            .map(|channel| leads[channel] / specimen.strings[channel].resistance())
            .sum();
        assert!(current.abs() < 1e-15, "{current}");
    }

    #[test]
    fn a_record_played_once_ends_in_nothing() {
        let waveform = SlotWaveform::new(
            SlotColumns {
                rate: 4000.0,
                nw: Some(vec![100.0; 400]),
                gw: Some(vec![0.0; 400]),
                ng: None,
                cw: None,
            },
            Volts::ZERO,
        )
        .unwrap();
        let mut source = WaveformSource::new(&Specimen::nominal(1), waveform, Repeat::Once, 0);
        assert!(source.pins(200)[0] > 0.1);
        assert_eq!(source.pins(500), [0.0; 4]);
    }
}
