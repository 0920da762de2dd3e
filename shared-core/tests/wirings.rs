//! Wirings with a floating slot or without voltage between the slots: what the pattern is
//! called, and what an independent earth adds.
//!
//! The voltages are those of three or four equal strings of 1 Mohm and a supply of 120 V
//! (arithmetic): a slot on nothing stands at the star, the mean of what the others are at.

mod receptacles;

use receptacles::slots_at;
use slotwise_core::finding::FindingCode;
use slotwise_core::judge::judge;
use slotwise_core::lamps::{Lamp, Panel, Rhythm};
use slotwise_core::limits::Limits;
use slotwise_core::topology::Topology;
use slotwise_core::verdict::{Outcome, Verdict};

fn verdict(slots: [Option<f32>; 3], clip: bool) -> Verdict {
    judge(&slots_at(slots, clip), &Limits::DEFAULT)
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
    let evidence = slots_at([None, HOT, EARTH], true);
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
