//! Visits and notes: what belongs together, what a note means, and names of any characters.

mod support;

use std::fs;
use std::path::{Path, PathBuf};

use predicates::prelude::PredicateBooleanExt as _;
use predicates::str::contains;
use slotwise::archive::{Archive, ArchiveError, Batch, NewNote, SqliteArchive, Wanted};
use slotwise::log_file::KeptRecord;
use slotwise::visits::{Grouper, Visit};
use slotwise_core::record::{Body, Digest, Record, RecordNumber, TesterId, Version};
use slotwise_core::units::{Millis, UnixSeconds};
use support::{Invented, OPEN_GROUND, SOUND, TESTER, bytes_of, slotwise};

/// Names that mean something to SQL, a spreadsheet, a page, a path, a terminal or a writing
/// direction.
pub const HOSTILE: [&str; 14] = [
    "'; DROP TABLE site; --",
    "\" OR 1=1; ATTACH '/tmp/x' AS x; --",
    "=HYPERLINK(\"http://example.invalid\",\"Larkfield\")",
    "+1+1",
    "-2+3",
    "@SUM(A1:A9)",
    "\t=1",
    "\r=1",
    "<script>alert('1')</script><img src=x onerror=alert(1)>",
    "../../../../tmp/slotwise-escape",
    "C:\\con\\..\\nul",
    "\u{1b}[2J\u{1b}]0;gone\u{7}",
    "a\0b",
    "Łąkowa 7 \u{202e}elpmaxe 工房 🔥, \"quoted\"\nsecond line",
];

const HOUR: u64 = 3600;

/// One test of the series: boot, seconds since it, clock.
struct At(u32, u64, Option<u64>);

/// An archive with a test at each of these times, by one tester.
fn archive_of(db: &Path, tester: TesterId, invented: &Invented, times: &[At]) -> SqliteArchive {
    let mut archive = SqliteArchive::open_or_make(db).unwrap();
    let mut previous = Digest::default();
    let mut records = Vec::new();
    for (number, At(boot, seconds, clock)) in (1..).map(RecordNumber::new).zip(times) {
        let bytes = bytes_of(&Record {
            number,
            previous,
            tester,
            firmware: Version {
                major: 0,
                minor: 1,
                patch: 0,
            },
            boot: *boot,
            at: Millis::new(seconds * 1000),
            clock: clock.map(UnixSeconds::new),
            body: Body::Test(invented.test()),
        });
        previous = slotwise::chain::digest(&bytes);
        records.push(KeptRecord {
            number,
            bytes,
            at_byte: 0,
        });
    }
    let imported = archive
        .import(&Batch {
            source: "test".to_owned(),
            tester,
            records,
            damages: 0,
            at: UnixSeconds::new(0),
        })
        .unwrap();
    assert_eq!(imported.faults, []);
    archive
}

fn visits_of(archive: &SqliteArchive) -> Vec<Visit> {
    let mut grouper = Grouper::default();
    let mut visits = Vec::new();
    archive
        .each_test(&Wanted::default(), &mut |test| {
            visits.extend(grouper.push(test));
            Ok(())
        })
        .unwrap();
    visits.extend(grouper.finish());
    visits
}

/// The records of every visit.
fn numbers(visits: &[Visit]) -> Vec<Vec<u32>> {
    visits
        .iter()
        .map(|visit| visit.tests.iter().map(|t| t.number.get()).collect())
        .collect()
}

fn db_in(folder: &tempfile::TempDir) -> PathBuf {
    folder.path().join("office.db")
}

fn run(db: &Path, words: &[&str], rest: &[&str]) -> assert_cmd::assert::Assert {
    let mut command = slotwise();
    command.args(words).arg("--archive").arg(db).args(rest);
    command.env("COLUMNS", "250").assert()
}

#[test]
fn tests_within_four_hours_of_each_other_are_one_visit() {
    let folder = tempfile::tempdir().unwrap();
    let noon = 1_772_460_000;
    let times = [
        At(1, 0, Some(noon)),
        At(1, 0, Some(noon + 4 * HOUR)),
        At(2, 0, Some(noon + 8 * HOUR)),
        // A second too late.
        At(2, 0, Some(noon + 12 * HOUR + 1)),
    ];
    let archive = archive_of(&db_in(&folder), TESTER, &SOUND, &times);
    assert_eq!(numbers(&visits_of(&archive)), [vec![1, 2, 3], vec![4]]);
}

