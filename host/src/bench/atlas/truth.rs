//! What the core calls each wiring of the enumeration: the virtual receptacle, field by field,
//! as the core's structure, and the name of that.

use slotwise_core::topology::{Conductor, Join, Landed, Series, Supply, Topology, Wiring};
use slotwise_virtual::house::{self, Entry, Joint, Receptacle};

/// The core's name of `entry`.
#[must_use]
pub fn topology(entry: &Entry) -> Topology {
    wiring(&entry.receptacle).topology()
}

/// What is behind `receptacle`, as the core puts it.
#[must_use]
pub fn wiring(receptacle: &Receptacle) -> Wiring {
    let appliance = receptacle.appliance.as_ref();
    Wiring {
        narrow: conductor(receptacle.narrow),
        wide: conductor(receptacle.wide),
        ground: conductor(receptacle.ground),
        hot_series: series(receptacle.hot_joint),
        neutral_series: series(receptacle.neutral_joint),
        ground_series: series(receptacle.ground_joint),
        join: if receptacle.jumper.is_some() {
            Some(Join::AtBox)
        } else if receptacle.joined_upstream.is_some() {
            Some(Join::Upstream)
        } else {
            appliance
                .and_then(|appliance| appliance.joined)
                .map(|_| Join::InAppliance)
        },
        landed: match receptacle.landed {
            house::Landed::Right => Landed::Right,
            house::Landed::HotNeutralExchanged => Landed::HotNeutralExchanged,
            house::Landed::BusesExchanged => Landed::BusesExchanged,
            house::Landed::GroundOnHot => Landed::GroundOnHot,
        },
        supply: supply(receptacle),
        load_on: appliance.is_some_and(|appliance| appliance.current.get() > 0.0),
    }
}

const fn conductor(on: house::Conductor) -> Conductor {
    match on {
        house::Conductor::Leg1 => Conductor::HotLeg1,
        house::Conductor::Leg2 => Conductor::HotLeg2,
        house::Conductor::Neutral => Conductor::Neutral,
        house::Conductor::Ground => Conductor::EquipmentGround,
        house::Conductor::Rod(_) => Conductor::RodOrPipe,
        house::Conductor::Nothing => Conductor::Nothing,
    }
}

const fn series(joint: Joint) -> Series {
    match joint {
        Joint::Sound => Series::Sound,
        Joint::Weak(ohms) => Series::Weak(ohms),
        Joint::Open => Series::Open,
    }
}

fn supply(receptacle: &Receptacle) -> Supply {
    let house = &receptacle.house;
    if !house.bonded {
        Supply::Floating
    } else if !receptacle.breaker_on {
        Supply::BreakerOff
    } else if house.service_neutral == Joint::Open {
        Supply::ServiceNeutralLost
    } else if house.panel_bond == Joint::Open {
        Supply::PanelBondLost
    } else {
        Supply::Sound
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use slotwise_virtual::house::enumeration;
    use std::collections::BTreeSet;

    #[test]
    fn every_name_has_a_wiring_in_the_enumeration() {
        let named: BTreeSet<u8> = enumeration()
            .iter()
            .map(|entry| topology(entry) as u8)
            .collect();
        let all: BTreeSet<u8> = Topology::ALL.map(|topology| topology as u8).into();
        assert_eq!(named, all);
    }
}
