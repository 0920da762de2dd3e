//! Export: CSV that no spreadsheet runs, JSON that keeps to its published schema, both written
//! as the rows come.

mod archives;
mod support;

use std::io::{self, Write};
use std::path::Path;

use archives::{batch, kept};
use predicates::str::contains;
use slotwise::archive::{Archive as _, ArchiveError, QUANTITIES, SqliteArchive, Wanted};
use slotwise::export::{Form, SCHEMA, export, guarded};
use slotwise::report::{Origin, Place, Report, html};
use slotwise::texts::English;
use slotwise_core::evidence::{Measured, Missing, Watch};
use slotwise_core::record::{Body, RecordNumber, decode};
use slotwise_core::units::{Ohms, Volts};
use support::{DEAD, OPEN_GROUND, REVERSED_AND_JOINED, SOUND, TESTER, bytes_of, records, slotwise};

const HOSTILE: [&str; 9] = [
    "=HYPERLINK(\"http://example.invalid\",\"x\")",
    "+1+1",
    "-2+3",
    "@SUM(A1:A9)",
    "\t=1",
    "\r=1",
    "\u{ff1d}1+1",
    "'; DROP TABLE site; --<script>alert(1)</script>",
    "a,\"b\"\n=2",
];

/// An archive with every kind of value, each test at a site of a hostile name.
fn archive_in(db: &Path) -> SqliteArchive {
    let mut archive = SqliteArchive::open_or_make(db).unwrap();
    let kinds = [SOUND, OPEN_GROUND, REVERSED_AND_JOINED, DEAD];
    let tests: Vec<_> = kinds.into_iter().cycle().take(HOSTILE.len()).collect();
    let mut all = records(&tests);
    // One with every value measured, one of them below 0.
    let mut full = decode(&all[1]).unwrap();
    let Body::Test(test) = &mut full.body else {
        panic!("a test");
    };
    test.evidence.earth_path = Measured::known(Ohms::new(-0.012), Ohms::new(0.01));
    test.evidence.neutral_to_clip = Measured::Missing(Missing::BeyondRange);
    test.evidence.watch = Ok(Watch {
        seconds: 600,
        steps: 5,
        neutral_drop: Measured::known(Volts::new(0.6), Volts::new(0.01)),
        frame_shift: Measured::known(Volts::new(f32::NAN), Volts::new(0.01)),
        idle: Volts::new(0.05),
        highest: Volts::new(0.7),
    });
    all[1] = bytes_of(&full);
    archive.import(&batch(kept(&all, 1))).unwrap();
    for (number, name) in (2..).map(RecordNumber::new).zip(HOSTILE) {
        let site = archive.site(name).unwrap();
        let appliance = archive.appliance(site, name).unwrap();
        archive
            .place(TESTER, number, number, site, Some(appliance))
            .unwrap();
    }
    archive
}

fn text(archive: &SqliteArchive, form: Form) -> String {
    let mut bytes = Vec::new();
    let count = export(archive, &Wanted::default(), form, &mut bytes).unwrap();
    assert_eq!(count, HOSTILE.len() as u64);
    String::from_utf8(bytes).unwrap()
}

#[test]
fn a_text_cell_never_begins_like_a_formula() {
    let folder = tempfile::tempdir().unwrap();
    let archive = archive_in(&folder.path().join("a.db"));
    let csv = text(&archive, Form::Csv);
    let mut reader = csv::Reader::from_reader(csv.as_bytes());
    let names = reader.headers().unwrap().clone();
    let column = |name: &str| names.iter().position(|n| n == name).unwrap();
    let mut rows = 0;
    for (row, name) in reader.records().zip(HOSTILE) {
        let row = row.unwrap();
        for cell in &row {
            let signs = ['=', '+', '-', '@', '\t', '\r', '\u{ff1d}'];
            let is_number = cell.parse::<f64>().is_ok();
            assert!(is_number || !cell.starts_with(signs), "{cell:?}");
        }
        let site = &row[column("site")];
        assert_eq!(
            site.strip_prefix('\'')
                .filter(|s| *s == name)
                .or((site == name).then_some(name)),
            Some(name)
        );
        assert_eq!(&row[column("appliance")], site);
        rows += 1;
    }
    assert_eq!(rows, HOSTILE.len());
    for name in &HOSTILE[..7] {
        assert_eq!(guarded(name), format!("'{name}"));
    }
    for plain in ["Larkfield Terrace 4", "", "12 V", "a=b", "0"] {
        assert_eq!(guarded(plain), plain);
    }
}

