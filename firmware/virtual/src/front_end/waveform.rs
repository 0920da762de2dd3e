//! Recorded waveforms between the slots, played into the strings.
//!
//! The record gives two or three of the slot voltages at any rate; what is missing follows
//! from `v_nw - v_gw - v_ng = 0`. The star floats where the string currents sum to zero:
//! `V_star = sum(V_i / R_i) / sum(1 / R_i)` over the connected leads; a clip that is not in
//! the record hangs free and reads 0.
//!
//! Samples are interpolated linearly to 64 kHz and averaged by three boxcars of 16 taps, the
//! shape of the converter's sinc3 filter, centred on the frame's instant. The strings'
//! capacitance is left out: its gain at 60 Hz is taken at every frequency (0.1 % too much
//! at 180 Hz, 2 % at 780 Hz).

use super::{RATE, Source};
use crate::tester::Specimen;
use slotwise_core::slots::LEADS;
use slotwise_core::units::Volts;

/// Taps of one boxcar, and how much faster than the frames the filter runs.
const BOXCAR: usize = 16;
/// Taps of three boxcars in a row.
const TAPS: usize = 3 * (BOXCAR - 1) + 1;

/// The columns of a record, volts.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct SlotColumns {
    /// Samples a second.
    pub rate: f64,
    /// Narrow against wide.
    pub nw: Option<Vec<f64>>,
    /// Ground against wide.
    pub gw: Option<Vec<f64>>,
    /// Narrow against ground.
    pub ng: Option<Vec<f64>>,
    /// Clip against wide; none if the clip hangs free.
    pub cw: Option<Vec<f64>>,
}

/// Why a record cannot be played.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum WaveformError {
    /// Fewer than two of the slot voltages.
    #[error("the record has {given} of the columns nw, gw, ng; give at least two")]
    Columns {
        /// How many it has.
        given: usize,
    },
    /// Columns of different lengths, or none at all.
    #[error(
        "column {column} has {length} samples and the first one {expected}; \
         give every column the same number, at least two"
    )]
    Length {
        /// The column.
        column: &'static str,
        /// Its samples.
        length: usize,
        /// The samples of the first column.
        expected: usize,
    },
    /// A sample that is no number.
    #[error("sample {index} of column {column} is not a finite number; correct the record")]
    NotFinite {
        /// The column.
        column: &'static str,
        /// The sample, from 0.
        index: usize,
    },
    /// Three voltages that contradict one another.
    #[error(
        "sample {index}: nw - gw - ng is {residual:.3} V, more than the {tolerance} V allowed; \
         check the columns' signs (gw is ground against wide, ng narrow against ground)"
    )]
    NotClosed {
        /// The worst sample, from 0.
        index: usize,
        /// By how much it fails.
        residual: f64,
        /// What was allowed.
        tolerance: f32,
    },
    /// A rate that is none.
    #[error("the record's rate is {0} samples a second; give a finite rate above zero")]
    Rate(f64),
}

/// A checked record: potentials of narrow, ground and clip against wide.
#[derive(Clone, Debug, PartialEq)]
pub struct SlotWaveform {
    rate: f64,
    narrow: Vec<f64>,
    ground: Vec<f64>,
    clip: Option<Vec<f64>>,
}

impl SlotWaveform {
    /// Checks `columns`. Three given slot voltages must close within `tolerance`.
    ///
    /// # Errors
    /// [`WaveformError`] names the column and the sample.
    pub fn new(columns: SlotColumns, tolerance: Volts) -> Result<Self, WaveformError> {
        columns.check()?;
        let SlotColumns {
            rate,
            nw,
            gw,
            ng,
            cw,
        } = columns;
        let combine = |one: &[f64], other: &[f64], sign: f64| {
            one.iter()
                .zip(other)
                .map(|(a, b)| a + sign * b)
                .collect::<Vec<_>>()
        };
        let (narrow, ground) = match (nw, gw, ng) {
            (Some(nw), Some(gw), Some(ng)) => {
                check_closure([&nw, &gw, &ng], tolerance)?;
                (nw, gw)
            }
            (Some(nw), Some(gw), None) => (nw, gw),
            (Some(nw), None, Some(ng)) => {
                let gw = combine(&nw, &ng, -1.0);
                (nw, gw)
            }
            (None, Some(gw), Some(ng)) => (combine(&gw, &ng, 1.0), gw),
            (nw, gw, ng) => {
                let given = [nw, gw, ng].iter().flatten().count();
                return Err(WaveformError::Columns { given });
            }
        };
        Ok(Self {
            rate,
            narrow,
            ground,
            clip: cw,
        })
    }

