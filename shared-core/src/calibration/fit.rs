//! From raw readings to a calibration, and how sure it is.
//!
//! **Gains.** One lead stands at a known voltage against the other three, which are joined; each
//! lead in turn. Joined leads have one voltage, so the ratios of the gains follow from readings
//! of one instant, without any reference: `g_j x_j` is the same for all joined `j`. In logarithms
//! that is a sum of a lead's and a reading's part, solved by taking means in turn. The known
//! voltages give the one scale that is left: `V = g_a x_a - g_j x_j`. So a meter of 1.5 % spoils
//! the scale of all leads alike, and a small voltage between two of them stays exact.
//!
//! The ground string looks at the inner ground node, behind the reference resistor, and the clip's
//! at a node behind the same in its lead: their share of the terminal's voltage is
//! `R_string / (R_string + R_cal)`, 10 ppm less than one.
//!
//! **Drive.** Of level E and source R_s only the ratio comes into a small resistance. R_s is left
//! at its nominal, E follows from the difference of 10.0 and 1.00 ohm, what is left over of both
//! is the lead. The same current reads the reference resistor, all pins shorted; the probe
//! checks that reading, it is not exact enough to make it (0.05 ohm in 4 s).
//!
//! Limits: strings turned against each other by their capacitors (0.8 mrad) are taken by size;
//! that is 0.3 ppm. What the fixture's contacts have is in the reference resistor and in the
//! lead's zero.

use super::raw::{NOMINAL, RawDrive, RawRest};
use super::turns::turned;
use super::{Calibration, ChannelCalibration, fails};
use crate::drive::DriveCalibration;
use crate::evidence::Reading;
use crate::front_end::NOMINAL_VOLTS_PER_CODE;
use crate::limits::CalibrationLimits;
use crate::slots::{LEADS, Lead};
use crate::stimulus::DrivePath;
use crate::units::{Celsius, Ohms, Radians, Ratio, UnixSeconds, Volts};

/// Resistance of a string, and of the reference resistor in front of one.
const SHARE_BEHIND: f64 = 992_381.0 / (992_381.0 + 10.0);

/// Rounds of taking means in turn; each leaves a ninth of the error: 9^-25 is nothing.
const ROUNDS: usize = 25;

const SQRT_3: f64 = 1.732_050_807_568_877_2;

/// A raw reading with one lead at a known voltage against the other three.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Applied {
    /// The lead.
    pub lead: Lead,
    /// What the meter says: true RMS.
    pub meter: Volts,
    /// The raw reading.
    pub raw: RawRest,
}

/// A known resistance and its raw reading.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Known {
    /// The resistance.
    pub ohms: Ohms,
    /// The raw reading.
    pub raw: RawDrive,
}

/// All that a calibration is worked out from.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Readings {
    /// All pins shorted, no voltage.
    pub shorted: RawRest,
    /// Wide to ground by the drive, all pins shorted.
    pub reference: RawDrive,
    /// Each lead in turn at a known voltage.
    pub applied: [Applied; LEADS],
    /// Standard uncertainty of the known voltages, as a share.
    pub u_meter: Ratio,
    /// The reference resistor by the probe.
    pub probe: Reading<Ohms>,
    /// About 1 ohm, wide to clip.
    pub low: Known,
    /// About 10 ohm, wide to clip.
    pub high: Known,
    /// Standard uncertainty of the known resistances, as a share.
    pub u_resistor: Ratio,
    /// When.
    pub done: UnixSeconds,
    /// Board temperature.
    pub temperature: Celsius,
}

/// Where an uncertainty comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Source {
    /// The known voltage.
    Meter,
    /// Scatter of the four known voltages about the one scale.
    Scatter,
    /// How far the ratios of the gains are apart.
    Closure,
    /// Temperature between calibration and use.
    Temperature,
    /// A year.
    Year,
    /// Converter and its reference.
    Converter,
    /// The known resistances.
    Resistors,
    /// Noise of the drive's readings.
    DriveNoise,
}

/// One line of the budget: a standard uncertainty as a share of the reading.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Contribution {
    /// Where it comes from.
    pub source: Source,
    /// Standard uncertainty.
    pub u: Ratio,
}

/// Coverage factor of a stated uncertainty: 95 % of a normal distribution (GUM 6.2, from
/// memory).
pub const COVERAGE: f32 = 2.0;