#[test]
fn numbers_stay_numbers_and_what_is_missing_says_why() {
    let folder = tempfile::tempdir().unwrap();
    let archive = archive_in(&folder.path().join("a.db"));
    let csv = text(&archive, Form::Csv);
    let mut reader = csv::Reader::from_reader(csv.as_bytes());
    let names = reader.headers().unwrap().clone();
    let rows: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
    let cell = |row: usize, name: &str| {
        let column = names.iter().position(|n| n == name);
        rows[row][column.unwrap_or_else(|| panic!("{name} in {names:?}"))].to_owned()
    };
    assert_eq!(
        cell(0, "earth_path_ohm"),
        "-0.012",
        "a number, no apostrophe"
    );
    assert_eq!(cell(0, "earth_path_missing"), "");
    assert_eq!(cell(0, "neutral_to_clip_ohm"), "");
    assert_eq!(cell(0, "neutral_to_clip_missing"), "beyond-range");
    assert_eq!(cell(0, "watch_frame_shift_v"), "");
    assert_eq!(cell(0, "watch_frame_shift_missing"), "not-a-number");
    assert_eq!(cell(0, "watch_idle_v"), "0.05");
    assert_eq!(cell(0, "watch_idle_u_v"), "");
    assert_eq!(cell(0, "time_utc"), "2026-03-02T14:00:20Z");
    assert_eq!(cell(1, "earth_path_missing"), "not-asked");
    assert_eq!(cell(1, "outcome"), "fault");
    let millis: u64 = cell(0, "millis_since_boot").parse().unwrap();
    assert_eq!(millis, 20_500);
}

#[test]
fn an_export_keeps_to_the_published_schema() {
    let folder = tempfile::tempdir().unwrap();
    let archive = archive_in(&folder.path().join("a.db"));
    let schema: serde_json::Value = serde_json::from_str(SCHEMA).unwrap();
    let validator = jsonschema::draft202012::options()
        .should_validate_formats(true)
        .build(&schema)
        .unwrap();
    let document: serde_json::Value = serde_json::from_str(&text(&archive, Form::Json)).unwrap();
    let errors: Vec<String> = validator
        .iter_errors(&document)
        .map(|error| format!("{} at {}", error, error.instance_path()))
        .collect();
    assert_eq!(errors, [] as [String; 0]);
    let tests = document["tests"].as_array().unwrap();
    assert_eq!(tests.len(), HOSTILE.len());
    for (test, name) in tests.iter().zip(HOSTILE) {
        assert_eq!(test["site"], name, "as it is, JSON needs no guard");
    }
    // The schema names every value, and says no to what it should.
    let values = &schema["$defs"]["test"]["properties"]["values"]["required"];
    let names: Vec<&str> = QUANTITIES.iter().map(|(name, _)| *name).collect();
    assert_eq!(*values, serde_json::json!(names));
    let wrong = [
        ("/tests/0/values/earth_path", serde_json::json!(null)),
        ("/tests/0/values/earth_path", serde_json::json!(0)),
        ("/tests/0/values/earth_path/unit", serde_json::json!("V")),
        ("/tests/0/values/watch_idle/u", serde_json::json!(-1)),
        ("/tests/0/outcome", serde_json::json!("fine")),
        ("/tests/0/tester", serde_json::json!("../../etc")),
        ("/tests/0/record", serde_json::json!(1.5)),
        ("/version", serde_json::json!(2)),
    ];
    for (place, value) in wrong {
        let mut changed = document.clone();
        *changed.pointer_mut(place).unwrap() = value;
        assert!(!validator.is_valid(&changed), "{place}");
    }
}

