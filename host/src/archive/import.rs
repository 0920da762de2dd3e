//! Log files on their way into an archive.

use slotwise_core::record::{TesterId, decode};
use slotwise_core::units::UnixSeconds;

use super::{ArchiveError, Batch, Imported};
use crate::log_file::LogFile;

/// What became of one file.
#[derive(Debug)]
pub struct Arrival {
    /// Its name.
    pub source: String,
    /// Whose it is.
    pub tester: TesterId,
    /// Places in it that are not whole.
    pub damages: usize,
    /// What was taken in.
    pub imported: Imported,
}

/// Whose log it is: what the hello says, else what the first readable record says.
#[must_use]
pub fn tester_of(log: &LogFile) -> Option<TesterId> {
    log.hello.map(|hello| hello.tester).or_else(|| {
        log.records
            .iter()
            .find_map(|kept| decode(&kept.bytes).ok())
            .map(|record| record.tester)
    })
}

/// The batch of a log file.
///
/// # Errors
/// [`ArchiveError::Whose`].
pub fn batch_of(source: &str, log: LogFile, at: UnixSeconds) -> Result<Batch, ArchiveError> {
    let tester = tester_of(&log).ok_or_else(|| ArchiveError::Whose {
        source_name: source.to_owned(),
    })?;
    Ok(Batch {
        source: source.to_owned(),
        tester,
        records: log.records,
        damages: log.damages.len(),
        at,
    })
}