/// A calibration that was worked out, and what it rests on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Worked {
    /// The calibration.
    pub calibration: Calibration,
    /// Budget of a voltage.
    pub volts: [Contribution; 6],
    /// Budget of the drive's current.
    pub current: [Contribution; 2],
    /// RMS of what the ratios of the gains leave over, as a share.
    pub closure: Ratio,
    /// Largest difference of one known voltage from the one scale, as a share.
    pub scatter_most: Ratio,
    /// The probe's reading of the reference resistor less the drive's.
    pub probe_off: Ohms,
    /// Turn of the drive's readings against a resistor: the lag beyond the nominal.
    pub drive_turn: Radians,
}

/// Why readings give no calibration. Each asks for a step to be done again.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FitFault {
    /// The readings of the leads do not close: a joint of the fixture moved.
    Closure,
    /// A string is turned against the others: a part of its filter failed.
    Turn(Lead),
    /// A known voltage does not fit the other three.
    Scatter(Lead),
    /// 1 and 10 ohm do not give a working drive.
    Drive,
    /// A known resistor reads as if it had reactance.
    DriveTurn,
    /// The drive's current is not known well enough.
    DriveNoise,
    /// The reference resistor is not near 10 ohm.
    Reference,
    /// Probe and drive do not agree about the reference resistor.
    Probe,
    /// Gains or offsets that no working tester has.
    Implausible,
}

/// Works a calibration out.
///
/// # Errors
/// What does not fit, the first in the order of the steps.
pub fn work_out(readings: &Readings, limits: &CalibrationLimits) -> Result<Worked, FitFault> {
    let gains = gains(readings);
    if fails(f64::from(limits.closure_most.get()) >= gains.closure) {
        return Err(FitFault::Closure);
    }
    if let Some(lead) = turned(&readings.applied, limits) {
        return Err(FitFault::Turn(lead));
    }
    let meter = f64::from(readings.u_meter.get());
    for (applied, off) in readings.applied.iter().zip(gains.off) {
        // Readings of one meter share most of its error; three times all of it is a slip.
        if fails(off.abs() <= 3.0 * meter) {
            return Err(FitFault::Scatter(applied.lead));
        }
    }
    let drive = drive(readings, &gains.gain, limits)?;
    let probe_off = f64::from(readings.probe.value.get()) - drive.reference;
    let probe_most = f64::from(limits.probe_within.get()) * drive.reference
        + 3.0 * f64::from(readings.probe.u.get());
    if fails(probe_off.abs() <= probe_most) {
        return Err(FitFault::Probe);
    }

    let scatter = {
        let squares: f64 = gains.off.iter().map(|off| off * off).sum();
        // Four readings, one scale: of their mean.
        libm::sqrt(squares / (LEADS - 1) as f64 / LEADS as f64)
    };
    let rectangle = |limit: Ratio| f64::from(limit.get()) / SQRT_3;
    let volts = [
        (Source::Meter, meter),
        (Source::Scatter, scatter),
        (Source::Closure, gains.closure),
        (Source::Temperature, rectangle(limits.drift_temperature)),
        (Source::Year, rectangle(limits.drift_year)),
        (Source::Converter, rectangle(limits.drift_converter)),
    ]
    .map(|(source, u)| Contribution {
        source,
        u: Ratio::from_f64(u),
    });
    let current = drive.current;
    let shorted = &readings.shorted;
    let calibration = Calibration {
        channels: core::array::from_fn(|channel| {
            let mean = f64::from(shorted.leads[channel].mean.get());
            ChannelCalibration {
                offset: libm::round(mean / NOMINAL_VOLTS_PER_CODE) as i32,
                gain: gains.gain[channel],
            }
        }),
        u_gain: total(&volts),
        reference: Ohms::from_f64(drive.reference),
        done: readings.done,
        temperature: readings.temperature,
        drive: DriveCalibration {
            u_current: total(&current),
            ..drive.calibration
        },
    };
    calibration.check().map_err(|_| FitFault::Implausible)?;
    Ok(Worked {
        calibration,
        volts,
        current,
        closure: Ratio::from_f64(gains.closure),
        scatter_most: Ratio::from_f64(gains.off.iter().fold(0.0, |most, off| off.abs().max(most))),
        probe_off: Ohms::from_f64(probe_off),
        drive_turn: Radians::from_f64(drive.turn),
    })
}

