//! The structure of a wiring: what each slot is on, and what lies between there and the supply.
//!
//! ```text
//!  leg 1 ──breaker──[series]──┐                      ┌─ narrow
//!  leg 2 ──breaker──[series]──┤ each slot on one of  ├─ wide
//!  neutral bus ─────[series]──┤ them, or on nothing  ├─ ground ── appliance's frame
//!      │ panel bond           │    join at the box   │    join in the appliance
//!  ground bus ──────[series]──┘    join upstream     └─
//!  rod
//! ```
//!
//! Model: every slot stands at one of four potentials ([`Potential`]): hot of leg 1, hot of
//! leg 2, earth, or floating. Neutral, equipment ground and rod are all at earth; what tells
//! them apart is resistance, so it matters to the name and not to the potential. Limits: one
//! join; one series resistance a conductor; no strays, so what a floating slot reads is not
//! in it.

use super::Topology;
use crate::units::Ohms;

/// What a slot's terminal is wired to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Conductor {
    /// The hot conductor of leg 1.
    HotLeg1,
    /// The hot conductor of leg 2.
    HotLeg2,
    /// The neutral of the branch circuit.
    Neutral,
    /// The equipment grounding conductor.
    EquipmentGround,
    /// A rod or pipe of its own, with no conductor back to the panel.
    RodOrPipe,
    /// Nothing.
    Nothing,
}

/// What lies in series with a conductor on its way to the box.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub enum Series {
    /// Copper and tight joints.
    #[default]
    Sound,
    /// A joint of this much resistance.
    Weak(Ohms),
    /// A break.
    Open,
}

/// Where neutral and ground are joined besides the panel.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Join {
    /// At the box: ground slot to wide slot.
    AtBox,
    /// In a box upstream; no ground conductor beyond it.
    Upstream,
    /// Between neutral and frame inside the appliance that is plugged in.
    InAppliance,
}

/// Which buses of the panel the conductors of the branch are landed on.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Landed {
    /// Each where it belongs.
    #[default]
    Right,
    /// Hot conductor on the neutral bus, neutral conductor on the breaker of leg 1.
    HotNeutralExchanged,
    /// Hot conductor on the neutral bus, neutral and ground conductors on the breaker: the
    /// mirror of a sound receptacle.
    BusesExchanged,
    /// Ground conductor on the breaker as well.
    GroundOnHot,
}

/// What is wrong at panel, service or source.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Supply {
    /// Nothing.
    #[default]
    Sound,
    /// The breaker is off or tripped, or the receptacle is switched off.
    BreakerOff,
    /// The service neutral is lost.
    ServiceNeutralLost,
    /// Neutral and ground are not bonded at the panel.
    PanelBondLost,
    /// An inverter or generator whose output floats.
    Floating,
}

/// At what a slot stands, if nothing but the wiring decides.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Potential {
    /// Hot of leg 1.
    Leg1,
    /// Hot of leg 2.
    Leg2,
    /// Earth: neutral, equipment ground or rod.
    Earth,
    /// Held by nothing.
    Floating,
}

impl Potential {
    const fn is_hot(self) -> bool {
        matches!(self, Self::Leg1 | Self::Leg2)
    }
}

/// One structure.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Wiring {
    /// What the narrow slot is on.
    pub narrow: Conductor,
    /// What the wide slot is on.
    pub wide: Conductor,
    /// What the ground slot is on.
    pub ground: Conductor,
    /// In series with the hot conductors.
    pub hot_series: Series,
    /// In series with the neutral.
    pub neutral_series: Series,
    /// In series with the equipment grounding conductor.
    pub ground_series: Series,
    /// A join of neutral and ground.
    pub join: Option<Join>,
    /// How the branch is landed in the panel.
    pub landed: Landed,
    /// Panel, service and source.
    pub supply: Supply,
    /// Whether a load between narrow and wide is switched on.
    pub load_on: bool,
}

impl Wiring {
    /// Hot of leg 1 on narrow, neutral on wide, equipment ground on the ground slot, nothing
    /// wrong, nothing switched on.
    pub const SOUND: Self = Self {
        narrow: Conductor::HotLeg1,
        wide: Conductor::Neutral,
        ground: Conductor::EquipmentGround,
        hot_series: Series::Sound,
        neutral_series: Series::Sound,
        ground_series: Series::Sound,
        join: None,
        landed: Landed::Right,
        supply: Supply::Sound,
        load_on: false,
    };

