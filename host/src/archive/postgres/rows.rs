//! Rows of the server from and to the values of the program.

use postgres::{Error, Row, Transaction};
use slotwise_core::record::{Digest, RecordNumber, TesterId};
use slotwise_core::units::UnixSeconds;

use crate::archive::columns::{
    Cell, Columns, Kind, QUANTITIES, TEST_FIXED, TestColumns, test_columns,
};
use crate::archive::copy::Arrived;
use crate::archive::verify::Stored;
use crate::archive::{Made, Place, TestRow};

const MADE: &str = "r.boot, r.millis, r.clock, r.firmware";
const MADE_COUNT: usize = 4;

/// A tester's number as it is stored.
pub(super) fn serial(tester: TesterId) -> String {
    tester.to_string()
}

/// A tester from its serial.
pub(super) fn tester(serial: &str) -> Option<TesterId> {
    u64::from_str_radix(serial, 16).ok().map(TesterId)
}

pub(super) fn number_if(row: &Row, index: usize) -> Result<Option<RecordNumber>, Error> {
    let number: Option<i64> = row.try_get(index)?;
    // The table lets no others in.
    Ok(number.map(|number| RecordNumber::new(number as u32)))
}

/// Serial and number in front of a row. The table lets only sixteen letters in; who put others
/// than hexadecimal ones there finds tester 0.
pub(super) fn whose(row: &Row) -> Result<(TesterId, RecordNumber), Error> {
    let tester = tester(row.try_get(0)?).unwrap_or(TesterId(0));
    Ok((tester, number_if(row, 1)?.unwrap_or(RecordNumber::FIRST)))
}

fn digest_of(bytes: &[u8]) -> [u8; 32] {
    // The table lets no other length in.
    bytes.try_into().unwrap_or_default()
}

fn clock_at(row: &Row, index: usize) -> Result<Option<UnixSeconds>, Error> {
    let clock: Option<i64> = row.try_get(index)?;
    Ok(clock.map(|clock| UnixSeconds::new(clock.cast_unsigned())))
}

fn made(row: &Row, from: usize) -> Result<Option<Made>, Error> {
    let boot: Option<i64> = row.try_get(from)?;
    let millis: Option<i64> = row.try_get(from + 1)?;
    let firmware: Option<String> = row.try_get(from + 3)?;
    Ok(match (boot, millis, firmware) {
        (Some(boot), Some(millis), Some(firmware)) => Some(Made {
            boot: u32::try_from(boot).unwrap_or(u32::MAX),
            millis: millis.cast_unsigned(),
            clock: clock_at(row, from + 2)?,
            firmware,
        }),
        _ => None,
    })
}

fn test(row: &Row, from: usize) -> Result<TestColumns, Error> {
    let quantities = from + TEST_FIXED.len();
    let mut cells = [const { Cell::Missing(String::new()) }; QUANTITIES.len()];
    for (index, cell) in cells.iter_mut().enumerate() {
        let at = quantities + 3 * index;
        *cell = match row.try_get(at)? {
            Some(value) => Cell::known(value, row.try_get(at + 1)?),
            None => Cell::Missing(row.try_get(at + 2)?),
        };
    }
    let windows: i64 = row.try_get(from + 3)?;
    Ok(TestColumns {
        outcome: row.try_get(from)?,
        finding: row.try_get(from + 1)?,
        clip: row.try_get(from + 2)?,
        windows: u16::try_from(windows).unwrap_or(u16::MAX),
        calibrated: row.try_get(from + 4)?,
        cells,
    })
}

/// The listing of tests: serial, number, digest, when made, site, appliance, then the test.
pub(super) fn select_tests(only: &str) -> String {
    format!(
        "SELECT t.serial, r.number, r.sha256, {MADE}, s.name, a.name, {} \
         FROM test x JOIN record r ON r.id = x.record JOIN tester t ON t.id = r.tester \
         LEFT JOIN placed p ON p.record = r.id LEFT JOIN site s ON s.id = p.site \
         LEFT JOIN appliance a ON a.id = p.appliance {only} ORDER BY r.tester, r.number",
        test_columns("x.")
    )
}

/// A row of [`select_tests`].
pub(super) fn test_row(row: &Row) -> Result<TestRow, Error> {
    let (tester, number) = whose(row)?;
    let site: Option<String> = row.try_get(3 + MADE_COUNT)?;
    let appliance: Option<String> = row.try_get(4 + MADE_COUNT)?;
    Ok(TestRow {
        tester,
        number,
        sha256: digest_of(row.try_get(2)?),
        made: made(row, 3)?.unwrap_or_default(),
        place: site.map(|site| Place { site, appliance }),
        test: test(row, 5 + MADE_COUNT)?,
    })
}

/// Every record: serial, number, digest, previous, kind, unread, when made, bytes, whether there is
/// a test, the test.
pub(super) fn select_all() -> String {
    format!(
        "SELECT t.serial, r.number, r.sha256, r.previous, r.kind, r.unread, {MADE}, r.bytes, \
         x.record IS NOT NULL, {} FROM record r JOIN tester t ON t.id = r.tester \
         LEFT JOIN test x ON x.record = r.id ORDER BY r.tester, r.number",
        test_columns("x.")
    )
}

/// A row of [`select_all`].
pub(super) fn stored(row: &Row) -> Result<Stored, Error> {
    let (tester, number) = whose(row)?;
    let kind: String = row.try_get(4)?;
    let previous: Option<&[u8]> = row.try_get(3)?;
    let after = 6 + MADE_COUNT;
    let has_test: bool = row.try_get(after + 1)?;
    Ok(Stored {
        tester,
        number,
        sha256: digest_of(row.try_get(2)?),
        bytes: row.try_get(after)?,
        columns: Columns {
            kind: Kind::named(&kind),
            unread: row.try_get(5)?,
            previous: previous.map(|previous| Digest(digest_of(previous))),
            made: made(row, 6)?,
            test: if has_test {
                Some(test(row, after + 2)?)
            } else {
                None
            },
        },
    })
}

/// A row of [`crate::archive::copy::SELECT_ARRIVALS`].
pub(super) fn arrived(row: &Row) -> Result<Arrived, Error> {
    let (tester, number) = whose(row)?;
    let at: i64 = row.try_get(4)?;
    let damages: i64 = row.try_get(5)?;
    Ok(Arrived {
        tester,
        number,
        source: row.try_get(2)?,
        name: row.try_get(3)?,
        at: UnixSeconds::new(at.cast_unsigned()),
        damages: usize::try_from(damages).unwrap_or_default(),
        bytes: row.try_get(6)?,
    })
}

/// Keeps what a record says that could not be read before.
pub(super) fn read_again(
    transaction: &mut Transaction<'_>,
    id: i64,
    columns: &Columns,
) -> Result<(), Error> {
    let made = columns.made.as_ref();
    let changed = transaction.execute(
        "UPDATE record SET previous = $2, kind = $3, unread = $4, boot = $5, millis = $6, \
         clock = $7, firmware = $8 WHERE id = $1 AND kind = 'unread'",
        &[
            &id,
            &columns.previous.map(|digest| digest.0.to_vec()),
            &columns.kind.name(),
            &columns.unread,
            &made.map(|made| i64::from(made.boot)),
            &made.map(|made| made.millis.cast_signed()),
            &made
                .and_then(|made| made.clock)
                .map(|clock| clock.get().cast_signed()),
            &made.map(|made| &made.firmware),
        ],
    )?;
    if let (1, Some(test)) = (changed, &columns.test) {
        super::intake::keep_tests(transaction, &[(id, test)])?;
    }
    Ok(())
}
