//! The rival sets of the judgement against the structure of the wirings: what stands at the same
//! potentials gives the same slot voltages, so it must be in the same set.
//!
//! The voltages are those of three equal strings and a supply of 120 V (arithmetic), clip free.

mod receptacles;

use receptacles::slots_at;
use slotwise_core::finding::Finding;
use slotwise_core::judge::judge;
use slotwise_core::limits::Limits;
use slotwise_core::topology::{Potential, Topology};

/// Slot voltages against earth that the structure gives by itself; none where supply or source
/// decide (a lost service neutral, a generator).
fn volts(topology: Topology) -> Option<[Option<f32>; 3]> {
    if matches!(
        topology,
        Topology::LostServiceNeutral | Topology::FloatingSource
    ) {
        return None;
    }
    Some(
        topology
            .structure()
            .potentials()
            .map(|potential| match potential {
                Potential::Leg1 => Some(120.0),
                Potential::Leg2 => Some(-120.0),
                Potential::Earth => Some(0.0),
                Potential::Floating => None,
            }),
    )
}

fn wiring(slots: [Option<f32>; 3]) -> Finding {
    let verdict = judge(&slots_at(slots, false), &Limits::DEFAULT);
    let about_wiring = |finding: &&Finding| !finding.rivals.is_empty();
    *verdict.findings.iter().find(about_wiring).unwrap()
}

#[test]
fn the_set_that_is_named_holds_the_wiring_that_gave_the_voltages() {
    let mut looked_at = 0;
    for topology in Topology::ALL {
        let Some(slots) = volts(topology) else {
            continue;
        };
        // With no slot held, or one alone, nothing drives the strings: what is read is strays.
        if slots.into_iter().flatten().count() < 2 {
            continue;
        }
        looked_at += 1;
        let finding = wiring(slots);
        assert!(
            finding.rivals.contains(topology),
            "{topology:?} reads as {:?}",
            finding.code
        );
    }
    assert_eq!(looked_at, 40);
}

#[test]
fn wirings_at_the_same_potentials_are_rivals_of_each_other() {
    let mut pairs = 0;
    for one in Topology::ALL {
        for other in Topology::ALL {
            let (Some(a), Some(b)) = (volts(one), volts(other)) else {
                continue;
            };
            if a != b || a.into_iter().flatten().count() < 2 {
                continue;
            }
            let finding = wiring(a);
            assert!(finding.rivals.contains(other), "{one:?} and {other:?}");
            pairs += 1;
        }
    }
    assert!(pairs > 40, "only the pairs of each with itself: {pairs}");
}

/// A structure and its mirror over the legs have one name: nothing at a receptacle tells leg 1
/// from leg 2.
#[test]
fn the_legs_are_alike() {
    use slotwise_core::topology::{Conductor, Wiring};
    const ALL: [Conductor; 6] = [
        Conductor::HotLeg1,
        Conductor::HotLeg2,
        Conductor::Neutral,
        Conductor::EquipmentGround,
        Conductor::RodOrPipe,
        Conductor::Nothing,
    ];
    let mirror = |conductor| match conductor {
        Conductor::HotLeg1 => Conductor::HotLeg2,
        Conductor::HotLeg2 => Conductor::HotLeg1,
        other => other,
    };
    for narrow in ALL {
        for wide in ALL {
            for ground in ALL {
                let one = Wiring::SOUND.with_slots(narrow, wide, ground);
                let other = Wiring::SOUND.with_slots(mirror(narrow), mirror(wide), mirror(ground));
                assert_eq!(one.topology(), other.topology());
                assert_eq!(one.energises_ground(), one.topology().energises_ground());
            }
        }
    }
}
