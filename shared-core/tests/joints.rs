//! What P1, P2, the watch and the power-off check add to slots that read sound.
//!
//! Readings are those of the house model solved outside of this project (measurement notes,
//! section 7: neutral joint of 1 and 10 ohm, ground joint, rod), worked cases of section 10, or
//! arithmetic, as each test says. 2 V at idle and 10 ohm with the power off are common practice,
//! no source.

mod receptacles;

use receptacles::{clip, path, proven, receptacle, slots_at, step};
use slotwise_core::evidence::{Evidence, Measured, Missing, Watch};
use slotwise_core::finding::{FindingCode, NextCheck};
use slotwise_core::judge::judge;
use slotwise_core::lamps::{Lamp, Panel, Rhythm};
use slotwise_core::limits::Limits;
use slotwise_core::slots::ClipTarget;
use slotwise_core::topology::Topology;
use slotwise_core::units::Volts;
use slotwise_core::verdict::{Outcome, Verdict};

fn verdict(evidence: &Evidence) -> Verdict {
    judge(evidence, &Limits::DEFAULT)
}

fn first(verdict: &Verdict) -> FindingCode {
    verdict.first().unwrap().code
}

fn volts(value: f32, u: f32) -> Measured<Volts> {
    Measured::known(Volts::new(value), Volts::new(u))
}

fn watch(seconds: u16, steps: u16, a: f32, b: (f32, f32), idle: f32) -> Watch {
    Watch {
        seconds,
        steps,
        neutral_drop: volts(a, 0.01),
        frame_shift: volts(b.0, b.1),
        idle: Volts::new(idle),
        highest: Volts::new(idle + a),
    }
}

/// Slots and path sound, the clip on the appliance's frame.
fn on_the_frame() -> Evidence {
    let mut evidence = receptacle(119.5, 0.0, 0.0);
    evidence.earth_path = path(0.18, 0.05);
    clip(evidence, ClipTarget::ApplianceFrame, 0.1)
}

#[test]
fn a_sound_loop_by_p2_changes_nothing() {
    // Section 7, sound: P1 0.18, P2 0.36.
    let mut evidence = proven();
    evidence.neutral_and_ground = path(0.36, 0.02);
    assert_eq!(verdict(&evidence).outcome, Outcome::Proven);
}

#[test]
fn a_joint_in_the_neutral_shows_without_a_load() {
    // Section 7, neutral joint 1 / 10 ohm: P1 0.18, P2 1.4 / 10.4.
    for (p2, is_found) in [(1.4, true), (10.4, true), (0.36, false), (1.2, false)] {
        let mut evidence = receptacle(119.5, 0.0, 0.0);
        evidence.earth_path = path(0.18, 0.05);
        evidence.neutral_and_ground = path(p2, 0.02);
        let verdict = verdict(&evidence);
        assert_eq!(verdict.has(FindingCode::WeakNeutral), is_found, "{p2}");
        if is_found {
            assert_eq!(verdict.outcome, Outcome::Fault);
            assert!(
                verdict
                    .first()
                    .unwrap()
                    .rivals
                    .contains(Topology::WeakNeutral)
            );
        }
    }
}

#[test]
fn a_drive_that_never_closes_is_a_tester_fault() {
    // Nothing moves, so the reading lacks the reference resistor of 10 ohm.
    let mut evidence = proven();
    evidence.neutral_and_ground = path(-10.0, 0.02);
    let verdict = verdict(&evidence);
    assert_eq!(verdict.outcome, Outcome::TesterFault);
    assert_eq!(first(&verdict), FindingCode::ReferenceResistorUnseen);
}

#[test]
fn a_joint_found_twice_is_one_finding() {
    let mut evidence = proven();
    evidence.neutral_and_ground = path(10.4, 0.06);
    evidence.load_step = Ok(step(0.98, 0.02, 5, 20.0));
    let verdict = verdict(&evidence);
    let found = |finding: &&_| first_code(finding) == FindingCode::WeakNeutral;
    assert_eq!(verdict.findings.iter().filter(found).count(), 1);
}

fn first_code(finding: &slotwise_core::finding::Finding) -> FindingCode {
    finding.code
}

