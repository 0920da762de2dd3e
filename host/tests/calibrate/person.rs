//! The person at the workshop's fixture, whose meter is the exact solution of the fixture's circuit, off by
//! what is set, and virtual testers to put on it.

use slotwise::bench::{LineWish, Pace, VirtualTester};
use slotwise::calibrate::{Bench, Given, Operator, Passing, Step};
use slotwise::client::Client;
use slotwise::error::Error;
use slotwise_core::calibration::limiters::Limiters;
use slotwise_core::calibration::raw::RawMeasure;
use slotwise_core::calibration::step::StepFault;
use slotwise_core::slots::Lead;
use slotwise_core::units::{Amperes, Celsius, Hertz, Ohms, Ratio, UnixSeconds, Volts};
use slotwise_virtual::house::{Jig, Supply};
use slotwise_virtual::tester::{Specimen, Tolerance};

const NOW: UnixSeconds = UnixSeconds::new(1_772_460_000);

/// Bytes of an erased flash of the board's size.
const FLASH: usize = 16 << 20;

pub(super) fn supply() -> Supply {
    Supply::pure(Volts::new(118.0), Hertz::new(59.97)).with_thd(Ratio::new(0.02))
}

pub(super) fn jig(step: Step) -> Jig {
    match step {
        Step::Shorted => Jig::shorted(),
        Step::Applied(lead) => Jig::applied(lead, supply()),
        Step::VoltageAgain => Jig::applied(Lead::Narrow, supply()),
        Step::Low => Jig::resistor(Ohms::new(1.0)),
        Step::High => Jig::resistor(Ohms::new(10.0)),
    }
}

/// Connects what is asked for, after what `slips` says for the first time.
pub(super) struct Person<'t> {
    pub(super) tester: &'t VirtualTester,
    pub(super) specimen: Specimen,
    /// The meter reads so much of the truth.
    pub(super) meter: f64,
    /// What is connected instead at the first time of a step.
    pub(super) slips: Vec<(Step, Jig)>,
    /// Ends it at this step.
    pub(super) abort_at: Option<Step>,
    /// Ends it when a reading cannot be right.
    pub(super) gives_up: bool,
    pub(super) confirms: bool,
    pub(super) limiters: Limiters,
    pub(super) faults: Vec<(Step, StepFault)>,
    pub(super) passing: Option<Passing>,
}

impl<'t> Person<'t> {
    pub(super) fn careful(tester: &'t VirtualTester, specimen: &Specimen) -> Self {
        Self {
            tester,
            specimen: specimen.clone(),
            meter: 1.0,
            slips: Vec::new(),
            abort_at: None,
            gives_up: false,
            confirms: true,
            limiters: SOUND,
            faults: Vec::new(),
            passing: None,
        }
    }
}

/// What sound limiters let through (`hardware/faults_self.csv`, nothing failed).
pub(super) const SOUND: Limiters = Limiters {
    to_ground: [Amperes::new(2.54e-3); 2],
    to_clip: [Amperes::new(2.54e-3); 2],
};

impl Operator for Person<'_> {
    fn limiters(&mut self) -> Result<Option<Limiters>, Error> {
        Ok(Some(self.limiters))
    }

    fn connect(&mut self, step: Step) -> Result<Given, Error> {
        if self.abort_at == Some(step) || self.gives_up && !self.faults.is_empty() {
            return Ok(Given::Abort);
        }
        let slip = self.slips.iter().position(|(at, _)| *at == step);
        let on = slip.map_or_else(|| jig(step), |slip| self.slips.remove(slip).1);
        self.tester.put_on(&on)?;
        if !step.wants_voltage() {
            return Ok(Given::Ready);
        }
        // What is asked for is read off the right fixture: a slip is one of the leads.
        let volts = jig(step).volts(&self.specimen).expect("solves");
        Ok(Given::Voltage(volts * self.meter as f32))
    }

    fn measuring(&mut self, _: RawMeasure) -> Result<(), Error> {
        Ok(())
    }

    fn right(&mut self, _: Step) -> Result<(), Error> {
        Ok(())
    }

    fn wrong(&mut self, step: Step, fault: &StepFault) -> Result<(), Error> {
        assert!(self.faults.len() < 20, "{:?}", self.faults);
        self.faults.push((step, *fault));
        Ok(())
    }

    fn confirm(&mut self, passing: &Passing) -> Result<bool, Error> {
        self.passing = Some(*passing);
        Ok(self.confirms)
    }
}

pub(super) fn bench(u_meter: f32) -> Bench {
    Bench {
        u_meter: Ratio::new(u_meter),
        low: Ohms::new(1.0),
        high: Ohms::new(10.0),
        u_resistor: Ratio::new(0.001),
        temperature: Celsius::new(23.0),
        now: NOW,
    }
}

pub(super) fn uncalibrated(seed: u64) -> (Specimen, VirtualTester, Client) {
    let specimen = Specimen::draw(seed, &Tolerance::USUAL);
    let (tester, client) = powered(&specimen);
    (specimen, tester, client)
}

/// A tester of this make with an empty flash, and a program at its port.
pub(super) fn powered(specimen: &Specimen) -> (VirtualTester, Client) {
    let flash = vec![0xFF; FLASH];
    let mut tester = VirtualTester::power(
        specimen.clone(),
        flash,
        Some(NOW),
        Pace(1000),
        LineWish::Best,
    )
    .expect("starts");
    let mut client = Client::new(tester.connect().expect("a line"));
    client.hello().expect("answers");
    (tester, client)
}
