//! The verdict of one test: what may be said, what was found, what is not yet proven.

use serde::{Deserialize, Serialize};

use crate::finding::{Finding, FindingCode};

/// Most findings that one verdict carries.
pub const MAX_FINDINGS: usize = 8;

/// What may be said of the receptacle. The order is part of the record format: only append.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Outcome {
    /// Every step of the ladder holds, polarity and separate ground included.
    Proven,
    /// No fault found; [`Verdict::unproven`] says what is not yet proven.
    NoFaultFound,
    /// A fault was found.
    Fault,
    /// Metal may be live. Hands off.
    Danger,
    /// The evidence does not tell.
    CannotTell,
    /// The tester is not fit to answer.
    TesterFault,
}

/// What a verdict without a fault has not proven.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Unproven {
    /// That the ground is a low-resistance path back to the panel.
    pub earth_path: bool,
    /// That the ground is a conductor of its own back to the panel, and neutral sound.
    pub separate_ground: bool,
    /// That narrow is hot and wide is neutral.
    pub polarity: bool,
}

impl Unproven {
    /// Nothing is proven.
    pub const ALL: Self = Self {
        earth_path: true,
        separate_ground: true,
        polarity: true,
    };

    /// Whether everything is proven.
    #[must_use]
    pub const fn is_empty(self) -> bool {
        !(self.earth_path || self.separate_ground || self.polarity)
    }
}

/// Outcome, findings (gravest first) and what is unproven.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Verdict {
    /// What may be said.
    pub outcome: Outcome,
    /// Why, gravest first.
    pub findings: heapless::Vec<Finding, MAX_FINDINGS>,
    /// What is not yet proven. [`Unproven::ALL`] where a fault or doubt ended the ladder.
    pub unproven: Unproven,
}

impl Verdict {
    /// The gravest finding.
    #[must_use]
    pub fn first(&self) -> Option<&Finding> {
        self.findings.first()
    }

    /// Whether `code` is among the findings.
    #[must_use]
    pub fn has(&self, code: FindingCode) -> bool {
        self.findings.iter().any(|finding| finding.code == code)
    }
}
