//! Monte Carlo: random houses of every wiring of the terrace, looked at by random testers,
//! judged by the core, counted.
//!
//! Generator and judge share no code: the draws and what a tester would have as evidence are
//! the virtual crate's, the verdict is the core's. A trial depends on seed and number alone,
//! so any number of threads gives the same counts.

mod count;

pub use count::{Claim, ClassCount, OUTCOMES, upper_limit};

use rayon::prelude::*;
use slotwise_core::judge::judge;
use slotwise_core::limits::Limits;
use slotwise_core::units::Volts;
use slotwise_core::verdict::{Outcome, Verdict};
pub use slotwise_virtual::house::find;
use slotwise_virtual::house::{HouseError, Receptacle, bank};
use slotwise_virtual::trials::{Draw, Means, TesterFault, observe};

/// Ground that stands this far from an independent earth is energised: IEC 61010-1:2010 6.3.1
/// (from memory), 30 V RMS. The oracle's own number, on purpose not the core's.
const ENERGISED: Volts = Volts::new(30.0);

/// What to run.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Settings {
    /// Draws of each class.
    pub trials: u64,
    /// Seed of the run.
    pub seed: u64,
}

/// Counts of a run.
#[derive(Clone, Debug)]
pub struct Confusion {
    /// A row for each wiring, then one for each kind of tester fault at a sound receptacle.
    pub classes: Vec<ClassCount>,
}

impl Confusion {
    /// What the run was made to find out.
    #[must_use]
    pub fn claims(&self) -> Vec<Claim> {
        count::claims(&self.classes)
    }
}

/// Runs `settings.trials` draws of every class on all cores; `done` is told after each class.
/// With names in `only`, those wirings alone are drawn, and no tester faults.
///
/// # Errors
/// [`HouseError`] when a drawn house has no solution.
pub fn run(
    settings: Settings,
    only: &[String],
    mut done: impl FnMut(&ClassCount),
) -> Result<Confusion, HouseError> {
    let mut classes = Vec::new();
    for (place, named) in (0..).zip(bank()) {
        if !only.is_empty() && !only.iter().any(|name| name == named.name) {
            continue;
        }
        let counted = class(settings, place, named.name, &named.receptacle)?;
        done(&counted);
        classes.push(counted);
    }
    if !only.is_empty() {
        return Ok(Confusion { classes });
    }
    for counted in faulty_testers(settings)? {
        done(&counted);
        classes.push(counted);
    }
    Ok(Confusion { classes })
}

fn class(
    settings: Settings,
    place: u64,
    name: &'static str,
    wiring: &Receptacle,
) -> Result<ClassCount, HouseError> {
    (0..settings.trials)
        .into_par_iter()
        .map(|number| {
            let mut draw = Draw::new(settings.seed, place << 40 | number);
            let specimen = draw.specimen();
            let receptacle = draw.house_of(wiring);
            let trial = observe(&receptacle, &specimen, None, &mut draw)?;
            let mut counted = ClassCount::new(name);
            let energised = trial.ground_to_earth > ENERGISED;
            let verdicts = trial
                .evidence
                .map(|evidence| judge(&evidence, &Limits::DEFAULT));
            counted.add(&verdicts, energised);
            Ok(counted)
        })
        .try_reduce(|| ClassCount::new(name), |a, b| Ok(a.with(&b)))
}

/// Testers with one fault each, at sound receptacles, by every means.
fn faulty_testers(settings: Settings) -> Result<Vec<ClassCount>, HouseError> {
    let sound = Receptacle::sound();
    let counted: Vec<ClassCount> = (0..settings.trials)
        .into_par_iter()
        .map(|number| {
            let mut draw = Draw::new(settings.seed, 1 << 60 | number);
            let specimen = draw.specimen();
            let receptacle = draw.house_of(&sound);
            let fault = TesterFault::draw(&mut draw);
            let trial = observe(&receptacle, &specimen, Some(&fault), &mut draw)?;
            let mut counted = ClassCount::new(fault.name());
            counted.is_tester_fault = true;
            let verdicts = trial
                .evidence
                .map(|evidence| judge(&evidence, &Limits::DEFAULT));
            counted.add(&verdicts, false);
            Ok(counted)
        })
        .collect::<Result<_, HouseError>>()?;
    let mut classes: Vec<ClassCount> = Vec::new();
    for one in counted {
        match classes.iter_mut().find(|class| class.name == one.name) {
            Some(class) => *class = class.with(&one),
            None => classes.push(one),
        }
    }
    classes.sort_by_key(|class| class.name);
    Ok(classes)
}

/// Place of a set of means in the counts.
#[must_use]
pub fn place_of(means: Means) -> usize {
    Means::ALL.iter().position(|one| *one == means).unwrap_or(0)
}

/// Whether a verdict calls the receptacle free of faults.
fn is_good(verdict: &Verdict) -> bool {
    matches!(verdict.outcome, Outcome::Proven | Outcome::NoFaultFound)
}