#[test]
fn without_a_clock_only_tests_of_one_start_can_belong_together() {
    let folder = tempfile::tempdir().unwrap();
    let noon = 1_772_460_000;
    let times = [
        At(1, 10, None),
        At(1, 20, None),
        At(1, 30 + 4 * HOUR, None),
        At(2, 5, None),
        // The clock was set meanwhile: the same start still tells.
        At(2, 60, Some(noon)),
        At(3, 1, None),
    ];
    let archive = archive_of(&db_in(&folder), TESTER, &SOUND, &times);
    assert_eq!(
        numbers(&visits_of(&archive)),
        [vec![1, 2], vec![3], vec![4, 5], vec![6]]
    );
}

#[test]
fn another_place_or_tester_is_another_visit() {
    let folder = tempfile::tempdir().unwrap();
    let noon = 1_772_460_000;
    let times = [
        At(1, 0, Some(noon)),
        At(1, 0, Some(noon + 60)),
        At(1, 0, Some(noon + 120)),
    ];
    let db = db_in(&folder);
    drop(archive_of(&db, TesterId(1), &SOUND, &times[..1]));
    let mut archive = archive_of(&db, TESTER, &OPEN_GROUND, &times);
    let site = archive.site("Larkfield Terrace 1").unwrap();
    let furnace = archive.appliance(site, "furnace").unwrap();
    let (two, three) = (RecordNumber::new(2), RecordNumber::new(3));
    assert_eq!(archive.place(TESTER, two, two, site, None).unwrap(), 1);
    archive
        .place(TESTER, three, three, site, Some(furnace))
        .unwrap();
    let visits = visits_of(&archive);
    assert_eq!(numbers(&visits), [vec![1], vec![1], vec![2], vec![3]]);
    assert_eq!(visits[1].gravest().unwrap().test.outcome, "fault");
    // Placed again, they are together.
    archive
        .place(TESTER, RecordNumber::FIRST, three, site, Some(furnace))
        .unwrap();
    assert_eq!(numbers(&visits_of(&archive)), [vec![1], vec![1, 2, 3]]);
}

#[test]
fn an_appliance_of_another_site_is_not_taken() {
    let folder = tempfile::tempdir().unwrap();
    let times = [At(1, 0, None)];
    let mut archive = archive_of(&db_in(&folder), TESTER, &SOUND, &times);
    let one = archive.site("Larkfield Terrace 1").unwrap();
    let two = archive.site("Larkfield Terrace 2").unwrap();
    let furnace = archive.appliance(one, "furnace").unwrap();
    let first = RecordNumber::FIRST;
    let wrong = archive.place(TESTER, first, first, two, Some(furnace));
    assert!(
        matches!(wrong, Err(ArchiveError::Database { .. })),
        "{wrong:?}"
    );
    let note = NewNote {
        site: two,
        appliance: Some(furnace),
        at: UnixSeconds::new(1),
        readings: Default::default(),
        answers: Default::default(),
        remark: String::new(),
        photos: Vec::new(),
    };
    assert!(archive.add_note(&note).is_err());
    assert_eq!(archive.notes(None).unwrap(), []);
}

