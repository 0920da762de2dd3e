//! Parquet exports of three offices, read back by DuckDB and held against the archives as Python's
//! own sqlite3 reads them; and the queries of `host/fleet.md`, run as they stand there.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use slotwise::archive::{
    Archive as _, Batch, Cell, QUANTITIES, SqliteArchive, TestRow, Wanted, batch_of,
};
use slotwise::chain::digest;
use slotwise::export::{export_parquet, folder_of};
use slotwise::log_file::{self, KeptRecord};
use slotwise_core::evidence::{Evidence, Measured, Missing};
use slotwise_core::judge::judge;
use slotwise_core::limits::Limits;
use slotwise_core::record::{
    self, Body, Digest, MAX_BYTES, Record, RecordNumber, Snapshot, Test, TesterId, Version,
};
use slotwise_core::units::{Hertz, Millis, Ohms, UnixSeconds};
use slotwise_tests::fleet::Fleet;
use slotwise_tests::outside::{not_checked, python_with, root};

const OFFICES: [&str; 3] = ["Tern & Fell", "../../Nord=\"1\"/x", "Ærø 50 % 'n' co."];

/// Office, site, appliance.
type Room = (String, String, String);

fn imported(folder: &Path, office: usize) -> (PathBuf, SqliteArchive) {
    let db = folder.join(format!("office-{office}.db"));
    let mut archive = SqliteArchive::open_or_make(&db).unwrap();
    let fleet = Fleet {
        seed: office as u64 + 1,
        tests: 400,
        sites: 20,
    };
    for tester in 0..fleet.testers() {
        let log = fleet.log(tester);
        let name = folder.join(format!("{office}-{tester}.slotlog"));
        fs::write(&name, &log.bytes).unwrap();
        let file = log_file::read(&name).unwrap();
        assert_eq!(file.damages.len(), 0);
        let batch = batch_of("fleet", file, UnixSeconds::new(1_800_000_000)).unwrap();
        let imported = archive.import(&batch).unwrap();
        assert_eq!(imported.faults, []);
        assert_eq!(imported.added, u64::from(log.records));
        log.place(&mut archive).unwrap();
    }
    (db, archive)
}

/// Records that no good tester makes: without a clock, with one that no calendar has, with
/// numbers that are none, at sites with hostile names.
fn odd(archive: &mut SqliteArchive) {
    let tester = TesterId(0xFFFF_FFFF_0000_0001);
    let clocks = [
        None,
        Some(0),
        Some(1_772_460_000),
        // The last second that the calendar has, and the one after.
        Some(253_402_207_200),
        Some(253_402_207_201),
        Some(u64::MAX),
    ];
    let names = [
        "'; DROP TABLE site; --",
        "../../etc/passwd",
        "=1+1",
        "\u{202e}elttil",
        "a\nb",
        "<b>",
    ];
    let mut previous = Digest::default();
    let mut records = Vec::new();
    for (number, clock) in (1..).zip(clocks) {
        let mut evidence = Evidence::empty();
        evidence.frequency = Measured::known(Hertz::new(f32::NAN), Hertz::new(0.1));
        evidence.earth_path = Measured::known(Ohms::new(-0.012), Ohms::new(f32::MIN_POSITIVE));
        evidence.neutral_to_clip = Measured::Missing(Missing::BeyondRange);
        let record = Record {
            number: RecordNumber::new(number),
            previous,
            tester,
            firmware: Version {
                major: 255,
                minor: 0,
                patch: 0,
            },
            boot: u32::MAX,
            at: Millis::new(if number == 6 { u64::MAX } else { 7 }),
            clock: clock.map(UnixSeconds::new),
            body: Body::Test(Test {
                evidence,
                verdict: judge(&evidence, &Limits::DEFAULT),
                snapshot: Snapshot::default(),
            }),
        };
        let mut buffer = [0; MAX_BYTES];
        let bytes = record::encode(&record, &mut buffer).unwrap().to_vec();
        previous = digest(&bytes);
        records.push(KeptRecord {
            number: RecordNumber::new(number),
            bytes,
            at_byte: 0,
        });
    }
    let batch = Batch {
        source: "odd".to_owned(),
        tester,
        records,
        damages: 0,
        at: UnixSeconds::new(0),
    };
    archive.import(&batch).unwrap();
    for (number, name) in (1..).map(RecordNumber::new).zip(names) {
        let site = archive.site(name).unwrap();
        archive.place(tester, number, number, site, None).unwrap();
    }
}

/// Every file below, with its bytes.
fn files(folder: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    let mut all = BTreeMap::new();
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            all.extend(files(&path));
        } else {
            all.insert(path.clone(), fs::read(path).unwrap());
        }
    }
    all
}

