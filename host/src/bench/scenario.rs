//! A receptacle from a file: what is behind the slots, written by hand in TOML.
//!
//! Units are in the names of the keys. What is left out is as on a sound receptacle; a key that
//! is not known is an error, so that a slip of the pen does not turn into a sound receptacle.
//! Ranges are those in which the computed house is a house, not those of the trade. What stands
//! behind the box (cable, house, strays) is read in `behind`.

mod behind;

use std::fmt;
use std::fs;
use std::path::Path;

use serde::de::{self, Deserializer, Visitor};
use serde::{Deserialize, Serialize};
use slotwise_core::slots::ClipTarget;
use slotwise_core::units::{Amperes, Hertz, Millis, Ohms, Ratio, Volts};
use slotwise_virtual::house::{self, Duty, EmiFilter, Receptacle, Supply};
use slotwise_virtual::quantity::Farads;

use super::terrace::Stop;
use crate::error::ScenarioError;
use behind::{CableTable, HouseTable, Interrupter, StraysTable};

/// A file to begin from.
pub const EXAMPLE: &str = include_str!("../../scenarios/weak-neutral.toml");

/// A number from `LOW` to `HIGH`.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
struct Within<const LOW: i32, const HIGH: i32>(f32);

impl<'de, const LOW: i32, const HIGH: i32> Deserialize<'de> for Within<LOW, HIGH> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Number<const LOW: i32, const HIGH: i32>;

        impl<const LOW: i32, const HIGH: i32> Visitor<'_> for Number<LOW, HIGH> {
            type Value = f64;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                write!(f, "a number from {LOW} to {HIGH}")
            }

            fn visit_f64<E: de::Error>(self, value: f64) -> Result<f64, E> {
                // Written so that a NaN fails.
                if value >= f64::from(LOW) && value <= f64::from(HIGH) {
                    Ok(value)
                } else {
                    Err(E::invalid_value(de::Unexpected::Float(value), &self))
                }
            }

            fn visit_i64<E: de::Error>(self, value: i64) -> Result<f64, E> {
                self.visit_f64(value as f64)
            }
        }

        let value = deserializer.deserialize_any(Number::<LOW, HIGH>)?;
        Ok(Self(value as f32))
    }
}

/// Up to what an open joint cannot be told from.
type Resistance = Within<0, 10_000_000>;

/// A part that cannot be nothing: from a thousandth of its unit to ten million.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
struct Positive(f32);

