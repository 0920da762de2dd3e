//! Counts of verdicts, and what they say with 95 % limits.

use slotwise_core::verdict::{Outcome, Verdict};

use super::is_good;

/// Every outcome, in the order of the columns.
pub use crate::texts::codes::OUTCOMES;

/// Verdicts of one class.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ClassCount {
    /// Name of the wiring, or of the tester's fault.
    pub name: &'static str,
    /// Whether the class is about a fault of the tester.
    pub is_tester_fault: bool,
    /// Draws.
    pub draws: u64,
    /// Draws in which the ground slot was energised.
    pub energised: u64,
    /// Verdicts by set of means (slots, with the probe, all) and outcome.
    pub outcomes: [[u64; OUTCOMES.len()]; 3],
    /// Energised ground called proven, by any means.
    pub energised_proven: u64,
    /// Energised ground called free of faults with polarity proven, by any means.
    pub energised_good: u64,
}

impl ClassCount {
    /// No draws yet.
    #[must_use]
    pub const fn new(name: &'static str) -> Self {
        Self {
            name,
            is_tester_fault: false,
            draws: 0,
            energised: 0,
            outcomes: [[0; OUTCOMES.len()]; 3],
            energised_proven: 0,
            energised_good: 0,
        }
    }

    /// Counts the verdicts of one draw.
    pub fn add(&mut self, verdicts: &[Verdict; 3], energised: bool) {
        self.draws += 1;
        self.energised += u64::from(energised);
        for (row, verdict) in self.outcomes.iter_mut().zip(verdicts) {
            for (place, outcome) in row.iter_mut().zip(OUTCOMES) {
                *place += u64::from(outcome == verdict.outcome);
            }
        }
        if energised {
            let proven = |verdict: &Verdict| verdict.outcome == Outcome::Proven;
            let good = |verdict: &Verdict| is_good(verdict) && !verdict.unproven.polarity;
            self.energised_proven += u64::from(verdicts.iter().any(proven));
            self.energised_good += u64::from(verdicts.iter().any(good));
        }
    }

    /// Adds the counts of `other`.
    pub fn merge(&mut self, other: &Self) {
        self.is_tester_fault |= other.is_tester_fault;
        self.draws += other.draws;
        self.energised += other.energised;
        self.energised_proven += other.energised_proven;
        self.energised_good += other.energised_good;
        for (row, more) in self.outcomes.iter_mut().zip(other.outcomes) {
            for (place, more) in row.iter_mut().zip(more) {
                *place += more;
            }
        }
    }

    /// Verdicts of this outcome with all means.
    #[must_use]
    pub fn by_all_means(&self, outcome: Outcome) -> u64 {
        OUTCOMES
            .iter()
            .position(|one| *one == outcome)
            .map_or(0, |place| self.outcomes[2][place])
    }
}

/// One thing that a run shows.
#[derive(Clone, Debug, PartialEq)]
pub struct Claim {
    /// What is claimed.
    pub text: &'static str,
    /// How often it failed.
    pub failures: u64,
    /// In how many draws.
    pub draws: u64,
    /// Most failures that the claim allows, as a share.
    pub allowed: f64,
}

impl Claim {
    /// Whether the run bears it out.
    #[must_use]
    pub fn holds(&self) -> bool {
        self.failures as f64 <= self.allowed * self.draws as f64
    }

    /// Upper 95 % limit of the failure rate.
    #[must_use]
    pub fn limit(&self) -> f64 {
        upper_limit(self.failures, self.draws)
    }
}

/// Upper limit, at 95 % confidence and one-sided, of a rate of which `events` were seen in
/// `draws`: the Wilson score limit; with no event about 2.7 / draws.
#[must_use]
pub fn upper_limit(events: u64, draws: u64) -> f64 {
    /// 95 % of a normal lie below this many deviations.
    const Z: f64 = 1.644_853_6;
    wilson(events, draws, Z)[1]
}

/// Limits between which a rate lies at 95 % confidence, two-sided: the Wilson score interval
/// (E. B. Wilson, Journal of the American Statistical Association 22, 1927, from memory).
#[must_use]
pub fn limits(events: u64, draws: u64) -> [f64; 2] {
    /// 95 % of a normal lie within this many deviations.
    const Z: f64 = 1.959_964;
    wilson(events, draws, Z)
}

fn wilson(events: u64, draws: u64, z: f64) -> [f64; 2] {
    if draws == 0 {
        return [0.0, 1.0];
    }
    let n = draws as f64;
    let rate = events as f64 / n;
    let middle = rate + z * z / (2.0 * n);
    let reach = z * (rate * (1.0 - rate) / n + z * z / (4.0 * n * n)).sqrt();
    let whole = 1.0 + z * z / n;
    // Rounding must not put the limit of no event, or of every event, beside 0 or 1.
    let low = if events == 0 {
        0.0
    } else {
        (middle - reach) / whole
    };
    let high = if events == draws {
        1.0
    } else {
        (middle + reach) / whole
    };
    [low, high]
}

/// The claims that a run can bear out: those of which it has draws.
pub(super) fn claims(classes: &[ClassCount]) -> Vec<Claim> {
    let sum = |of: fn(&ClassCount) -> u64| classes.iter().map(of).sum::<u64>();
    let energised = sum(|class| class.energised);
    let sound = |class: &&ClassCount| class.name == "sound";
    let sound_draws: u64 = classes.iter().filter(sound).map(|class| class.draws).sum();
    let sound_proven: u64 = classes
        .iter()
        .filter(sound)
        .map(|class| class.by_all_means(Outcome::Proven))
        .sum();
    let of_faulty = |of: fn(&ClassCount) -> u64| {
        classes
            .iter()
            .filter(|class| class.is_tester_fault)
            .map(of)
            .sum::<u64>()
    };
    let all = vec![
        Claim {
            text: "an energised ground is never called proven",
            failures: sum(|class| class.energised_proven),
            draws: energised,
            allowed: 0.0,
        },
        Claim {
            text: "an energised ground is called \"no fault found\" only with polarity unproven",
            failures: sum(|class| class.energised_good),
            draws: energised,
            allowed: 0.0,
        },
        Claim {
            text: "a sound receptacle is proven by all means in 95 % of draws",
            failures: sound_draws - sound_proven,
            draws: sound_draws,
            allowed: 0.05,
        },
        Claim {
            text: "a tester with a single fault never says proven",
            failures: of_faulty(|class| class.by_all_means(Outcome::Proven)),
            draws: of_faulty(|class| class.draws),
            allowed: 0.0,
        },
    ];
    all.into_iter().filter(|claim| claim.draws > 0).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_limit_of_no_event_is_that_of_wilson() {
        // z^2 / (n + z^2) for no event.
        assert!((upper_limit(0, 1000) - 2.7055 / 1002.7055).abs() < 1e-6);
        assert!(upper_limit(50, 1000) > 0.05 && upper_limit(50, 1000) < 0.064);
        assert!((upper_limit(0, 0) - 1.0).abs() < 1e-12);
    }

    #[test]
    fn the_limits_of_one_in_ten_are_those_of_wilson() {
        // Worked out by hand with z = 1.96: (0.01787, 0.40415).
        let [low, high] = limits(1, 10);
        assert!((low - 0.01787).abs() < 1e-4 && (high - 0.40415).abs() < 1e-4);
        assert_eq!(limits(0, 7)[0], 0.0);
        assert_eq!(limits(7, 7)[1], 1.0);
        assert!(limits(7, 7)[0] > 0.6);
    }
}
