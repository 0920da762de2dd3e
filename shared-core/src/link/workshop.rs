//! What the host asks of a tester that is looked after rather than used: calibration, clock,
//! and how both stand.
//!
//! What changes the tester for good takes two steps: the calibration is offered, the tester
//! says a token, and stores it only when that token comes back. An offer holds until the next
//! one, the next start, or until the port closes. The order of the variants is the wire format:
//! only append.

use serde::{Deserialize, Serialize};

use crate::calibration::Calibration;
use crate::calibration::raw::{RawMeasure, RawReading};
use crate::calibration::validity::Validity;
use crate::evidence::Missing;
use crate::units::UnixSeconds;

/// What the host asks.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub enum WorkshopRequest {
    /// How do calibration and clock stand?
    About,
    /// It is now this time.
    SetClock {
        /// The time.
        clock: UnixSeconds,
    },
    /// Stop testing; take this raw reading.
    Measure(RawMeasure),
    /// What is the raw reading that was asked for?
    Raw,
    /// No more raw readings: test again.
    EndMeasuring,
    /// Which calibration is in force?
    Calibration,
    /// This calibration could be stored.
    Offer(Calibration),
    /// Store the calibration that was offered.
    Store {
        /// What the tester answered to the offer.
        token: u32,
    },
}

/// What the tester answers.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub enum WorkshopReply {
    /// Answer to `About`.
    About(About),
    /// It is carried out.
    Done,
    /// The raw reading is being taken.
    Measuring,
    /// The raw reading, or why there is none.
    Raw(Result<RawReading, Missing>),
    /// The calibration in force, if there is one.
    Calibration(Option<Calibration>),
    /// The offer is taken; send this token to store it.
    Offered {
        /// The token.
        token: u32,
    },
    /// It is refused.
    Refused(WorkshopRefusal),
}

/// How calibration and clock stand.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct About {
    /// The tester's clock, if it has the time.
    pub clock: Option<UnixSeconds>,
    /// Whether the calibration holds.
    pub calibration: Validity,
    /// Both stored copies are whole and equal. `None`: the flash does not answer.
    pub copies: Option<bool>,
}

/// Why it is refused.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum WorkshopRefusal {
    /// No raw reading was asked for.
    NothingMeasured,
    /// No working tester can have this calibration.
    Implausible,
    /// Nothing was offered, or the token is another one.
    Token,
    /// The flash did not take it. What was stored before still holds.
    NotStored,
    /// The tester failed a test of itself: it measures nothing.
    SelfTest,
}
