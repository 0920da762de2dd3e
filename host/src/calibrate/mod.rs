//! The guided calibration: which step comes next, what is measured in it, and what is done when
//! a reading cannot be right.
//!
//! ```text
//!  currents of the limiters (measured before) ─ all shorted ─ ground, clip, wide, narrow alone at a known voltage ─ 1.00 ohm ─ 10.0 ohm
//!     ─ worked out ─ 10.0 ohm and narrow again ─ passes? ─ confirmed? ─ offered, stored
//! ```
//! What is read and whether it is right is the tester's and the core's business; who stands at
//! the bench is an [`Operator`]. Nothing in the tester changes before the last step: whoever
//! ends the calibration earlier, on purpose or not, leaves the old one in force.

pub mod operator;

use std::thread;
use std::time::{Duration, Instant};

use slotwise_core::calibration::fit::{
    self, Again, Applied, FitFault, Known, Readings, Worked, ohms_again, volts_again,
};
use slotwise_core::calibration::limiters::{LimiterFault, Limiters};
use slotwise_core::calibration::raw::{RawDrive, RawMeasure, RawReading, RawRest};
use slotwise_core::calibration::step::{
    StepFault, check_applied, check_resistance, check_shorted, nominal_ohms,
};
use slotwise_core::drive::DriveCalibration;
use slotwise_core::evidence::{Missing, Reading};
use slotwise_core::limits::CalibrationLimits;
use slotwise_core::link::{WorkshopRefusal, WorkshopReply, WorkshopRequest};
use slotwise_core::slots::Lead;
use slotwise_core::stimulus::DrivePath;
use slotwise_core::units::{Celsius, Ohms, Ratio, UnixSeconds, Volts};

use crate::client::Client;
use crate::error::Error;
pub use operator::{Given, Operator};

/// The leads in the order in which they stand alone: narrow last, since the probe needs it.
const ALONE: [Lead; 4] = [Lead::Ground, Lead::Clip, Lead::Wide, Lead::Narrow];

/// Longest a reading takes: the tester gives up after 25 s.
const READING_WITHIN: Duration = Duration::from_secs(40);

/// Between two questions whether the reading is there.
const ASK_EVERY: Duration = Duration::from_millis(50);

/// What the leads of the tester are to be on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Step {
    /// All four joined, no voltage.
    Shorted,
    /// This lead at a known voltage against the other three, which are joined.
    Applied(Lead),
    /// The low resistor from wide to clip.
    Low,
    /// The high one.
    High,
    /// Narrow alone at a known voltage, measured again under the new calibration.
    VoltageAgain,
}

impl Step {
    /// Every step in its order.
    pub const ALL: [Self; 8] = [
        Self::Shorted,
        Self::Applied(Lead::Ground),
        Self::Applied(Lead::Clip),
        Self::Applied(Lead::Wide),
        Self::Applied(Lead::Narrow),
        Self::Low,
        Self::High,
        Self::VoltageAgain,
    ];

    /// Whether a voltage is to be typed in.
    #[must_use]
    pub const fn wants_voltage(self) -> bool {
        matches!(self, Self::Applied(_) | Self::VoltageAgain)
    }
}

/// What the person has at the bench.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bench {
    /// Accuracy of the meter, as a share. It is taken as the standard uncertainty: few meters
    /// say what their limit means, and this is the cautious reading.
    pub u_meter: Ratio,
    /// The low resistor.
    pub low: Ohms,
    /// The high resistor.
    pub high: Ohms,
    /// Their tolerance, as a share; taken the same way.
    pub u_resistor: Ratio,
    /// Temperature at the bench.
    pub temperature: Celsius,
    /// Now.
    pub now: UnixSeconds,
}

/// How it ended.
#[derive(Clone, Debug, PartialEq)]
pub enum Ended {
    /// Stored twice.
    Stored(Box<Worked>),
    /// The person ended it; nothing was changed.
    Aborted,
    /// A limiter of the drive does not limit, or its leg is broken; nothing was measured.
    LimiterFault(LimiterFault),
    /// The readings give no calibration; nothing was changed.
    NoFit(FitFault),
    /// Measured again, it does not pass; nothing was changed.
    NotPassed(Box<Passing>),
    /// The tester refused to store it.
    Refused(WorkshopRefusal),
}

/// What was measured again under the new calibration.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Passing {
    /// What was worked out.
    pub worked: Worked,
    /// The high resistor again.
    pub ohms: Again<Ohms>,
    /// Narrow against the rest again.
    pub volts: Again<Volts>,
}

impl Passing {
    /// Whether both pass.
    #[must_use]
    pub fn passes(&self) -> bool {
        self.ohms.passes() && self.volts.passes()
    }
}

