//! The testers of the archive, and under which calibration a record was made.
//!
//! A tester writes a record when a calibration is stored. The one in force at a record is the
//! newest of these before it. A tester calibrated before it kept such records, or whose record
//! was never pulled, has none here, which says nothing about whether it is calibrated.

use rusqlite::{Connection, OptionalExtension as _, params};
use slotwise_core::calibration::event::CalibrationEvent;
use slotwise_core::record::{Body, RecordNumber, TesterId, decode};
use slotwise_core::units::UnixSeconds;

use super::rows;

/// A calibration as the archive knows it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct KeptCalibration {
    /// The record that tells of it.
    pub number: RecordNumber,
    /// What it says.
    pub event: CalibrationEvent,
}

impl KeptCalibration {
    /// What a record tells. Bytes that changed since they came in are told by `archive verify`.
    pub(super) fn of(number: RecordNumber, bytes: &[u8]) -> Option<Self> {
        let Body::Calibrated(event) = decode(bytes).ok()?.body else {
            return None;
        };
        Some(Self { number, event })
    }
}

/// A tester in the list.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TesterRow {
    /// Its number.
    pub tester: TesterId,
    /// Its newest record.
    pub newest: RecordNumber,
    /// When that was made, if the tester knew the time.
    pub clock: Option<UnixSeconds>,
    /// Its newest calibration, if a record tells of one.
    pub calibration: Option<KeptCalibration>,
}

/// The listing of testers.
pub(super) const TESTERS: &str = "SELECT t.serial, r.number, r.clock FROM tester t \
     JOIN record r ON r.id = \
     (SELECT id FROM record WHERE tester = t.id ORDER BY number DESC LIMIT 1) ORDER BY t.serial";

/// The newest calibration of a tester up to a record.
pub(super) const CALIBRATION_AT: &str = "SELECT r.number, r.bytes FROM record r \
     WHERE r.kind = 'calibrated' AND r.tester = (SELECT id FROM tester WHERE serial = ?1) \
     AND r.number <= ?2 ORDER BY r.number DESC LIMIT 1";

/// Every tester, by its number. What it costs grows with the testers, not with their records.
pub(super) fn testers(connection: &Connection) -> rusqlite::Result<Vec<TesterRow>> {
    let mut listing = connection.prepare_cached(TESTERS)?;
    let found = listing.query_map([], |row| {
        let serial: String = row.get(0)?;
        let clock: Option<i64> = row.get(2)?;
        Ok((
            rows::tester(&serial)?,
            RecordNumber::new(row.get(1)?),
            clock.map(|clock| UnixSeconds::new(rows::unsigned(clock))),
        ))
    })?;
    found
        .map(|row| {
            let (tester, newest, clock) = row?;
            Ok(TesterRow {
                tester,
                newest,
                clock,
                calibration: calibration_at(connection, tester, newest)?,
            })
        })
        .collect()
}

/// The newest calibration that a record of `tester` up to `number` tells of.
pub(super) fn calibration_at(
    connection: &Connection,
    tester: TesterId,
    number: RecordNumber,
) -> rusqlite::Result<Option<KeptCalibration>> {
    let found: Option<(u32, Vec<u8>)> = connection
        .prepare_cached(CALIBRATION_AT)?
        .query_row(params![rows::serial(tester), number.get()], |row| {
            Ok((row.get(0)?, row.get(1)?))
        })
        .optional()?;
    Ok(found.and_then(|(number, bytes)| KeptCalibration::of(RecordNumber::new(number), &bytes)))
}