fn run(python: &Path, script: &str, arguments: &[&Path]) -> Output {
    Command::new(python)
        .arg(root().join("tests/oracle").join(script))
        .args(arguments)
        .output()
        .unwrap()
}

fn answer(output: &Output) -> serde_json::Value {
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{said}");
    serde_json::from_slice(&output.stdout).unwrap()
}

fn tests_of(archive: &SqliteArchive) -> Vec<TestRow> {
    let mut all = Vec::new();
    archive
        .each_test(&Wanted::default(), &mut |row| {
            all.push(row);
            Ok(())
        })
        .unwrap();
    all
}

#[test]
fn every_value_that_duckdb_reads_is_that_of_the_archive() {
    let folder = tempfile::tempdir().unwrap();
    // Spark reads the same folder: `tests/oracle/spark_rows.py`.
    let kept = std::env::var_os("SLOTWISE_TREE").map(PathBuf::from);
    let tree = kept.unwrap_or_else(|| folder.path().join("fleet"));
    let mut archives = Vec::new();
    for (number, office) in OFFICES.iter().enumerate() {
        let (db, mut archive) = imported(folder.path(), number);
        if number == 1 {
            odd(&mut archive);
        }
        let exported = export_parquet(&archive, &tree, office, &mut |_| {}).unwrap();
        assert_eq!(exported.tests, archive.counts().unwrap().tests);
        assert!(exported.files > 12);
        archives.push((db, archive));
    }
    // Again, over a file that was cut and one that is not ours: the same bytes, none doubled.
    let before = files(&tree);
    let office = tree.join(folder_of(OFFICES[1]).unwrap());
    let month = office.join("month=2024-01");
    fs::write(month.join(".part-0.parquet.new"), b"PAR1 cut").unwrap();
    let stale = office.join("month=2031-01");
    fs::create_dir(&stale).unwrap();
    fs::copy(month.join("part-0.parquet"), stale.join("part-0.parquet")).unwrap();
    for ((_, archive), office) in archives.iter().zip(OFFICES) {
        export_parquet(archive, &tree, office, &mut |_| {}).unwrap();
    }
    assert_eq!(files(&tree), before);
    // Nothing stands outside of the offices' folders.
    assert_eq!(fs::read_dir(&tree).unwrap().count(), OFFICES.len());

    let Some(python) = python_with("duckdb") else {
        return not_checked(
            "no Python with duckdb, so the Parquet files were not read",
            "pip install -r tests/oracle/requirements.txt and name it in SLOTWISE_PYTHON",
        );
    };
    for ((db, archive), office) in archives.iter().zip(OFFICES) {
        let output = run(&python, "parquet_rows.py", &[&tree, Path::new(office), db]);
        let found = answer(&output);
        assert_eq!(found["rows"], archive.counts().unwrap().tests);
        assert_eq!(found["files_read_for_a_month"], 1);
        assert!(found["nulls"].as_u64().unwrap() > 0);
        println!("{office}: {found}");
    }
    // What differs by the last bit of one value is found.
    for (number, (change, name)) in [
        (
            "UPDATE test SET narrow_wide = narrow_wide * (1 + 1.2e-7) WHERE record = 40",
            "narrow_wide",
        ),
        (
            "UPDATE test SET earth_path = 0, earth_path_missing = NULL WHERE record = \
             (SELECT min(record) FROM test WHERE earth_path IS NULL)",
            "earth_path",
        ),
        ("DELETE FROM test WHERE record = 40", "rows"),
    ]
    .into_iter()
    .enumerate()
    {
        let changed = folder.path().join(format!("changed-{number}.db"));
        archives[0].1.backup(&changed).unwrap();
        let connection = rusqlite::Connection::open(&changed).unwrap();
        assert_eq!(connection.execute(change, []).unwrap(), 1, "{change}");
        drop(connection);
        let output = run(
            &python,
            "parquet_rows.py",
            &[&tree, Path::new(OFFICES[0]), &changed],
        );
        assert!(!output.status.success(), "{change}");
        let said = String::from_utf8_lossy(&output.stderr);
        assert!(said.contains(name), "{said}");
    }
}

