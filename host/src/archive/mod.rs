//! The archive: every record that the office ever pulled, as the tester kept it, and beside the
//! bytes the values that lists and searches need.
//!
//! A record is known by its tester and its number. Coming in a second time with the same bytes
//! it is already there; with other bytes it is kept beside the first as a conflict, because
//! nobody can say which of the two is right. Nothing is ever replaced or taken away.
//!
//! What [`Archive::verify`] proves: the bytes are those that came in, hang together by the testers' own
//! SHA-256 chain, and say what the columns say. What it cannot prove: who rewrites bytes, digest
//! and every later record makes a new chain; and records cut off at the newest end of a tester
//! are not missed until the next pull.
//!
//! [`Archive`] is what the rest of the program uses; behind it is a file ([`SqliteArchive`]) or,
//! with the feature `postgres`, a server (`PostgresArchive`). [`open`] tells from the name which.

mod backup;
mod columns;
mod copy;
mod error;
mod examine;
mod import;
mod intake;
mod listing;
mod location;
mod migrations;
mod natural;
mod opening;
mod places;
#[cfg(test)]
mod plans;
#[cfg(feature = "postgres")]
mod postgres;
mod rows;
mod sqlite;
mod testers;
mod together;
mod verify;

use std::path::Path;

use slotwise_core::record::{RecordNumber, TesterId};
use slotwise_core::units::UnixSeconds;

use crate::log_file::KeptRecord;

pub use columns::{Cell, Columns, Kind, QUANTITIES, TestColumns};
pub use copy::copy;
pub use error::ArchiveError;
pub use import::{Arrival, batch_of, tester_of};
pub use listing::{SiteRow, SitesWanted};
pub use location::{open, open_or_make, server_of, shown};
pub use natural::sort_key;
pub use places::{Answers, ApplianceId, KeptNote, NewNote, Place, Readings, Shown, SiteId, Word};
#[cfg(feature = "postgres")]
pub use postgres::PostgresArchive;
pub use sqlite::SqliteArchive;
pub use testers::{KeptCalibration, TesterRow};
pub use verify::{Fault, FaultKind, Verified};

/// Records of one tester on their way in.
#[derive(Clone, Debug)]
pub struct Batch {
    /// File or port.
    pub source: String,
    /// Whose.
    pub tester: TesterId,
    /// The records, by number.
    pub records: Vec<KeptRecord>,
    /// Places in the source that were not whole.
    pub damages: usize,
    /// When they came in.
    pub at: UnixSeconds,
}

/// What became of a batch.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Imported {
    /// Records that are new.
    pub added: u64,
    /// Records that were there already, byte for byte.
    pub already: u64,
    /// Numbers that were there with other bytes; both are kept.
    pub conflicts: Vec<RecordNumber>,
    /// What of the chain is wrong around the records of this batch.
    pub faults: Vec<Fault>,
}

/// A test as it stands in the archive.
#[derive(Clone, Debug, PartialEq)]
pub struct TestRow {
    /// Which tester.
    pub tester: TesterId,
    /// Number of the record.
    pub number: RecordNumber,
    /// SHA-256 of the record's bytes.
    pub sha256: [u8; 32],
    /// Start of the tester, time since, clock, firmware.
    pub made: Made,
    /// The decoded values.
    pub test: TestColumns,
    /// Where it was made, if that was said.
    pub place: Option<Place>,
}

/// When and with what a record was made.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Made {
    /// Starts of the tester.
    pub boot: u32,
    /// Milliseconds since that start.
    pub millis: u64,
    /// Wall clock, if the tester had the time.
    pub clock: Option<UnixSeconds>,
    /// Firmware.
    pub firmware: String,
}

/// Which tests are wanted.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Wanted {
    /// Only of this site.
    pub site: Option<String>,
    /// Only of this tester.
    pub tester: Option<TesterId>,
}

/// How much is in an archive.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Counts {
    /// Testers.
    pub testers: u64,
    /// Records.
    pub records: u64,
    /// Of them tests.
    pub tests: u64,
    /// Of them unread.
    pub unread: u64,
    /// Records that contradict another of the same number.
    pub conflicts: u64,
    /// Sites.
    pub sites: u64,
}

/// A store of records, places and notes.
pub trait Archive {
    /// Takes a batch in, whole or not at all.
    ///
    /// # Errors
    /// [`ArchiveError`]; nothing of the batch is kept then.
    fn import(&mut self, batch: &Batch) -> Result<Imported, ArchiveError>;

