//! Raw readings: what a tester sees before it knows its own gains and offsets.
//!
//! A calibration is worked out from these, so they are stated in *nominal* units: volts at the
//! nominal gain and with no offset taken out. The response of the front end at the line
//! frequency is taken out already, so a gain that follows from them is referred to 0 Hz, as
//! [`ChannelCalibration`] wants it. No verdict may rest on any of this.
//!
//! Noise: 10 windows of 800 frames leave 30 uV of every lead, 1 ppm of the 30 V that three
//! joined leads have of 120 V (5.35 uV at the converter, arithmetic).

use num_complex::Complex;
use serde::{Deserialize, Serialize};

use super::{Calibration, ChannelCalibration};
use crate::drive::DriveCalibration;
use crate::evidence::{Evidence, Measured, Missing, Reading};
use crate::front_end::NOMINAL_VOLTS_PER_CODE;
use crate::limits::Limits;
use crate::measure::Gatherer;
use crate::slots::{ClipTarget, LEADS, Lead, Pair};
use crate::stimulus::DrivePath;
use crate::units::{Celsius, Hertz, Ohms, Ratio, UnixSeconds, Volts};
use crate::window::{Tuning, WindowSums};

/// Windows of a reading at rest: two seconds.
pub const WINDOWS: u16 = 10;

/// Windows that may be too far off tune, or beyond full scale, before it is given up.
const SPOILT_MOST: u16 = 10;

/// The calibration under which raw readings are taken: nominal gains, no offsets, and no
/// reference resistor that would be taken out. Its uncertainty of 100 % keeps every judgement
/// from resting on it.
pub const NOMINAL: Calibration = Calibration {
    channels: [ChannelCalibration {
        offset: 0,
        gain: 1.0,
    }; LEADS],
    u_gain: Ratio::new(1.0),
    reference: Ohms::ZERO,
    done: UnixSeconds::new(0),
    temperature: Celsius::new(0.0),
    drive: DriveCalibration::NOMINAL,
};

/// What is to be measured.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum RawMeasure {
    /// The leads, nothing closed.
    Rest,
    /// The earth path by the probe.
    Probe,
    /// A path of the drive.
    Drive(DrivePath),
}

/// What was measured.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub enum RawReading {
    /// The leads at rest.
    Rest(RawRest),
    /// What the probe reads from the inner ground node to wide, the reference resistor included.
    Probe(Reading<Ohms>),
    /// The share of the drive's level that each lead of its path took.
    Drive(RawDrive),
}

/// One lead against the star, nominal volts.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct RawLead {
    /// Mean value.
    pub mean: Volts,
    /// Line-frequency part in step with the largest lead.
    pub real: Volts,
    /// ... and a quarter turn ahead of it.
    pub imaginary: Volts,
}

/// The leads at rest, averaged over [`WINDOWS`] windows.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct RawRest {
    /// The leads in channel order.
    pub leads: [RawLead; LEADS],
    /// Line frequency, where there is a voltage.
    pub frequency: Measured<Hertz>,
    /// Harmonics and noise of narrow, ground and clip against wide, RMS.
    pub residual: [Volts; 3],
    /// Most that a lead's size differed between two windows in a row.
    pub unsteadiness: Volts,
}

/// A complex share.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Share {
    /// In step with the tone.
    pub real: Ratio,
    /// A quarter turn ahead of it.
    pub imaginary: Ratio,
}

/// What the leads of a drive path took of the nominal level, at 85 Hz, under the nominal lag.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct RawDrive {
    /// The path.
    pub path: DrivePath,
    /// Wide, and the far lead, each against the star.
    pub leads: [Share; 2],
    /// Standard error of their difference.
    pub u: Ratio,
    /// Windows that it rests on.
    pub windows: u16,
}

/// Gathers a reading at rest, and the evidence that says whether a path may be closed.
#[derive(Clone, Debug)]
pub struct RestGatherer {
    gatherer: Gatherer,
    sums: [[f64; 3]; LEADS],
    last: [f64; LEADS],
    unsteadiness: f64,
    residual: [f64; 3],
    windows: u16,
    spoilt: u16,
}

impl Default for RestGatherer {
    fn default() -> Self {
        Self::new()
    }
}

