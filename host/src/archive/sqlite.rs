//! The archive in one SQLite file.
//!
//! Write-ahead log: readers and a backup go on while records come in. Every batch is one
//! transaction. Values reach the database as parameters only; no name is ever part of a
//! statement.

use std::path::{Path, PathBuf};

use rusqlite::{Connection, OpenFlags, OptionalExtension as _, TransactionBehavior, params};
use slotwise_core::record::{RecordNumber, TesterId};
use slotwise_core::units::UnixSeconds;

use super::places::checked_name;
use super::{
    ApplianceId, Archive, ArchiveError, Batch, Counts, Fault, Imported, KeptCalibration, KeptNote,
    NewNote, Place, SiteId, SiteRow, SitesWanted, TestRow, TesterRow, Verified, Wanted, backup,
    copy, examine, intake, listing, natural, rows, testers,
};

/// An archive in a file.
#[derive(Debug)]
pub struct SqliteArchive {
    pub(super) connection: Connection,
    pub(super) file: PathBuf,
}

impl SqliteArchive {
    /// Opens the archive `file`, and makes it if it is not there.
    ///
    /// # Errors
    /// [`ArchiveError`].
    pub fn open_or_make(file: &Path) -> Result<Self, ArchiveError> {
        Self::open_with(file, OpenFlags::SQLITE_OPEN_CREATE)
    }

    /// Opens the archive `file`.
    ///
    /// # Errors
    /// [`ArchiveError::NotThere`] if it is not there, else as [`Self::open_or_make`].
    pub fn open(file: &Path) -> Result<Self, ArchiveError> {
        if !file.exists() {
            return Err(ArchiveError::NotThere {
                file: file.to_owned(),
            });
        }
        Self::open_with(file, OpenFlags::empty())
    }

    /// The file.
    #[must_use]
    pub fn file(&self) -> &Path {
        &self.file
    }

    /// Ends everything that was written, so that the file stands alone.
    ///
    /// # Errors
    /// [`ArchiveError`].
    pub fn close(self) -> Result<(), ArchiveError> {
        let file = self.file;
        self.connection
            .close()
            .map_err(|(_, source)| ArchiveError::Database { file, source })
    }

    fn failed(&self) -> impl Fn(rusqlite::Error) -> ArchiveError + use<> {
        let file = self.file.clone();
        move |source| match source {
            rusqlite::Error::InvalidColumnType(..)
            | rusqlite::Error::IntegralValueOutOfRange(..)
            | rusqlite::Error::FromSqlConversionFailure(..) => ArchiveError::Content {
                file: file.clone(),
                what: source.to_string(),
            },
            source => ArchiveError::Database {
                file: file.clone(),
                source,
            },
        }
    }
}

impl Archive for SqliteArchive {
    fn import(&mut self, batch: &Batch) -> Result<Imported, ArchiveError> {
        let failed = self.failed();
        let transaction = self
            .connection
            .transaction_with_behavior(TransactionBehavior::Immediate)
            .map_err(&failed)?;
        let imported = intake::take_in(&transaction, batch).map_err(&failed)?;
        transaction.commit().map_err(&failed)?;
        Ok(imported)
    }

    fn counts(&self) -> Result<Counts, ArchiveError> {
        let count = |what: &str| -> Result<u64, ArchiveError> {
            self.connection
                .query_row(&format!("SELECT count(*) FROM {what}"), [], |row| {
                    row.get::<_, i64>(0)
                })
                .map(rows::unsigned)
                .map_err(self.failed())
        };
        Ok(Counts {
            testers: count("tester")?,
            records: count("record")?,
            tests: count("test")?,
            unread: count("record WHERE kind = 'unread'")?,
            conflicts: count("conflict")?,
            sites: count("site")?,
        })
    }

