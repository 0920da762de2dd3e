//! What is printed: the snapshots of a fixed invented log, colour, pages, JSON, help.

mod support;

use std::fs;

use predicates::prelude::PredicateBooleanExt as _;
use predicates::str::contains;
use slotwise::exit::Exit;
use slotwise::report::{Origin, Place, Report, html, json, sheet, table, waveform};
use slotwise::texts::{English, Severity};
use slotwise_core::limits::BandSet;
use slotwise_core::verdict::Outcome;
use support::{
    DEAD, OPEN_GROUND, REVERSED, REVERSED_AND_JOINED, SOUND, log_frames, records, slotwise,
    write_log,
};

/// A report of fixed invented records: boot, five tests, one of them judged otherwise.
fn report() -> Report {
    let folder = tempfile::tempdir().unwrap();
    let all = records(&[SOUND, REVERSED, OPEN_GROUND, REVERSED_AND_JOINED, DEAD]);
    let file = write_log(folder.path(), &log_frames(&all));
    let log = slotwise::log_file::read(&file).unwrap();
    let mut report = Report::of_log("invented.slotlog".to_owned(), &log);
    report.origin = Origin::Invented;
    report.judge_again(BandSet::default());
    for item in &mut report.items {
        if item.test().is_some() {
            item.place = Some(Place {
                name: format!("Number {}, furnace closet", item.number.get()),
                wired: "As the test says <& \"so\">.".to_owned(),
            });
        }
    }
    report
}

fn plain(text: &str) -> String {
    anstream::adapter::strip_str(text).to_string()
}

#[test]
fn the_table_is_the_known_one() {
    insta::assert_snapshot!("table_110", plain(&table::render(&report(), 110)));
    insta::assert_snapshot!("list_60", plain(&table::render(&report(), 60)));
}

#[test]
fn no_line_is_wider_than_the_terminal() {
    for width in [40_u16, 60, 80, 99, 100, 120, 200] {
        let text = plain(&table::render(&report(), width));
        for line in text.lines() {
            let wide = line.chars().count();
            assert!(wide <= usize::from(width), "{wide} > {width}: {line}");
        }
    }
}

#[test]
fn the_sheet_is_the_known_one() {
    let report = report();
    let item = &report.items[4];
    insta::assert_snapshot!("sheet", sheet::render(&report, item, 80));
}

#[test]
fn the_page_is_the_known_one() {
    let page = html::page(&report());
    let (head, rest) = page.split_once("<style>").unwrap();
    let (style, body) = rest.split_once("</style>").unwrap();
    assert!(style.contains("prefers-color-scheme:dark") && style.contains("@media print"));
    let body = body.replace("</tr>", "</tr>\n").replace("</p>", "</p>\n");
    insta::assert_snapshot!("page", format!("{head}<style/>{body}"));
}

#[test]
fn the_page_is_whole_in_itself_and_escapes_what_it_shows() {
    let page = html::page(&report());
    for foreign in ["http://", "https://", "<script", "src=", "@import", "url("] {
        assert!(!page.contains(foreign), "{foreign}");
    }
    assert!(page.contains("&lt;&amp; &quot;so&quot;&gt;"));
    assert!(!page.contains("<& "));
    // Every link within the page has its target.
    for part in page.split("href=\"#").skip(1) {
        let target = part.split('"').next().unwrap();
        assert!(page.contains(&format!("id=\"{target}\"")), "{target}");
    }
}

#[test]
fn the_waveform_is_the_known_one() {
    let report = report();
    let test = report.items[3].test().unwrap();
    let figure = waveform::figure(&English, test.snapshot, "w")
        .unwrap()
        .into_string();
    insta::assert_snapshot!("waveform", figure.replace("><", ">\n<"));
    assert!(
        figure.contains("narrow to wide: from \u{2212}169.0 V")
            || figure.contains("narrow to wide: from -169.0 V"),
        "{figure}"
    );
}

#[test]
fn the_json_is_the_known_one_and_parses() {
    let text = json::document(&report()).unwrap();
    let value: serde_json::Value = serde_json::from_str(&text).unwrap();
    assert_eq!(value["format"], "slotwise-report");
    assert_eq!(
        value["records"][1]["test"]["verdict"]["outcome"],
        "no-fault-found"
    );
    assert_eq!(
        value["records"][1]["test"]["evidence"]["earth_path"]["missing"],
        "not-asked"
    );
    insta::assert_snapshot!("json", text);
}

/// What the verdict calls a danger, a finding grades as live metal, and nothing else does.
#[test]
fn the_severity_agrees_with_the_verdict() {
    for (_, test) in report().tests() {
        let grades_live = test
            .verdict
            .findings
            .iter()
            .any(|finding| Severity::of(finding) == Severity::MetalMayBeLive);
        let outcome = test.verdict.outcome;
        assert_eq!(outcome == Outcome::Danger, grades_live, "{outcome:?}");
    }
}