#[test]
fn names_of_any_characters_are_names_and_nothing_else() {
    let folder = tempfile::tempdir().unwrap();
    let db = db_in(&folder);
    let times: Vec<At> = (0..HOSTILE.len() as u64)
        .map(|n| At(1, 0, Some(1_772_460_000 + n)))
        .collect();
    let mut archive = archive_of(&db, TESTER, &SOUND, &times);
    for (number, name) in (1..).map(RecordNumber::new).zip(HOSTILE) {
        let site = archive.site(name).unwrap();
        assert_eq!(archive.site(name).unwrap(), site, "one site a name");
        let appliance = archive.appliance(site, name).unwrap();
        archive
            .place(TESTER, number, number, site, Some(appliance))
            .unwrap();
    }
    assert_eq!(archive.counts().unwrap().sites, HOSTILE.len() as u64);
    let visits = visits_of(&archive);
    let names: Vec<&str> = visits
        .iter()
        .map(|visit| visit.place.as_ref().unwrap().site.as_str())
        .collect();
    assert_eq!(names, HOSTILE);
    assert!(
        archive
            .verify(&mut |fault| panic!("{fault}"))
            .unwrap()
            .is_whole()
    );
    drop(archive);
    for name in HOSTILE.iter().filter(|name| !name.contains('\0')) {
        let site = format!("--site={name}");
        let listed = run(&db, &["visits", "list"], &[&site, "--json"]).code(0);
        let document: serde_json::Value =
            serde_json::from_slice(&listed.get_output().stdout).unwrap();
        assert_eq!(document["visits"].as_array().unwrap().len(), 1, "{name}");
        assert_eq!(document["visits"][0]["site"], *name);
        assert_eq!(document["visits"][0]["appliance"], *name);
    }
    let listed = run(&db, &["visits", "list"], &[]).code(0);
    let text = String::from_utf8(listed.get_output().stdout.clone()).unwrap();
    let steers = |c: char| (c.is_control() && c != '\n') || c == '\u{202e}';
    assert!(!text.contains(steers), "{text:?}");
    let files: Vec<_> = fs::read_dir(folder.path())
        .unwrap()
        .map(|entry| entry.unwrap().file_name())
        .collect();
    assert_eq!(files, ["office.db"], "a name is never a file");
    assert!(!Path::new("/tmp/slotwise-escape").exists());
}

#[test]
fn a_name_that_is_none_and_a_site_that_is_not_there_are_refused() {
    let folder = tempfile::tempdir().unwrap();
    let db = db_in(&folder);
    let times = [At(1, 0, None)];
    let mut archive = archive_of(&db, TESTER, &SOUND, &times);
    let long = "x".repeat(201);
    for name in ["", "  ", &long] {
        assert!(matches!(archive.site(name), Err(ArchiveError::Name { .. })));
    }
    assert!(archive.site(&long[..200]).is_ok());
    drop(archive);
    run(&db, &["visits", "list"], &["--site", "nowhere"])
        .code(2)
        .stderr(contains("there is no site named `nowhere`"));
    let place = [
        "--site",
        "here",
        "--tester",
        "51070000000000ab",
        "--records",
    ];
    run(&db, &["visits", "place"], &[&place[..], &["7-9"]].concat())
        .code(2)
        .stderr(contains("no tests among records 7 to 9"));
    for wrong in ["", "0x1", "9-7", "-1", "1-2-3"] {
        let records = format!("--records={wrong}");
        run(
            &db,
            &["visits", "place"],
            &[&place[..4], &[&records]].concat(),
        )
        .code(2);
    }
}

#[test]
fn a_note_says_what_readings_and_answers_mean_and_what_they_explain() {
    let folder = tempfile::tempdir().unwrap();
    let db = db_in(&folder);
    let noon = 1_772_460_000;
    let times = [At(1, 0, Some(noon)), At(1, 0, Some(noon + 60))];
    drop(archive_of(&db, TESTER, &SOUND, &times));
    let place = ["--site", "Larkfield Terrace 4", "--appliance", "furnace"];
    let which = ["--tester", "51070000000000AB", "--records", "1-2"];
    run(&db, &["visits", "place"], &[place, which].concat())
        .code(0)
        .stdout(contains("2 tests are at Larkfield Terrace 4"));
    let note = [
        "--at",
        "2026-03-02T15:00:00Z",
        "--neutral-to-common",
        "3.5",
        "--neutral-to-burner",
        "OL",
        "--hot-to-neutral",
        "119.5",
        "--ground-wire",
        "rod-only",
        "--joined",
        "receptacle",
        "--landing",
        "bare-metal",
        "--remark",
        "rod beside the meter \u{1b}[31m",
    ];
    run(&db, &["note"], &[&place[..], &note].concat())
        .code(0)
        .stdout(
            contains("Neutral to 24 V common above 2 V: put right")
                .and(contains("neutral to burner above 10 ohm: put right"))
                .and(contains("Hot to neutral in the band: as it should be"))
                .and(contains("Ground goes to a rod only: put right"))
                .and(contains("joined at the receptacle: put right"))
                .and(contains("Ground landed on bare metal: as it should be"))
                .and(contains("its own error is not in the answer")),
        );
    run(&db, &["visits", "list"], &[]).code(0).stdout(
        contains("Larkfield Terrace 4, furnace")
            .and(contains("2026-03-02 14:00"))
            .and(contains("Explains record 1 (Reads sound)"))
            .and(contains("rod beside the meter \\u{1b}[31m")),
    );
    let listed = run(&db, &["visits", "list"], &["--json"]).code(0);
    let document: serde_json::Value = serde_json::from_slice(&listed.get_output().stdout).unwrap();
    let visit = &document["visits"][0];
    assert_eq!(visit["notes"].as_array().unwrap().len(), 1);
    assert_eq!(document["notes"].as_array().unwrap().len(), 0);
    let seen: Vec<(u64, &str)> = visit["explained"]
        .as_array()
        .unwrap()
        .iter()
        .map(|one| {
            (
                one["record"].as_u64().unwrap(),
                one["seen"].as_str().unwrap(),
            )
        })
        .collect();
    for record in [1, 2] {
        assert!(seen.contains(&(record, "ground-on-rod-only")), "{seen:?}");
        assert!(seen.contains(&(record, "joined-at-box")), "{seen:?}");
    }
}

