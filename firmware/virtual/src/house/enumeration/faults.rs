//! The forty faults of the enumeration that no choice of conductors makes. Sizes are
//! judgement: from what only just matters to what is all but open.

use super::super::receptacle::Conductor::{Ground, Leg1, Neutral, Nothing, Rod};
use super::super::receptacle::{Appliance, House, Joint, Landed, Receptacle};
use super::{Entry, JUMPER, Kind};
use slotwise_core::units::{Amperes, Ohms, Ratio};

/// A heater that is left on.
const HEATER: Appliance = Appliance::steady(6.0);

fn fault(name: impl Into<String>, wired: impl Into<String>, receptacle: Receptacle) -> Entry {
    Entry {
        name: name.into(),
        wired: wired.into(),
        kind: Kind::Fault,
        receptacle,
    }
}

fn sound() -> Receptacle {
    Receptacle::sound()
}

pub(super) fn faults() -> Vec<Entry> {
    let mut all = joints();
    all.extend(rods());
    all.extend(supply());
    all.extend(breaks());
    all.extend(landed());
    all.extend(joins());
    all
}

/// Joints in a conductor of a receptacle that is right otherwise.
fn joints() -> Vec<Entry> {
    let name = |conductor: &str, ohms: f32| format!("{conductor}-joint-{ohms}-ohm");
    let words = |conductor: &str, ohms: f32| format!("a joint of {ohms} ohm in the {conductor}");
    let weak = |ohms| Joint::Weak(Ohms::new(ohms));
    let neutral = [1.0, 5.0, 10.0, 100.0].map(|ohms| {
        let receptacle = Receptacle {
            neutral_joint: weak(ohms),
            ..sound()
        };
        fault(name("neutral", ohms), words("neutral", ohms), receptacle)
    });
    let ground = [1.0, 5.0, 10.0, 100.0, 1000.0].map(|ohms| {
        let receptacle = Receptacle {
            ground_joint: weak(ohms),
            ..sound()
        };
        fault(name("ground", ohms), words("ground", ohms), receptacle)
    });
    let hot = [1.0, 10.0].map(|ohms| {
        let receptacle = Receptacle {
            hot_joint: weak(ohms),
            ..sound()
        };
        fault(name("hot", ohms), words("hot conductor", ohms), receptacle)
    });
    neutral.into_iter().chain(ground).chain(hot).collect()
}

/// A rod instead of a conductor back to the panel.
fn rods() -> Vec<Entry> {
    let mut all: Vec<Entry> = [5.0, 25.0, 100.0]
        .map(|ohms| {
            fault(
                format!("ground-on-rod-{ohms}-ohm"),
                format!("ground hole on a rod of {ohms} ohm only"),
                sound().with_slots(Leg1, Neutral, Rod(Ohms::new(ohms))),
            )
        })
        .into();
    let rod = Rod(Ohms::new(25.0));
    all.push(fault(
        "reversed-ground-on-rod",
        "hot and neutral exchanged, ground hole on a rod of 25 ohm only",
        sound().with_slots(Neutral, Leg1, rod),
    ));
    all.push(fault(
        "wide-on-rod",
        "wide slot on a rod of 25 ohm instead of the neutral",
        sound().with_slots(Leg1, rod, Ground),
    ));
    all
}

/// The supply: service neutral, breaker, generator.
fn supply() -> Vec<Entry> {
    let lost = |background: [f32; 2]| Receptacle {
        house: House {
            service_neutral: Joint::Open,
            background: background.map(Amperes::new),
            ..House::default()
        },
        ..sound()
    };
    let off = Receptacle {
        breaker_on: false,
        ..sound()
    };
    let unbonded = House {
        panel_bond: Joint::Open,
        ..House::default()
    };
    let generator = House {
        bonded: false,
        background: [Amperes::new(4.0); 2],
        ..House::default()
    };
    vec![
        fault(
            "lost-service-neutral-low",
            "service neutral lost, this leg carries the greater load",
            lost([28.0, 12.0]),
        ),
        fault(
            "lost-service-neutral-high",
            "service neutral lost, the other leg carries the greater load",
            lost([12.0, 28.0]),
        ),
        fault(
            "lost-service-neutral-balanced",
            "service neutral lost, both legs loaded alike",
            lost([20.0, 20.0]),
        ),
        fault(
            "panel-bond-lost",
            "neutral and ground not bonded at the panel, the ground bus on its rod of 25 ohm only",
            Receptacle {
                house: unbonded,
                ..sound()
            },
        ),
        fault("breaker-off", "breaker off", off.clone()),
        fault(
            "breaker-off-with-load",
            "breaker off, a heater on the receptacle switched on",
            off.clone().with_appliance(HEATER),
        ),
        fault(
            "breaker-off-reversed",
            "breaker off, hot and neutral exchanged",
            off.with_slots(Neutral, Leg1, Ground),
        ),
        fault(
            "floating-generator",
            "a generator whose neutral is not bonded to ground, at 60 Hz",
            Receptacle {
                house: generator,
                ..sound()
            },
        ),
    ]
}

