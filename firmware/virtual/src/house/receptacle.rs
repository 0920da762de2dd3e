//! What is behind one receptacle: which conductor each slot is on, breaks and joints, what is
//! plugged in beside the tester, and what the clip is on.
//!
//! Everything has a sound default, so a wiring fault is written as the one field that
//! differs.

use super::copper::{Copper, Gauge};
use super::gfci::Gfci;
use super::supply::Supply;
use crate::quantity::{Farads, Metres};
use slotwise_core::slots::ClipTarget;
use slotwise_core::units::{Amperes, Celsius, Millis, Ohms, Ratio};

/// What a slot's terminal is wired to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Conductor {
    /// The hot conductor of leg 1.
    Leg1,
    /// The hot conductor of leg 2.
    Leg2,
    /// The neutral of the branch circuit.
    Neutral,
    /// The equipment grounding conductor.
    Ground,
    /// A rod or pipe of its own, this far from earth, with no conductor back to the panel.
    Rod(Ohms),
    /// Nothing.
    Nothing,
}

/// The state of a conductor's joints on its way to the box.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Joint {
    /// Tight: 15 mohm in all.
    Sound,
    /// This much resistance.
    Weak(Ohms),
    /// Open at the box; what remains is stray capacitance.
    Open,
}

/// Which buses of the panel the three conductors of the branch cable are landed on.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Landed {
    /// Each where it belongs.
    #[default]
    Right,
    /// The hot conductor on the neutral bus, the neutral conductor on leg 1's breaker.
    HotNeutralExchanged,
    /// The hot conductor on the neutral bus, the neutral and the ground conductor on leg 1's
    /// breaker: every frame on the branch is live.
    BusesExchanged,
    /// Hot and neutral right, the ground conductor on leg 1's breaker as well.
    GroundOnHot,
}

/// When the appliance on the receptacle draws its current.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Duty {
    /// All the time.
    Steady,
    /// First off, then on, again and again.
    Cycling {
        /// How long each pause lasts.
        off: Millis,
        /// How long each run lasts.
        on: Millis,
    },
}

/// The capacitors of an appliance's interference filter. They sit before its switch: they are
/// there as long as the plug is in.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct EmiFilter {
    /// From line to line (class X), narrow to wide; zero for none.
    pub across: Farads,
    /// From each line to the frame (class Y); zero for none.
    pub to_frame: Farads,
}

impl EmiFilter {
    /// No filter.
    pub const NONE: Self = Self {
        across: Farads::new(0.0),
        to_frame: Farads::new(0.0),
    };

    /// What a small switching supply has: 100 nF across, 2.2 nF from each line to the frame.
    pub const USUAL: Self = Self {
        across: Farads::from_pico(100_000.0),
        to_frame: Farads::from_pico(2_200.0),
    };
}

/// An appliance between the narrow and the wide slot of the same receptacle.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Appliance {
    /// What it draws at 120 V; it is a resistance.
    pub current: Amperes,
    /// What leaks from its hot side to its frame at 120 V while it draws current; zero for
    /// none.
    pub leak: Amperes,
    /// Its interference filter.
    pub filter: EmiFilter,
    /// A join of neutral and frame inside it, whether it runs or not.
    pub joined: Option<Ohms>,
    /// When.
    pub duty: Duty,
}

impl Appliance {
    /// An appliance that is always on.
    #[must_use]
    pub const fn steady(amperes: f32) -> Self {
        Self {
            current: Amperes::new(amperes),
            leak: Amperes::ZERO,
            filter: EmiFilter::NONE,
            joined: None,
            duty: Duty::Steady,
        }
    }

    /// An appliance that is `off` for so many seconds, then `on` for so many, and again.
    #[must_use]
    pub const fn cycling(amperes: f32, off_seconds: u64, on_seconds: u64) -> Self {
        Self {
            current: Amperes::new(amperes),
            leak: Amperes::ZERO,
            filter: EmiFilter::NONE,
            joined: None,
            duty: Duty::Cycling {
                off: Millis::new(1000 * off_seconds),
                on: Millis::new(1000 * on_seconds),
            },
        }
    }

