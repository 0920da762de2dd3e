//! The archive on a PostgreSQL server: one archive for several computers.
//!
//! Same tables, same rules and same answers as the file; the tests of the one are those of the
//! other. Every batch is one transaction; batches of one tester wait for each other, so that each
//! sees the chain that the one before left.
//!
//! What goes over the line is not encrypted. So an address beyond this computer is refused unless
//! it says `sslmode=disable` itself: a network of one's own, or a tunnel that ends here.
//!
//! Limits: `archive verify` checks every record, but not the server's own files (that is
//! `pg_amcheck`'s); a backup is a new file of the other kind, and the server's tools make others. A
//! callback of [`Archive::each_test`] cannot use the same archive: it says that it is busy.

mod intake;
mod listing;
mod opening;
mod rows;
mod testers;

use std::cell::RefCell;
use std::path::{Path, PathBuf};

use postgres::types::ToSql;
use postgres::{Client, Row};
use slotwise_core::record::{RecordNumber, TesterId};
use slotwise_core::units::UnixSeconds;

use super::location::shown;
use super::places::checked_name;
use super::verify::Walk;
use super::{
    ApplianceId, Archive, ArchiveError, Batch, Counts, Fault, FaultKind, Imported, KeptCalibration,
    KeptNote, NewNote, Place, SiteId, SiteRow, SitesWanted, TestRow, TesterRow, Verified, Wanted,
    backup, sort_key,
};

/// An archive on a server.
pub struct PostgresArchive {
    client: RefCell<Client>,
    /// The address without its password.
    place: PathBuf,
}

impl std::fmt::Debug for PostgresArchive {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("PostgresArchive")
            .field("place", &self.place)
            .finish_non_exhaustive()
    }
}

/// What the database says, in one line.
fn said(error: &postgres::Error) -> String {
    error.as_db_error().map_or_else(
        || {
            let mut text = error.to_string();
            let mut source = std::error::Error::source(error);
            while let Some(cause) = source {
                text = format!("{text}: {cause}");
                source = cause.source();
            }
            text
        },
        |error| error.message().to_owned(),
    )
}

/// A failure of the server, or of the way to it.
fn failed(place: &Path) -> impl Fn(postgres::Error) -> ArchiveError + use<> {
    let place = place.to_owned();
    move |error| {
        let is_content = std::error::Error::source(&error)
            .is_some_and(|source| source.is::<postgres::types::WasNull>())
            || error.to_string().starts_with("error deserializing");
        if is_content {
            ArchiveError::Content {
                file: place.clone(),
                what: said(&error),
            }
        } else {
            ArchiveError::Server {
                place: place.clone(),
                what: said(&error),
            }
        }
    }
}