impl<'de> Deserialize<'de> for Positive {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let Within(value) = Resistance::deserialize(deserializer)?;
        if value >= 0.001 {
            Ok(Self(value))
        } else {
            let seen = de::Unexpected::Float(f64::from(value));
            Err(de::Error::invalid_value(
                seen,
                &"a number from 0.001 to 10000000",
            ))
        }
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
struct File {
    name: String,
    #[serde(default)]
    place: String,
    #[serde(default)]
    story: String,
    #[serde(default)]
    clip: Clip,
    #[serde(default)]
    breaker: Breaker,
    #[serde(default)]
    interrupter: Interrupter,
    jumper_ohms: Option<Resistance>,
    independent_earth_ohms: Option<Positive>,
    #[serde(default)]
    slots: Slots,
    #[serde(default)]
    joints: Joints,
    appliance: Option<Appliance>,
    #[serde(default)]
    supply: SupplyTable,
    #[serde(default)]
    cable: CableTable,
    #[serde(default)]
    house: HouseTable,
    #[serde(default)]
    strays: StraysTable,
}

#[derive(Default, Deserialize)]
#[serde(rename_all = "kebab-case")]
enum Clip {
    #[default]
    NotConnected,
    ApplianceFrame,
    IndependentEarth,
}

#[derive(Default, Deserialize)]
#[serde(rename_all = "kebab-case")]
enum Breaker {
    #[default]
    On,
    Off,
}

#[derive(Default, Deserialize)]
#[serde(deny_unknown_fields)]
struct Slots {
    narrow: Option<Conductor>,
    wide: Option<Conductor>,
    ground: Option<Conductor>,
}

#[derive(Deserialize)]
enum Conductor {
    #[serde(rename = "leg-1")]
    Leg1,
    #[serde(rename = "leg-2")]
    Leg2,
    #[serde(rename = "neutral")]
    Neutral,
    #[serde(rename = "ground")]
    Ground,
    #[serde(rename = "nothing")]
    Nothing,
    #[serde(rename = "rod-ohms")]
    Rod(Resistance),
}

#[derive(Default, Deserialize)]
#[serde(deny_unknown_fields)]
struct Joints {
    #[serde(default)]
    hot: Joint,
    #[serde(default)]
    neutral: Joint,
    #[serde(default)]
    ground: Joint,
    #[serde(default)]
    frame: Joint,
}

#[derive(Default, Deserialize)]
#[serde(rename_all = "kebab-case")]
enum Joint {
    #[default]
    Sound,
    Open,
    Ohms(Resistance),
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
struct Appliance {
    amperes: Within<0, 100>,
    leak_milliamperes: Option<Within<0, 1000>>,
    across_nanofarads: Option<Within<0, 10_000>>,
    to_frame_nanofarads: Option<Within<0, 10_000>>,
    joined_ohms: Option<Positive>,
    off_seconds: Option<Within<0, 3600>>,
    on_seconds: Option<Within<0, 3600>>,
}

#[derive(Default, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
struct SupplyTable {
    volts: Option<Within<0, 300>>,
    hertz: Option<Within<40, 70>>,
    thd_percent: Option<Within<0, 50>>,
}

impl From<Conductor> for house::Conductor {
    fn from(conductor: Conductor) -> Self {
        match conductor {
            Conductor::Leg1 => Self::Leg1,
            Conductor::Leg2 => Self::Leg2,
            Conductor::Neutral => Self::Neutral,
            Conductor::Ground => Self::Ground,
            Conductor::Nothing => Self::Nothing,
            Conductor::Rod(Within(ohms)) => Self::Rod(Ohms::new(ohms)),
        }
    }
}

impl From<Joint> for house::Joint {
    fn from(joint: Joint) -> Self {
        match joint {
            Joint::Sound => Self::Sound,
            Joint::Open => Self::Open,
            Joint::Ohms(Within(ohms)) => Self::Weak(Ohms::new(ohms)),
        }
    }
}

impl From<Appliance> for house::Appliance {
    fn from(appliance: Appliance) -> Self {
        let millis = |seconds: Within<0, 3600>| Millis::new((seconds.0 * 1000.0) as u64);
        Self {
            leak: Amperes::new(
                appliance
                    .leak_milliamperes
                    .map_or(0.0, |leak| leak.0 / 1000.0),
            ),
            duty: match (appliance.off_seconds, appliance.on_seconds) {
                (None, None) => Duty::Steady,
                (off, on) => Duty::Cycling {
                    off: off.map_or(Millis::new(0), millis),
                    on: on.map_or(Millis::new(0), millis),
                },
            },
            filter: EmiFilter {
                across: nanofarads(appliance.across_nanofarads),
                to_frame: nanofarads(appliance.to_frame_nanofarads),
            },
            joined: appliance.joined_ohms.map(|ohms| Ohms::new(ohms.0)),
            ..Self::steady(appliance.amperes.0)
        }
    }
}

fn nanofarads(of: Option<Within<0, 10_000>>) -> Farads {
    Farads::from_pico(of.map_or(0.0, |of| 1000.0 * f64::from(of.0)))
}

impl From<SupplyTable> for Supply {
    fn from(table: SupplyTable) -> Self {
        let mut supply = Self::ordinary();
        if let Some(Within(volts)) = table.volts {
            supply.leg = Volts::new(volts);
        }
        if let Some(Within(hertz)) = table.hertz {
            supply.frequency = Hertz::new(hertz);
        }
        match table.thd_percent {
            Some(Within(percent)) => supply.with_thd(Ratio::new(percent / 100.0)),
            None => supply,
        }
    }
}

impl From<File> for Stop {
    fn from(file: File) -> Self {
        let sound = Receptacle::sound();
        let slot = |asked: Option<Conductor>, usual| asked.map_or(usual, Into::into);
        Self {
            stays: Millis::default(),
            receptacle: Receptacle {
                supply: file.supply.into(),
                cable: file.cable.into(),
                house: file.house.into(),
                strays: file.strays.into(),
                gfci: file.interrupter.into(),
                independent_earth: file
                    .independent_earth_ohms
                    .map_or(sound.independent_earth, |ohms| Ohms::new(ohms.0)),
                narrow: slot(file.slots.narrow, sound.narrow),
                wide: slot(file.slots.wide, sound.wide),
                ground: slot(file.slots.ground, sound.ground),
                hot_joint: file.joints.hot.into(),
                neutral_joint: file.joints.neutral.into(),
                ground_joint: file.joints.ground.into(),
                frame_joint: file.joints.frame.into(),
                jumper: file.jumper_ohms.map(|ohms| Ohms::new(ohms.0)),
                breaker_on: matches!(file.breaker, Breaker::On),
                appliance: file.appliance.map(Into::into),
                clip: match file.clip {
                    Clip::NotConnected => ClipTarget::NotConnected,
                    Clip::ApplianceFrame => ClipTarget::ApplianceFrame,
                    Clip::IndependentEarth => ClipTarget::IndependentEarth,
                },
                ..sound
            },
            place: if file.place.is_empty() {
                file.name.clone()
            } else {
                file.place
            },
            name: file.name,
            story: file.story,
        }
    }
}

/// The receptacle that `file` describes.
///
/// # Errors
/// A file that cannot be read, or is no such description.
pub fn read(file: &Path) -> Result<Stop, ScenarioError> {
    let name = file.display().to_string();
    let text = fs::read_to_string(file).map_err(|source| ScenarioError::Unreadable {
        file: name.clone(),
        reason: source.to_string(),
    })?;
    parse(&name, &text)
}

/// The receptacle that `text` describes; `name` is the file's, for messages.
///
/// # Errors
/// [`ScenarioError::NotUnderstood`].
pub fn parse(name: &str, text: &str) -> Result<Stop, ScenarioError> {
    match toml::from_str::<File>(text) {
        Ok(file) => Ok(file.into()),
        Err(error) => {
            let start = error.span().map_or(0, |span| span.start);
            let before = text.get(..start).unwrap_or(text);
            let line_start = before.rfind('\n').map_or(0, |end| end + 1);
            Err(ScenarioError::NotUnderstood {
                file: name.to_owned(),
                line: before.matches('\n').count() + 1,
                column: before[line_start..].chars().count() + 1,
                what: error.message().replace('\n', "; "),
            })
        }
    }
}
