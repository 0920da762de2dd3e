//! A recorded waveform between the slots, checked before it is played.
//!
//! The record gives two or three of the slot voltages at any rate; what is missing follows
//! from `v_nw - v_gw - v_ng = 0`. All three must close within a stated tolerance.

use slotwise_core::units::Volts;

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
    pub(super) rate: f64,
    pub(super) narrow: Vec<f64>,
    pub(super) ground: Vec<f64>,
    pub(super) clip: Option<Vec<f64>>,
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

#[cfg(test)]
mod tests {
    use super::*;

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
}