type Parameters<'p> = &'p [&'p (dyn ToSql + Sync)];

impl PostgresArchive {
    /// Opens the archive at `address`; `make` makes it if there is none.
    ///
    /// # Errors
    /// [`ArchiveError`].
    pub fn open(address: &str, make: bool) -> Result<Self, ArchiveError> {
        let place = shown(Path::new(address));
        let mut client = opening::connect(address, &place)?;
        opening::bring_up(&mut client, &place, make)?;
        let mut archive = Self {
            client: RefCell::new(client),
            place,
        };
        archive.read_again()?;
        Ok(archive)
    }

    /// Lets `act` have the line.
    fn with<T>(
        &self,
        act: impl FnOnce(&mut Client) -> Result<T, postgres::Error>,
    ) -> Result<T, ArchiveError> {
        let mut client = self
            .client
            .try_borrow_mut()
            .map_err(|_| ArchiveError::Server {
                place: self.place.clone(),
                what: "asked again in the middle of a listing".to_owned(),
            })?;
        act(&mut client).map_err(failed(&self.place))
    }

    fn one<T>(
        &self,
        sql: &str,
        parameters: Parameters<'_>,
        read: impl FnOnce(&Row) -> Result<T, postgres::Error>,
    ) -> Result<T, ArchiveError> {
        self.with(|client| read(&client.query_one(sql, parameters)?))
    }

    /// Hands over rows as they come from the server; not all of them are held at once.
    fn each(
        &self,
        sql: &str,
        parameters: Parameters<'_>,
        take: &mut dyn FnMut(&Row) -> Result<(), ArchiveError>,
    ) -> Result<(), ArchiveError> {
        let mut taken = Ok(());
        self.with(|client| {
            let mut rows = client.query_raw(sql, parameters.iter().copied())?;
            while let Some(row) = postgres::fallible_iterator::FallibleIterator::next(&mut rows)? {
                taken = take(&row);
                if taken.is_err() {
                    break;
                }
            }
            Ok(())
        })?;
        taken
    }
}

impl Archive for PostgresArchive {
    fn import(&mut self, batch: &Batch) -> Result<Imported, ArchiveError> {
        self.with(|client| {
            let mut transaction = client.transaction()?;
            let imported = intake::take_in(&mut transaction, batch)?;
            transaction.commit()?;
            Ok(imported)
        })
    }

    fn counts(&self) -> Result<Counts, ArchiveError> {
        self.one(
            "SELECT (SELECT count(*) FROM tester), (SELECT count(*) FROM record), \
             (SELECT count(*) FROM test), (SELECT count(*) FROM record WHERE kind = 'unread'), \
             (SELECT count(*) FROM conflict), (SELECT count(*) FROM site)",
            &[],
            |row| {
                let count = |index| row.try_get(index).map(i64::cast_unsigned);
                Ok(Counts {
                    testers: count(0)?,
                    records: count(1)?,
                    tests: count(2)?,
                    unread: count(3)?,
                    conflicts: count(4)?,
                    sites: count(5)?,
                })
            },
        )
    }

    fn missing_from(
        &self,
        tester: TesterId,
        oldest: RecordNumber,
    ) -> Result<(RecordNumber, Option<RecordNumber>), ArchiveError> {
        let serial = rows::serial(tester);
        let first = i64::from(oldest.get());
        let (newest, last) = self.one(
            "SELECT (SELECT max(number) FROM record WHERE tester = t.id), \
             (SELECT min(r.number) FROM record r WHERE r.tester = t.id AND r.number >= $2 \
              AND EXISTS (SELECT 1 FROM record o WHERE o.tester = t.id AND o.number = $2) \
              AND NOT EXISTS (SELECT 1 FROM record n WHERE n.tester = t.id \
               AND n.number = r.number + 1)) \
             FROM (SELECT (SELECT id FROM tester WHERE serial = $1) AS id) t",
            &[&serial, &first],
            |row| Ok((rows::number_if(row, 0)?, rows::number_if(row, 1)?)),
        )?;
        Ok((last.map_or(oldest, RecordNumber::next), newest))
    }

    fn bytes(
        &self,
        tester: TesterId,
        number: RecordNumber,
    ) -> Result<Option<Vec<u8>>, ArchiveError> {
        self.with(|client| {
            client
                .query_opt(
                    "SELECT r.bytes FROM record r JOIN tester t ON t.id = r.tester \
                     WHERE t.serial = $1 AND r.number = $2",
                    &[&rows::serial(tester), &i64::from(number.get())],
                )?
                .map(|row| row.try_get(0))
                .transpose()
        })
    }

    fn each_test(
        &self,
        wanted: &Wanted,
        take: &mut dyn FnMut(TestRow) -> Result<(), ArchiveError>,
    ) -> Result<(), ArchiveError> {
        if let Some(site) = &wanted.site {
            let is_there: bool = self.one(
                "SELECT EXISTS (SELECT 1 FROM site WHERE name = $1)",
                &[site],
                |row| row.try_get(0),
            )?;
            if !is_there {
                return Err(ArchiveError::NoSuchSite(site.clone()));
            }
        }
        let tester = wanted.tester.map(rows::serial);
        let sql = rows::select_tests(
            "WHERE ($1::text IS NULL OR x.record IN (SELECT record FROM placed WHERE site = \
             (SELECT id FROM site WHERE name = $1))) AND ($2::text IS NULL OR t.serial = $2)",
        );
        self.each(&sql, &[&wanted.site, &tester], &mut |row| {
            take(rows::test_row(row).map_err(failed(&self.place))?)
        })
    }

    fn each_arrival(
        &self,
        take: &mut dyn FnMut(Batch) -> Result<(), ArchiveError>,
    ) -> Result<(), ArchiveError> {
        let mut arrival = super::copy::Arriving::new(take);
        self.each(super::copy::SELECT_ARRIVALS, &[], &mut |row| {
            arrival.record(rows::arrived(row).map_err(failed(&self.place))?)
        })?;
        arrival.finish()
    }

    fn at_one_moment(
        &self,
        act: &mut dyn FnMut() -> Result<(), ArchiveError>,
    ) -> Result<(), ArchiveError> {
        self.with(|client| {
            client.batch_execute("BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY")
        })?;
        let done = act();
        let ended = self.with(|client| client.batch_execute("ROLLBACK"));
        done.and(ended)
    }

    fn sites(&self, wanted: &SitesWanted) -> Result<Vec<SiteRow>, ArchiveError> {
        self.with(|client| listing::sites(client, wanted))
    }

    fn testers(&self) -> Result<Vec<TesterRow>, ArchiveError> {
        self.with(testers::testers)
    }

    fn calibration_at(
        &self,
        tester: TesterId,
        number: RecordNumber,
    ) -> Result<Option<KeptCalibration>, ArchiveError> {
        self.with(|client| testers::calibration_at(client, tester, number))
    }

    fn verify(&self, found: &mut dyn FnMut(Fault)) -> Result<Verified, ArchiveError> {
        let mut verified = Verified::default();
        let mut walk = Walk::default();
        self.at_one_moment(&mut || {
            self.each(&rows::select_all(), &[], &mut |row| {
                let (tester, number) = rows::whose(row).map_err(failed(&self.place))?;
                let mut fault = |kind| {
                    verified.faults += 1;
                    found(Fault {
                        tester,
                        number,
                        kind,
                    });
                };
                match rows::stored(row) {
                    Ok(stored) => walk.check(&stored, &mut fault),
                    Err(error) => fault(FaultKind::Row(said(&error))),
                }
                Ok(())
            })?;
            self.each(
                "SELECT t.serial, c.number FROM conflict c JOIN tester t ON t.id = c.tester \
                 ORDER BY c.tester, c.number",
                &[],
                &mut |row| {
                    let (tester, number) = rows::whose(row).map_err(failed(&self.place))?;
                    verified.faults += 1;
                    found(Fault {
                        tester,
                        number,
                        kind: FaultKind::Conflict,
                    });
                    Ok(())
                },
            )
        })?;
        verified.testers = walk.testers;
        verified.records = walk.records;
        Ok(verified)
    }

    fn backup(&self, to: &Path) -> Result<(), ArchiveError> {
        backup::into_new_file(to, |part| {
            let mut file = super::SqliteArchive::open_or_make(part)?;
            super::copy::copy(self, &mut file)?;
            file.close()
        })
    }

    fn site(&mut self, name: &str) -> Result<SiteId, ArchiveError> {
        let name = checked_name("site", name)?;
        self.with(|client| {
            client.execute(
                "INSERT INTO site (name, sort) VALUES ($1, $2) ON CONFLICT DO NOTHING",
                &[&name, &sort_key(name)],
            )?;
            let row = client.query_one("SELECT id FROM site WHERE name = $1", &[&name])?;
            row.try_get(0).map(SiteId)
        })
    }

    fn appliance(&mut self, site: SiteId, name: &str) -> Result<ApplianceId, ArchiveError> {
        let name = checked_name("appliance", name)?;
        self.with(|client| {
            client.execute(
                "INSERT INTO appliance (site, name) VALUES ($1, $2) ON CONFLICT DO NOTHING",
                &[&site.0, &name],
            )?;
            let row = client.query_one(
                "SELECT id FROM appliance WHERE site = $1 AND name = $2",
                &[&site.0, &name],
            )?;
            row.try_get(0).map(ApplianceId)
        })
    }

    fn place(
        &mut self,
        tester: TesterId,
        from: RecordNumber,
        to: RecordNumber,
        site: SiteId,
        appliance: Option<ApplianceId>,
    ) -> Result<u64, ArchiveError> {
        let (first, last) = (i64::from(from.get()), i64::from(to.get()));
        let appliance = appliance.map(|appliance| appliance.0);
        let placed = self.with(|client| {
            client.execute(
                "INSERT INTO placed (record, site, appliance) \
                 SELECT r.id, $4, $5 FROM record r JOIN tester t ON t.id = r.tester \
                 WHERE t.serial = $1 AND r.number BETWEEN $2 AND $3 AND r.kind = 'test' \
                 ON CONFLICT (record) DO UPDATE \
                 SET site = excluded.site, appliance = excluded.appliance",
                &[&rows::serial(tester), &first, &last, &site.0, &appliance],
            )
        })?;
        if placed == 0 {
            return Err(ArchiveError::NoSuchTests {
                tester: rows::serial(tester),
                from: from.get(),
                to: to.get(),
            });
        }
        Ok(placed)
    }

    fn add_note(&mut self, note: &NewNote) -> Result<(), ArchiveError> {
        let [readings, answers, photos] = note.texts(&self.place)?;
        let appliance = note.appliance.map(|appliance| appliance.0);
        self.with(|client| {
            client.execute(
                "INSERT INTO note (site, appliance, made_at, readings, answers, remark, photos) \
                 VALUES ($1, $2, $3, $4, $5, $6, $7)",
                &[
                    &note.site.0,
                    &appliance,
                    &note.at.get().cast_signed(),
                    &readings,
                    &answers,
                    &note.remark,
                    &photos,
                ],
            )
        })?;
        Ok(())
    }

    fn notes(&self, site: Option<&str>) -> Result<Vec<KeptNote>, ArchiveError> {
        let mut notes = Vec::new();
        self.each(
            "SELECT s.name, a.name, n.made_at, n.readings, n.answers, n.photos, n.remark \
             FROM note n JOIN site s ON s.id = n.site LEFT JOIN appliance a ON a.id = n.appliance \
             WHERE $1::text IS NULL OR s.name = $1 ORDER BY n.made_at, n.id",
            &[&site],
            &mut |row| {
                let get = |index| row.try_get::<_, String>(index).map_err(failed(&self.place));
                let at: i64 = row.try_get(2).map_err(failed(&self.place))?;
                let place = Place {
                    site: get(0)?,
                    appliance: row.try_get(1).map_err(failed(&self.place))?,
                };
                let texts = [get(3)?, get(4)?, get(5)?];
                let at = UnixSeconds::new(at.cast_unsigned());
                notes.push(KeptNote::of_texts(&self.place, place, at, &texts, get(6)?)?);
                Ok(())
            },
        )?;
        Ok(notes)
    }
}
