//! Monte Carlo: random houses of every wiring of the terrace, looked at by random testers,
//! judged by the core, counted.
//!
//! Generator and judge share no code: the draws and what a tester would have as evidence are
//! the virtual crate's, the verdict is the core's. A trial depends on seed and number alone,
//! so any number of threads gives the same counts.

mod count;
mod ngspice;

pub use count::{Claim, ClassCount, OUTCOMES, limits, upper_limit};
pub use ngspice::{Comparison, against_ngspice};

use crate::error::Error;
use rayon::prelude::*;
use sha2::{Digest as _, Sha256};
use slotwise_core::judge::{failed_self_test, judge};
use slotwise_core::limits::Limits;
use slotwise_core::units::Volts;
use slotwise_core::verdict::{Outcome, Verdict};
pub use slotwise_virtual::house::find;
use slotwise_virtual::house::{HouseError, Receptacle, bank};
use slotwise_virtual::trials::{Draw, Means, TesterFault, Trial, observe};

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
    /// Whether a class of this name was drawn.
    #[must_use]
    pub fn has(&self, name: &str) -> bool {
        self.classes.iter().any(|class| class.name == name)
    }

    /// Puts a class in its place.
    fn put(&mut self, class: ClassCount) {
        self.classes.push(class);
        self.classes
            .sort_by_key(|class| names().position(|name| name == class.name));
    }

    /// What the run was made to find out.
    #[must_use]
    pub fn claims(&self) -> Vec<Claim> {
        count::claims(&self.classes)
    }
}

/// Runs `settings.trials` draws of every class on all cores. With names in `only`, those
/// wirings alone are drawn, and no tester faults. Classes that are in `finished` are taken from
/// there. `done` is told what there is after each class that was drawn.
///
/// # Errors
/// [`Error::Bench`] when a drawn house has no solution; whatever `done` ends with.
pub fn run(
    settings: Settings,
    only: &[String],
    finished: Vec<ClassCount>,
    mut done: impl FnMut(&Confusion) -> Result<(), Error>,
) -> Result<Confusion, Error> {
    let mut confusion = Confusion { classes: finished };
    for (place, named) in (0..).zip(bank()) {
        let is_wanted = only.is_empty() || only.iter().any(|name| name == named.name);
        if is_wanted && !confusion.has(named.name) {
            let counted = class(settings, place, named.name, &named.receptacle);
            confusion.put(counted.map_err(stopped)?);
            done(&confusion)?;
        }
    }
    if only.is_empty() && !confusion.classes.iter().any(|class| class.is_tester_fault) {
        for counted in faulty_testers(settings).map_err(stopped)? {
            confusion.put(counted);
        }
        done(&confusion)?;
    }
    Ok(confusion)
}

/// Every name that a class can have, in the order of a report.
pub fn names() -> impl Iterator<Item = &'static str> {
    bank()
        .iter()
        .map(|named| named.name)
        .chain(TesterFault::NAMES)
}

/// What generator and judge make of a few draws of every class: two programs with the same
/// counts here may share a report. A change that moves none of these verdicts is not seen.
///
/// # Errors
/// [`Error::Bench`] when a drawn house has no solution.
pub fn fingerprint(seed: u64) -> Result<String, Error> {
    const DRAWS: u64 = 64;
    let settings = Settings {
        trials: DRAWS,
        seed,
    };
    let confusion = run(settings, &[], Vec::new(), |_| Ok(()))?;
    let digest = Sha256::digest(format!("{:?}", confusion.classes));
    Ok(digest[..8]
        .iter()
        .map(|byte| format!("{byte:02x}"))
        .collect())
}

fn stopped(error: HouseError) -> Error {
    Error::Bench(error.to_string())
}

fn class(
    settings: Settings,
    place: u64,
    name: &'static str,
    wiring: &Receptacle,
) -> Result<ClassCount, HouseError> {
    counted(
        settings.trials,
        [ClassCount::new(name)],
        |number, counts| {
            let mut draw = Draw::new(settings.seed, place << 40 | number);
            let specimen = draw.specimen();
            let receptacle = draw.house_of(wiring);
            let trial = observe(&receptacle, &specimen, None, &mut draw)?;
            let energised = trial.ground_to_earth > ENERGISED;
            counts[0].add(&verdicts(&trial), energised);
            Ok(())
        },
    )
    .map(|[count]| count)
}

/// Testers with one fault each, at sound receptacles, by every means: those kinds that were
/// drawn.
fn faulty_testers(settings: Settings) -> Result<Vec<ClassCount>, HouseError> {
    let sound = Receptacle::sound();
    let none = TesterFault::NAMES.map(|name| ClassCount {
        is_tester_fault: true,
        ..ClassCount::new(name)
    });
    let all = counted(settings.trials, none, |number, counts| {
        let mut draw = Draw::new(settings.seed, 1 << 60 | number);
        let specimen = draw.specimen();
        let receptacle = draw.house_of(&sound);
        let fault = TesterFault::draw(&mut draw);
        let trial = observe(&receptacle, &specimen, Some(&fault), &mut draw)?;
        if let Some(count) = counts.iter_mut().find(|count| count.name == fault.name()) {
            count.add(&verdicts(&trial), false);
        }
        Ok(())
    })?;
    Ok(all.into_iter().filter(|class| class.draws > 0).collect())
}

/// Trials on all cores, counted as they come: no draw is kept.
fn counted<const N: usize>(
    trials: u64,
    none: [ClassCount; N],
    trial: impl Fn(u64, &mut [ClassCount; N]) -> Result<(), HouseError> + Sync,
) -> Result<[ClassCount; N], HouseError> {
    (0..trials)
        .into_par_iter()
        .try_fold(
            || none.clone(),
            |mut counts, number| {
                trial(number, &mut counts)?;
                Ok(counts)
            },
        )
        .try_reduce(
            || none.clone(),
            |mut counts, more| {
                for (count, more) in counts.iter_mut().zip(&more) {
                    count.merge(more);
                }
                Ok(counts)
            },
        )
}

fn verdicts(trial: &Trial) -> [Verdict; 3] {
    core::array::from_fn(|means| {
        if trial.fails_itself[means] {
            failed_self_test()
        } else {
            judge(&trial.evidence[means], &Limits::DEFAULT)
        }
    })
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