/// Contributions are independent: they add up as squares (GUM 5.1.2, from memory).
#[must_use]
pub fn total(budget: &[Contribution]) -> Ratio {
    let squares: f64 = budget
        .iter()
        .map(|line| f64::from(line.u.get()) * f64::from(line.u.get()))
        .sum();
    Ratio::from_f64(libm::sqrt(squares))
}

struct Gains {
    gain: [f64; LEADS],
    closure: f64,
    /// Each known voltage against the scale of all four, as a share.
    off: [f64; LEADS],
}

fn gains(readings: &Readings) -> Gains {
    // y[k][j]: logarithm of what lead j reads in reading k.
    let y = readings.applied.map(|applied| {
        Lead::ALL.map(|lead| {
            let share = match lead {
                Lead::Ground | Lead::Clip => SHARE_BEHIND,
                Lead::Narrow | Lead::Wide => 1.0,
            };
            libm::log(f64::from(applied.raw.size(lead).get()) / share)
        })
    });
    let is_joined = |k: usize, j: usize| readings.applied[k].lead.channel() != j;
    let (mut of_lead, mut of_reading) = ([0.0; LEADS], [0.0; LEADS]);
    for _ in 0..ROUNDS {
        for (k, place) in of_reading.iter_mut().enumerate() {
            *place = mean((0..LEADS).filter(|j| is_joined(k, *j)), |j| {
                y[k][j] + of_lead[j]
            });
        }
        for (j, place) in of_lead.iter_mut().enumerate() {
            *place = mean((0..LEADS).filter(|k| is_joined(*k, j)), |k| {
                of_reading[k] - y[k][j]
            });
        }
        let level = mean(0..LEADS, |j| of_lead[j]);
        for place in &mut of_lead {
            *place -= level;
        }
    }
    let mut misfit = 0.0;
    for k in 0..LEADS {
        for j in (0..LEADS).filter(|j| is_joined(k, *j)) {
            let off = y[k][j] + of_lead[j] - of_reading[k];
            misfit += off * off;
        }
    }
    // Twelve readings less seven free parts.
    let closure = libm::sqrt(misfit / 5.0);

    // A lead and the joined ones stand on opposite sides of the star.
    let scales: [f64; LEADS] = core::array::from_fn(|k| {
        let applied = &readings.applied[k];
        let alone = applied.lead.channel();
        let between = libm::exp(y[k][alone] + of_lead[alone]) + libm::exp(of_reading[k]);
        fundamental(applied) / between
    });
    let scale = mean(0..LEADS, |k| scales[k]);
    Gains {
        gain: of_lead.map(|log| libm::exp(log) * scale),
        closure,
        off: scales.map(|one| one / scale - 1.0),
    }
}

/// The line-frequency part of a known voltage: its true RMS without harmonics and noise.
fn fundamental(applied: &Applied) -> f64 {
    let (volts, residual) = (f64::from(applied.meter.get()), residual(applied));
    libm::sqrt((volts * volts - residual * residual).max(0.0))
}

/// Harmonics and noise between the lead and one of the joined ones.
fn residual(applied: &Applied) -> f64 {
    let [narrow_wide, ground_wide, clip_wide] = applied.raw.residual;
    f64::from(match applied.lead {
        Lead::Narrow => narrow_wide.get(),
        Lead::Ground | Lead::Wide => ground_wide.get(),
        Lead::Clip => clip_wide.get(),
    })
}

fn mean(of: impl Iterator<Item = usize>, value: impl Fn(usize) -> f64) -> f64 {
    let (sum, count) = of.fold((0.0, 0.0), |(sum, count), at| {
        (sum + value(at), count + 1.0)
    });
    sum / count
}

struct Drive {
    calibration: DriveCalibration,
    reference: f64,
    current: [Contribution; 2],
    turn: f64,
}

/// Volts of a drive path as a share of the nominal level, at these gains: in step, and across.
fn share(raw: &RawDrive, gain: &[f64; LEADS]) -> (f64, f64) {
    let far = match raw.path {
        DrivePath::WideToGround => Lead::Ground,
        DrivePath::WideToClip => Lead::Clip,
    };
    let [first, second] = raw.leads.map(super::raw::Share::complex);
    let between = first * gain[Lead::Wide.channel()] - second * gain[far.channel()];
    (between.re, between.im)
}

