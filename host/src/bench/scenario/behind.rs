//! What stands behind the box in a scenario file: the interrupter, the cable, the house up to its
//! panel, and stray capacitances. What is left out is as in the usual house.

use serde::Deserialize;
use slotwise_core::units::{Amperes, Celsius, Ohms};
use slotwise_virtual::house::{BranchCable, Gauge, Gfci, House, Strays};
use slotwise_virtual::quantity::{Farads, Metres};

use super::{Joint, Positive, Within};

/// A ground-fault circuit interrupter at the panel.
#[derive(Default, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub(super) enum Interrupter {
    #[default]
    None,
    ClassA,
}

impl From<Interrupter> for Option<Gfci> {
    fn from(interrupter: Interrupter) -> Self {
        match interrupter {
            Interrupter::None => None,
            Interrupter::ClassA => Some(Gfci::ClassA),
        }
    }
}

#[derive(Default, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
pub(super) struct CableTable {
    gauge: Option<Awg>,
    feet: Option<Within<1, 1000>>,
    celsius: Option<Within<-40, 90>>,
}

/// Sizes of building wire.
#[derive(Clone, Copy, Deserialize)]
enum Awg {
    #[serde(rename = "awg-14")]
    Awg14,
    #[serde(rename = "awg-12")]
    Awg12,
    #[serde(rename = "awg-10")]
    Awg10,
    #[serde(rename = "awg-8")]
    Awg8,
}

impl From<Awg> for Gauge {
    fn from(gauge: Awg) -> Self {
        match gauge {
            Awg::Awg14 => Self::Awg14,
            Awg::Awg12 => Self::Awg12,
            Awg::Awg10 => Self::Awg10,
            Awg::Awg8 => Self::Awg8,
        }
    }
}

impl From<CableTable> for BranchCable {
    fn from(table: CableTable) -> Self {
        let usual = Self::default();
        Self {
            gauge: table.gauge.map_or(usual.gauge, Into::into),
            length: table
                .feet
                .map_or(usual.length, |feet| Metres::from_feet(f64::from(feet.0))),
            temperature: table
                .celsius
                .map_or(usual.temperature, |celsius| Celsius::new(celsius.0)),
        }
    }
}

#[derive(Default, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
pub(super) struct HouseTable {
    transformer_ohms: Option<Positive>,
    transformer_reactance_ohms: Option<Positive>,
    service_ohms: Option<Positive>,
    #[serde(default)]
    service_neutral: Joint,
    leg_1_amperes: Option<Within<0, 200>>,
    leg_2_amperes: Option<Within<0, 200>>,
    utility_earth_ohms: Option<Positive>,
    rod_ohms: Option<Positive>,
    bonded: Option<bool>,
    #[serde(default)]
    panel_bond: Joint,
}

impl From<HouseTable> for House {
    fn from(table: HouseTable) -> Self {
        let usual = Self::default();
        let ohms = |asked: Option<Positive>, usual| asked.map_or(usual, |ohms| Ohms::new(ohms.0));
        let amperes = |asked: Option<Within<0, 200>>, usual| {
            asked.map_or(usual, |amperes| Amperes::new(amperes.0))
        };
        Self {
            transformer: ohms(table.transformer_ohms, usual.transformer),
            transformer_reactance: ohms(
                table.transformer_reactance_ohms,
                usual.transformer_reactance,
            ),
            service: ohms(table.service_ohms, usual.service),
            service_neutral: table.service_neutral.into(),
            background: [
                amperes(table.leg_1_amperes, usual.background[0]),
                amperes(table.leg_2_amperes, usual.background[1]),
            ],
            utility_earth: ohms(table.utility_earth_ohms, usual.utility_earth),
            rod: ohms(table.rod_ohms, usual.rod),
            bonded: table.bonded.unwrap_or(usual.bonded),
            panel_bond: table.panel_bond.into(),
        }
    }
}

#[derive(Default, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
pub(super) struct StraysTable {
    hot_ground_picofarads: Option<Positive>,
    neutral_ground_picofarads: Option<Positive>,
    hot_neutral_picofarads: Option<Positive>,
    across_break_picofarads: Option<Positive>,
    neighbour_picofarads: Option<Positive>,
    room_picofarads: Option<Positive>,
}

impl From<StraysTable> for Strays {
    fn from(table: StraysTable) -> Self {
        let usual = Self::default();
        let picofarads = |asked: Option<Positive>, usual| {
            asked.map_or(usual, |asked| Farads::from_pico(f64::from(asked.0)))
        };
        Self {
            hot_ground: picofarads(table.hot_ground_picofarads, usual.hot_ground),
            neutral_ground: picofarads(table.neutral_ground_picofarads, usual.neutral_ground),
            hot_neutral: picofarads(table.hot_neutral_picofarads, usual.hot_neutral),
            across_break: picofarads(table.across_break_picofarads, usual.across_break),
            neighbour: picofarads(table.neighbour_picofarads, usual.neighbour),
            room: picofarads(table.room_picofarads, usual.room),
        }
    }
}
