//! What the host asks of a tester that is looked after rather than used: calibration, clock,
//! and how both stand.
//!
//! What changes the tester for good takes two steps: calibration or time is offered, the tester
//! says a token, and takes it only when that token comes back. An offer holds until the next
//! one of its kind, the next start, or until the port closes. The order of the variants is the wire format:
//! only append.

use serde::{Deserialize, Serialize};

use crate::calibration::Calibration;
use crate::calibration::limiters::Limiters;
use crate::calibration::raw::{RawMeasure, RawReading};
use crate::calibration::validity::Validity;
use crate::evidence::Missing;
use crate::units::UnixSeconds;

/// What the host asks.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub enum WorkshopRequest {
    /// How do calibration and clock stand?
    About,
    /// It is now this time: the clock could be set to it.
    OfferClock {
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
    /// How does the clock stand, and why?
    Clock,
    /// Set the clock to the time that was offered, and what has passed since.
    SetClock {
        /// What the tester answered to the offer.
        token: u32,
    },
    /// These currents the limiters of the drive let through, measured at the bench. A calibration
    /// is stored only after they were told and passed.
    Limiters(Limiters),
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
    /// The offer is taken; send this token to store it, or to set the clock.
    Offered {
        /// The token.
        token: u32,
    },
    /// It is refused.
    Refused(WorkshopRefusal),
    /// Answer to `Clock`.
    Clock(ClockReport),
}

/// How the clock stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct ClockReport {
    /// The time that records get now. `None`: the tester does not know it, and says so.
    pub clock: Option<UnixSeconds>,
    /// How the clock chip stands, which keeps the time while the tester is off.
    pub chip: ClockChip,
}

/// How the clock chip stands. Only [`ClockChip::Running`] gives a time; nothing else is taken for
/// one.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum ClockChip {
    /// Nobody has asked it yet.
    NotAsked,
    /// It has run without a stop since it was set.
    Running,
    /// Its oscillator stood still since it was last set, or it was never set: the cell was empty or
    /// changed.
    Stopped,
    /// What it holds is no date, or one before this firmware was written.
    NotATime,
    /// No chip answers on the bus.
    Absent,
    /// A line of the bus is held low, or a transfer did not end in its time.
    BusStuck,
    /// The bus failed in another way.
    BusFault,
    /// It was told a time that it does not give back.
    NotTaken,
    /// It is about to be told the time.
    Setting,
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
    /// The time lies before this firmware was written, or beyond what the clock chip can hold.
    NotATime,
    /// No currents of the limiters were told since the port was opened, or since the last
    /// calibration was stored.
    LimitersUnchecked,
}
