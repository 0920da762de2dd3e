//! What the office asks: which tests belong together, what a person read off a meter or saw
//! there, and what both say about each other.
//!
//! A **visit** is the tests of one tester at one place, each no more than [`GAP`] after the one
//! before. The clock tells how far apart two tests are; where one of them has no clock, the time
//! since the tester's start does, if both are of the same start; where neither does, they are two
//! visits. A test that was placed elsewhere begins a new visit, however soon.
//!
//! Readings of a hand meter are held against the core's limits as the meter showed them: its
//! own error is not known here and is not in the answer.

mod checklist;
mod dossier;
mod explain;
mod group;
mod readings;

pub use checklist::{Bonds, Checklist, Electrode, GroundWire, Inducer, Joined, Landing, Question};
pub use dossier::{Dossier, Kept};
pub use explain::{Explained, explains};
pub use group::{GAP, Grouper, Visit, worst};
pub use readings::{HandReading, judge_readings, shown_of};

use slotwise_core::finding::FindingCode;
use slotwise_core::limits::Limits;

use crate::archive::KeptNote;

/// What a reading or an answer means.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NoteFinding {
    /// Idle neutral to 24 V common is within the limit.
    CommonFine,
    /// It is above.
    CommonHigh,
    /// Power off, neutral to burner is within the limit.
    BurnerFine,
    /// It is above, or open.
    BurnerHigh,
    /// Hot to neutral is in the band.
    SupplyFine,
    /// It is not: the finding that a tester's reading of it would be.
    Supply(FindingCode),
    /// Neutral to ground is within what loads on a sound circuit make.
    NeutralToGroundFine,
    /// It is above.
    NeutralToGroundHigh,
    /// No supply voltage from hot to ground.
    HotToGroundLow,
    /// Hot to ground is a supply voltage.
    HotToGroundFine,
    /// Neutral and ground meet at the panel only.
    JoinedAtPanelOnly,
    /// They also meet at the receptacle.
    JoinedAtReceptacle,
    /// They also meet in a subpanel.
    JoinedInSubpanel,
    /// They also meet in the appliance.
    JoinedInAppliance,
    /// They meet nowhere.
    JoinedNowhere,
    /// The ground goes to a rod and not to the panel.
    RodOnly,
    /// A ground wire all the way to the panel.
    WireAllTheWay,
    /// Pipe, conduit or cable jacket stands in for the ground wire.
    NotAWire,
    /// No ground at all.
    NoGroundWire,
    /// The electrode is a rod.
    ElectrodeRod,
    /// The electrode is a buried metal pipe that can be one.
    ElectrodePipe,
    /// The electrode is a pipe that cannot be one.
    ElectrodePipeUnfit,
    /// Another electrode.
    ElectrodeOther,
    /// No electrode.
    NoElectrode,
    /// Every bond is tied to one electrode.
    BondsTogether,
    /// A bond is tied to another electrode.
    BondsApart,
    /// The ground is landed on bare metal.
    BareMetal,
    /// It is landed on paint.
    OnPaint,
    /// Inducer and control board have the same ground.
    InducerSame,
    /// They do not.
    InducerApart,
    /// Nobody looked.
    NotLooked(Question),
}

/// What the readings and answers of a note mean, gravest first.
#[must_use]
pub fn judge_note(note: &KeptNote, limits: &Limits) -> Vec<NoteFinding> {
    let mut findings = judge_readings(&note.readings, limits);
    findings.extend(Checklist::of_answers(&note.answers).findings());
    findings.sort_by_key(|finding| std::cmp::Reverse(finding.weight()));
    findings
}

/// How a finding of a note weighs.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Weight {
    /// As it should be.
    Fine,
    /// Not known, or worth a look.
    Look,
    /// To be put right.
    Wrong,
}

impl NoteFinding {
    /// How it weighs.
    #[must_use]
    pub const fn weight(self) -> Weight {
        match self {
            Self::CommonFine
            | Self::BurnerFine
            | Self::SupplyFine
            | Self::NeutralToGroundFine
            | Self::HotToGroundFine
            | Self::JoinedAtPanelOnly
            | Self::WireAllTheWay
            | Self::ElectrodeRod
            | Self::ElectrodePipe
            | Self::BondsTogether
            | Self::BareMetal
            | Self::InducerSame => Weight::Fine,
            Self::NotLooked(_) | Self::ElectrodeOther => Weight::Look,
            Self::Supply(FindingCode::SupplyLow | FindingCode::SupplyHigh) => Weight::Look,
            Self::CommonHigh
            | Self::BurnerHigh
            | Self::Supply(_)
            | Self::NeutralToGroundHigh
            | Self::HotToGroundLow
            | Self::JoinedAtReceptacle
            | Self::JoinedInSubpanel
            | Self::JoinedInAppliance
            | Self::JoinedNowhere
            | Self::RodOnly
            | Self::NotAWire
            | Self::NoGroundWire
            | Self::ElectrodePipeUnfit
            | Self::NoElectrode
            | Self::BondsApart
            | Self::OnPaint
            | Self::InducerApart => Weight::Wrong,
        }
    }
}
