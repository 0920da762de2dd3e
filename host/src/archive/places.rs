//! Sites, appliances and notes as the archive holds them. What a reading or an answer means is
//! said in `visits`; here they are names and numbers.

use std::collections::BTreeMap;
use std::path::Path;

use serde::{Deserialize, Serialize};
use slotwise_core::units::UnixSeconds;

use super::ArchiveError;

/// Most characters of a name. Longer ones are pasted by mistake.
const NAME_MOST: usize = 200;

/// A site in one archive.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct SiteId(pub(super) i64);

/// An appliance in one archive.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ApplianceId(pub(super) i64);

/// Where a test was made. Names may hold any characters.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Place {
    /// Name of the site.
    pub site: String,
    /// Name of the appliance.
    pub appliance: Option<String>,
}

/// What a meter showed.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(untagged, try_from = "serde_json::Value")]
pub enum Shown {
    /// A number.
    Number(f64),
    /// A word.
    Word(Word),
}

/// What a meter shows where it has no number.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Word {
    /// More than it can measure: an open circuit, where it is ohms.
    #[serde(rename = "OL")]
    OverLimit,
}

/// By way of a JSON value: an untagged number is read otherwise where another crate of the build
/// turns serde_json's `arbitrary_precision` on.
impl TryFrom<serde_json::Value> for Shown {
    type Error = String;

    fn try_from(value: serde_json::Value) -> Result<Self, String> {
        match (value.as_f64(), serde_json::from_value(value)) {
            (Some(number), _) => Ok(Self::Number(number)),
            (None, Ok(word)) => Ok(Self::Word(word)),
            (None, Err(_)) => Err("a number or OL was expected".to_owned()),
        }
    }
}

/// What a person read off a meter, by name.
pub type Readings = BTreeMap<String, Shown>;

/// Answers to the checklist, by the name of the question.
pub type Answers = BTreeMap<String, String>;

/// A note to keep.
#[derive(Clone, Debug, PartialEq)]
pub struct NewNote {
    /// Where.
    pub site: SiteId,
    /// At which appliance.
    pub appliance: Option<ApplianceId>,
    /// When.
    pub at: UnixSeconds,
    /// What the meter showed.
    pub readings: Readings,
    /// What was seen.
    pub answers: Answers,
    /// Anything else.
    pub remark: String,
    /// Names of photos; the files stay where they are.
    pub photos: Vec<String>,
}

/// A note as kept.
#[derive(Clone, Debug, PartialEq)]
pub struct KeptNote {
    /// Where.
    pub place: Place,
    /// When.
    pub at: UnixSeconds,
    /// What the meter showed.
    pub readings: Readings,
    /// What was seen.
    pub answers: Answers,
    /// Anything else.
    pub remark: String,
    /// Names of photos.
    pub photos: Vec<String>,
}

impl NewNote {
    /// Readings, answers and photos as they are stored: JSON.
    pub(super) fn texts(&self, archive: &Path) -> Result<[String; 3], ArchiveError> {
        let json = |value: serde_json::Result<String>| {
            value.map_err(|error| ArchiveError::Content {
                file: archive.to_owned(),
                what: error.to_string(),
            })
        };
        Ok([
            json(serde_json::to_string(&self.readings))?,
            json(serde_json::to_string(&self.answers))?,
            json(serde_json::to_string(&self.photos))?,
        ])
    }
}

impl KeptNote {
    /// Reverse of [`NewNote::texts`].
    pub(super) fn of_texts(
        archive: &Path,
        place: Place,
        at: UnixSeconds,
        [readings, answers, photos]: &[String; 3],
        remark: String,
    ) -> Result<Self, ArchiveError> {
        let content = |error: serde_json::Error| ArchiveError::Content {
            file: archive.to_owned(),
            what: format!("a note cannot be read: {error}"),
        };
        Ok(Self {
            place,
            at,
            readings: serde_json::from_str(readings).map_err(content)?,
            answers: serde_json::from_str(answers).map_err(content)?,
            remark,
            photos: serde_json::from_str(photos).map_err(content)?,
        })
    }
}

/// A name that can be kept.
///
/// # Errors
/// [`ArchiveError::Name`].
pub(super) fn checked_name<'n>(what: &'static str, name: &'n str) -> Result<&'n str, ArchiveError> {
    let found = name.chars().count();
    if name.trim().is_empty() || found > NAME_MOST {
        return Err(ArchiveError::Name {
            what,
            most: NAME_MOST,
            found: if name.trim().is_empty() { 0 } else { found },
        });
    }
    Ok(name)
}