    /// How long the record is, in seconds.
    #[must_use]
    pub fn seconds(&self) -> f64 {
        self.narrow.len() as f64 / self.rate
    }
}

impl SlotColumns {
    fn check(&self) -> Result<(), WaveformError> {
        if !(self.rate.is_finite() && self.rate > 0.0) {
            return Err(WaveformError::Rate(self.rate));
        }
        let columns = [
            ("nw", &self.nw),
            ("gw", &self.gw),
            ("ng", &self.ng),
            ("cw", &self.cw),
        ];
        let mut expected = None;
        for (column, samples) in columns {
            let Some(samples) = samples else { continue };
            let length = samples.len();
            let expected = *expected.get_or_insert(length);
            if length != expected || length < 2 {
                return Err(WaveformError::Length {
                    column,
                    length,
                    expected,
                });
            }
            if let Some(index) = samples.iter().position(|sample| !sample.is_finite()) {
                return Err(WaveformError::NotFinite { column, index });
            }
        }
        Ok(())
    }
}

fn check_closure([nw, gw, ng]: [&[f64]; 3], tolerance: Volts) -> Result<(), WaveformError> {
    let residual = |index: usize| nw[index] - gw[index] - ng[index];
    let worst = (0..nw.len())
        .max_by(|&a, &b| residual(a).abs().total_cmp(&residual(b).abs()))
        .unwrap_or(0);
    if residual(worst).abs() <= f64::from(tolerance.get()) {
        Ok(())
    } else {
        Err(WaveformError::NotClosed {
            index: worst,
            residual: residual(worst),
            tolerance: tolerance.get(),
        })
    }
}

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

    #[test]
    fn the_taps_are_symmetric_and_sum_to_one() {
        let taps = taps();
        assert!((taps.iter().sum::<f64>() - 1.0).abs() < 1e-12);
        for index in 0..TAPS {
            assert!((taps[index] - taps[TAPS - 1 - index]).abs() < 1e-15);
        }
    }

    #[test]
    fn a_third_column_is_deduced_whichever_is_missing() {
        let (nw, gw, ng) = (vec![3.0, 4.0], vec![1.0, 1.5], vec![2.0, 2.5]);
        let build = |nw: bool, gw_given: bool, ng_given: bool| {
            SlotWaveform::new(
                SlotColumns {
                    rate: 2.0,
                    nw: nw.then(|| vec![3.0, 4.0]),
                    gw: gw_given.then(|| gw.clone()),
                    ng: ng_given.then(|| ng.clone()),
                    cw: None,
                },
                Volts::new(0.01),
            )
        };
        let whole = build(true, true, true).unwrap();
        assert_eq!(whole.narrow, nw);
        for (nw, gw, ng) in [
            (true, true, false),
            (true, false, true),
            (false, true, true),
        ] {
            assert_eq!(build(nw, gw, ng).unwrap(), whole);
        }
        assert_eq!(
            build(true, false, false).unwrap_err(),
            WaveformError::Columns { given: 1 }
        );
        assert_eq!(whole.seconds(), 1.0);
    }

    #[test]
    fn columns_that_do_not_close_are_refused_at_their_worst_sample() {
        let columns = SlotColumns {
            rate: 4000.0,
            nw: Some(vec![10.0, 20.0, 30.0]),
            gw: Some(vec![0.0, 0.0, 0.0]),
            ng: Some(vec![10.0, 19.0, 30.4]),
            cw: None,
        };
        let error = SlotWaveform::new(columns.clone(), Volts::new(0.5)).unwrap_err();
        assert_eq!(
            error,
            WaveformError::NotClosed {
                index: 1,
                residual: 1.0,
                tolerance: 0.5
            }
        );
        assert!(SlotWaveform::new(columns, Volts::new(1.0)).is_ok());
    }

    #[test]
    fn bad_columns_are_named() {
        let base = SlotColumns {
            rate: 4000.0,
            nw: Some(vec![0.0; 3]),
            gw: Some(vec![0.0; 3]),
            ng: None,
            cw: None,
        };
        let refuse = |columns| {
            SlotWaveform::new(columns, Volts::ZERO)
                .unwrap_err()
                .to_string()
        };
        let short = refuse(SlotColumns {
            cw: Some(vec![0.0]),
            ..base.clone()
        });
        assert!(short.contains("column cw has 1 samples"), "{short}");
        let hole = refuse(SlotColumns {
            gw: Some(vec![0.0, f64::NAN, 0.0]),
            ..base.clone()
        });
        assert!(hole.contains("sample 1 of column gw"), "{hole}");
        assert!(refuse(SlotColumns { rate: 0.0, ..base }).contains("rate"));
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
