//! What each lamp means. The tester asks six questions; a lamp answers one of them by its
//! rhythm, never by colour.
//!
//! Steady = yes. Slow blink = unsure. Fast blink = no. Off = not asked yet. `Live metal!` is
//! the exception: it is off unless a danger was found, and while it pulses all others are off.
//! A tester that cannot answer shows "unsure" on all five questions.

use serde::{Deserialize, Serialize};

use crate::evidence::{Evidence, Measured, Missing};
use crate::finding::FindingCode;
use crate::slots::ClipTarget;
use crate::topology::{Topology, TopologySet};
use crate::verdict::{Outcome, Verdict};

/// Number of lamps.
pub const LAMPS: usize = 6;

/// One lamp, top to bottom. The discriminant is its place in the column.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[repr(u8)]
pub enum Lamp {
    /// "Live metal!"
    LiveMetal = 0,
    /// "Wired right?"
    WiredRight = 1,
    /// "Earth path sound?"
    EarthPath = 2,
    /// "Supply in band?"
    Supply = 3,
    /// "Steady under load?"
    SteadyUnderLoad = 4,
    /// "Proven against another earth?"
    Proven = 5,
}

impl Lamp {
    /// All lamps, top to bottom.
    pub const ALL: [Self; LAMPS] = [
        Self::LiveMetal,
        Self::WiredRight,
        Self::EarthPath,
        Self::Supply,
        Self::SteadyUnderLoad,
        Self::Proven,
    ];
}

/// How a lamp is lit.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Rhythm {
    /// Dark: not asked yet.
    #[default]
    Off,
    /// Lit: yes.
    Steady,
    /// Unsure.
    SlowBlink,
    /// No.
    FastBlink,
    /// Danger.
    FastPulse,
}

/// The rhythm of every lamp.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Panel {
    /// Rhythms, in the order of [`Lamp::ALL`].
    pub rhythms: [Rhythm; LAMPS],
}

impl Panel {
    /// All dark.
    pub const DARK: Self = Self {
        rhythms: [Rhythm::Off; LAMPS],
    };

    /// The rhythm of `lamp`.
    #[must_use]
    pub const fn rhythm(&self, lamp: Lamp) -> Rhythm {
        self.rhythms[lamp as usize]
    }

    /// What the lamps show for a verdict on this evidence.
    #[must_use]
    pub fn for_verdict(verdict: &Verdict, evidence: &Evidence) -> Self {
        let mut panel = Self::DARK;
        let mut set = |lamp: Lamp, rhythm| panel.rhythms[lamp as usize] = rhythm;
        match verdict.outcome {
            Outcome::Danger => set(Lamp::LiveMetal, Rhythm::FastPulse),
            Outcome::TesterFault => {
                for lamp in Lamp::ALL {
                    if lamp != Lamp::LiveMetal {
                        set(lamp, Rhythm::SlowBlink);
                    }
                }
            }
            Outcome::Proven | Outcome::NoFaultFound | Outcome::Fault | Outcome::CannotTell => {
                set(Lamp::WiredRight, wired_right(verdict));
                set(Lamp::EarthPath, earth_path(verdict, evidence));
                set(Lamp::Supply, supply(verdict, evidence));
                set(Lamp::SteadyUnderLoad, steady(verdict, evidence));
                set(Lamp::Proven, proven(verdict, evidence));
            }
        }
        panel
    }

    /// The lamp on which a press of the button blinks out the finding number: the topmost that
    /// does not say yes, else `Wired right?`.
    #[must_use]
    pub fn telling_lamp(&self) -> Lamp {
        Lamp::ALL
            .into_iter()
            .find(|&lamp| {
                matches!(
                    self.rhythm(lamp),
                    Rhythm::SlowBlink | Rhythm::FastBlink | Rhythm::FastPulse
                )
            })
            .unwrap_or(Lamp::WiredRight)
    }
}

fn wired_right(verdict: &Verdict) -> Rhythm {
    if !verdict.has(FindingCode::ReadsSound) {
        return if verdict.outcome == Outcome::CannotTell {
            Rhythm::SlowBlink
        } else {
            Rhythm::FastBlink
        };
    }
    // Three slots can never prove polarity, so without another earth this stays "unsure".
    if verdict.unproven.polarity {
        Rhythm::SlowBlink
    } else {
        Rhythm::Steady
    }
}

fn earth_path(verdict: &Verdict, evidence: &Evidence) -> Rhythm {
    if verdict.has(FindingCode::OpenGround) || verdict.has(FindingCode::WeakEarthPath) {
        Rhythm::FastBlink
    } else if matches!(
        evidence.earth_path,
        Measured::Missing(Missing::NotAsked | Missing::NoVoltage)
    ) {
        Rhythm::Off
    } else if verdict.unproven.earth_path {
        Rhythm::SlowBlink
    } else {
        Rhythm::Steady
    }
}

fn supply(verdict: &Verdict, evidence: &Evidence) -> Rhythm {
    let has = |code| verdict.has(code);
    if has(FindingCode::SupplyTooLow)
        || has(FindingCode::SupplyTooHigh)
        || has(FindingCode::NotUtilityFrequency)
        || has(FindingCode::TwoHots)
    {
        Rhythm::FastBlink
    } else if has(FindingCode::SupplyLow)
        || has(FindingCode::SupplyHigh)
        || has(FindingCode::Unsteady)
    {
        Rhythm::SlowBlink
    } else if evidence.frequency.value().is_some()
        && (has(FindingCode::ReadsSound)
            || has(FindingCode::OpenGround)
            || has(FindingCode::NeutralToGroundHigh)
            || has(FindingCode::ReversedPolarity))
        && !narrow_may_be_open(verdict)
    {
        Rhythm::Steady
    } else {
        Rhythm::Off
    }
}

/// Whether the voltage between the blades may be that of a floating narrow slot, which says
/// nothing of the supply.
fn narrow_may_be_open(verdict: &Verdict) -> bool {
    let open = TopologySet::of(&[
        Topology::OpenNarrowHotOnWide,
        Topology::OpenNarrowHotOnGround,
    ]);
    verdict.first().is_some_and(|finding| {
        finding.code == FindingCode::ReversedPolarity
            && !finding.rivals.intersection(open).is_empty()
    })
}

fn steady(verdict: &Verdict, evidence: &Evidence) -> Rhythm {
    let has = |code| verdict.has(code);
    if has(FindingCode::JoinedNearReceptacle)
        || has(FindingCode::WeakNeutral)
        || has(FindingCode::WeakHot)
        || has(FindingCode::FrameGroundMoves)
        || has(FindingCode::FrameVoltageHigh)
    {
        Rhythm::FastBlink
    } else if evidence.load_step.is_err() && evidence.watch.is_err() {
        Rhythm::Off
    } else if verdict.unproven.separate_ground
        || has(FindingCode::FrameGroundSuspect)
        || has(FindingCode::WatchNotExercised)
    {
        Rhythm::SlowBlink
    } else {
        Rhythm::Steady
    }
}

fn proven(verdict: &Verdict, evidence: &Evidence) -> Rhythm {
    if evidence.clip_target != ClipTarget::IndependentEarth {
        Rhythm::Off
    } else if verdict.outcome == Outcome::Proven {
        Rhythm::Steady
    } else if verdict.outcome == Outcome::Fault {
        Rhythm::FastBlink
    } else {
        Rhythm::SlowBlink
    }
}
