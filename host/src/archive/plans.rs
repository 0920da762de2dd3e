//! How the database finds what a page needs: by index, never by reading everything.

use rusqlite::Connection;

use super::{SqliteArchive, Wanted, listing, rows, testers};
use slotwise_core::record::TesterId;

/// The lines of `EXPLAIN QUERY PLAN`.
fn plan(connection: &Connection, sql: &str) -> Vec<String> {
    let mut explained = connection
        .prepare(&format!("EXPLAIN QUERY PLAN {sql}"))
        .unwrap();
    // Without its values: the plan is the same for all.
    let mut lines = explained.raw_query();
    let mut plan = Vec::new();
    while let Some(line) = lines.next().unwrap() {
        plan.push(line.get(3).unwrap());
    }
    assert!(!plan.is_empty());
    plan
}

fn archive() -> (tempfile::TempDir, SqliteArchive) {
    let folder = tempfile::tempdir().unwrap();
    let archive = SqliteArchive::open_or_make(&folder.path().join("a.db")).unwrap();
    (folder, archive)
}

/// A scan of a table, whether by its rows or by an index; `known` are those that are meant.
fn scans(plan: &[String], known: &[&str]) -> Vec<String> {
    plan.iter()
        .filter(|line| line.starts_with("SCAN") && !known.contains(&line.as_str()))
        .cloned()
        .collect()
}

#[test]
fn a_site_is_opened_by_its_name_and_its_tests_by_their_place() {
    let (_folder, archive) = archive();
    for tester in [None, Some(TesterId(7))] {
        let (sql, values) = rows::select_wanted(&Wanted {
            site: Some("Larkfield Terrace 4".to_owned()),
            tester,
        });
        let plan = plan(&archive.connection, &sql);
        assert_eq!(values.len(), 1 + usize::from(tester.is_some()));
        assert_eq!(scans(&plan, &[]), [] as [String; 0], "{plan:#?}");
        let has = |what: &str| plan.iter().any(|line| line.contains(what));
        assert!(has("INDEX placing_found (site=?)"), "{plan:#?}");
        assert!(
            has("site USING COVERING INDEX sqlite_autoindex_site_1 (name=?)"),
            "{plan:#?}"
        );
    }
}

#[test]
fn a_page_of_sites_walks_the_order_and_sorts_nothing() {
    let (_folder, archive) = archive();
    let plan = plan(&archive.connection, listing::SITES);
    // In order, so that the limit ends it.
    let walk = "SCAN s USING COVERING INDEX site_sort";
    assert_eq!(plan[0], walk, "{plan:#?}");
    assert_eq!(scans(&plan, &[walk]), [] as [String; 0], "{plan:#?}");
    // Each site's part of one index; no record or test is read.
    let places = plan.iter().filter(|line| line.contains(" p "));
    for line in places {
        assert!(
            line.contains("COVERING INDEX placing_found (site=?"),
            "{plan:#?}"
        );
    }
    let sorts = plan
        .iter()
        .any(|line| line.contains("USE TEMP B-TREE FOR ORDER BY"));
    assert!(!sorts, "{plan:#?}");
}

#[test]
fn the_page_of_testers_looks_up_the_newest_record_and_calibration_of_each() {
    let (_folder, archive) = archive();
    let testers_plan = plan(&archive.connection, testers::TESTERS);
    let by_serial = "SCAN t USING COVERING INDEX sqlite_autoindex_tester_1";
    assert_eq!(
        scans(&testers_plan, &[by_serial]),
        [] as [String; 0],
        "{testers_plan:#?}"
    );
    let calibration = plan(&archive.connection, testers::CALIBRATION_AT);
    assert_eq!(
        scans(&calibration, &[]),
        [] as [String; 0],
        "{calibration:#?}"
    );
    assert!(
        calibration
            .iter()
            .any(|line| line.contains("record_calibrated")),
        "{calibration:#?}"
    );
}

#[test]
fn a_plan_that_reads_everything_is_noticed() {
    let (_folder, archive) = archive();
    archive
        .connection
        .execute_batch("DROP INDEX placing_found")
        .unwrap();
    let (sql, _) = rows::select_wanted(&Wanted {
        site: Some("Larkfield Terrace 4".to_owned()),
        tester: None,
    });
    let plan = plan(&archive.connection, &sql);
    assert_ne!(scans(&plan, &[]), [] as [String; 0], "{plan:#?}");
}