    /// The same appliance with this interference filter.
    #[must_use]
    pub const fn with_filter(mut self, filter: EmiFilter) -> Self {
        self.filter = filter;
        self
    }

    /// The same appliance with neutral and frame joined inside it by this much.
    #[must_use]
    pub const fn with_join(mut self, ohms: Ohms) -> Self {
        self.joined = Some(ohms);
        self
    }

    /// Whether it draws current `millis` ms after the plug went in.
    #[must_use]
    pub const fn is_on(&self, millis: u64) -> bool {
        match self.duty {
            Duty::Steady => true,
            Duty::Cycling { off, on } => {
                let cycle = off.get() + on.get();
                cycle == 0 || millis % cycle >= off.get()
            }
        }
    }
}

/// The house up to its panel.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct House {
    /// Resistance of the transformer, seen by one leg.
    pub transformer: Ohms,
    /// Reactance of the transformer at 60 Hz, seen by one leg.
    pub transformer_reactance: Ohms,
    /// Each service conductor from the transformer to the panel.
    pub service: Ohms,
    /// The service neutral beside its copper.
    pub service_neutral: Joint,
    /// What the rest of the house draws from leg 1 and leg 2, at 120 V.
    pub background: [Amperes; 2],
    /// The utility's electrodes to the far earth.
    pub utility_earth: Ohms,
    /// The house's rod to the far earth.
    pub rod: Ohms,
    /// Whether neutral and ground are bonded at the panel and the supply is earthed; false
    /// for an inverter or generator with a floating output.
    pub bonded: bool,
    /// The main bonding jumper between neutral and ground at the panel of a supply that is
    /// earthed. Open: the ground bus has its rod alone.
    pub panel_bond: Joint,
}

impl Default for House {
    /// A 25 kVA transformer (1.5 % resistance and reactance), 4/0 aluminium service of some
    /// 25 m, 12 A and 8 A in the house; electrodes are judgement.
    fn default() -> Self {
        Self {
            transformer: Ohms::new(0.018),
            transformer_reactance: Ohms::new(0.018),
            service: Ohms::new(0.012),
            service_neutral: Joint::Sound,
            background: [Amperes::new(12.0), Amperes::new(8.0)],
            utility_earth: Ohms::new(5.0),
            rod: Ohms::new(25.0),
            bonded: true,
            panel_bond: Joint::Sound,
        }
    }
}

/// The cable from the panel to the box.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BranchCable {
    /// Size of its conductors.
    pub gauge: Gauge,
    /// Length, one way.
    pub length: Metres,
    /// Temperature of the copper.
    pub temperature: Celsius,
}

impl BranchCable {
    /// One of its conductors.
    #[must_use]
    pub const fn conductor(&self) -> Copper {
        Copper {
            gauge: self.gauge,
            length: self.length,
            temperature: self.temperature,
        }
    }
}

impl Default for BranchCable {
    /// 60 ft of 14 AWG at 22 degC: 0.153 ohm a conductor.
    fn default() -> Self {
        Self {
            gauge: Gauge::Awg14,
            length: Metres::from_feet(60.0),
            temperature: Celsius::new(22.0),
        }
    }
}

/// Stray capacitances around the box. They decide what an open slot reads.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Strays {
    /// Hot to ground beyond the break.
    pub hot_ground: Farads,
    /// Neutral to ground beyond the break.
    pub neutral_ground: Farads,
    /// Hot to neutral beyond the break.
    pub hot_neutral: Farads,
    /// Across an open joint.
    pub across_break: Farads,
    /// A live neighbouring cable to a hot conductor whose breaker is off.
    pub neighbour: Farads,
    /// An open clip, or the room, to each lead.
    pub room: Farads,
}

