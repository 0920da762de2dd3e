//! The testers of the archive, and under which calibration a record was made.

use postgres::{Client, Error};
use slotwise_core::record::{RecordNumber, TesterId};
use slotwise_core::units::UnixSeconds;

use super::rows;
use crate::archive::{KeptCalibration, TesterRow};

/// Every tester, by its number.
pub(super) fn testers(client: &mut Client) -> Result<Vec<TesterRow>, Error> {
    let found = client.query(
        "SELECT t.serial, n.number, n.clock FROM tester t CROSS JOIN LATERAL \
         (SELECT r.number, r.clock FROM record r WHERE r.tester = t.id \
          ORDER BY r.number DESC LIMIT 1) n ORDER BY t.serial COLLATE \"C\"",
        &[],
    )?;
    let mut testers = Vec::new();
    for row in found {
        let (tester, newest) = rows::whose(&row)?;
        let clock: Option<i64> = row.try_get(2)?;
        testers.push(TesterRow {
            tester,
            newest,
            clock: clock.map(|clock| UnixSeconds::new(clock.cast_unsigned())),
            calibration: calibration_at(client, tester, newest)?,
        });
    }
    Ok(testers)
}

/// The newest calibration that a record of `tester` up to `number` tells of.
pub(super) fn calibration_at(
    client: &mut Client,
    tester: TesterId,
    number: RecordNumber,
) -> Result<Option<KeptCalibration>, Error> {
    let found = client.query_opt(
        "SELECT r.number, r.bytes FROM record r WHERE r.kind = 'calibrated' AND r.tester = \
         (SELECT id FROM tester WHERE serial = $1) AND r.number <= $2 \
         ORDER BY r.number DESC LIMIT 1",
        &[&rows::serial(tester), &i64::from(number.get())],
    )?;
    let Some(row) = found else { return Ok(None) };
    let number = rows::number_if(&row, 0)?.unwrap_or(number);
    Ok(KeptCalibration::of(number, row.try_get(1)?))
}
