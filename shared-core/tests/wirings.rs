//! Wirings with a floating slot or without voltage between the slots: what the pattern is
//! called, and what an independent earth adds.
//!
//! The voltages are those of three or four equal strings of 1 Mohm and a supply of 120 V
//! (arithmetic): a slot on nothing stands at the star, the mean of what the others are at.

use slotwise_core::evidence::{
    Evidence, FrameHealth, Measured, Missing, PairVoltage, Phasor, SlotVoltages,
};
use slotwise_core::finding::FindingCode;
use slotwise_core::judge::judge;
use slotwise_core::lamps::{Lamp, Panel, Rhythm};
use slotwise_core::limits::Limits;
use slotwise_core::slots::ClipTarget;
use slotwise_core::topology::Topology;
use slotwise_core::units::{Hertz, Radians, Ratio, Volts};
use slotwise_core::verdict::{Outcome, Verdict};

/// Evidence of slots at these volts against earth, in phase or against it; `None` is a slot on
/// nothing. `clip` puts the clip on an independent earth.
fn evidence(slots: [Option<f32>; 3], clip: bool) -> Evidence {
    let earth = clip.then_some(0.0);
    let held: Vec<f32> = slots.into_iter().chain([earth]).flatten().collect();
    let star = held.iter().sum::<f32>() / held.len() as f32;
    let [n, w, g] = slots.map(|slot| slot.unwrap_or(star));
    let lead = |volts: f32| Volts::new((volts - star).abs());
    let phasor = |volts: f32| Phasor {
        rms: Volts::new(volts.abs()),
        angle: Radians::new(if volts < 0.0 {
            core::f32::consts::PI
        } else {
            0.0
        }),
    };
    let pair = |volts: f32| PairVoltage {
        fundamental: phasor(volts),
        true_rms: Volts::new(volts.abs()),
        ..PairVoltage::default()
    };
    let mut evidence = Evidence::empty();
    evidence.health = FrameHealth {
        calibrated: true,
        windows: 10,
        bad_frames: 0,
        clipped_frames: 0,
    };
    evidence.slots = Ok(SlotVoltages {
        pairs: [pair(n - w), pair(g - w), pair(n - g)],
        reference: 0,
        u_gain: Ratio::new(0.0011),
        u_floor: Volts::new(0.002),
        leads: [lead(n), lead(w), lead(g), lead(earth.unwrap_or(star))],
    });
    let largest = [n - w, g - w, n - g]
        .map(f32::abs)
        .into_iter()
        .fold(0.0, f32::max);
    evidence.frequency = if largest < 3.0 {
        Measured::Missing(Missing::NoVoltage)
    } else {
        Measured::known(Hertz::new(60.0), Hertz::new(0.002))
    };
    if clip {
        evidence.clip_target = ClipTarget::IndependentEarth;
        evidence.clip_wide = Ok(phasor(0.0 - w));
    }
    evidence
}

fn verdict(slots: [Option<f32>; 3], clip: bool) -> Verdict {
    judge(&evidence(slots, clip), &Limits::DEFAULT)
}

fn first(verdict: &Verdict) -> (Outcome, FindingCode) {
    (verdict.outcome, verdict.first().unwrap().code)
}

const HOT: Option<f32> = Some(120.0);
const OTHER: Option<f32> = Some(-120.0);
const EARTH: Option<f32> = Some(0.0);

#[test]
fn a_floating_narrow_slot_may_have_the_ground_hot() {
    for slots in [[None, HOT, EARTH], [None, EARTH, HOT]] {
        let verdict = verdict(slots, false);
        assert_eq!(
            first(&verdict),
            (Outcome::Danger, FindingCode::ReversedPolarity)
        );
        let rivals = verdict.first().unwrap().rivals;
        assert!(rivals.contains(Topology::OpenNarrowHotOnWide));
        assert!(rivals.contains(Topology::OpenNarrowHotOnGround));
    }
}

#[test]
fn the_clip_tells_which_of_the_two_it_is_and_60_v_is_no_sound_supply() {
    // The clip's string pulls narrow from 60 to 40 V against earth; the pattern stays.
    let on_wide = verdict([None, HOT, EARTH], true);
    assert_eq!(on_wide.outcome, Outcome::Fault);
    let evidence = evidence([None, HOT, EARTH], true);
    let panel = Panel::for_verdict(&on_wide, &evidence);
    assert_eq!(panel.rhythm(Lamp::Supply), Rhythm::Off);
    let on_ground = verdict([None, EARTH, HOT], true);
    assert_eq!(
        first(&on_ground),
        (Outcome::Danger, FindingCode::GroundOnHot)
    );
}

#[test]
fn a_slot_between_two_legs_floats_to_where_neutral_is() {
    let wide = verdict([HOT, None, OTHER], false);
    assert_eq!(first(&wide), (Outcome::Danger, FindingCode::GroundOnHot));
    let rivals = wide.first().unwrap().rivals;
    assert!(rivals.contains(Topology::OpenNeutralGroundOnOtherLeg));
    assert!(rivals.contains(Topology::GroundOnHotOtherLeg));
    let narrow = verdict([None, HOT, OTHER], false);
    assert!(
        narrow
            .first()
            .unwrap()
            .rivals
            .contains(Topology::OpenNarrowTwoHots)
    );
}

#[test]
fn all_slots_on_one_hot_read_dead_until_the_clip_is_on_an_earth() {
    let dead = verdict([HOT, HOT, HOT], false);
    assert_eq!(first(&dead), (Outcome::Fault, FindingCode::Dead));
    assert!(
        dead.first()
            .unwrap()
            .rivals
            .contains(Topology::AllOnSameHot)
    );
    let seen = verdict([HOT, HOT, HOT], true);
    assert_eq!(first(&seen), (Outcome::Danger, FindingCode::Dead));
    assert!(!seen.first().unwrap().rivals.contains(Topology::SupplyOff));
    // Nothing hot: the clip finds wide at earth, and it stays what it was.
    let off = verdict([EARTH, EARTH, EARTH], true);
    assert_eq!(first(&off), (Outcome::Fault, FindingCode::Dead));
    assert!(off.first().unwrap().rivals.contains(Topology::SupplyOff));
}

#[test]
fn the_clips_own_string_makes_voltages_where_only_one_slot_is_held() {
    // Narrow alone on hot: star at 60 V, wide and ground with it.
    let narrow = verdict([HOT, None, None], true);
    assert_eq!(first(&narrow), (Outcome::Danger, FindingCode::OpenNeutral));
    let rivals = narrow.first().unwrap().rivals;
    assert!(rivals.contains(Topology::OpenNeutralAndGround));
    assert!(rivals.contains(Topology::OpenNeutralJoined));
    // Ground alone on hot, and narrow and ground together: no pattern, but away from earth.
    for slots in [[None, None, HOT], [HOT, None, HOT], [None, HOT, HOT]] {
        let verdict = verdict(slots, true);
        assert_eq!(
            first(&verdict),
            (Outcome::Danger, FindingCode::GroundOnHot),
            "{slots:?}"
        );
    }
    // Wide alone: the open ground is pulled along and is not held by anything.
    let wide = verdict([None, HOT, None], true);
    assert_eq!(first(&wide), (Outcome::Fault, FindingCode::UnknownPattern));
}

#[test]
fn both_blades_on_one_leg_and_the_ground_on_the_other_is_a_danger() {
    let verdict = verdict([HOT, HOT, OTHER], false);
    assert_eq!(first(&verdict), (Outcome::Danger, FindingCode::GroundOnHot));
}