fn drive(
    readings: &Readings,
    gain: &[f64; LEADS],
    limits: &CalibrationLimits,
) -> Result<Drive, FitFault> {
    let nominal = DriveCalibration::NOMINAL;
    let source = f64::from(nominal.source.get());
    let low = share(&readings.low.raw, gain);
    let high = share(&readings.high.raw, gain);
    let apart = f64::from(readings.high.ohms.get()) - f64::from(readings.low.ohms.get());
    // Z = R_s q / (e - q): e against the nominal level, from the difference of both. What is
    // left of a round is q / e, 0.3 %, of the error of the one before.
    let mut level = source * (high.0 - low.0) / apart;
    for _ in 0..10 {
        let bent = |q: f64| q / (1.0 - q / level);
        level = source * (bent(high.0) - bent(low.0)) / apart;
    }
    let ohms = |q: f64| source * q / (level - q);
    let lead_zero = ohms(low.0) - f64::from(readings.low.ohms.get());
    let turn = libm::atan2(high.1, high.0);
    let calibration = DriveCalibration {
        level: nominal.level * level as f32,
        source: nominal.source,
        lead_zero: Ohms::from_f64(lead_zero),
        // The readings were turned back by the nominal lag: what is left is missing in it.
        lag: Radians::from_f64(f64::from(nominal.lag.get()) - turn),
        u_current: nominal.u_current,
    };
    if !calibration.is_plausible() {
        return Err(FitFault::Drive);
    }
    if fails(turn.abs() <= f64::from(limits.drive_angle_most.get())) {
        return Err(FitFault::DriveTurn);
    }
    let noise = libm::hypot(
        f64::from(readings.low.raw.u.get()),
        f64::from(readings.high.raw.u.get()),
    ) / (high.0 - low.0);
    let current = [
        (Source::Resistors, f64::from(readings.u_resistor.get())),
        (Source::DriveNoise, noise),
    ]
    .map(|(source, u)| Contribution {
        source,
        u: Ratio::from_f64(u),
    });
    if fails(total(&current) <= limits.u_current_most) {
        return Err(FitFault::DriveNoise);
    }
    let reference = ohms(share(&readings.reference, gain).0);
    let off = reference - 10.0;
    if fails(off.abs() <= f64::from(limits.reference_within.get())) {
        return Err(FitFault::Reference);
    }
    Ok(Drive {
        calibration,
        reference,
        current,
        turn,
    })
}

/// What was measured again under a calibration, and how far it may be from what is known.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Again<T> {
    /// What a tester with this calibration states.
    pub stated: T,
    /// What is known.
    pub known: T,
    /// Most that they may be apart: the stated uncertainty, [`COVERAGE`] times.
    pub most: T,
}

impl Again<Volts> {
    /// Whether it passes.
    #[must_use]
    pub fn passes(&self) -> bool {
        (self.stated - self.known).abs() <= self.most
    }
}

impl Again<Ohms> {
    /// Whether it passes.
    #[must_use]
    pub fn passes(&self) -> bool {
        (self.stated - self.known).abs() <= self.most
    }
}

/// A known voltage again: true RMS, as the meter beside it shows.
#[must_use]
pub fn volts_again(applied: &Applied, calibration: &Calibration) -> Again<Volts> {
    let size = |lead: Lead| {
        let gain = calibration.channels[lead.channel()].gain;
        f64::from(applied.raw.size(lead).get()) * gain
    };
    let joined = if applied.lead == Lead::Wide {
        Lead::Narrow
    } else {
        Lead::Wide
    };
    let fundamental = size(applied.lead) + size(joined);
    Again {
        stated: Volts::from_f64(libm::hypot(fundamental, residual(applied))),
        known: applied.meter,
        most: applied.meter * (COVERAGE * calibration.u_gain.get()),
    }
}

/// A known resistance from wide to clip again.
#[must_use]
pub fn ohms_again(known: &Known, calibration: &Calibration) -> Again<Ohms> {
    let gain = calibration.channels.map(|channel| channel.gain);
    let drive = &calibration.drive;
    let source = f64::from(drive.source.get());
    let level = f64::from(drive.level.get()) / f64::from(NOMINAL.drive.level.get());
    let q = share(&known.raw, &gain).0;
    let ohms = source * q / (level - q);
    let noise = f64::from(known.raw.u.get()) / level * source;
    let u = libm::hypot(noise, f64::from(drive.u_current.get()) * ohms);
    Again {
        stated: Ohms::from_f64(ohms - f64::from(drive.lead_zero.get())),
        known: known.ohms,
        most: Ohms::from_f64(f64::from(COVERAGE) * u),
    }
}
