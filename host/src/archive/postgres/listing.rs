//! The list of sites, a page at a time.

use postgres::{Client, Error};
use slotwise_core::units::UnixSeconds;

use crate::archive::listing::{FAILING, containing};
use crate::archive::{SiteRow, SitesWanted};
use crate::texts::codes;

/// The sites in the order of a person; one more than wanted tells that there are more.
pub(super) fn sites(client: &mut Client, wanted: &SitesWanted) -> Result<Vec<SiteRow>, Error> {
    let failing: Vec<&str> = FAILING
        .iter()
        .map(|outcome| codes::outcome(*outcome))
        .collect();
    let by_test = wanted.failing || wanted.since.is_some() || wanted.before.is_some();
    let clock = |clock: Option<UnixSeconds>| clock.map(|clock| clock.get().cast_signed());
    let found = client.query(
        "SELECT s.name, \
         (SELECT count(*) FROM placed p WHERE p.site = s.id), \
         (SELECT max(r.clock) FROM placed p JOIN record r ON r.id = p.record \
          WHERE p.site = s.id), \
         (SELECT array_agg(DISTINCT x.outcome) FROM placed p \
          JOIN test x ON x.record = p.record WHERE p.site = s.id) \
         FROM site s WHERE s.name ILIKE $1 ESCAPE '\\' AND (NOT $2 OR EXISTS ( \
          SELECT 1 FROM placed p JOIN test x ON x.record = p.record \
          JOIN record r ON r.id = p.record WHERE p.site = s.id \
          AND (NOT $3 OR x.outcome = ANY ($4)) \
          AND ($5::bigint IS NULL OR r.clock >= $5) \
          AND ($6::bigint IS NULL OR r.clock < $6))) \
         ORDER BY s.sort, s.name COLLATE \"C\" LIMIT $7 OFFSET $8",
        &[
            &containing(&wanted.search),
            &by_test,
            &wanted.failing,
            &failing,
            &clock(wanted.since),
            &clock(wanted.before),
            &(i64::from(wanted.most) + 1),
            &i64::from(wanted.skip),
        ],
    )?;
    let mut sites = Vec::new();
    for row in found {
        let newest: Option<i64> = row.try_get(2)?;
        let tests: i64 = row.try_get(1)?;
        sites.push(SiteRow {
            name: row.try_get(0)?,
            tests: tests.cast_unsigned(),
            newest: newest.map(|clock| UnixSeconds::new(clock.cast_unsigned())),
            outcomes: row
                .try_get::<_, Option<Vec<String>>>(3)?
                .unwrap_or_default(),
        });
    }
    Ok(sites)
}