    /// The same with the slots on these.
    #[must_use]
    pub const fn with_slots(self, narrow: Conductor, wide: Conductor, ground: Conductor) -> Self {
        Self {
            narrow,
            wide,
            ground,
            ..self
        }
    }

    /// At what narrow, wide and ground stand. A load that is switched on pulls a floating wide
    /// slot to what narrow is on, and the other way round.
    #[must_use]
    pub fn potentials(&self) -> [Potential; 3] {
        if self.supply == Supply::BreakerOff {
            return [self.narrow, self.wide, self.ground].map(|on| match self.of(on) {
                Potential::Earth => Potential::Earth,
                _ => Potential::Floating,
            });
        }
        let [mut narrow, mut wide, mut ground] =
            [self.narrow, self.wide, self.ground].map(|on| self.of(on));
        if self.load_on {
            if wide == Potential::Floating {
                wide = narrow;
            } else if narrow == Potential::Floating {
                narrow = wide;
            }
        }
        match self.join {
            Some(Join::AtBox | Join::InAppliance) if ground == Potential::Floating => ground = wide,
            Some(Join::AtBox | Join::InAppliance) if wide == Potential::Floating => wide = ground,
            // Beyond the join the ground conductor is the neutral one.
            Some(Join::Upstream) if self.ground == Conductor::EquipmentGround => {
                ground = self.at_panel(Conductor::Neutral);
            }
            _ => {}
        }
        [narrow, wide, ground]
    }

    /// Whether the ground slot, and so every frame on it, stands at a hot conductor.
    #[must_use]
    pub fn energises_ground(&self) -> bool {
        self.potentials()[2].is_hot()
    }

    /// At what the box's end of a conductor stands.
    fn of(&self, conductor: Conductor) -> Potential {
        let series = match conductor {
            Conductor::HotLeg1 | Conductor::HotLeg2 => self.hot_series,
            Conductor::Neutral => self.neutral_series,
            Conductor::EquipmentGround => self.ground_series,
            Conductor::RodOrPipe | Conductor::Nothing => Series::Sound,
        };
        if series == Series::Open {
            Potential::Floating
        } else {
            self.at_panel(conductor)
        }
    }

    /// At what the panel's end of a conductor stands.
    const fn at_panel(&self, conductor: Conductor) -> Potential {
        match (conductor, self.landed) {
            (Conductor::Nothing, _) => Potential::Floating,
            (Conductor::RodOrPipe, _) => Potential::Earth,
            (Conductor::HotLeg2, _) => Potential::Leg2,
            (Conductor::HotLeg1, Landed::HotNeutralExchanged | Landed::BusesExchanged) => {
                Potential::Earth
            }
            (Conductor::HotLeg1, _) => Potential::Leg1,
            (Conductor::Neutral, Landed::HotNeutralExchanged | Landed::BusesExchanged) => {
                Potential::Leg1
            }
            (Conductor::EquipmentGround, Landed::GroundOnHot | Landed::BusesExchanged) => {
                Potential::Leg1
            }
            (Conductor::Neutral | Conductor::EquipmentGround, _) => Potential::Earth,
        }
    }

    /// Its name. Where several things are wrong, the one that decides what is read.
    #[must_use]
    pub fn topology(&self) -> Topology {
        match self.supply {
            Supply::Floating => return Topology::FloatingSource,
            Supply::BreakerOff => return Topology::SupplyOff,
            Supply::ServiceNeutralLost => return Topology::LostServiceNeutral,
            Supply::Sound | Supply::PanelBondLost => {}
        }
        // What is pulled along by a load is still broken.
        let quiet = Self {
            load_on: false,
            ..*self
        };
        match quiet.potentials() {
            [narrow, Potential::Earth, Potential::Earth] if narrow.is_hot() => self.shaped_sound(),
            [Potential::Earth, wide, ground] if wide.is_hot() && ground == wide => {
                match (self.join, self.landed) {
                    (Some(Join::Upstream), _) => Topology::ReversedAndJoinedUpstream,
                    (None, Landed::BusesExchanged) => Topology::Mirror,
                    _ => Topology::ReversedAndJoined,
                }
            }
            [narrow, Potential::Floating, Potential::Earth] if narrow.is_hot() && self.load_on => {
                Topology::OpenNeutralUnderLoad
            }
            [narrow, Potential::Floating, Potential::Floating]
                if narrow.is_hot() && self.join.is_some() =>
            {
                Topology::OpenNeutralJoined
            }
            potentials => of_potentials(potentials),
        }
    }