impl Default for Strays {
    /// Judgement: a few metres of cable beyond the break at 50 pF/m, ground between hot and
    /// neutral but nearer the neutral.
    fn default() -> Self {
        Self {
            hot_ground: Farads::from_pico(60.0),
            neutral_ground: Farads::from_pico(160.0),
            hot_neutral: Farads::from_pico(40.0),
            across_break: Farads::from_pico(15.0),
            neighbour: Farads::from_pico(10.0),
            room: Farads::from_pico(2.0),
        }
    }
}

/// One receptacle with everything that decides what a tester sees there.
#[derive(Clone, Debug, PartialEq)]
pub struct Receptacle {
    /// The utility.
    pub supply: Supply,
    /// The house.
    pub house: House,
    /// The cable to the box.
    pub cable: BranchCable,
    /// Where the cable's conductors are landed in the panel.
    pub landed: Landed,
    /// A box upstream, this share of the way from the panel, in which the ground conductor is
    /// joined to the neutral one and goes no further back.
    pub joined_upstream: Option<Ratio>,
    /// Stray capacitances.
    pub strays: Strays,
    /// What the narrow slot is on.
    pub narrow: Conductor,
    /// What the wide slot is on.
    pub wide: Conductor,
    /// What the ground hole is on.
    pub ground: Conductor,
    /// Joints of the hot conductors.
    pub hot_joint: Joint,
    /// Joints of the neutral.
    pub neutral_joint: Joint,
    /// Joints of the equipment grounding conductor.
    pub ground_joint: Joint,
    /// Resistance of a jumper between the wide slot's and the ground hole's terminals.
    pub jumper: Option<Ohms>,
    /// Whether the breaker is on.
    pub breaker_on: bool,
    /// A ground-fault circuit interrupter between the panel's buses and the cable.
    pub gfci: Option<Gfci>,
    /// What is plugged in beside the tester.
    pub appliance: Option<Appliance>,
    /// Joint between the ground hole and the appliance's frame.
    pub frame_joint: Joint,
    /// What the clip is on.
    pub clip: ClipTarget,
    /// Resistance of the independent earth that the clip can be put on.
    pub independent_earth: Ohms,
}

impl Receptacle {
    /// A receptacle with nothing wrong and nothing plugged in, clip hanging free.
    #[must_use]
    pub fn sound() -> Self {
        Self {
            supply: Supply::default(),
            house: House::default(),
            cable: BranchCable::default(),
            landed: Landed::Right,
            joined_upstream: None,
            strays: Strays::default(),
            narrow: Conductor::Leg1,
            wide: Conductor::Neutral,
            ground: Conductor::Ground,
            hot_joint: Joint::Sound,
            neutral_joint: Joint::Sound,
            ground_joint: Joint::Sound,
            jumper: None,
            breaker_on: true,
            gfci: None,
            appliance: None,
            frame_joint: Joint::Sound,
            clip: ClipTarget::NotConnected,
            independent_earth: Ohms::new(10.0),
        }
    }

    /// The same receptacle with its slots on these conductors.
    #[must_use]
    pub const fn with_slots(
        mut self,
        narrow: Conductor,
        wide: Conductor,
        ground: Conductor,
    ) -> Self {
        self.narrow = narrow;
        self.wide = wide;
        self.ground = ground;
        self
    }

    /// The same receptacle with the clip on `target`.
    #[must_use]
    pub const fn with_clip(mut self, target: ClipTarget) -> Self {
        self.clip = target;
        self
    }

    /// The same receptacle with `appliance` plugged in.
    #[must_use]
    pub const fn with_appliance(mut self, appliance: Appliance) -> Self {
        self.appliance = Some(appliance);
        self
    }

    /// The same receptacle behind a ground-fault circuit interrupter.
    #[must_use]
    pub const fn with_gfci(mut self, gfci: Gfci) -> Self {
        self.gfci = Some(gfci);
        self
    }

    /// The same receptacle on another supply.
    #[must_use]
    pub fn with_supply(mut self, supply: Supply) -> Self {
        self.supply = supply;
        self
    }
}
