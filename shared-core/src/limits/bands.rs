//! Supply bands as data: named sets of limits of the voltage between the blades, each with its
//! source and edition. No other file holds a number of them.
//!
//! Every band is that of a 120 V circuit: the slot patterns of this version are those of 120 V
//! and 120/240 V wiring. IEC 60038's 230 V +-10 % is left out for that reason: a 230 V
//! receptacle reads as "two hots" or as no known pattern long before a band is looked at.
//!
//! A tolerance on time (Illinois: longer than two minutes; Maryland: not counting rare
//! excursions of five minutes) is not in force here: a test looks for two seconds, so a value
//! outside a band is a reason to measure at the panel, not a violation.

use serde::{Deserialize, Serialize};

use crate::units::Volts;

/// A named band of supply voltage.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SupplyBand {
    /// Name for the user.
    pub name: &'static str,
    /// The rule that the numbers are from.
    pub source: &'static str,
    /// Its edition, and how sure the numbers are.
    pub edition: &'static str,
    /// Lowest voltage of a 120 V circuit that is in band.
    pub low: Volts,
    /// Highest voltage of a 120 V circuit that is in band.
    pub high: Volts,
    /// Below this the supply is out of every tolerance of the source.
    pub lowest: Volts,
    /// Above this the supply is out of every tolerance of the source.
    pub highest: Volts,
}

/// The supply bands that can be asked for. Its place in the list is its number in stored data:
/// never reorder, only append.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum BandSet {
    /// Utilization voltage, which is the one at a receptacle. In force unless another is asked
    /// for.
    #[default]
    C84Utilization,
    /// Maryland's binding band of the service voltage.
    MarylandService,
    /// Service voltage, at the point of delivery.
    C84Service,
    /// Illinois' binding band at the point of delivery.
    IllinoisService,
}

impl BandSet {
    /// Every set, in stored order.
    pub const ALL: [Self; 4] = [
        Self::C84Utilization,
        Self::MarylandService,
        Self::C84Service,
        Self::IllinoisService,
    ];

    /// The band of this set.
    #[must_use]
    pub const fn band(self) -> &'static SupplyBand {
        match self {
            Self::C84Utilization => &C84_UTILIZATION,
            Self::MarylandService => &MARYLAND_SERVICE,
            Self::C84Service => &C84_SERVICE,
            Self::IllinoisService => &ILLINOIS_SERVICE,
        }
    }
}

const fn band(
    name: &'static str,
    source: &'static str,
    edition: &'static str,
    [lowest, low, high, highest]: [f32; 4],
) -> SupplyBand {
    SupplyBand {
        name,
        source,
        edition,
        low: Volts::new(low),
        high: Volts::new(high),
        lowest: Volts::new(lowest),
        highest: Volts::new(highest),
    }
}

/// Range A is "in band", Range B is "out of every tolerance" beyond it. Editions before 2011
/// have 110 and 106 V as the lower ends where the circuit feeds lighting (from memory too).
const C84_UTILIZATION: SupplyBand = band(
    "ANSI C84.1 utilization, 120 V",
    "ANSI C84.1 Table 1, utilization voltage: Range A 108-126 V, Range B 104-127 V",
    "2016/2020, from memory; the table itself was not seen",
    [104.0, 108.0, 126.0, 127.0],
);

const C84_SERVICE: SupplyBand = band(
    "ANSI C84.1 service, 120 V",
    "ANSI C84.1 Table 1, service voltage: Range A 114-126 V, Range B 110-127 V",
    "2016/2020, from memory; the table itself was not seen",
    [110.0, 114.0, 126.0, 127.0],
);

/// One band, so nothing lies between "in band" and "out".
const MARYLAND_SERVICE: SupplyBand = band(
    "Maryland service, 120 V",
    "Code of Maryland Regulations 20.50.07.02: 114-126 V",
    "as published by the state's register online; no date on the page",
    [114.0, 114.0, 126.0, 126.0],
);

/// One band as well.
const ILLINOIS_SERVICE: SupplyBand = band(
    "Illinois service, 120 V",
    "83 Illinois Administrative Code 410.300: 113-127 V for longer than two minutes",
    "as quoted in a trade forum; the code itself was not seen",
    [113.0, 113.0, 127.0, 127.0],
);