/// Guides `operator` through a calibration of the tester at `client`.
///
/// # Errors
/// Link, or whatever the operator fails with. The tester tests again in any case.
pub fn run(
    client: &mut Client,
    operator: &mut impl Operator,
    bench: &Bench,
) -> Result<Ended, Error> {
    let mut guide = Guide {
        client,
        operator,
        bench,
        limits: CalibrationLimits::DEFAULT,
        lead: DriveCalibration::NOMINAL.lead_zero,
    };
    let ended = guide.run();
    // Whatever happened, the tester is to test again. If the line is broken it notices itself.
    let back = guide.client.workshop(WorkshopRequest::EndMeasuring);
    let ended = ended?;
    back?;
    Ok(ended.unwrap_or(Ended::Aborted))
}

struct Guide<'g, O> {
    client: &'g mut Client,
    operator: &'g mut O,
    bench: &'g Bench,
    limits: CalibrationLimits,
    /// What the clip lead read with the clip on wide.
    lead: Ohms,
}

/// `None`: the person ended it.
type Wanted<T> = Result<Option<T>, Error>;

/// A reading that can be right, or why it cannot.
type Checked<T> = Result<T, StepFault>;

impl<O: Operator> Guide<'_, O> {
    fn run(&mut self) -> Wanted<Ended> {
        // First: a tester that would not pass them is repaired, not calibrated.
        let Some(limiters) = self.operator.limiters()? else {
            return Ok(None);
        };
        if let Err(fault) = limiters.check(&self.limits) {
            return Ok(Some(Ended::LimiterFault(fault)));
        }
        let Some((shorted, reference)) = self.step(Step::Shorted, Self::shorted)? else {
            return Ok(None);
        };
        let mut applied = Vec::with_capacity(ALONE.len());
        for lead in ALONE {
            let reading = self.step(Step::Applied(lead), |guide, volts| {
                guide.applied(lead, volts)
            })?;
            let Some(reading) = reading else {
                return Ok(None);
            };
            applied.push(reading);
        }
        let Some(probe) = self.step(Step::Applied(Lead::Narrow), |guide, _| guide.probe())? else {
            return Ok(None);
        };
        let Some(low) = self.step(Step::Low, |guide, _| guide.known(guide.bench.low))? else {
            return Ok(None);
        };
        let Some(high) = self.step(Step::High, |guide, _| guide.known(guide.bench.high))? else {
            return Ok(None);
        };
        let Ok(applied) = applied.try_into() else {
            return Ok(None);
        };
        let readings = Readings {
            shorted,
            reference,
            applied,
            u_meter: self.bench.u_meter,
            probe,
            low,
            high,
            u_resistor: self.bench.u_resistor,
            done: self.bench.now,
            temperature: self.bench.temperature,
        };
        let worked = match fit::work_out(&readings, &self.limits) {
            Ok(worked) => worked,
            Err(fault) => return Ok(Some(Ended::NoFit(fault))),
        };
        self.again(&worked, limiters)
    }

    /// Measured again, and stored if it passes and is confirmed.
    fn again(&mut self, worked: &Worked, limiters: Limiters) -> Wanted<Ended> {
        let calibration = worked.calibration;
        // The high resistor is still there.
        let Some(high) = self.step(Step::High, |guide, _| guide.known(guide.bench.high))? else {
            return Ok(None);
        };
        let volts = self.step(Step::VoltageAgain, |guide, volts| {
            guide.applied(Lead::Narrow, volts)
        })?;
        let Some(volts) = volts else {
            return Ok(None);
        };
        let passing = Passing {
            worked: *worked,
            ohms: ohms_again(&high, &calibration),
            volts: volts_again(&volts, &calibration),
        };
        if !passing.passes() {
            return Ok(Some(Ended::NotPassed(Box::new(passing))));
        }
        if !self.operator.confirm(&passing)? {
            return Ok(None);
        }
        match self.client.workshop(WorkshopRequest::Limiters(limiters))? {
            WorkshopReply::Done => {}
            WorkshopReply::Refused(reason) => return Ok(Some(Ended::Refused(reason))),
            _ => {
                return Err(self
                    .client
                    .does_not_fit("tell the limiters' currents")
                    .into());
            }
        }
        let token = match self.client.workshop(WorkshopRequest::Offer(calibration))? {
            WorkshopReply::Offered { token } => token,
            WorkshopReply::Refused(reason) => return Ok(Some(Ended::Refused(reason))),
            _ => return Err(self.client.does_not_fit("offer a calibration").into()),
        };
        match self.client.workshop(WorkshopRequest::Store { token })? {
            WorkshopReply::Done => Ok(Some(Ended::Stored(Box::new(*worked)))),
            WorkshopReply::Refused(reason) => Ok(Some(Ended::Refused(reason))),
            _ => Err(self.client.does_not_fit("store a calibration").into()),
        }
    }

    /// One step until its reading can be right.
    fn step<T>(
        &mut self,
        step: Step,
        mut measure: impl FnMut(&mut Self, Volts) -> Result<Checked<T>, Error>,
    ) -> Wanted<T> {
        loop {
            let volts = match self.operator.connect(step)? {
                Given::Ready => Volts::ZERO,
                Given::Voltage(volts) => volts,
                Given::Abort => return Ok(None),
            };
            match measure(self, volts)? {
                Ok(reading) => {
                    self.operator.right(step)?;
                    return Ok(Some(reading));
                }
                Err(fault) => self.operator.wrong(step, &fault)?,
            }
        }
    }

    fn shorted(&mut self, _: Volts) -> Result<Checked<(RawRest, RawDrive)>, Error> {
        let rest = match self.rest()? {
            Ok(rest) => rest,
            Err(fault) => return Ok(Err(fault)),
        };
        if let Err(fault) = check_shorted(&rest, &self.limits) {
            return Ok(Err(fault));
        }
        // The lead first: that the clip is on, too, shows there. Its own resistor is 10 ohm; a lead
        // of a few metres has up to 2, as the core's drive has it.
        let own = DriveCalibration::NOMINAL.lead_zero;
        let clip = self.drive(DrivePath::WideToClip)?.and_then(|raw| {
            check_resistance(&raw, own, Ohms::ZERO, Ohms::new(2.0))?;
            Ok(nominal_ohms(&raw))
        });
        match clip {
            Ok(lead) => self.lead = lead,
            Err(fault) => return Ok(Err(fault)),
        }
        Ok(self.drive(DrivePath::WideToGround)?.and_then(|reference| {
            check_resistance(&reference, Ohms::new(10.0), Ohms::ZERO, Ohms::new(0.5))?;
            Ok((rest, reference))
        }))
    }

    fn applied(&mut self, lead: Lead, meter: Volts) -> Result<Checked<Applied>, Error> {
        Ok(self.rest()?.and_then(|raw| {
            let applied = Applied { lead, meter, raw };
            check_applied(&applied, self.bench.u_meter, &self.limits)?;
            Ok(applied)
        }))
    }

    fn probe(&mut self) -> Result<Checked<Reading<Ohms>>, Error> {
        Ok(match self.raw(RawMeasure::Probe)? {
            Ok(RawReading::Probe(reading)) => Ok(reading),
            Ok(_) => return Err(self.client.does_not_fit("probe").into()),
            Err(missing) => Err(StepFault::NoReading(missing)),
        })
    }

    fn known(&mut self, ohms: Ohms) -> Result<Checked<Known>, Error> {
        let lead = self.lead;
        Ok(self.drive(DrivePath::WideToClip)?.and_then(|raw| {
            // Contacts of the fixture; the lead is in `beside`.
            check_resistance(&raw, ohms, lead, Ohms::new(0.5))?;
            Ok(Known { ohms, raw })
        }))
    }

    fn rest(&mut self) -> Result<Checked<RawRest>, Error> {
        Ok(match self.raw(RawMeasure::Rest)? {
            Ok(RawReading::Rest(rest)) => Ok(rest),
            Ok(_) => return Err(self.client.does_not_fit("leads at rest").into()),
            Err(missing) => Err(StepFault::NoReading(missing)),
        })
    }

    fn drive(&mut self, path: DrivePath) -> Result<Checked<RawDrive>, Error> {
        Ok(match self.raw(RawMeasure::Drive(path))? {
            Ok(RawReading::Drive(raw)) => Ok(raw),
            Ok(_) => return Err(self.client.does_not_fit("drive").into()),
            Err(missing) => Err(StepFault::NoReading(missing)),
        })
    }

    /// A raw reading, waited for.
    fn raw(&mut self, how: RawMeasure) -> Result<Result<RawReading, Missing>, Error> {
        self.operator.measuring(how)?;
        match self.client.workshop(WorkshopRequest::Measure(how))? {
            WorkshopReply::Measuring => {}
            _ => return Err(self.client.does_not_fit("measure").into()),
        }
        let until = Instant::now() + READING_WITHIN;
        while Instant::now() < until {
            match self.client.workshop(WorkshopRequest::Raw)? {
                WorkshopReply::Measuring => thread::sleep(ASK_EVERY),
                WorkshopReply::Raw(found) => return Ok(found),
                _ => return Err(self.client.does_not_fit("raw reading").into()),
            }
        }
        Ok(Err(Missing::Unsteady))
    }
}
