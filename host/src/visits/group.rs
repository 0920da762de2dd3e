//! Tests into visits. They come by tester and number, as the archive lists them.

use std::time::Duration;

use slotwise_core::record::TesterId;
use slotwise_core::units::UnixSeconds;
use slotwise_core::verdict::Outcome;

use crate::archive::{Place, TestRow};
use crate::texts::codes;

/// Longest time from one test of a visit to the next. A repair between two tests fits in, a day
/// at two sites without a place told does not, as a rule. Common practice, no source.
pub const GAP: Duration = Duration::from_secs(4 * 3600);

/// Tests that belong together.
#[derive(Clone, Debug, PartialEq)]
pub struct Visit {
    /// The tester.
    pub tester: TesterId,
    /// Where, if that was said.
    pub place: Option<Place>,
    /// The tests, at least one.
    pub tests: Vec<TestRow>,
}

impl Visit {
    /// Clock of the first and the last test that have one.
    #[must_use]
    pub fn clocks(&self) -> Option<(UnixSeconds, UnixSeconds)> {
        let mut clocks = self.tests.iter().filter_map(|test| test.made.clock);
        let first = clocks.next()?;
        Some((first, clocks.next_back().unwrap_or(first)))
    }

    /// The test that weighs most, by [`worst`]; of several the last.
    #[must_use]
    pub fn gravest(&self) -> Option<&TestRow> {
        self.tests
            .iter()
            .max_by_key(|test| worst(&test.test.outcome))
    }

    /// Whether a note of this time at `place` belongs to it.
    #[must_use]
    pub fn takes(&self, place: &Place, at: UnixSeconds) -> bool {
        let Some((first, last)) = self.clocks() else {
            return false;
        };
        let is_here = self.place.as_ref().is_some_and(|own| {
            own.site == place.site
                && (place.appliance.is_none() || own.appliance == place.appliance)
        });
        is_here
            && at.get().saturating_add(GAP.as_secs()) >= first.get()
            && at.get() <= last.get().saturating_add(GAP.as_secs())
    }
}

/// How much an outcome weighs, by its name. One that this version does not know is a doubt, and
/// a doubt weighs more than any good answer.
#[must_use]
pub fn worst(outcome: &str) -> u8 {
    let known = |which: Outcome| outcome == codes::outcome(which);
    if known(Outcome::Danger) {
        5
    } else if known(Outcome::Fault) {
        4
    } else if known(Outcome::NoFaultFound) {
        1
    } else if known(Outcome::Proven) {
        0
    } else {
        3
    }
}

/// Puts tests together as they come.
#[derive(Debug, Default)]
pub struct Grouper {
    open: Option<Visit>,
}

impl Grouper {
    /// Takes the next test; returns the visit before it, if this one begins a new one.
    pub fn push(&mut self, test: TestRow) -> Option<Visit> {
        if let Some(visit) = &mut self.open
            && belongs(visit, &test)
        {
            visit.tests.push(test);
            return None;
        }
        self.open.replace(Visit {
            tester: test.tester,
            place: test.place.clone(),
            tests: vec![test],
        })
    }

    /// The last visit.
    #[must_use]
    pub fn finish(self) -> Option<Visit> {
        self.open
    }
}

fn belongs(visit: &Visit, test: &TestRow) -> bool {
    if visit.tester != test.tester || visit.place != test.place {
        return false;
    }
    let Some(last) = visit.tests.last() else {
        return false;
    };
    let apart = match (last.made.clock, test.made.clock) {
        (Some(before), Some(now)) => Some(Duration::from_secs(now.get().abs_diff(before.get()))),
        _ if last.made.boot == test.made.boot => Some(Duration::from_millis(
            test.made.millis.abs_diff(last.made.millis),
        )),
        _ => None,
    };
    apart.is_some_and(|apart| apart <= GAP)
}
