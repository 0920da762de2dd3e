//! `pull`, `bench` and `tour` over real pseudo-terminals: good testers and bad ones.
#![cfg(unix)]

mod support;

use std::fs;
use std::io::{BufRead as _, BufReader};
use std::process::{Child, Command, Stdio};
use std::thread;
use std::time::{Duration, Instant};

use predicates::prelude::PredicateBooleanExt as _;
use predicates::str::contains;
use serialport::{SerialPort as _, TTYPort};
use slotwise_core::lamps::Panel;
use slotwise_core::link::{
    JournalReply, JournalReport, JournalRequest, JournalState, Refusal, Reply, Request,
    RequestEnvelope, Status,
};
use slotwise_core::record::RecordNumber;
use slotwise_core::units::Millis;
use support::{OPEN_GROUND, SOUND, answer, frame, hello, of_newer_schema, records, slotwise};

/// A tester on a pseudo-terminal that answers as `script` says; the port's name.
fn tester(script: impl FnMut(RequestEnvelope) -> Vec<u8> + Send + 'static) -> String {
    let (mut master, port) = TTYPort::pair().unwrap();
    master.set_timeout(Duration::from_millis(50)).unwrap();
    let name = port.name().unwrap();
    thread::spawn(move || {
        // The port stays open here, so that the master does not end between programs.
        let _port = port;
        answer(master, script);
    });
    name
}

/// One that holds these records.
fn good(there: Vec<Vec<u8>>) -> impl FnMut(RequestEnvelope) -> Vec<u8> + Send {
    move |asked| match asked.request {
        Request::Hello { .. } => frame(asked.sequence, Reply::Hello(hello(&there))),
        Request::Pull { from, .. } => {
            let mut bytes = Vec::new();
            let mut next = from;
            for record in there.iter().skip(from.get() as usize - 1) {
                bytes.extend(frame(
                    asked.sequence,
                    Reply::Record {
                        number: next,
                        bytes: record,
                    },
                ));
                next = next.next();
            }
            bytes.extend(frame(asked.sequence, Reply::PullEnd { next }));
            bytes
        }
        _ => frame(asked.sequence, Reply::Refused(Refusal::NotUnderstood)),
    }
}

fn pull(port: &str, file: &std::path::Path) -> assert_cmd::Command {
    let mut command = slotwise();
    command.args(["pull", "--port", port, "--out"]).arg(file);
    command
}

#[test]
fn a_log_is_pulled_shown_and_not_pulled_over() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("a.slotlog");
    let port = tester(good(records(&[SOUND, OPEN_GROUND])));
    pull(&port, &file)
        .assert()
        .code(0)
        .stdout(contains("3 records").and(contains("--from 4")));
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1);
    slotwise()
        .arg("show")
        .arg(&file)
        .assert()
        .code(0)
        .stdout(contains("Open ground"))
        .stderr("");
    let before = fs::read(&file).unwrap();
    pull(&port, &file)
        .assert()
        .code(7)
        .stderr(contains("already there").and(contains("--force")));
    assert_eq!(fs::read(&file).unwrap(), before);
    pull(&port, &file)
        .args(["--force", "--from", "2", "--json"])
        .assert()
        .code(0)
        .stdout(contains("\"records\": 2"));
}

#[test]
fn ports_that_are_none_are_told_apart() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("a.slotlog");
    pull("/dev/no-such-port", &file)
        .assert()
        .code(3)
        .stderr(contains("not there").and(contains("check the cable")));
    let plain = folder.path().join("plain");
    fs::write(&plain, "text").unwrap();
    pull(plain.to_str().unwrap(), &file)
        .assert()
        .code(3)
        .stderr(contains("not a serial port"));
    let (_master, port) = TTYPort::pair().unwrap();
    let name = port.name().unwrap();
    drop(port);
    let _mine = slotwise::port::open(&name).unwrap();
    pull(&name, &file)
        .assert()
        .code(3)
        .stderr(contains("in use by another program"));
    // Nothing is left behind.
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1);
}

#[test]
fn a_port_without_a_tester_is_told_from_one_with_another_device() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("a.slotlog");
    let silent = tester(|_| Vec::new());
    pull(&silent, &file)
        .assert()
        .code(4)
        .stderr(contains("no answer within"));
    let modem = tester(|_| b"\r\nERROR\r\n".to_vec());
    pull(&modem, &file)
        .assert()
        .code(4)
        .stderr(contains("another device"));
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 0);
}

#[test]
fn a_tester_of_a_newer_protocol_asks_for_an_update() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("a.slotlog");
    let port = tester(|asked| {
        frame(
            asked.sequence,
            Reply::Refused(Refusal::Protocol { spoken: 9 }),
        )
    });
    pull(&port, &file)
        .assert()
        .code(6)
        .stderr(contains("link protocol 9").and(contains("update Slotwise")));
}