    /// The name of what has hot on narrow, earth on wide and earth on the ground slot.
    fn shaped_sound(&self) -> Topology {
        use Conductor::{EquipmentGround, Neutral, RodOrPipe};
        match (self.join, self.wide, self.ground) {
            (Some(Join::AtBox), ..) => Topology::JoinedAtBox,
            (Some(Join::Upstream), ..) => Topology::JoinedUpstream,
            (Some(Join::InAppliance), ..) => Topology::JoinedInAppliance,
            (None, RodOrPipe, _) => Topology::WeakNeutral,
            (None, Neutral, RodOrPipe) => Topology::GroundOnRodOnly,
            (None, EquipmentGround, Neutral) => Topology::NeutralGroundExchanged,
            (None, Neutral, EquipmentGround) => self.weak_somewhere(),
            // Both slots on one conductor.
            _ => Topology::JoinedAtBox,
        }
    }

    /// The name of slots that are each on the right conductor.
    const fn weak_somewhere(&self) -> Topology {
        if matches!(self.supply, Supply::PanelBondLost) {
            Topology::LostPanelBond
        } else if matches!(self.neutral_series, Series::Weak(_)) {
            Topology::WeakNeutral
        } else if matches!(self.hot_series, Series::Weak(_)) {
            Topology::WeakHot
        } else if matches!(self.ground_series, Series::Weak(_)) {
            Topology::WeakGround
        } else {
            Topology::Sound
        }
    }
}

/// The name of three potentials where nothing but them matters.
fn of_potentials(potentials: [Potential; 3]) -> Topology {
    use Potential::{Earth, Floating};
    let hot = Potential::is_hot;
    match potentials {
        [n, Earth, Floating] if hot(n) => Topology::OpenGround,
        [n, Earth, g] if hot(n) && g == n => Topology::GroundOnHotSameLeg,
        [n, Earth, g] if hot(n) && hot(g) => Topology::GroundOnHotOtherLeg,
        [n, Floating, Earth] if hot(n) => Topology::OpenNeutral,
        [n, Floating, Floating] if hot(n) => Topology::OpenNeutralAndGround,
        [n, Floating, g] if hot(n) && g == n => Topology::OpenNeutralGroundOnHot,
        [n, Floating, _] if hot(n) => Topology::OpenNeutralGroundOnOtherLeg,
        [n, w, Earth] if hot(n) && w == n => Topology::BladesOnSameHot,
        [n, w, Floating] if hot(n) && w == n => Topology::BladesOnSameHotOpenGround,
        [n, w, g] if hot(n) && w == n && g == n => Topology::AllOnSameHot,
        [n, w, _] if hot(n) && w == n => Topology::BladesOnSameHotGroundOnOtherLeg,
        [n, w, Earth] if hot(n) && hot(w) => Topology::TwoHots,
        [n, w, Floating] if hot(n) && hot(w) => Topology::TwoHotsOpenGround,
        [n, w, _] if hot(n) && hot(w) => Topology::TwoHotsGroundOnHot,
        [Earth, w, Earth] if hot(w) => Topology::ReversedPolarity,
        [Earth, w, Floating] if hot(w) => Topology::ReversedOpenGround,
        [Earth, w, _] if hot(w) => Topology::ReversedGroundOnOtherLeg,
        [Earth, Earth, g] if hot(g) => Topology::HotOnGroundOnly,
        [Earth, Floating, g] if hot(g) => Topology::OpenWideHotOnGround,
        [Floating, w, Earth] if hot(w) => Topology::OpenNarrowHotOnWide,
        [Floating, w, Floating] if hot(w) => Topology::HotOnWideOnly,
        [Floating, w, g] if hot(w) && g == w => Topology::OpenNarrowHotOnWideAndGround,
        [Floating, w, _] if hot(w) => Topology::OpenNarrowTwoHots,
        [Floating, Earth, g] if hot(g) => Topology::OpenNarrowHotOnGround,
        [Floating, Floating, g] if hot(g) => Topology::HotOnGroundBladesOpen,
        [Floating, Earth, Earth] => Topology::OpenHot,
        _ => Topology::NoHot,
    }
}