    fn missing_from(
        &self,
        tester: TesterId,
        oldest: RecordNumber,
    ) -> Result<(RecordNumber, Option<RecordNumber>), ArchiveError> {
        let serial = rows::serial(tester);
        let newest: Option<u32> = self
            .connection
            .query_row(
                "SELECT max(r.number) FROM record r JOIN tester t ON t.id = r.tester \
                 WHERE t.serial = ?1",
                [&serial],
                |row| row.get(0),
            )
            .map_err(self.failed())?;
        let has_oldest: bool = self
            .connection
            .query_row(
                "SELECT EXISTS (SELECT 1 FROM record r JOIN tester t ON t.id = r.tester \
                 WHERE t.serial = ?1 AND r.number = ?2)",
                params![serial, oldest.get()],
                |row| row.get(0),
            )
            .map_err(self.failed())?;
        if !has_oldest {
            return Ok((oldest, newest.map(RecordNumber::new)));
        }
        let last: u32 = self
            .connection
            .query_row(
                "SELECT min(r.number) FROM record r JOIN tester t ON t.id = r.tester \
                 WHERE t.serial = ?1 AND r.number >= ?2 AND NOT EXISTS \
                 (SELECT 1 FROM record n WHERE n.tester = r.tester AND n.number = r.number + 1)",
                params![serial, oldest.get()],
                |row| row.get(0),
            )
            .map_err(self.failed())?;
        Ok((
            RecordNumber::new(last).next(),
            newest.map(RecordNumber::new),
        ))
    }

    fn bytes(
        &self,
        tester: TesterId,
        number: RecordNumber,
    ) -> Result<Option<Vec<u8>>, ArchiveError> {
        self.connection
            .query_row(
                "SELECT r.bytes FROM record r JOIN tester t ON t.id = r.tester \
                 WHERE t.serial = ?1 AND r.number = ?2",
                params![rows::serial(tester), number.get()],
                |row| row.get(0),
            )
            .optional()
            .map_err(self.failed())
    }

    fn each_test(
        &self,
        wanted: &Wanted,
        take: &mut dyn FnMut(TestRow) -> Result<(), ArchiveError>,
    ) -> Result<(), ArchiveError> {
        if let Some(site) = &wanted.site {
            let is_there: bool = self
                .connection
                .query_row(
                    "SELECT EXISTS (SELECT 1 FROM site WHERE name = ?1)",
                    [site],
                    |row| row.get(0),
                )
                .map_err(self.failed())?;
            if !is_there {
                return Err(ArchiveError::NoSuchSite(site.clone()));
            }
        }
        let (sql, values) = rows::select_wanted(wanted);
        let failed = self.failed();
        let mut listing = self.connection.prepare_cached(&sql).map_err(&failed)?;
        let mut found = listing
            .query(rusqlite::params_from_iter(values))
            .map_err(&failed)?;
        while let Some(row) = found.next().map_err(&failed)? {
            take(rows::test_row(row).map_err(&failed)?)?;
        }
        Ok(())
    }

    fn each_arrival(
        &self,
        take: &mut dyn FnMut(Batch) -> Result<(), ArchiveError>,
    ) -> Result<(), ArchiveError> {
        let failed = self.failed();
        let mut arrival = copy::Arriving::new(take);
        let mut all = self
            .connection
            .prepare(copy::SELECT_ARRIVALS)
            .map_err(&failed)?;
        let mut found = all.query([]).map_err(&failed)?;
        while let Some(row) = found.next().map_err(&failed)? {
            arrival.record(rows::arrived(row).map_err(&failed)?)?;
        }
        arrival.finish()
    }

    fn at_one_moment(
        &self,
        act: &mut dyn FnMut() -> Result<(), ArchiveError>,
    ) -> Result<(), ArchiveError> {
        // Reading only: dropped, it ends without a trace.
        let _reading = self
            .connection
            .unchecked_transaction()
            .map_err(self.failed())?;
        act()
    }

    fn sites(&self, wanted: &SitesWanted) -> Result<Vec<SiteRow>, ArchiveError> {
        listing::sites(&self.connection, wanted).map_err(self.failed())
    }

    fn testers(&self) -> Result<Vec<TesterRow>, ArchiveError> {
        testers::testers(&self.connection).map_err(self.failed())
    }

    fn calibration_at(
        &self,
        tester: TesterId,
        number: RecordNumber,
    ) -> Result<Option<KeptCalibration>, ArchiveError> {
        testers::calibration_at(&self.connection, tester, number).map_err(self.failed())
    }

    fn verify(&self, found: &mut dyn FnMut(Fault)) -> Result<Verified, ArchiveError> {
        examine::examine(&self.connection, found).map_err(self.failed())
    }

    fn backup(&self, to: &Path) -> Result<(), ArchiveError> {
        backup::backup(&self.connection, to)
    }