    /// How much is in it.
    ///
    /// # Errors
    /// [`ArchiveError`].
    fn counts(&self) -> Result<Counts, ArchiveError>;

    /// The first number from `oldest` on that is not kept of this tester, and the newest kept.
    ///
    /// # Errors
    /// [`ArchiveError`].
    fn missing_from(
        &self,
        tester: TesterId,
        oldest: RecordNumber,
    ) -> Result<(RecordNumber, Option<RecordNumber>), ArchiveError>;

    /// The bytes of a record.
    ///
    /// # Errors
    /// [`ArchiveError`].
    fn bytes(
        &self,
        tester: TesterId,
        number: RecordNumber,
    ) -> Result<Option<Vec<u8>>, ArchiveError>;

    /// Hands over the wanted tests one by one, by tester and number.
    ///
    /// # Errors
    /// [`ArchiveError`], also that of `take`, which ends the listing.
    fn each_test(
        &self,
        wanted: &Wanted,
        take: &mut dyn FnMut(TestRow) -> Result<(), ArchiveError>,
    ) -> Result<(), ArchiveError>;

    /// Hands over every record as it came in, source by source, those that contradict others among
    /// them.
    ///
    /// # Errors
    /// [`ArchiveError`], also that of `take`, which ends it.
    fn each_arrival(
        &self,
        take: &mut dyn FnMut(Batch) -> Result<(), ArchiveError>,
    ) -> Result<(), ArchiveError>;

    /// Lets `act` read one state of the archive from first to last, whoever writes meanwhile. `act`
    /// only reads, and does not call `verify` or this.
    ///
    /// # Errors
    /// [`ArchiveError`], also that of `act`.
    fn at_one_moment(
        &self,
        act: &mut dyn FnMut() -> Result<(), ArchiveError>,
    ) -> Result<(), ArchiveError>;

    /// Sites in the order of [`sort_key`], a page at a time: one more than wanted where there are more.
    ///
    /// # Errors
    /// [`ArchiveError`].
    fn sites(&self, wanted: &SitesWanted) -> Result<Vec<SiteRow>, ArchiveError>;

    /// Every tester, by its number, with its newest record and calibration.
    ///
    /// # Errors
    /// [`ArchiveError`].
    fn testers(&self) -> Result<Vec<TesterRow>, ArchiveError>;

    /// The newest calibration that a record of `tester` up to `number` tells of.
    ///
    /// # Errors
    /// [`ArchiveError`].
    fn calibration_at(
        &self,
        tester: TesterId,
        number: RecordNumber,
    ) -> Result<Option<KeptCalibration>, ArchiveError>;

    /// Checks every byte; hands over what is wrong as it is found.
    ///
    /// # Errors
    /// [`ArchiveError`] where it cannot be read.
    fn verify(&self, found: &mut dyn FnMut(Fault)) -> Result<Verified, ArchiveError>;

    /// Copies the archive to a new file while others may be writing to it.
    ///
    /// # Errors
    /// [`ArchiveError`]; no file is left then.
    fn backup(&self, to: &Path) -> Result<(), ArchiveError>;

    /// The site of this name; made if it is new.
    ///
    /// # Errors
    /// [`ArchiveError`].
    fn site(&mut self, name: &str) -> Result<SiteId, ArchiveError>;

    /// The appliance of this name at a site; made if it is new.
    ///
    /// # Errors
    /// [`ArchiveError`].
    fn appliance(&mut self, site: SiteId, name: &str) -> Result<ApplianceId, ArchiveError>;

    /// Says where the tests `from ..= to` of a tester were made; returns how many they are.
    ///
    /// # Errors
    /// [`ArchiveError`].
    fn place(
        &mut self,
        tester: TesterId,
        from: RecordNumber,
        to: RecordNumber,
        site: SiteId,
        appliance: Option<ApplianceId>,
    ) -> Result<u64, ArchiveError>;

    /// Keeps a note.
    ///
    /// # Errors
    /// [`ArchiveError`].
    fn add_note(&mut self, note: &NewNote) -> Result<(), ArchiveError>;

    /// The notes, of one site or of all, oldest first.
    ///
    /// # Errors
    /// [`ArchiveError`].
    fn notes(&self, site: Option<&str>) -> Result<Vec<KeptNote>, ArchiveError>;
}