#[test]
fn a_note_of_another_day_is_no_part_of_the_visit() {
    let folder = tempfile::tempdir().unwrap();
    let db = db_in(&folder);
    let times = [At(1, 0, Some(1_772_460_000))];
    drop(archive_of(&db, TESTER, &SOUND, &times));
    let which = ["--tester", "51070000000000ab", "--records", "1"];
    run(
        &db,
        &["visits", "place"],
        &[&["--site", "here"][..], &which].concat(),
    )
    .code(0);
    let note = [
        "--at",
        "2026-03-04T14:00:00Z",
        "--site",
        "here",
        "--joined",
        "panel-only",
    ];
    run(&db, &["note"], &note).code(0);
    let listed = run(&db, &["visits", "list"], &["--json"]).code(0);
    let document: serde_json::Value = serde_json::from_slice(&listed.get_output().stdout).unwrap();
    assert_eq!(document["visits"][0]["notes"].as_array().unwrap().len(), 0);
    assert_eq!(document["notes"].as_array().unwrap().len(), 1);
}

#[test]
fn the_guide_asks_what_is_not_answered_and_takes_no_answer_for_good() {
    let folder = tempfile::tempdir().unwrap();
    let db = db_in(&folder);
    drop(SqliteArchive::open_or_make(&db).unwrap());
    let mut command = slotwise();
    command.args([
        "note",
        "--guide",
        "--json",
        "--site",
        "here",
        "--electrode",
        "rod",
    ]);
    command.arg("--archive").arg(&db);
    // Joined by number, bonds passed over, ground wire wrong three times, landing by name, then
    // the person is gone.
    let asked = command
        .write_stdin("1\n\nperhaps\n99\n'\npaint\n")
        .assert()
        .code(0)
        .stderr(
            contains("Where do neutral and ground meet?")
                .and(contains("2 receptacle"))
                .and(contains("What is the grounding electrode?").not()),
        );
    let document: serde_json::Value = serde_json::from_slice(&asked.get_output().stdout).unwrap();
    assert_eq!(
        document["answers"],
        serde_json::json!({
            "joined": "panel-only",
            "electrode": "rod",
            "ground-wire": "not-looked",
            "landing": "paint",
        })
    );
    let weights: Vec<&str> = document["findings"]
        .as_array()
        .unwrap()
        .iter()
        .map(|found| found["weight"].as_str().unwrap())
        .collect();
    assert_eq!(weights, ["wrong", "look", "fine", "fine"]);
}

#[test]
fn a_note_wants_something_to_note_and_numbers_that_a_meter_shows() {
    let folder = tempfile::tempdir().unwrap();
    let db = db_in(&folder);
    drop(SqliteArchive::open_or_make(&db).unwrap());
    run(&db, &["note"], &["--site", "here"]).code(2);
    for wrong in ["nan", "-3", "inf", "1e5", "OL"] {
        let volts = format!("--hot-to-neutral={wrong}");
        run(&db, &["note"], &["--site", "here", &volts]).code(2);
    }
    let archive = SqliteArchive::open(&db).unwrap();
    assert_eq!(archive.notes(None).unwrap(), []);
    assert_eq!(archive.counts().unwrap().sites, 0);
}