#[test]
fn an_archive_without_tests_gives_a_head_and_a_valid_document() {
    let folder = tempfile::tempdir().unwrap();
    let archive = SqliteArchive::open_or_make(&folder.path().join("a.db")).unwrap();
    for (form, lines) in [(Form::Csv, 1), (Form::Json, 2)] {
        let mut bytes = Vec::new();
        let count = export(&archive, &Wanted::default(), form, &mut bytes).unwrap();
        assert_eq!(count, 0);
        assert_eq!(String::from_utf8(bytes).unwrap().lines().count(), lines);
    }
}

/// A disk that is full after so many bytes.
struct Full(usize);

impl Write for Full {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.0 = self
            .0
            .checked_sub(bytes.len())
            .ok_or(io::ErrorKind::StorageFull)?;
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

#[test]
fn a_full_disk_is_an_error_wherever_it_fills_up() {
    let folder = tempfile::tempdir().unwrap();
    let archive = archive_in(&folder.path().join("a.db"));
    for form in [Form::Csv, Form::Json] {
        let whole = text(&archive, form).len();
        for room in (0..whole).step_by(97) {
            let failed = export(&archive, &Wanted::default(), form, Full(room));
            assert!(
                matches!(failed, Err(ArchiveError::Output(_))),
                "{form:?} with room for {room} of {whole}: {failed:?}"
            );
        }
        assert!(export(&archive, &Wanted::default(), form, Full(whole)).is_ok());
    }
}

#[test]
fn the_program_writes_files_and_replaces_none() {
    let folder = tempfile::tempdir().unwrap();
    let db = folder.path().join("a.db");
    drop(archive_in(&db));
    let out = folder.path().join("tests.csv");
    let run = |rest: &[&str]| {
        let mut command = slotwise();
        command.args(["export", "--archive"]).arg(&db).args(rest);
        command.assert()
    };
    let to = out.to_str().unwrap();
    run(&["--csv", "--out", to])
        .code(0)
        .stderr(contains("9 tests are in"));
    let first = std::fs::read(&out).unwrap();
    run(&["--csv"]).code(0).stdout(first.clone());
    run(&["--json", "--out", to])
        .code(7)
        .stderr(contains("already there"));
    assert_eq!(std::fs::read(&out).unwrap(), first);
    run(&["--json", "--out", to, "--force"]).code(0);
    let document: serde_json::Value =
        serde_json::from_slice(&std::fs::read(&out).unwrap()).unwrap();
    assert_eq!(document["format"], "slotwise-tests");
    let one = format!("--site={}", HOSTILE[7]);
    let listed = run(&["--json", &one]).code(0);
    let document: serde_json::Value = serde_json::from_slice(&listed.get_output().stdout).unwrap();
    assert_eq!(document["tests"].as_array().unwrap().len(), 1);
    run(&["--json", "--site", "nowhere"])
        .code(2)
        .stderr(contains("no site named"));
    run(&["--json", "--tester", "0000000000000001"])
        .code(0)
        .stdout("{\"format\":\"slotwise-tests\",\"version\":1,\"tests\":[\n]}\n");
    slotwise()
        .args(["export", "--schema"])
        .assert()
        .code(0)
        .stdout(SCHEMA);
}

/// A name of a site that gets onto a page is text there.
#[test]
fn a_page_shows_a_hostile_name_as_text() {
    let kept = kept(&records(&[SOUND]), 1);
    let hostile = "<script>alert('1')</script>\"><img src=x onerror=alert(1)>";
    let items = slotwise::chain::check(&kept)
        .into_iter()
        .map(slotwise::report::Item::from)
        .map(|item| slotwise::report::Item {
            place: Some(Place {
                name: hostile.to_owned(),
                wired: hostile.to_owned(),
            }),
            ..item
        })
        .collect();
    let page = html::page(&Report {
        source: hostile.to_owned(),
        origin: Origin::Log,
        hello: None,
        band: None,
        items,
        damages: Vec::new(),
        language: &English,
    });
    assert!(page.contains("&lt;script&gt;alert"), "it is shown");
    assert!(!page.contains("<script>alert") && !page.contains("<img src=x"));
}