/// Breaks on the way to the box, and what a load does to them.
fn breaks() -> Vec<Entry> {
    let open_neutral = Receptacle {
        neutral_joint: Joint::Open,
        ..sound()
    };
    let open_hot = Receptacle {
        hot_joint: Joint::Open,
        ..sound()
    };
    let open_ground = Receptacle {
        ground_joint: Joint::Open,
        ..sound()
    };
    let leaking = Appliance {
        leak: Amperes::new(0.0005),
        ..Appliance::steady(1.0)
    };
    vec![
        fault(
            "neutral-broken",
            "neutral broken upstream",
            open_neutral.clone(),
        ),
        fault(
            "neutral-broken-with-load",
            "neutral broken upstream, a heater on the receptacle switched on",
            open_neutral.clone().with_appliance(HEATER),
        ),
        fault(
            "neutral-broken-joined-with-load",
            "neutral broken upstream, ground hole joined to wide, a heater switched on: every \
             frame live",
            Receptacle {
                jumper: Some(JUMPER),
                ..open_neutral
                    .clone()
                    .with_slots(Leg1, Neutral, Nothing)
                    .with_appliance(HEATER)
            },
        ),
        fault(
            "hot-broken",
            "hot conductor broken upstream",
            open_hot.clone(),
        ),
        fault(
            "hot-broken-with-load",
            "hot conductor broken upstream, a heater on the receptacle switched on",
            open_hot.with_appliance(HEATER),
        ),
        fault(
            "ground-broken",
            "ground broken upstream",
            open_ground.clone(),
        ),
        fault(
            "ground-broken-leaking",
            "ground broken upstream, an appliance leaks 0.5 mA onto its frame",
            open_ground.clone().with_appliance(leaking),
        ),
        fault(
            "neutral-and-ground-broken",
            "neutral and ground broken upstream",
            Receptacle {
                ground_joint: Joint::Open,
                ..open_neutral.clone()
            },
        ),
        fault(
            "neutral-and-ground-broken-with-load",
            "neutral and ground broken upstream, a heater on the receptacle switched on",
            Receptacle {
                ground_joint: Joint::Open,
                ..open_neutral.with_appliance(HEATER)
            },
        ),
    ]
}

/// Conductors on the wrong bus of the panel.
fn landed() -> Vec<Entry> {
    let on = |landed| Receptacle { landed, ..sound() };
    vec![
        fault(
            "buses-exchanged",
            "hot conductor on the neutral bus, neutral and ground conductors on a breaker: every \
             frame live",
            on(Landed::BusesExchanged),
        ),
        fault(
            "exchanged-in-panel",
            "hot and neutral conductors exchanged in the panel",
            on(Landed::HotNeutralExchanged),
        ),
        fault(
            "ground-on-breaker",
            "ground conductor on the breaker in the panel as well",
            on(Landed::GroundOnHot),
        ),
    ]
}

/// Joins of neutral and ground elsewhere than by a bare jumper at the box.
fn joins() -> Vec<Entry> {
    let half = Some(Ratio::new(0.5));
    vec![
        fault(
            "joined-upstream",
            "ground joined to neutral in a box half way to the panel, no ground beyond it",
            Receptacle {
                joined_upstream: half,
                ..sound()
            },
        ),
        fault(
            "reversed-and-joined-upstream",
            "hot and neutral exchanged in the panel, ground joined to the hot one half way: \
             every frame live",
            Receptacle {
                joined_upstream: half,
                landed: Landed::HotNeutralExchanged,
                ..sound()
            },
        ),
        fault(
            "joined-in-appliance",
            "neutral joined to the frame inside the appliance that is plugged in",
            sound().with_appliance(Appliance::steady(0.0).with_join(JUMPER)),
        ),
        fault(
            "joined-beside-ground",
            "ground hole on ground and joined to wide as well",
            Receptacle {
                jumper: Some(JUMPER),
                ..sound()
            },
        ),
    ]
}