#[test]
fn the_queries_of_the_document_answer_what_the_archives_say() {
    let Some(python) = python_with("duckdb") else {
        return not_checked(
            "no Python with duckdb, so the queries of host/fleet.md did not run",
            "pip install -r tests/oracle/requirements.txt and name it in SLOTWISE_PYTHON",
        );
    };
    let folder = tempfile::tempdir().unwrap();
    let tree = folder.path().join("fleet");
    let mut all: Vec<(&str, TestRow)> = Vec::new();
    let mut due: Vec<(String, String)> = Vec::new();
    let mut testers = Vec::new();
    for (number, office) in OFFICES.into_iter().enumerate() {
        let (_, archive) = imported(folder.path(), number);
        export_parquet(&archive, &tree, office, &mut |_| {}).unwrap();
        all.extend(tests_of(&archive).into_iter().map(|row| (office, row)));
        testers.extend(
            archive
                .testers()
                .unwrap()
                .into_iter()
                .map(|tester| (office, tester)),
        );
    }
    let document = root().join("host/fleet.md");
    let answers = answer(&run(
        &python,
        "fleet_queries.py",
        &[&document, folder.path()],
    ));
    let answers = answers.as_array().unwrap();
    assert_eq!(answers.len(), 4, "a view and three questions");
    let text =
        |row: &serde_json::Value, name: &str| row[name].as_str().unwrap_or_default().to_owned();
    let newest = all
        .iter()
        .filter_map(|(_, row)| row.made.clock)
        .map(UnixSeconds::get)
        .max()
        .unwrap();

    // Grounds that got worse.
    let earth = QUANTITIES
        .iter()
        .position(|(name, _)| *name == "earth_path")
        .unwrap();
    let mut ends: BTreeMap<Room, Vec<(u64, f64, f64)>> = BTreeMap::new();
    // Of the two years before the newest test, which leap day and all are 731 days here.
    let since = newest - 731 * 86_400;
    for (office, row) in &all {
        let (Some(clock), Some(place)) = (row.made.clock, &row.place) else {
            continue;
        };
        let Cell::Known { value, u: Some(u) } = row.test.cells[earth] else {
            continue;
        };
        if clock.get() >= since {
            let room = place.appliance.clone().unwrap_or_default();
            ends.entry(((*office).to_owned(), place.site.clone(), room))
                .or_default()
                .push((clock.get(), f64::from(value), f64::from(u)));
        }
    }
    let expected: Vec<Room> = ends
        .into_iter()
        .filter(|(_, reads)| {
            let (first, last) = (
                reads.iter().min_by_key(|r| r.0),
                reads.iter().max_by_key(|r| r.0),
            );
            let (Some(first), Some(last)) = (first, last) else {
                return false;
            };
            last.1 - first.1 > (2.0 * first.2.hypot(last.2)).max(0.2)
        })
        .map(|(place, _)| place)
        .collect();
    let mut found: Vec<Room> = answers[1]
        .as_array()
        .unwrap()
        .iter()
        .map(|row| {
            (
                text(row, "office"),
                text(row, "site"),
                text(row, "appliance"),
            )
        })
        .collect();
    found.sort();
    assert_eq!(found, expected);
    assert!(!found.is_empty() && found.len() < 30, "{}", found.len());

    // Testers to calibrate.
    for (office, tester) in &testers {
        let until = tester.calibration.unwrap().event.now.stamp().until;
        if until.get() < newest + 30 * 86_400 {
            due.push(((*office).to_owned(), tester.tester.to_string()));
        }
    }
    let mut found: Vec<(String, String)> = answers[2]
        .as_array()
        .unwrap()
        .iter()
        .map(|row| (text(row, "office"), text(row, "tester")))
        .collect();
    found.sort();
    due.sort();
    assert_eq!(found, due);
    assert!(!due.is_empty() && due.len() < testers.len());

    // Sites with a fault in 2025: 1 January 2025 to 1 January 2026, UTC.
    let mut failing: BTreeMap<(String, String), usize> = BTreeMap::new();
    for (office, row) in &all {
        let in_2025 = row
            .made
            .clock
            .is_some_and(|clock| (1_735_689_600..1_767_225_600).contains(&clock.get()));
        if let (true, Some(place), "fault" | "danger") =
            (in_2025, &row.place, row.test.outcome.as_str())
        {
            *failing
                .entry(((*office).to_owned(), place.site.clone()))
                .or_default() += 1;
        }
    }
    let found: BTreeMap<(String, String), usize> = answers[3]
        .as_array()
        .unwrap()
        .iter()
        .map(|row| {
            let tests = text(row, "tests").parse().unwrap();
            ((text(row, "office"), text(row, "site")), tests)
        })
        .collect();
    assert_eq!(found, failing);
    assert!(found.len() > 3);
    println!(
        "{} tests; grounds {}, testers due {}, failing sites {}",
        all.len(),
        expected.len(),
        due.len(),
        found.len()
    );
}