impl RestGatherer {
    /// A gatherer of no windows.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            gatherer: Gatherer::new(ClipTarget::ApplianceFrame),
            sums: [[0.0; 3]; LEADS],
            last: [0.0; LEADS],
            unsteadiness: 0.0,
            residual: [0.0; 3],
            windows: 0,
            spoilt: 0,
        }
    }

    /// Takes a window; says what to tune the next one to.
    pub fn take(&mut self, sums: &WindowSums, limits: &Limits) -> Tuning {
        let before = self.gatherer.windows();
        let next = self.gatherer.take(sums, &NOMINAL, limits);
        if self.gatherer.windows() == before || sums.clipped_frames() > 0 {
            self.spoilt = self.spoilt.saturating_add(1);
            return next;
        }
        let hertz = sums
            .frequency(&NOMINAL, limits.frequency_least)
            .map_or_else(
                || Hertz::from_f64(sums.tuning().hertz()),
                |found| found.value,
            );
        let Some(leads) = sums.phasors(&NOMINAL, hertz) else {
            self.spoilt = self.spoilt.saturating_add(1);
            return next;
        };
        let size_of = |lead: Lead| leads[lead.channel()].size();
        let largest = Lead::ALL
            .into_iter()
            .max_by(|a, b| size_of(*a).total_cmp(&size_of(*b)))
            .unwrap_or(Lead::Narrow);
        let axis = leads[largest.channel()];
        // The clip is in no pair of slots, on which a test measures the frequency.
        let next = if largest == Lead::Clip {
            Tuning::new(Hertz::from_f64(next.hertz()), Pair::ClipWide.leads())
        } else {
            next
        };
        let (first, second) = sums.tuning().reference();
        let has_voltage = axis.rms() >= limits.frequency_least;
        if has_voltage && largest != first && largest != second {
            self.spoilt = self.spoilt.saturating_add(1);
            return next;
        }
        for (channel, (sum, lead)) in self.sums.iter_mut().zip(leads).enumerate() {
            let turned = lead.against(axis);
            sum[0] += sums.mean_codes(channel) * NOMINAL_VOLTS_PER_CODE;
            sum[1] += f64::from(turned.real().get());
            sum[2] += f64::from(turned.imaginary().get());
            if self.windows > 0 {
                let moved = (lead.size() - self.last[channel]).abs();
                self.unsteadiness = self.unsteadiness.max(moved);
            }
            self.last[channel] = lead.size();
        }
        let pairs = [Pair::NarrowWide, Pair::GroundWide, Pair::ClipWide];
        for (sum, pair) in self.residual.iter_mut().zip(pairs) {
            let (first, second) = pair.leads();
            let between = leads[first.channel()] - leads[second.channel()];
            let spread = sums.spread(&NOMINAL, pair.leads(), between, hertz);
            let residual = f64::from(spread.residual.get());
            *sum += residual * residual;
        }
        self.windows += 1;
        next
    }

    /// Windows gathered.
    #[must_use]
    pub const fn windows(&self) -> u16 {
        self.windows
    }

    /// Whether the reading stands, good or not.
    #[must_use]
    pub const fn is_done(&self) -> bool {
        self.windows >= WINDOWS || self.spoilt >= SPOILT_MOST
    }

    /// The evidence under nominal gains, for the question whether a path may be closed.
    #[must_use]
    pub fn evidence(&self) -> Evidence {
        self.gatherer.evidence(Some(&NOMINAL))
    }

    /// The reading.
    ///
    /// # Errors
    /// [`Missing::Unsteady`] where too many windows were spoilt.
    pub fn reading(&self) -> Result<RawRest, Missing> {
        if self.windows < WINDOWS {
            return Err(Missing::Unsteady);
        }
        let share = 1.0 / f64::from(self.windows);
        Ok(RawRest {
            leads: self.sums.map(|[mean, real, imaginary]| RawLead {
                mean: Volts::from_f64(mean * share),
                real: Volts::from_f64(real * share),
                imaginary: Volts::from_f64(imaginary * share),
            }),
            frequency: self.evidence().frequency,
            residual: self
                .residual
                .map(|square| Volts::from_f64(libm::sqrt(square * share))),
            unsteadiness: Volts::from_f64(self.unsteadiness),
        })
    }
}

impl RawLead {
    /// Its line-frequency part.
    pub(crate) const fn phasor(self) -> Complex<f64> {
        Complex::new(self.real.get() as f64, self.imaginary.get() as f64)
    }
}

impl RawRest {
    /// Size of a lead against the star, nominal volts.
    #[must_use]
    pub fn size(&self, lead: Lead) -> Volts {
        let lead = &self.leads[lead.channel()];
        Volts::from_f64(libm::hypot(
            f64::from(lead.real.get()),
            f64::from(lead.imaginary.get()),
        ))
    }
}

impl Share {
    pub(crate) fn of(value: Complex<f64>) -> Self {
        Self {
            real: Ratio::from_f64(value.re),
            imaginary: Ratio::from_f64(value.im),
        }
    }

    pub(crate) const fn complex(self) -> Complex<f64> {
        Complex::new(self.real.get() as f64, self.imaginary.get() as f64)
    }
}