#[test]
fn records_of_a_newer_schema_are_pulled_all_the_same() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("a.slotlog");
    let mut all = records(&[SOUND, OPEN_GROUND]);
    all[2] = of_newer_schema(&all[2]);
    let port = tester(good(all.clone()));
    pull(&port, &file)
        .assert()
        .code(6)
        .stderr(contains("newer schema").and(contains("update Slotwise")));
    let log = slotwise::log_file::read(&file).unwrap();
    let kept: Vec<&[u8]> = log.records.iter().map(|r| r.bytes.as_slice()).collect();
    assert_eq!(kept, all);
}

#[test]
fn a_pull_that_breaks_keeps_what_came_and_says_where() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("a.slotlog");
    let all = records(&[SOUND, OPEN_GROUND]);
    let mut whole = good(all.clone());
    let port = tester(move |asked| match asked.request {
        Request::Pull { from, .. } if from.get() <= 2 => {
            let mut bytes = whole(asked);
            // Everything after the second record is lost, every time.
            let ends: Vec<usize> = bytes
                .iter()
                .enumerate()
                .filter_map(|(at, byte)| (*byte == 0).then_some(at + 1))
                .collect();
            bytes.truncate(ends[2 - from.get() as usize]);
            bytes
        }
        Request::Pull { .. } => Vec::new(),
        _ => whole(asked),
    });
    let assert = pull(&port, &file).assert().code(4);
    let errors = String::from_utf8(assert.get_output().stderr.clone()).unwrap();
    assert!(errors.contains("a.slotlog.part"), "{errors}");
    assert!(errors.contains("--from 3"), "{errors}");
    assert!(!file.exists());
    slotwise()
        .arg("show")
        .arg(folder.path().join("a.slotlog.part"))
        .assert()
        .code(5)
        .stdout(contains("Reads sound"))
        .stderr(contains("without its closing frame"));
}

/// Kills the child whatever the test does.
struct Running(Child);

impl Drop for Running {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

#[test]
fn the_bench_is_pulled_by_another_process_twice() {
    let folder = tempfile::tempdir().unwrap();
    let mut child = Command::new(assert_cmd::cargo::cargo_bin("slotwise"))
        .args(["bench", "--receptacle", "reversed-polarity"])
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let mut port = String::new();
    let stdout = child.stdout.take().unwrap();
    let _running = Running(child);
    BufReader::new(stdout).read_line(&mut port).unwrap();
    let port = port.trim();
    // The first test takes two seconds of real time, and longer on a machine with much to do.
    let deadline = Instant::now() + Duration::from_secs(300);
    for attempt in 0.. {
        let file = folder.path().join(format!("early-{attempt}.slotlog"));
        let output = pull(port, &file).output().unwrap();
        if String::from_utf8_lossy(&output.stdout).contains("2 records") {
            break;
        }
        assert!(Instant::now() < deadline, "{output:?}");
        thread::sleep(Duration::from_millis(300));
    }
    for name in ["a.slotlog", "b.slotlog"] {
        let file = folder.path().join(name);
        pull(port, &file)
            .assert()
            .code(0)
            .stdout(contains("2 records"));
        slotwise().arg("judge").arg(&file).assert().code(11);
    }
}

#[test]
fn the_bench_lists_the_terrace_and_knows_no_other_place() {
    slotwise()
        .args(["bench", "--list"])
        .assert()
        .code(0)
        .stdout(contains("Number 12").and(contains("reversed-and-joined")));
    slotwise()
        .args(["bench", "--receptacle", "13"])
        .assert()
        .code(2)
        .stderr(contains("`13`").and(contains("--list")));
}

#[test]
fn the_tour_ends_with_a_table_a_page_and_a_whole_log() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("tour");
    slotwise()
        .args(["tour", "--out"])
        .arg(&out)
        .assert()
        .code(0)
        .stdout(
            contains("Number 12")
                .and(contains("DANGER"))
                .and(contains("Everything above is invented"))
                .and(contains("report.html")),
        )
        .stderr(contains("pseudo-terminal /dev/"));
    let page = fs::read_to_string(out.join("report.html")).unwrap();
    assert!(page.contains("<svg") && page.contains("Number 4"));
    let json: serde_json::Value =
        serde_json::from_str(&fs::read_to_string(out.join("report.json")).unwrap()).unwrap();
    let outcome = |place: &str, clip: &str| {
        let records = json["records"].as_array().unwrap();
        let found = records.iter().rev().find(|record| {
            record["receptacle"] == place && record["test"]["evidence"]["clip"] == clip
        });
        found.map(|record| record["test"]["verdict"]["findings"][0]["code"].clone())
    };
    let closet = "Number 4, furnace closet";
    assert_eq!(outcome(closet, "not-connected").unwrap(), "reads-sound");
    assert_eq!(
        outcome(closet, "independent-earth").unwrap(),
        "reversed-and-joined"
    );
    let closet = "Number 5, furnace closet";
    assert_eq!(
        outcome(closet, "not-connected").unwrap(),
        "reversed-polarity"
    );
    slotwise()
        .arg("show")
        .arg(out.join("larkfield-terrace.slotlog"))
        .assert()
        .code(0);
    // The office's part: every record is in the archive, and the visit is on a page and on paper.
    let visit = fs::read_to_string(out.join("visit.html")).unwrap();
    assert!(visit.contains("Larkfield Terrace 12, furnace closet"));
    assert!(visit.contains("Everything in this report is invented"));
    let paper = fs::read(out.join("visit.pdf")).unwrap();
    assert!(paper.starts_with(b"%PDF-"));
    slotwise()
        .args(["archive", "verify", "--archive"])
        .arg(out.join("office.db"))
        .assert()
        .code(0);
    // ... and for other programs.
    let tests = fs::read_to_string(out.join("tests.csv")).unwrap();
    let placed = tests
        .lines()
        .filter(|row| row.contains("Larkfield Terrace"));
    assert_eq!(placed.count() + 1, tests.lines().count(), "{tests}");
    #[cfg(feature = "parquet")]
    assert!(out.join("fleet").read_dir().unwrap().next().is_some());
    let log = slotwise::log_file::read(&out.join("larkfield-terrace.slotlog")).unwrap();
    assert!(log.damages.is_empty());
    assert_eq!(log.records.first().unwrap().number, RecordNumber::FIRST);
}

