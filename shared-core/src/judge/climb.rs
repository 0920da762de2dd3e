//! Rungs 5 to 8, on slots that read sound: what holds is taken off the list of what is not
//! proven, what fails or is unclear is kept, and both make the outcome.

use crate::evidence::{Evidence, Measured, Missing, SlotVoltages};
use crate::finding::{Finding, FindingCode, NextCheck};
use crate::limits::Limits;
use crate::slots::ClipTarget;
use crate::topology::{Topology, TopologySet};
use crate::units::Ohms;
use crate::verdict::{Outcome, Unproven, Verdict};

use super::appliance::watch;
use super::ladder::{LIVE_THROUGHOUT, add};
use super::rungs::{Rung, conductors, earth_path, is_out_of_band, load_step, supply};

/// Findings of the rungs: supply, earth path, neutral, hot conductor, load step and what the
/// appliance adds, at most one each.
type List = heapless::Vec<Finding, 8>;

/// What the rungs found.
#[derive(Default)]
struct Found {
    faults: List,
    doubts: List,
}

impl Found {
    /// A fault; a second one of the same code adds what it knows of the rivals.
    fn fault(&mut self, finding: Finding) {
        let same = |one: &&mut Finding| one.code == finding.code;
        if let Some(before) = self.faults.iter_mut().find(same) {
            before.rivals = before.rivals.intersection(finding.rivals);
        } else {
            // Eight places, see `List`.
            let _ = self.faults.push(finding);
        }
    }

    fn doubt(&mut self, finding: Finding) {
        let _ = self.doubts.push(finding);
    }

    /// Files what a rung gave; whether it holds.
    fn take(&mut self, rung: Rung) -> bool {
        match rung {
            Rung::Holds => return true,
            Rung::Fails(finding) => self.fault(finding),
            Rung::Unclear(finding) => self.doubt(finding),
            Rung::NotAsked => {}
        }
        false
    }

    /// An independent earth has shown polarity: nothing reversed is left in any set.
    fn polarity_is_proven(&mut self) {
        for finding in &mut self.faults {
            finding.rivals = finding.rivals.without(TopologySet::of(&LIVE_THROUGHOUT));
        }
    }
}

/// Climbs on from slots that read sound.
pub(super) fn climb(
    evidence: &Evidence,
    slots: &SlotVoltages,
    wiring: Finding,
    limits: &Limits,
) -> Verdict {
    let mut found = Found::default();
    match supply(slots, limits) {
        Some(supply) if is_out_of_band(supply.code) => found.fault(supply),
        Some(supply) => found.doubt(supply),
        None => {}
    }
    let earth_path = found.take(earth_path(evidence, limits));
    for finding in conductors(evidence, limits).into_iter().flatten() {
        found.fault(finding);
    }
    let separate_ground = found.take(load_step(evidence, limits));
    for rung in watch(evidence, limits) {
        found.take(rung);
    }
    // What the clip says has taken the reversed members out if an independent earth shows
    // them not to be.
    let may_be_reversed = wiring.rivals.contains(Topology::Mirror);
    let earth = clip_on_earth(evidence, limits);
    let unproven = Unproven {
        earth_path: !earth_path,
        separate_ground: !separate_ground,
        polarity: may_be_reversed || earth.is_err(),
    };
    if !may_be_reversed {
        found.polarity_is_proven();
    }
    let mut verdict = Verdict {
        outcome: outcome(&found, unproven, may_be_reversed),
        findings: heapless::Vec::new(),
        unproven,
    };
    for finding in found.faults.iter().chain(&found.doubts) {
        add(&mut verdict, Some(*finding));
    }
    let to_earth = match earth {
        Err(next) if !may_be_reversed => next,
        _ => NextCheck::ClipOnIndependentEarth,
    };
    add(&mut verdict, Some(next_of(wiring, unproven, to_earth)));
    verdict
}

/// Whether the clip was shown to touch an earth by a current of the drive, and the limiters in
/// both of the drive's legs to hold; what to do where they were not.
fn clip_on_earth(evidence: &Evidence, limits: &Limits) -> Result<(), NextCheck> {
    if evidence.clip_target != ClipTarget::IndependentEarth {
        return Err(NextCheck::ClipOnIndependentEarth);
    }
    reached(evidence.neutral_to_clip, limits)?;
    reached(evidence.neutral_and_ground, limits)
}

/// Whether the drive reached what it was closed on, within what its limiter can be tested over: a
/// reading counts only with its limiter tested ([`Missing::LimiterUntested`]).
fn reached(path: Measured<Ohms>, limits: &Limits) -> Result<(), NextCheck> {
    match path {
        Measured::Known(path) if path.value <= limits.limiters.path_most => Ok(()),
        // More than three volts on the neutral: the drive is not closed onto them.
        Measured::Missing(Missing::Refused) => Err(NextCheck::LoadsOffAndRepeat),
        Measured::Missing(
            Missing::NotAsked
            | Missing::Unsteady
            | Missing::Clipped
            | Missing::NoVoltage
            | Missing::RelaysUntested
            | Missing::LimiterUntested,
        ) => Err(NextCheck::Repeat),
        // Paint, rust, a rod in dry ground: another earth.
        Measured::Known(_)
        | Measured::Missing(Missing::BeyondRange | Missing::NoCurrent | Missing::ClipFree) => {
            Err(NextCheck::ClipOnIndependentEarth)
        }
    }
}

fn outcome(found: &Found, unproven: Unproven, may_be_reversed: bool) -> Outcome {
    // A joint near the receptacle whose polarity is open may be the reversed one, with every
    // frame live.
    let may_be_live = may_be_reversed
        && found
            .faults
            .iter()
            .any(|finding| finding.rivals.may_energise_ground());
    // A watch that was asked for and gave no answer is no "no fault found".
    let watch_is_open = found.doubts.iter().any(|finding| {
        matches!(
            finding.code,
            FindingCode::FrameGroundSuspect | FindingCode::WatchNotExercised
        )
    });
    if may_be_live {
        Outcome::Danger
    } else if !found.faults.is_empty() {
        Outcome::Fault
    } else if watch_is_open {
        Outcome::CannotTell
    } else if unproven.is_empty() {
        Outcome::Proven
    } else {
        Outcome::NoFaultFound
    }
}

/// The finding with the next step that would prove more, and without the rivals that are
/// already excluded.
fn next_of(mut wiring: Finding, unproven: Unproven, to_earth: NextCheck) -> Finding {
    if !unproven.earth_path {
        wiring.rivals = wiring.rivals.without(TopologySet::of(&[
            Topology::GroundOnRodOnly,
            Topology::WeakGround,
            Topology::LostPanelBond,
        ]));
    }
    if !unproven.separate_ground {
        wiring.rivals = wiring.rivals.without(TopologySet::of(&[
            Topology::JoinedAtBox,
            Topology::ReversedAndJoined,
            Topology::JoinedInAppliance,
            Topology::WeakNeutral,
        ]));
    }
    wiring.next = if unproven.polarity {
        to_earth
    } else if unproven.earth_path {
        NextCheck::EarthPath
    } else if unproven.separate_ground {
        NextCheck::LoadSteps
    } else {
        NextCheck::None
    };
    wiring
}
