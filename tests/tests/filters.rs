//! Appliances with an interference filter, from the circuit to the verdict: what the tester
//! says when capacitors hang on the ground hole beside it.
//!
//! The filter of every furnace board and switching supply ties its frame to both lines. On a
//! sound ground that is 0.1 mA of leakage and nothing to report. On an open ground the frame
//! stands at half the line, and no size of capacitor may make that look sound.

use slotwise_core::finding::FindingCode::{OpenGround, ReadsSound, ReversedPolarity};
use slotwise_core::slots::ClipTarget;
use slotwise_core::verdict::{Outcome, Verdict};
use slotwise_tests::measured::first_test;
use slotwise_virtual::house::Conductor::{Ground, Leg1, Neutral, Nothing};
use slotwise_virtual::house::{Appliance, EmiFilter, Joint, Receptacle};
use slotwise_virtual::quantity::Farads;
use slotwise_virtual::tester::{Specimen, Tolerance};

fn filter(across_nanofarads: f64, to_frame_nanofarads: f64) -> EmiFilter {
    EmiFilter {
        across: Farads::from_pico(across_nanofarads * 1000.0),
        to_frame: Farads::from_pico(to_frame_nanofarads * 1000.0),
    }
}

/// From a charger to the largest that the 0.75 mA of a fixed appliance lets in.
fn filters() -> [EmiFilter; 5] {
    [
        filter(0.0, 0.47),
        EmiFilter::USUAL,
        filter(330.0, 4.7),
        filter(1000.0, 11.0),
        filter(2200.0, 16.0),
    ]
}

fn judged(receptacle: &Receptacle, seed: u64) -> Verdict {
    let specimen = Specimen::draw(seed, &Tolerance::USUAL);
    first_test(&specimen, receptacle, receptacle.clip)
        .test
        .verdict
}

fn with(receptacle: Receptacle, filter: EmiFilter, amperes: f32) -> Receptacle {
    receptacle.with_appliance(Appliance::steady(amperes).with_filter(filter))
}

#[test]
fn a_filter_on_a_sound_ground_is_nothing_to_report() {
    for filter in filters() {
        for amperes in [0.0, 6.0] {
            let verdict = judged(&with(Receptacle::sound(), filter, amperes), 1);
            let first = verdict.first().map(|finding| finding.code);
            assert_eq!(
                (verdict.outcome, first),
                (Outcome::NoFaultFound, Some(ReadsSound)),
                "{filter:?}, {amperes} A"
            );
        }
    }
}

#[test]
fn a_filter_on_reversed_slots_hides_nothing() {
    let reversed = Receptacle::sound().with_slots(Neutral, Leg1, Ground);
    for filter in filters() {
        let verdict = judged(&with(reversed.clone(), filter, 6.0), 2);
        let first = verdict.first().map(|finding| finding.code);
        assert_eq!(
            (verdict.outcome, first),
            (Outcome::Danger, Some(ReversedPolarity)),
            "{filter:?}"
        );
    }
}

/// Nothing on the terminal, or a wire that is open somewhere: with the appliance on and off,
/// polarity right and reversed, the clip free and on the floating frame.
#[test]
fn a_floating_frame_is_an_open_ground_and_never_good() {
    let mut said = std::collections::BTreeMap::new();
    let bare = |narrow, wide| Receptacle::sound().with_slots(narrow, wide, Nothing);
    let broken = |narrow, wide| Receptacle {
        ground_joint: Joint::Open,
        ..Receptacle::sound().with_slots(narrow, wide, Ground)
    };
    for seed in 1..=3 {
        for filter in filters() {
            for amperes in [0.0, 6.0] {
                for (narrow, wide) in [(Leg1, Neutral), (Neutral, Leg1)] {
                    for receptacle in [bare(narrow, wide), broken(narrow, wide)] {
                        for clip in [ClipTarget::NotConnected, ClipTarget::ApplianceFrame] {
                            let receptacle =
                                with(receptacle.clone(), filter, amperes).with_clip(clip);
                            let verdict = judged(&receptacle, seed);
                            let first = verdict.first().map(|finding| finding.code);
                            let says = format!("{:?} {first:?}", verdict.outcome);
                            *said.entry(says).or_insert(0) += 1;
                            assert_ne!(
                                verdict.outcome,
                                Outcome::NoFaultFound,
                                "{filter:?}, {narrow:?} {wide:?}, {clip:?}: {verdict:?}"
                            );
                            assert_eq!(first, Some(OpenGround), "{filter:?}, {narrow:?} {wide:?}");
                        }
                    }
                }
            }
        }
    }
    println!("a floating frame: {said:?}");
}