    fn site(&mut self, name: &str) -> Result<SiteId, ArchiveError> {
        let name = checked_name("site", name)?;
        self.connection
            .prepare_cached("INSERT INTO site (name, sort) VALUES (?1, ?2) ON CONFLICT DO NOTHING")
            .and_then(|mut insert| insert.execute(params![name, natural::sort_key(name)]))
            .and_then(|_| {
                self.connection
                    .prepare_cached("SELECT id FROM site WHERE name = ?1")?
                    .query_row([name], |row| row.get(0).map(SiteId))
            })
            .map_err(self.failed())
    }

    fn appliance(&mut self, site: SiteId, name: &str) -> Result<ApplianceId, ArchiveError> {
        let name = checked_name("appliance", name)?;
        self.connection
            .prepare_cached(
                "INSERT INTO appliance (site, name) VALUES (?1, ?2) ON CONFLICT DO NOTHING",
            )
            .and_then(|mut insert| insert.execute(params![site.0, name]))
            .and_then(|_| {
                self.connection
                    .prepare_cached("SELECT id FROM appliance WHERE site = ?1 AND name = ?2")?
                    .query_row(params![site.0, name], |row| row.get(0).map(ApplianceId))
            })
            .map_err(self.failed())
    }

    fn place(
        &mut self,
        tester: TesterId,
        from: RecordNumber,
        to: RecordNumber,
        site: SiteId,
        appliance: Option<ApplianceId>,
    ) -> Result<u64, ArchiveError> {
        let placed = self
            .connection
            .prepare_cached(
                "INSERT INTO placing (record, site, appliance, outcome, clock) \
                 SELECT r.id, ?4, ?5, x.outcome, r.clock FROM record r \
                 JOIN tester t ON t.id = r.tester JOIN test x ON x.record = r.id \
                 WHERE t.serial = ?1 AND r.number BETWEEN ?2 AND ?3 AND r.kind = 'test' \
                 ON CONFLICT (record) DO UPDATE \
                 SET site = excluded.site, appliance = excluded.appliance",
            )
            .and_then(|mut insert| {
                insert.execute(params![
                    rows::serial(tester),
                    from.get(),
                    to.get(),
                    site.0,
                    appliance.map(|appliance| appliance.0)
                ])
            })
            .map_err(self.failed())?;
        if placed == 0 {
            return Err(ArchiveError::NoSuchTests {
                tester: rows::serial(tester),
                from: from.get(),
                to: to.get(),
            });
        }
        Ok(placed as u64)
    }

    fn add_note(&mut self, note: &NewNote) -> Result<(), ArchiveError> {
        let [readings, answers, photos] = note.texts(&self.file)?;
        self.connection
            .execute(
                "INSERT INTO note (site, appliance, made_at, readings, answers, remark, photos) \
                 VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
                params![
                    note.site.0,
                    note.appliance.map(|appliance| appliance.0),
                    rows::signed(note.at.get()),
                    readings,
                    answers,
                    note.remark,
                    photos
                ],
            )
            .map(|_| ())
            .map_err(self.failed())
    }

    fn notes(&self, site: Option<&str>) -> Result<Vec<KeptNote>, ArchiveError> {
        let failed = self.failed();
        let mut listing = self
            .connection
            .prepare(
                "SELECT s.name, a.name, n.made_at, n.readings, n.answers, n.remark, n.photos \
                 FROM note n JOIN site s ON s.id = n.site \
                 LEFT JOIN appliance a ON a.id = n.appliance \
                 WHERE ?1 IS NULL OR s.name = ?1 ORDER BY n.made_at, n.id",
            )
            .map_err(&failed)?;
        let found = listing
            .query_map([site], |row| {
                let texts: [String; 3] = [row.get(3)?, row.get(4)?, row.get(6)?];
                Ok((
                    Place {
                        site: row.get(0)?,
                        appliance: row.get(1)?,
                    },
                    UnixSeconds::new(rows::unsigned(row.get(2)?)),
                    row.get::<_, String>(5)?,
                    texts,
                ))
            })
            .map_err(&failed)?;
        let mut notes = Vec::new();
        for note in found {
            let (place, at, remark, texts) = note.map_err(&failed)?;
            notes.push(KeptNote::of_texts(&self.file, place, at, &texts, remark)?);
        }
        Ok(notes)
    }
}