#[test]
fn a_joint_in_the_hot_conductor_is_not_called_joined() {
    // A hot joint of 10 ohm lowers rho to 0.18 / 10.7 = 0.017 (arithmetic): the rule on rho alone
    // would say "joined" (section 5: cannot tell).
    let mut evidence = proven();
    evidence.load_step = Ok(step(0.017, 0.003, 5, 30.0));
    assert_eq!(
        first(&verdict(&evidence)),
        FindingCode::JoinedNearReceptacle
    );
    evidence.hot_and_ground = path(10.6, 1.5);
    let verdict = verdict(&evidence);
    assert_eq!(first(&verdict), FindingCode::WeakHot);
    assert!(!verdict.has(FindingCode::JoinedNearReceptacle));
    assert!(verdict.has(FindingCode::LoadStepUnclear));
    assert!(verdict.unproven.separate_ground);
    assert_eq!(verdict.outcome, Outcome::Fault);
}

#[test]
fn a_neutral_with_resistance_of_its_own_is_not_joined_here() {
    // Lost service neutral, section 7: rho 0.03, P1 0.18, P2 0.36.
    let mut evidence = proven();
    evidence.earth_path = path(0.18, 0.01);
    evidence.neutral_and_ground = path(0.36, 0.01);
    evidence.load_step = Ok(step(0.03, 0.005, 5, 5.0));
    let contradicted = verdict(&evidence);
    assert!(!contradicted.has(FindingCode::JoinedNearReceptacle));
    assert!(contradicted.has(FindingCode::LoadStepUnclear));
    assert_eq!(contradicted.outcome, Outcome::NoFaultFound);
    // Joined at the box, section 7: P1 and P2 0.005.
    evidence.earth_path = path(0.005, 0.01);
    evidence.neutral_and_ground = path(0.005, 0.01);
    assert!(verdict(&evidence).has(FindingCode::JoinedNearReceptacle));
}

#[test]
fn a_path_beyond_range_is_a_fault_and_an_unsteady_one_a_doubt() {
    let mut evidence = proven();
    evidence.earth_path = Measured::Missing(Missing::BeyondRange);
    let open = verdict(&evidence);
    assert_eq!(first(&open), FindingCode::WeakEarthPath);
    assert_eq!(open.outcome, Outcome::Fault);
    for rival in [
        Topology::WeakGround,
        Topology::GroundOnRodOnly,
        Topology::LostPanelBond,
    ] {
        assert!(open.first().unwrap().rivals.contains(rival), "{rival:?}");
    }
    for reason in [Missing::Unsteady, Missing::Refused] {
        evidence.earth_path = Measured::Missing(reason);
        let unclear = verdict(&evidence);
        assert_eq!(unclear.outcome, Outcome::NoFaultFound, "{reason:?}");
        assert_eq!(first(&unclear), FindingCode::EarthPathUnclear);
        assert!(unclear.unproven.earth_path);
        let lamp = Panel::for_verdict(&unclear, &evidence).rhythm(Lamp::EarthPath);
        assert_eq!(lamp, Rhythm::SlowBlink, "{reason:?}");
    }
}

#[test]
fn a_frame_ground_that_moves_with_the_load_is_a_fault() {
    // Section 10: watch 120 s, b 0.586, a 0.931, 14 steps.
    let mut evidence = on_the_frame();
    evidence.watch = Ok(watch(120, 14, 0.931, (0.586, 0.01), 0.1));
    let verdict = verdict(&evidence);
    assert_eq!(first(&verdict), FindingCode::FrameGroundMoves);
    assert_eq!(verdict.outcome, Outcome::Fault);
    assert_eq!(verdict.first().unwrap().next, NextCheck::FrameGround);
    let lamp = Panel::for_verdict(&verdict, &evidence).rhythm(Lamp::SteadyUnderLoad);
    assert_eq!(lamp, Rhythm::FastBlink);
}

#[test]
fn a_sound_outlet_is_not_condemned_for_its_neutral_drop() {
    // 10 A through 0.3 ohm move the clip by 3 V against wide (arithmetic), and not against ground.
    let mut evidence = on_the_frame();
    evidence.watch = Ok(watch(300, 12, 3.0, (0.002, 0.004), 0.1));
    let verdict = verdict(&evidence);
    assert_eq!(verdict.outcome, Outcome::NoFaultFound);
    assert!(!verdict.has(FindingCode::FrameGroundMoves));
    assert!(!verdict.has(FindingCode::FrameVoltageHigh));
}

