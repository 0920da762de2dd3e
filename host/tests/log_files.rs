//! `show` and `judge` on logs that are whole, cut, changed, foreign or newer: exit codes and
//! what is still shown.

mod support;

use std::fs;
use std::path::Path;

use predicates::prelude::PredicateBooleanExt as _;
use predicates::str::contains;
use slotwise::log_file::read_from;
use slotwise_core::link::Reply;
use slotwise_core::record::{RecordNumber, decode};
use support::{
    DEAD, OPEN_GROUND, REVERSED, REVERSED_AND_JOINED, SOUND, bytes_of, frame, hello, log_frames,
    of_newer_schema, records, slotwise, write_log,
};

/// Wide enough that no sentence is wrapped.
fn show(file: &Path) -> assert_cmd::assert::Assert {
    slotwise()
        .arg("show")
        .arg(file)
        .env("COLUMNS", "300")
        .assert()
}

fn judge(file: &Path) -> assert_cmd::assert::Assert {
    slotwise().arg("judge").arg(file).assert()
}

#[test]
fn a_whole_log_is_shown_without_complaint() {
    let folder = tempfile::tempdir().unwrap();
    let file = write_log(folder.path(), &log_frames(&records(&[SOUND, OPEN_GROUND])));
    show(&file)
        .code(0)
        .stdout(contains("Reads sound").and(contains("Open ground")))
        .stderr("");
}

#[test]
fn a_log_without_records_is_whole() {
    let folder = tempfile::tempdir().unwrap();
    let file = write_log(folder.path(), &log_frames(&[]));
    show(&file).code(0).stderr("");
    judge(&file).code(0);
}

#[test]
fn a_log_cut_at_any_byte_shows_every_record_before_the_cut() {
    let frames = log_frames(&records(&[SOUND, REVERSED]));
    let whole = frames.concat();
    let mut ends = Vec::new();
    for one in &frames {
        ends.push(ends.last().unwrap_or(&0) + one.len());
    }
    // Reading is tested at every byte; the program at a few.
    for cut in 1..whole.len() {
        let kept = ends.iter().filter(|end| **end <= cut).count();
        match read_from(&whole[..cut], Path::new("cut.slotlog")) {
            Ok(log) => {
                assert_eq!(
                    log.records.len(),
                    kept.saturating_sub(1).min(3),
                    "cut {cut}"
                );
                assert_eq!(log.damages.len(), 1, "cut {cut}: {:?}", log.damages);
            }
            Err(error) => assert!(kept == 0, "cut {cut}: {error}"),
        }
    }
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("cut.slotlog");
    fs::write(&file, &whole[..ends[2] + 100]).unwrap();
    show(&file)
        .code(5)
        .stdout(contains("Reads sound"))
        .stderr(contains("cut off after 100 bytes").and(contains("pull the log again")));
}

#[test]
fn a_bad_frame_in_the_middle_loses_only_itself() {
    let folder = tempfile::tempdir().unwrap();
    let mut frames = log_frames(&records(&[SOUND, REVERSED, OPEN_GROUND]));
    let at: usize = frames[..3].iter().map(Vec::len).sum();
    let middle = frames[3].len() / 2;
    frames[3][middle] ^= 0x40;
    if frames[3][middle] == 0 {
        frames[3][middle] = 1;
    }
    let file = write_log(folder.path(), &frames);
    show(&file)
        .code(5)
        .stdout(
            contains("Reads sound")
                .and(contains("Open ground"))
                .and(contains("one record is missing before it")),
        )
        .stderr(contains(format!("at byte {at}: a frame")));
}

#[test]
fn one_flipped_byte_anywhere_costs_two_records_at_most() {
    let name = Path::new("flipped.slotlog");
    let all = records(&[SOUND, REVERSED, OPEN_GROUND]);
    let whole = log_frames(&all).concat();
    for at in 0..whole.len() {
        for flip in [0x01, 0x80, whole[at]] {
            let mut bytes = whole.clone();
            bytes[at] ^= flip;
            if bytes == whole {
                continue;
            }
            let log = read_from(bytes.as_slice(), name).expect("something is left");
            assert!(!log.damages.is_empty(), "byte {at} flip {flip:#x}");
            assert!(log.records.len() + 2 >= all.len(), "byte {at}");
            for kept in &log.records {
                assert_eq!(kept.bytes, all[kept.number.get() as usize - 1], "byte {at}");
            }
        }
    }
}

#[test]
fn a_changed_record_is_found_by_the_chain() {
    let folder = tempfile::tempdir().unwrap();
    let mut all = records(&[OPEN_GROUND, SOUND]);
    let mut record = decode(&all[1]).unwrap();
    record.boot += 1;
    all[1] = bytes_of(&record);
    let file = write_log(folder.path(), &log_frames(&all));
    show(&file)
        .code(5)
        .stdout(contains("one of the two was changed"))
        .stderr(contains("record 3: does not follow").and(contains("not whole")));
}