#[test]
fn the_tour_works_in_memory_and_says_so() {
    let folder = tempfile::tempdir().unwrap();
    slotwise()
        .args(["tour", "--no-pty", "--json", "--out"])
        .arg(folder.path().join("tour"))
        .assert()
        .code(0)
        .stdout(contains("\"origin\": \"invented\""))
        .stderr(contains("a line in memory instead"));
}

#[test]
fn the_tour_leaves_a_folder_with_other_things_alone() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("report.html"), "mine").unwrap();
    slotwise()
        .args(["tour", "--out"])
        .arg(folder.path())
        .assert()
        .code(7)
        .stderr(contains("other files").and(contains("--out")));
    assert_eq!(
        fs::read(folder.path().join("report.html")).unwrap(),
        b"mine"
    );
}

/// A tester that answers `doctor`, with so many worn parts of its log memory; `None`: of a firmware
/// that does not know the question.
fn examined(worn: Option<u16>) -> impl FnMut(RequestEnvelope) -> Vec<u8> + Send {
    let there = records(&[SOUND]);
    move |asked| {
        let reply = match (asked.request, worn) {
            (Request::Hello { .. }, _) => Reply::Hello(hello(&there)),
            (Request::Status, _) => Reply::Status(Status {
                now: Millis::new(9000),
                testing: false,
                panel: Panel::DARK,
                frames: 30_000,
                bad_frames: 0,
                newest: Some(RecordNumber::new(2)),
                journal: JournalState::Writable,
            }),
            (Request::Journal(JournalRequest::Report), Some(passed_over)) => {
                Reply::Journal(JournalReply::Report(JournalReport {
                    state: JournalState::Writable,
                    kept: Some((RecordNumber::FIRST, RecordNumber::new(2))),
                    confirmed: None,
                    freed: None,
                    sectors: (4, 2044),
                    passed_over,
                }))
            }
            _ => Reply::Refused(Refusal::NotUnderstood),
        };
        frame(asked.sequence, reply)
    }
}

#[test]
fn doctor_tells_worn_parts_of_the_log_memory() {
    let doctor = |worn: Option<u16>| {
        let port = tester(examined(worn));
        slotwise().args(["doctor", "--port", &port]).assert()
    };
    doctor(Some(3)).stdout(
        contains("4 of 2044 parts in use")
            .and(contains("3 of 2044 parts of its log memory are worn out")),
    );
    doctor(Some(0)).stdout(contains("parts in use").and(contains("worn").not()));
    doctor(None).stdout(
        contains("parts in use")
            .not()
            .and(contains("records 1 to 2")),
    );
}

/// The file that it offers is one that it finds; `udevadm verify` (systemd 254) was not at hand.
#[test]
fn doctor_offers_the_rule_that_it_looks_for() {
    let printed = slotwise().args(["doctor", "--udev-rule"]).assert().code(0);
    let text = String::from_utf8(printed.get_output().stdout.clone()).unwrap();
    assert_eq!(text, slotwise::udev::file());
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("70-slotwise.rules");
    std::fs::write(&file, text).unwrap();
    assert_eq!(slotwise::udev::rule_in(&[folder.path()]), Some(file));
}
