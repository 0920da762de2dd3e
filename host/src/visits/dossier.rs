//! Everything of one visit: its records as pulled, how they hang together, and what a person
//! noted there.

use slotwise_core::record::{Body, Record, RecordNumber};

use super::Visit;
use crate::archive::{Archive, ArchiveError, KeptCalibration, KeptNote};
use crate::chain::{ChainLink, Unreadable, check, digest};
use crate::log_file::KeptRecord;

/// Most records before the first test of a visit that are looked at for the watch that led to
/// it: half an hour is 30 pages, and a step every few seconds.
const LOOK_BACK: u32 = 1000;

/// A record of the visit.
#[derive(Clone, Debug)]
pub struct Kept {
    /// Its number.
    pub number: RecordNumber,
    /// SHA-256 of its bytes, worked out now.
    pub sha256: [u8; 32],
    /// What it says, or why it cannot be read.
    pub record: Result<Box<Record>, Unreadable>,
    /// How it hangs on the one before.
    pub link: ChainLink,
}

/// A visit with all that belongs to it.
#[derive(Clone, Debug)]
pub struct Dossier {
    /// The visit.
    pub visit: Visit,
    /// Its records, by number: tests, and what stands between and just before them.
    pub records: Vec<Kept>,
    /// What was noted there.
    pub notes: Vec<KeptNote>,
    /// The calibrations that its tests were measured under, as far as records tell: by number,
    /// each once. Empty where none does.
    pub calibrations: Vec<KeptCalibration>,
}

impl Dossier {
    /// Gathers it from the archive.
    ///
    /// # Errors
    /// [`ArchiveError`].
    pub fn gather(
        archive: &dyn Archive,
        visit: Visit,
        notes: Vec<KeptNote>,
    ) -> Result<Self, ArchiveError> {
        let mut kept = Vec::new();
        if let (Some(first), Some(last)) = (visit.tests.first(), visit.tests.last()) {
            let from = watched_from(archive, &visit, first.number)?;
            // The one before, for the link of the first.
            let before = from.get().saturating_sub(1);
            for number in before.max(1)..=last.number.get() {
                let number = RecordNumber::new(number);
                if let Some(bytes) = archive.bytes(visit.tester, number)? {
                    kept.push(KeptRecord {
                        number,
                        bytes,
                        at_byte: 0,
                    });
                }
            }
            let checked = check(&kept);
            let records = kept
                .iter()
                .zip(checked)
                .filter(|(_, checked)| checked.number >= from)
                .map(|(kept, checked)| Kept {
                    number: checked.number,
                    sha256: digest(&kept.bytes).0,
                    record: checked.record,
                    link: checked.link,
                })
                .collect();
            let calibrations = calibrations_of(archive, &visit)?;
            return Ok(Self {
                visit,
                records,
                notes,
                calibrations,
            });
        }
        Ok(Self {
            visit,
            records: Vec::new(),
            notes,
            calibrations: Vec::new(),
        })
    }

    /// Whether a record of the visit is missing, was changed or cannot be read.
    #[must_use]
    pub fn is_damaged(&self) -> bool {
        self.records
            .iter()
            .any(|kept| kept.record.is_err() || kept.link.is_wrong())
    }
}

/// The calibrations behind the tests of a visit.
fn calibrations_of(
    archive: &dyn Archive,
    visit: &Visit,
) -> Result<Vec<KeptCalibration>, ArchiveError> {
    let mut found: Vec<KeptCalibration> = Vec::new();
    for test in &visit.tests {
        if let Some(calibration) = archive.calibration_at(visit.tester, test.number)?
            && found.last() != Some(&calibration)
        {
            found.push(calibration);
        }
    }
    Ok(found)
}

/// The first record of the watch that ended in the test `first`, or `first`.
fn watched_from(
    archive: &dyn Archive,
    visit: &Visit,
    first: RecordNumber,
) -> Result<RecordNumber, ArchiveError> {
    let mut from = first;
    let boot = visit.tests.first().map(|test| test.made.boot);
    for number in (1..first.get()).rev().take(LOOK_BACK as usize) {
        let number = RecordNumber::new(number);
        let Some(bytes) = archive.bytes(visit.tester, number)? else {
            break;
        };
        match slotwise_core::record::decode(&bytes) {
            Ok(record)
                if Some(record.boot) == boot
                    && matches!(record.body, Body::WatchPage(_) | Body::WatchStep(_)) =>
            {
                from = number;
            }
            _ => break,
        }
    }
    Ok(from)
}
