//! The three slots of a receptacle, the clip lead, and the pairs between which voltages are
//! stated.
//!
//! A slot is a place (narrow, wide, ground hole); which conductor is behind it is what the
//! tester finds out. `v_xy = V_x - V_y` throughout, and around the receptacle
//! `v_nw - v_ng - v_gw = 0`.

use serde::{Deserialize, Serialize};

/// Number of leads that the tester senses: three slots and the clip.
pub const LEADS: usize = 4;

/// One sensed lead. The discriminant is its ADC channel.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[repr(u8)]
pub enum Lead {
    /// The narrow slot: hot in a sound receptacle. ADC channel 0.
    Narrow = 0,
    /// The wide slot: neutral in a sound receptacle. ADC channel 1.
    Wide = 1,
    /// The ground hole: equipment grounding conductor in a sound receptacle. ADC channel 2.
    Ground = 2,
    /// The clip lead. ADC channel 3.
    Clip = 3,
}

impl Lead {
    /// All leads, in channel order.
    pub const ALL: [Self; LEADS] = [Self::Narrow, Self::Wide, Self::Ground, Self::Clip];

    /// The ADC channel of this lead, `0..LEADS`.
    #[must_use]
    pub const fn channel(self) -> usize {
        self as usize
    }
}

/// A pair of leads between which a voltage is stated: `v = V_first - V_second`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Pair {
    /// `v_nw`: narrow against wide, the supply voltage of a sound receptacle.
    NarrowWide,
    /// `v_gw`: ground hole against wide, near zero in a sound receptacle.
    GroundWide,
    /// `v_ng`: narrow against ground hole.
    NarrowGround,
    /// `v_cw`: clip against wide.
    ClipWide,
    /// `v_cg`: clip against ground hole.
    ClipGround,
}

impl Pair {
    /// The three slot pairs, in the order used everywhere: nw, gw, ng.
    pub const SLOTS: [Self; 3] = [Self::NarrowWide, Self::GroundWide, Self::NarrowGround];

    /// First and second lead of the pair.
    #[must_use]
    pub const fn leads(self) -> (Lead, Lead) {
        match self {
            Self::NarrowWide => (Lead::Narrow, Lead::Wide),
            Self::GroundWide => (Lead::Ground, Lead::Wide),
            Self::NarrowGround => (Lead::Narrow, Lead::Ground),
            Self::ClipWide => (Lead::Clip, Lead::Wide),
            Self::ClipGround => (Lead::Clip, Lead::Ground),
        }
    }
}

/// What the person connected the clip lead to. It decides what a clip reading can prove.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum ClipTarget {
    /// The clip hangs free.
    #[default]
    NotConnected,
    /// The clip is on the frame, burner or 24 V common of the appliance fed by this
    /// receptacle. That frame is tied to the same ground slot, so it can never prove polarity.
    ApplianceFrame,
    /// The clip is on an earth that does not come through this receptacle.
    IndependentEarth,
}
