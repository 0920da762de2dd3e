//! Which firmware runs, and how it came to start: told over the link so that it is known where
//! the journal cannot keep it.

use serde::{Deserialize, Serialize};

use crate::record::Version;
use crate::start::Start;

/// The firmware and its latest start.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct FirmwareReport {
    /// Version.
    pub version: Version,
    /// Why it started, with which build, and how the run before ended.
    pub start: Start,
}