#[test]
fn the_same_record_twice_is_one_and_two_different_ones_are_a_conflict() {
    let folder = tempfile::tempdir().unwrap();
    let all = records(&[SOUND]);
    let mut frames = log_frames(&all);
    frames.insert(2, frames[1].clone());
    show(&write_log(folder.path(), &frames)).code(0);

    let number = RecordNumber::FIRST;
    frames[2] = frame(
        9,
        Reply::Record {
            number,
            bytes: &all[1],
        },
    );
    show(&write_log(folder.path(), &frames))
        .code(5)
        .stderr(contains("record 1 stands there twice"));
}

#[test]
fn records_of_a_newer_schema_are_kept_and_said_and_the_others_shown() {
    let folder = tempfile::tempdir().unwrap();
    let mut all = records(&[SOUND, REVERSED]);
    all[2] = of_newer_schema(&all[2]);
    let file = write_log(folder.path(), &log_frames(&all));
    let before = fs::read(&file).unwrap();
    show(&file)
        .code(6)
        .stdout(contains("Reads sound").and(contains("NOT READABLE")))
        .stderr(contains("newer schema").and(contains("update Slotwise")));
    assert_eq!(fs::read(&file).unwrap(), before);
}

#[test]
fn a_log_of_a_newer_protocol_is_refused_and_left_alone() {
    let folder = tempfile::tempdir().unwrap();
    let mut newer = hello(&[]);
    newer.protocol += 1;
    let file = write_log(folder.path(), &[frame(1, Reply::Hello(newer))]);
    show(&file)
        .code(6)
        .stderr(contains("link protocol 2").and(contains("update Slotwise")));
}

#[test]
fn what_is_no_log_is_said_so_in_one_line() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("test.slotlog");
    for (bytes, expected) in [
        (Vec::new(), "the file is empty"),
        (b"just some text\n".to_vec(), "not a Slotwise log"),
        (vec![0; 100_000], "not a Slotwise log"),
        (
            (0..=255).cycle().take(300_000).collect(),
            "not a Slotwise log",
        ),
        (frame(1, Reply::Done), "not a Slotwise log"),
    ] {
        fs::write(&file, bytes).unwrap();
        let assert = show(&file).code(5).stdout("").stderr(contains(expected));
        let errors = String::from_utf8(assert.get_output().stderr.clone()).unwrap();
        assert_eq!(errors.lines().count(), 1, "{errors}");
        assert!(errors.starts_with("slotwise: "), "{errors}");
    }
    show(&folder.path().join("nothing.slotlog"))
        .code(5)
        .stderr(contains("cannot be read").and(contains("nothing.slotlog")));
    show(folder.path())
        .code(5)
        .stderr(contains("cannot be read"));
}

#[test]
fn judge_tells_the_gravest_verdict_by_its_exit_code() {
    let folder = tempfile::tempdir().unwrap();
    let code = |tests: &[_], expected: i32| {
        let file = write_log(folder.path(), &log_frames(&records(tests)));
        judge(&file).code(expected);
    };
    code(&[SOUND], 0);
    code(&[SOUND, OPEN_GROUND, SOUND], 10);
    code(&[DEAD], 10);
    code(&[SOUND, OPEN_GROUND, REVERSED_AND_JOINED], 11);
    code(&[REVERSED], 11);

    let mut moving = SOUND.test();
    moving.evidence.unsteadiness = slotwise_core::units::Volts::new(9.0);
    let mut record = decode(&records(&[SOUND])[1]).unwrap();
    record.body = slotwise_core::record::Body::Test(moving);
    let all = [records(&[])[0].clone(), bytes_of(&record)];
    judge(&write_log(folder.path(), &log_frames(&all))).code(12);
}

#[test]
fn a_danger_outranks_a_damaged_file() {
    let folder = tempfile::tempdir().unwrap();
    let mut frames = log_frames(&records(&[REVERSED_AND_JOINED, SOUND]));
    frames.pop();
    let file = write_log(folder.path(), &frames);
    judge(&file)
        .code(11)
        .stderr(contains("without its closing frame"));
    let mut frames = log_frames(&records(&[OPEN_GROUND, SOUND]));
    frames.pop();
    judge(&write_log(folder.path(), &frames)).code(5);
}

#[test]
fn another_band_gives_another_verdict_and_names_what_the_tester_said() {
    let folder = tempfile::tempdir().unwrap();
    let mut low = SOUND;
    low.pairs = [(111.0, 0.0), (0.02, 0.0), (110.98, 0.0)];
    let file = write_log(folder.path(), &log_frames(&records(&[low])));
    judge(&file).code(0);
    slotwise()
        .args(["judge", "--band", "maryland"])
        .arg(&file)
        .env("COLUMNS", "200")
        .assert()
        .code(10)
        .stdout(contains("Supply too low (tester said: NO FAULT FOUND)"));
}
