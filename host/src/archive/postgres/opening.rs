//! Getting to the server, and the steps from an empty database to the archive of this version.

use std::path::Path;
use std::time::Duration;

use postgres::config::{Host, SslMode};
use postgres::{Client, Config, NoTls};
use slotwise_core::record::RecordNumber;

use super::{PostgresArchive, failed, rows, said};
use crate::archive::{ArchiveError, Columns, QUANTITIES};

/// The steps, in order. One that was released is never changed.
const STEPS: [&str; 1] = [include_str!("1.sql")];

/// The schema that everything stands in.
const SCHEMA: &str = "slotwise";

/// How long a server may take to answer a call.
const PATIENCE: Duration = Duration::from_secs(10);

/// "SLOT": the lock of whoever brings an archive up.
const LOCK: i64 = 0x534C_4F54;

/// Calls the server.
pub(super) fn connect(address: &str, place: &Path) -> Result<Client, ArchiveError> {
    let refused = |what: String| ArchiveError::Server {
        place: place.to_owned(),
        what,
    };
    let mut config: Config = address.parse().map_err(|error| refused(said(&error)))?;
    let is_here = config.get_hosts().iter().all(|host| match host {
        Host::Tcp(name) => matches!(name.as_str(), "localhost" | "127.0.0.1" | "::1" | "[::1]"),
        #[cfg(unix)]
        Host::Unix(_) => true,
    });
    // "Prefer" is what an address has that says nothing of it.
    if !is_here && config.get_ssl_mode() != SslMode::Disable {
        return Err(refused(
            "the server is another computer, and the line to it is not encrypted. If the network \
             between is your own, add sslmode=disable to the address; else make a tunnel that \
             ends on this computer"
                .to_owned(),
        ));
    }
    config
        .connect_timeout(PATIENCE)
        .application_name("slotwise")
        .ssl_mode(SslMode::Disable);
    // As with the server's own programs: an address on a command line is read by everybody on this
    // computer.
    if config.get_password().is_none()
        && let Some(password) = std::env::var_os("PGPASSWORD")
    {
        config.password(password.as_encoded_bytes());
    }
    config.connect(NoTls).map_err(|error| {
        let advice = "check the address, and that the server runs and lets this user in";
        refused(format!("{}; {advice}", said(&error)))
    })
}

/// The three columns of every quantity.
fn quantities() -> String {
    let columns = QUANTITIES.iter().map(|(name, _)| {
        format!(
            "{name} DOUBLE PRECISION, {name}_u DOUBLE PRECISION, {name}_missing TEXT, \
             CHECK (({name} IS NULL) = ({name}_missing IS NOT NULL))"
        )
    });
    columns.collect::<Vec<_>>().join(",\n    ")
}

/// Brings the archive up to this version; an empty database becomes one if it may.
pub(super) fn bring_up(client: &mut Client, place: &Path, make: bool) -> Result<(), ArchiveError> {
    let failed = failed(place);
    let newest = STEPS.len() as i64;
    let mut found = version(client).map_err(&failed)?;
    if found.is_none() && !make {
        return Err(ArchiveError::NotThere {
            file: place.to_owned(),
        });
    }
    if found.is_none_or(|found| found < newest) {
        let mut transaction = client.transaction().map_err(&failed)?;
        // Two programs may come here at once; the second finds the work done.
        transaction
            .execute("SELECT pg_advisory_xact_lock($1)", &[&LOCK])
            .map_err(&failed)?;
        transaction
            .batch_execute(&format!(
                "CREATE SCHEMA IF NOT EXISTS {SCHEMA}; SET LOCAL search_path TO {SCHEMA}; \
                 CREATE TABLE IF NOT EXISTS archive (version BIGINT NOT NULL)"
            ))
            .map_err(&failed)?;
        let done: i64 = transaction
            .query_opt("SELECT version FROM archive", &[])
            .map_err(&failed)?
            .map_or(Ok(0), |row| row.try_get(0))
            .map_err(&failed)?;
        for (step, number) in STEPS.iter().zip(1_i64..) {
            if number > done {
                let step = step.replace("{quantities}", &quantities());
                transaction.batch_execute(&step).map_err(&failed)?;
            }
        }
        if done < newest {
            transaction
                .batch_execute("DELETE FROM archive")
                .and_then(|()| {
                    transaction.execute("INSERT INTO archive (version) VALUES ($1)", &[&newest])
                })
                .map_err(&failed)?;
        }
        transaction.commit().map_err(&failed)?;
        found = version(client).map_err(&failed)?;
    }
    if let Some(found) = found.filter(|found| *found > newest) {
        return Err(ArchiveError::Newer {
            file: place.to_owned(),
            found,
            known: newest,
        });
    }
    client
        .batch_execute(&format!("SET search_path TO {SCHEMA}"))
        .map_err(&failed)
}

/// The version of the archive that is there.
fn version(client: &mut Client) -> Result<Option<i64>, postgres::Error> {
    let name = format!("{SCHEMA}.archive");
    let is_there: bool = client
        .query_one("SELECT to_regclass($1) IS NOT NULL", &[&name])?
        .try_get(0)?;
    if !is_there {
        return Ok(None);
    }
    client
        .query_opt(&format!("SELECT version FROM {name}"), &[])?
        .map(|row| row.try_get(0))
        .transpose()
}

impl PostgresArchive {
    /// Reads what an older version kept unread.
    pub(super) fn read_again(&mut self) -> Result<(), ArchiveError> {
        self.with(|client| {
            let unread = client.query(
                "SELECT r.id, t.serial, r.number, r.bytes FROM record r \
                 JOIN tester t ON t.id = r.tester WHERE r.kind = 'unread'",
                &[],
            )?;
            let mut readable = Vec::new();
            for row in unread {
                let Some(tester) = rows::tester(row.try_get(1)?) else {
                    continue;
                };
                let number = RecordNumber::new(row.try_get::<_, i64>(2)? as u32);
                let columns = Columns::of(tester, number, row.try_get(3)?);
                if columns.unread.is_none() {
                    readable.push((row.try_get::<_, i64>(0)?, columns));
                }
            }
            if readable.is_empty() {
                return Ok(());
            }
            let mut transaction = client.transaction()?;
            for (id, columns) in readable {
                rows::read_again(&mut transaction, id, &columns)?;
            }
            transaction.commit()
        })
    }
}
