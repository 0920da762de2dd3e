//! The list of sites, a page at a time. A page costs as much as its own sites and what is passed
//! over before it, not as much as the archive is large.

use rusqlite::{Connection, params};
use slotwise_core::units::UnixSeconds;
use slotwise_core::verdict::Outcome;

use super::rows;
use crate::texts::codes;

/// Which sites are wanted.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct SitesWanted {
    /// Only sites with this in their name, capitals or not.
    pub search: String,
    /// Only sites with a test that found a fault or a danger.
    pub failing: bool,
    /// Only sites with a test since then.
    pub since: Option<UnixSeconds>,
    /// Only sites with a test before then.
    pub before: Option<UnixSeconds>,
    /// How many are passed over.
    pub skip: u32,
    /// How many are wanted.
    pub most: u32,
}

/// A site in the list.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SiteRow {
    /// Its name.
    pub name: String,
    /// Tests there.
    pub tests: u64,
    /// The newest one with a clock.
    pub newest: Option<UnixSeconds>,
    /// The outcomes that tests there had, by name.
    pub outcomes: Vec<String>,
}

/// The listing. Walks the index of the order, so that a page ends as soon as it is full.
pub(super) const SITES: &str = "SELECT s.name, \
     (SELECT count(*) FROM placing p WHERE p.site = s.id), \
     (SELECT max(p.clock) FROM placing p WHERE p.site = s.id), \
     (SELECT group_concat(DISTINCT p.outcome) FROM placing p WHERE p.site = s.id) \
     FROM site s WHERE s.name LIKE ?1 ESCAPE '\\' AND (NOT ?2 OR EXISTS ( \
      SELECT 1 FROM placing p WHERE p.site = s.id AND (NOT ?3 OR p.outcome IN (?4, ?5)) \
      AND (?6 IS NULL OR p.clock >= ?6) AND (?7 IS NULL OR p.clock < ?7))) \
     ORDER BY s.sort, s.name LIMIT ?8 OFFSET ?9";

/// What is bad beyond doubt.
pub(super) const FAILING: [Outcome; 2] = [Outcome::Danger, Outcome::Fault];

/// The sites in the order of a person; one more than wanted tells that there are more.
pub(super) fn sites(
    connection: &Connection,
    wanted: &SitesWanted,
) -> rusqlite::Result<Vec<SiteRow>> {
    let [danger, fault] = FAILING.map(codes::outcome);
    let mut listing = connection.prepare_cached(SITES)?;
    let by_test = wanted.failing || wanted.since.is_some() || wanted.before.is_some();
    let clock = |clock: Option<UnixSeconds>| clock.map(|clock| rows::signed(clock.get()));
    let found = listing.query_map(
        params![
            containing(&wanted.search),
            by_test,
            wanted.failing,
            danger,
            fault,
            clock(wanted.since),
            clock(wanted.before),
            i64::from(wanted.most) + 1,
            wanted.skip,
        ],
        |row| {
            let newest: Option<i64> = row.get(2)?;
            let outcomes: Option<String> = row.get(3)?;
            Ok(SiteRow {
                name: row.get(0)?,
                tests: rows::unsigned(row.get(1)?),
                newest: newest.map(|clock| UnixSeconds::new(rows::unsigned(clock))),
                outcomes: outcomes
                    .iter()
                    .flat_map(|outcomes| outcomes.split(','))
                    .map(str::to_owned)
                    .collect(),
            })
        },
    )?;
    found.collect()
}

/// The pattern of names with `search` in them; what means something in a pattern is itself.
pub(super) fn containing(search: &str) -> String {
    let mut pattern = String::from("%");
    for c in search.chars() {
        if matches!(c, '%' | '_' | '\\') {
            pattern.push('\\');
        }
        pattern.push(c);
    }
    pattern.push('%');
    pattern
}
