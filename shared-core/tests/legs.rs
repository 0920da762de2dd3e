//! "Proven" wants both legs of the drive used and their limiters tested: what is said where one was
//! not, and what to do next.

mod receptacles;

use receptacles::{path, proven};
use slotwise_core::evidence::{Evidence, Measured, Missing};
use slotwise_core::finding::{FindingCode, NextCheck};
use slotwise_core::judge::judge;
use slotwise_core::limits::Limits;
use slotwise_core::slots::ClipTarget;
use slotwise_core::units::Ohms;
use slotwise_core::verdict::{Outcome, Verdict};

fn verdict(evidence: &Evidence) -> Verdict {
    judge(evidence, &Limits::DEFAULT)
}

/// The next check of the finding on the wiring.
fn next(verdict: &Verdict) -> NextCheck {
    let wiring = verdict
        .findings
        .iter()
        .find(|finding| finding.code == FindingCode::ReadsSound);
    wiring.expect("reads sound").next
}

const WHYS: [(Missing, NextCheck); 8] = [
    (Missing::NotAsked, NextCheck::Repeat),
    (Missing::Unsteady, NextCheck::Repeat),
    (Missing::Clipped, NextCheck::Repeat),
    (Missing::RelaysUntested, NextCheck::Repeat),
    (Missing::LimiterUntested, NextCheck::Repeat),
    (Missing::Refused, NextCheck::LoadsOffAndRepeat),
    (Missing::BeyondRange, NextCheck::ClipOnIndependentEarth),
    (Missing::ClipFree, NextCheck::ClipOnIndependentEarth),
];

#[test]
fn without_a_current_to_the_clip_polarity_is_not_proven() {
    assert_eq!(verdict(&proven()).outcome, Outcome::Proven);
    for (why, check) in WHYS {
        let mut evidence = proven();
        evidence.neutral_to_clip = Measured::Missing(why);
        let verdict = verdict(&evidence);
        assert_eq!(verdict.outcome, Outcome::NoFaultFound, "{why:?}");
        assert!(verdict.unproven.polarity, "{why:?}");
        assert!(!verdict.unproven.earth_path && !verdict.unproven.separate_ground);
        assert_eq!(next(&verdict), check, "{why:?}");
    }
    // No current although something reads: a relay or the lead's resistor.
    let mut evidence = proven();
    evidence.neutral_to_clip = Measured::Missing(Missing::NoCurrent);
    assert_eq!(verdict(&evidence).outcome, Outcome::TesterFault);
}

#[test]
fn an_earth_beyond_what_a_limiter_can_be_tested_over_proves_nothing() {
    for (ohms, outcome) in [
        (0.3, Outcome::Proven),
        (25.0, Outcome::Proven),
        (200.0, Outcome::Proven),
        (200.1, Outcome::NoFaultFound),
        (900.0, Outcome::NoFaultFound),
        (f32::NAN, Outcome::NoFaultFound),
    ] {
        let mut evidence = proven();
        evidence.neutral_to_clip = path(ohms, 0.1);
        let verdict = verdict(&evidence);
        assert_eq!(verdict.outcome, outcome, "{ohms}");
        if outcome != Outcome::Proven {
            assert_eq!(next(&verdict), NextCheck::ClipOnIndependentEarth);
        }
    }
}

#[test]
fn metal_that_the_clip_does_not_touch_leaves_the_reversed_ones_among_the_rivals() {
    let mut evidence = proven();
    evidence.neutral_to_clip = Measured::Missing(Missing::BeyondRange);
    let rivals = verdict(&evidence).first().unwrap().rivals;
    assert!(rivals.may_energise_ground());
    // A leg that was not tested says nothing against the voltage that the clip does read.
    evidence.neutral_to_clip = Measured::Missing(Missing::LimiterUntested);
    let rivals = verdict(&evidence).first().unwrap().rivals;
    assert!(!rivals.may_energise_ground());
}

#[test]
fn a_limiter_not_tested_makes_no_danger_of_a_joint() {
    let mut evidence = proven();
    evidence.neutral_to_clip = Measured::Missing(Missing::LimiterUntested);
    evidence.neutral_and_ground = path(3.2, 0.05);
    let verdict = verdict(&evidence);
    assert_eq!(verdict.outcome, Outcome::Fault);
    assert!(verdict.has(FindingCode::WeakNeutral));
}

#[test]
fn the_leg_to_ground_counts_as_well() {
    for why in [Missing::RelaysUntested, Missing::LimiterUntested] {
        let mut evidence = proven();
        evidence.neutral_and_ground = Measured::Missing(why);
        let verdict = verdict(&evidence);
        assert_eq!(verdict.outcome, Outcome::NoFaultFound, "{why:?}");
        assert!(verdict.unproven.earth_path, "{why:?}");
        assert!(verdict.has(FindingCode::EarthPathUnclear), "{why:?}");
    }
    for why in [Missing::Refused, Missing::NotAsked, Missing::Unsteady] {
        let mut evidence = proven();
        evidence.neutral_and_ground = Measured::Missing(why);
        assert_eq!(verdict(&evidence).outcome, Outcome::NoFaultFound, "{why:?}");
    }
}

#[test]
fn a_clip_elsewhere_is_asked_for_as_before() {
    for target in [ClipTarget::NotConnected, ClipTarget::ApplianceFrame] {
        let mut evidence = proven();
        evidence.clip_target = target;
        evidence.neutral_to_clip = Measured::known(Ohms::new(1.0), Ohms::new(0.1));
        let verdict = verdict(&evidence);
        assert_eq!(verdict.outcome, Outcome::NoFaultFound, "{target:?}");
        assert_eq!(next(&verdict), NextCheck::ClipOnIndependentEarth);
    }
}