#[test]
fn a_dead_receptacle_is_never_called_safe() {
    let report = report();
    let item = report.items.last().unwrap();
    let text = sheet::render(&report, item, 100);
    assert!(
        text.contains("No voltage between the slots does not mean safe"),
        "{text}"
    );
}

#[test]
fn colour_is_for_terminals_and_no_color_wins() {
    let folder = tempfile::tempdir().unwrap();
    let file = write_log(folder.path(), &log_frames(&records(&[OPEN_GROUND])));
    for width in ["60", "120"] {
        let escapes = |vars: &[(&str, &str)]| {
            let mut command = slotwise();
            command.arg("show").arg(&file).env("COLUMNS", width);
            for (name, value) in vars {
                command.env(name, value);
            }
            let output = command.output().unwrap();
            assert!(output.status.success());
            output.stdout.contains(&0x1b)
        };
        assert!(!escapes(&[]), "a pipe");
        assert!(escapes(&[("CLICOLOR_FORCE", "1")]), "forced at {width}");
        let both = [("CLICOLOR_FORCE", "1"), ("NO_COLOR", "1")];
        assert!(!escapes(&both), "NO_COLOR at {width}");
    }
}

#[test]
fn show_writes_a_page_and_does_not_replace_one() {
    let folder = tempfile::tempdir().unwrap();
    let file = write_log(folder.path(), &log_frames(&records(&[OPEN_GROUND])));
    let page = folder.path().join("page.html");
    let show = |force: bool| {
        let mut command = slotwise();
        command.arg("show").arg(&file).arg("--html").arg(&page);
        if force {
            command.arg("--force");
        }
        command.assert()
    };
    show(false).code(0).stderr(contains("the page is"));
    assert!(fs::read_to_string(&page).unwrap().contains("Open ground"));
    fs::write(&page, "mine").unwrap();
    show(false).code(7).stderr(contains("--force"));
    assert_eq!(fs::read_to_string(&page).unwrap(), "mine");
    show(true).code(0);
    assert!(fs::read_to_string(&page).unwrap().contains("Open ground"));
}

#[test]
fn one_record_or_none_can_be_asked_for() {
    let folder = tempfile::tempdir().unwrap();
    let file = write_log(folder.path(), &log_frames(&records(&[OPEN_GROUND])));
    let show = |number: &str| {
        let mut command = slotwise();
        command.arg("show").arg(&file).args(["--record", number]);
        command.assert()
    };
    show("2")
        .code(0)
        .stdout(contains("Leave to a licensed electrician"));
    show("1").code(0).stdout(contains("tester switched on"));
    show("9").code(2).stderr(contains("no record 9"));
    slotwise()
        .args(["show", "--json"])
        .arg(&file)
        .assert()
        .code(0)
        .stdout(contains("\"open-ground\""));
}

#[test]
fn help_documents_every_exit_code() {
    let help = slotwise().arg("--help").assert().code(0);
    let text = String::from_utf8(help.get_output().stdout.clone()).unwrap();
    for exit in Exit::ALL {
        let line = format!("{:>2}  {}", exit.code(), exit.meaning());
        assert!(text.contains(&line), "{line}");
    }
    slotwise().assert().code(2);
    slotwise().arg("frobnicate").assert().code(2);
    slotwise()
        .arg("--version")
        .assert()
        .code(0)
        .stdout(contains("slotwise").and(contains(env!("CARGO_PKG_VERSION"))));
}

#[test]
fn a_reader_that_goes_away_is_no_error() {
    use std::process::{Command, Stdio};
    let folder = tempfile::tempdir().unwrap();
    let file = write_log(folder.path(), &log_frames(&records(&[SOUND; 400])));
    let mut child = Command::new(assert_cmd::cargo::cargo_bin("slotwise"))
        .args(["show", "--json"])
        .arg(&file)
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    drop(child.stdout.take());
    let output = child.wait_with_output().unwrap();
    assert!(output.status.success(), "{output:?}");
    assert!(output.stderr.is_empty(), "{output:?}");
}

#[cfg(target_os = "linux")]
#[test]
fn a_full_disk_behind_standard_output_is_an_error() {
    use std::process::{Command, Stdio};
    let folder = tempfile::tempdir().unwrap();
    let file = write_log(folder.path(), &log_frames(&records(&[SOUND])));
    let full = fs::OpenOptions::new()
        .write(true)
        .open("/dev/full")
        .unwrap();
    let output = Command::new(assert_cmd::cargo::cargo_bin("slotwise"))
        .arg("show")
        .arg(&file)
        .stdout(Stdio::from(full))
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(7), "{output:?}");
}