#[test]
fn between_the_limits_or_too_uneven_is_suspect() {
    // Section 6: 0.05-0.10 V suspect.
    for b in [(0.07, 0.005), (0.03, 0.02), (0.12, 0.05)] {
        let mut evidence = on_the_frame();
        evidence.watch = Ok(watch(300, 12, 1.0, b, 0.1));
        let verdict = verdict(&evidence);
        assert_eq!(first(&verdict), FindingCode::FrameGroundSuspect, "{b:?}");
        assert_eq!(verdict.outcome, Outcome::CannotTell);
        let lamp = Panel::for_verdict(&verdict, &evidence).rhythm(Lamp::SteadyUnderLoad);
        assert_eq!(lamp, Rhythm::SlowBlink, "{b:?}");
    }
}

#[test]
fn a_watch_without_load_steps_is_never_a_pass() {
    let mut evidence = on_the_frame();
    evidence.watch = Ok(watch(1800, 2, 0.0, (0.0, 0.0), 0.1));
    let verdict = verdict(&evidence);
    assert!(verdict.has(FindingCode::WatchNotExercised));
    assert_eq!(verdict.outcome, Outcome::CannotTell);
    let lamp = Panel::for_verdict(&verdict, &evidence).rhythm(Lamp::SteadyUnderLoad);
    assert_eq!(lamp, Rhythm::SlowBlink);
}

#[test]
fn two_volts_at_idle_is_the_limit_of_practice() {
    for (idle, is_fault) in [(1.99, false), (2.01, true), (f32::NAN, true)] {
        let mut evidence = on_the_frame();
        evidence.watch = Ok(watch(300, 12, 1.0, (0.0, 0.002), idle));
        let verdict = verdict(&evidence);
        assert_eq!(
            verdict.has(FindingCode::FrameVoltageHigh),
            is_fault,
            "{idle}"
        );
        assert_eq!(verdict.outcome == Outcome::Fault, is_fault, "{idle}");
    }
}

#[test]
fn power_off_ten_ohm_to_the_burner() {
    // Section 10: 2.00 mA, 20.6 mV = 10.3 ohm fails.
    for (ohms, u, holds) in [(10.3, 0.03, false), (0.3, 0.02, true), (9.95, 0.03, false)] {
        let mut evidence = slots_at([Some(0.0), Some(0.0), Some(0.0)], false);
        evidence.clip_target = ClipTarget::ApplianceFrame;
        evidence.neutral_to_clip = path(ohms, u);
        let verdict = verdict(&evidence);
        assert_eq!(verdict.outcome, Outcome::Fault);
        assert!(verdict.has(FindingCode::Dead));
        assert_eq!(
            verdict.has(FindingCode::NeutralToFrameSound),
            holds,
            "{ohms}"
        );
        assert_eq!(
            verdict.has(FindingCode::NeutralToFrameHigh),
            !holds,
            "{ohms}"
        );
        // The gravest comes first.
        let expected = if holds {
            FindingCode::Dead
        } else {
            FindingCode::NeutralToFrameHigh
        };
        assert_eq!(first(&verdict), expected);
    }
}

#[test]
fn an_open_way_to_the_burner_fails_and_one_not_asked_says_nothing() {
    let mut evidence = slots_at([Some(0.0), Some(0.0), Some(0.0)], false);
    evidence.clip_target = ClipTarget::ApplianceFrame;
    evidence.neutral_to_clip = Measured::Missing(Missing::BeyondRange);
    assert!(verdict(&evidence).has(FindingCode::NeutralToFrameHigh));
    evidence.neutral_to_clip = Measured::Missing(Missing::NotAsked);
    assert_eq!(verdict(&evidence).findings.len(), 1);
    // A relay that did not close reads next to nothing, and that is no way to the burner.
    evidence.neutral_to_clip = Measured::Missing(Missing::NoCurrent);
    assert_eq!(verdict(&evidence).outcome, Outcome::TesterFault);
    // On another earth it is not the burner that was measured.
    evidence.neutral_to_clip = path(0.3, 0.02);
    evidence.clip_target = ClipTarget::IndependentEarth;
    assert_eq!(verdict(&evidence).findings.len(), 1);
}
