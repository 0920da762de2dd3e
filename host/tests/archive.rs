//! The archive: logs in, nothing twice, nothing lost; gaps and changes named; a backup while
//! records come in.

mod archives;
mod support;

use archives::{NOW, assert_holds, batch, faults, import, kept, some, verify};

use std::fs;
use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Instant;

use predicates::prelude::PredicateBooleanExt as _;
use predicates::str::contains;
use rusqlite::Connection;
use slotwise::archive::{Archive, FaultKind, Imported, SqliteArchive, Wanted, batch_of};
use slotwise::log_file::{self};
use slotwise_core::link::Reply;
use slotwise_core::record::{RecordNumber, TesterId, decode};
use support::{TESTER, bytes_of, frame, hello, log_frames, of_newer_schema, slotwise, write_log};

#[test]
fn a_second_import_adds_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let db = folder.path().join("office.db");
    let all = some(6);
    let log = write_log(folder.path(), &log_frames(&all));
    import(&db, &[&log])
        .code(0)
        .stdout(contains("7 new records, 0 were there already"))
        .stderr("");
    import(&db, &[&log, &log])
        .code(0)
        .stdout(contains("0 new records, 14 were there already"))
        .stderr("");
    assert_holds(&SqliteArchive::open(&db).unwrap(), &all);
    verify(&db)
        .code(0)
        .stdout(contains("7 records of 1 testers: whole"));
}

/// A fixed series of numbers that look drawn (xorshift64*).
struct Draw(u64);

impl Draw {
    fn below(&mut self, limit: usize) -> usize {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        (self.0.wrapping_mul(0x2545_F491_4F6C_DD1D) >> 33) as usize % limit
    }
}

#[test]
fn a_log_cut_at_two_hundred_random_bytes_loses_and_doubles_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let all = some(7);
    let frames = log_frames(&all);
    let whole = frames.concat();
    let mut ends = Vec::new();
    for one in &frames {
        ends.push(ends.last().unwrap_or(&0) + one.len());
    }
    let mut draw = Draw(0x5107);
    let name = Path::new("cut.slotlog");
    for turn in 0..200 {
        let cut = 1 + draw.below(whole.len() - 1);
        let db = folder.path().join(format!("{turn}.db"));
        let mut archive = SqliteArchive::open_or_make(&db).unwrap();
        // Whole frames before the cut, less the hello.
        let before = ends.iter().filter(|end| **end <= cut).count();
        let expected = before.saturating_sub(1).min(all.len());
        match log_file::read_from(&whole[..cut], name) {
            Ok(log) => {
                let imported = archive.import(&batch_of("cut", log, NOW).unwrap()).unwrap();
                assert_eq!(imported.added, expected as u64, "cut {cut}");
                assert_eq!(imported.faults, [], "cut {cut}");
            }
            Err(_) => assert_eq!(before, 0, "cut {cut}"),
        }
        assert_holds(&archive, &all[..expected]);
        let log = log_file::read_from(&*whole, name).unwrap();
        let imported = archive
            .import(&batch_of("whole", log, NOW).unwrap())
            .unwrap();
        assert_eq!(imported.added as usize, all.len() - expected, "cut {cut}");
        assert_eq!(imported.already as usize, expected, "cut {cut}");
        assert_holds(&archive, &all);
        assert_eq!(faults(&archive), [], "cut {cut}");
        drop(archive);
        fs::remove_file(&db).unwrap();
    }
}

#[test]
fn a_gap_is_named_on_the_way_in_and_by_verify_and_filled_later() {
    let folder = tempfile::tempdir().unwrap();
    let mut archive = SqliteArchive::open_or_make(&folder.path().join("a.db")).unwrap();
    let all = some(8);
    archive.import(&batch(kept(&all[..3], 1))).unwrap();
    let late = archive.import(&batch(kept(&all, 6))).unwrap();
    let gap = FaultKind::Gap {
        first: RecordNumber::new(4),
    };
    assert_eq!(late.faults.len(), 1);
    assert_eq!(late.faults[0].kind, gap);
    assert_eq!(
        late.faults[0].to_string(),
        "tester 51070000000000ab, record 6: records 4 to 5 before it are missing"
    );
    assert_eq!(faults(&archive), [(6, gap)]);
    let (missing, newest) = archive.missing_from(TESTER, RecordNumber::FIRST).unwrap();
    assert_eq!((missing.get(), newest.map(RecordNumber::get)), (4, Some(9)));
    let filled = archive.import(&batch(kept(&all[..5], 4))).unwrap();
    assert_eq!(filled.faults, []);
    assert_eq!(faults(&archive), []);
    assert_holds(&archive, &all);
}

#[test]
fn a_changed_record_is_named_on_the_way_in() {
    let folder = tempfile::tempdir().unwrap();
    let db = folder.path().join("a.db");
    let mut all = some(4);
    let mut changed = decode(&all[2]).unwrap();
    changed.boot += 1;
    all[2] = bytes_of(&changed);
    let log = write_log(folder.path(), &log_frames(&all));
    import(&db, &[&log]).code(5).stderr(contains(
        "tester 51070000000000ab, record 4: it does not follow",
    ));
    verify(&db).code(5).stderr(contains(
        "tester 51070000000000ab, record 4: it does not follow",
    ));
}

/// The list of sites reads its own copy of outcome and clock.
#[test]
fn a_place_that_says_another_outcome_than_its_test_is_named() {
    let folder = tempfile::tempdir().unwrap();
    let db = folder.path().join("a.db");
    let mut archive = SqliteArchive::open_or_make(&db).unwrap();
    archive.import(&batch(kept(&some(6), 1))).unwrap();
    let site = archive.site("Larkfield Terrace 4").unwrap();
    let [from, to] = [2, 5].map(RecordNumber::new);
    archive
        .place(support::TESTER, from, to, site, None)
        .unwrap();
    assert_eq!(faults(&archive), []);
    for (change, number) in [
        ("SET outcome = 'proven'", 3),
        ("SET outcome = NULL", 4),
        ("SET clock = clock + 1", 5),
    ] {
        let connection = Connection::open(&db).unwrap();
        let at = format!("record = (SELECT id FROM record WHERE number = {number})");
        let before = "SELECT outcome, clock FROM placing WHERE";
        let (outcome, clock): (String, i64) = connection
            .query_row(&format!("{before} {at}"), [], |row| {
                Ok((row.get(0)?, row.get(1)?))
            })
            .unwrap();
        connection
            .execute(&format!("UPDATE placing {change} WHERE {at}"), [])
            .unwrap();
        assert_eq!(faults(&archive), [(number, FaultKind::Column)], "{change}");
        connection
            .execute(
                &format!("UPDATE placing SET outcome = ?1, clock = ?2 WHERE {at}"),
                (outcome, clock),
            )
            .unwrap();
    }
    assert_eq!(faults(&archive), []);
}

#[test]
fn what_was_changed_in_the_archive_is_named() {
    let folder = tempfile::tempdir().unwrap();
    let all = some(6);
    let changes: [(&str, &[(u32, FaultKind)]); 6] = [
        (
            "UPDATE record SET bytes = CAST(substr(bytes, 1, 40) || x'01' || substr(bytes, 42) \
             AS BLOB) WHERE number = 3",
            &[(3, FaultKind::Changed), (4, FaultKind::Broken)],
        ),
        (
            "UPDATE record SET previous = zeroblob(32) WHERE number = 4",
            &[(4, FaultKind::Column)],
        ),
        (
            "UPDATE test SET outcome = 'proven' WHERE record = \
             (SELECT id FROM record WHERE number = 3)",
            &[(3, FaultKind::Column)],
        ),
        (
            "UPDATE test SET narrow_wide = 120 WHERE record = \
             (SELECT id FROM record WHERE number = 2)",
            &[(2, FaultKind::Column)],
        ),
        (
            "DELETE FROM test WHERE record = (SELECT id FROM record WHERE number = 5)",
            &[(5, FaultKind::Column)],
        ),
        (
            "PRAGMA foreign_keys = OFF; DELETE FROM test WHERE record = \
             (SELECT id FROM record WHERE number = 5); DELETE FROM record WHERE number = 5",
            &[(
                6,
                FaultKind::Gap {
                    first: RecordNumber::new(5),
                },
            )],
        ),
    ];
    for (turn, (change, expected)) in changes.into_iter().enumerate() {
        let db = folder.path().join(format!("{turn}.db"));
        let mut archive = SqliteArchive::open_or_make(&db).unwrap();
        archive.import(&batch(kept(&all, 1))).unwrap();
        assert_eq!(faults(&archive), []);
        Connection::open(&db)
            .unwrap()
            .execute_batch(change)
            .unwrap();
        let found: Vec<(u32, FaultKind)> = faults(&archive)
            .into_iter()
            // A byte may also have moved a value, or made the record unreadable.
            .filter(|(_, kind)| turn != 0 || matches!(kind, FaultKind::Changed | FaultKind::Broken))
            .collect();
        assert_eq!(found, expected, "{change}");
    }
}

#[test]
fn another_record_of_the_same_number_is_kept_beside_the_first() {
    let folder = tempfile::tempdir().unwrap();
    let mut archive = SqliteArchive::open_or_make(&folder.path().join("a.db")).unwrap();
    let all = some(3);
    archive.import(&batch(kept(&all, 1))).unwrap();
    let mut other = kept(&all, 1);
    let mut changed = decode(&all[1]).unwrap();
    changed.boot += 1;
    other[1].bytes = bytes_of(&changed);
    for _ in 0..2 {
        let imported = archive.import(&batch(other.clone())).unwrap();
        assert_eq!(
            imported,
            Imported {
                already: 3,
                conflicts: vec![RecordNumber::new(2)],
                ..Imported::default()
            }
        );
    }
    assert_holds(&archive, &all);
    assert_eq!(archive.counts().unwrap().conflicts, 1, "kept once");
    assert_eq!(faults(&archive), [(2, FaultKind::Conflict)]);
}

#[test]
fn a_fleet_comes_in_though_some_of_its_files_are_of_no_use() {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name);
    let all = some(4);
    let good = write_log(folder.path(), &log_frames(&all));
    let (text, empty, cut, db) = (path("b.txt"), path("c"), path("d.slotlog"), path("o.db"));
    fs::write(&text, "'; DROP TABLE record; --\n".repeat(100)).unwrap();
    fs::write(&empty, "").unwrap();
    let whole = log_frames(&all).concat();
    fs::write(&cut, &whole[..whole.len() / 2]).unwrap();
    // Records of which nobody knows whose they are.
    let nameless = path("e.slotlog");
    let junk = Reply::Record {
        number: RecordNumber::FIRST,
        bytes: &[1, 0, 2, 3],
    };
    fs::write(&nameless, frame(1, junk)).unwrap();
    import(&db, &[&text, &empty, &path("none"), &cut, &nameless, &good])
        .code(5)
        .stdout(contains("2 of 6 files are in"))
        .stderr(
            contains("b.txt: not a Slotwise log")
                .and(contains("c: the file is empty"))
                .and(contains("none: cannot be read"))
                .and(contains("d.slotlog: not whole"))
                .and(contains(
                    "e.slotlog: the frame with the tester's name is missing",
                )),
        );
    assert_holds(&SqliteArchive::open(&db).unwrap(), &all);
    verify(&db).code(0);
}

#[test]
fn bytes_that_cannot_be_read_are_kept_as_they_came() {
    let folder = tempfile::tempdir().unwrap();
    let db = folder.path().join("a.db");
    let mut all = some(4);
    all[1] = of_newer_schema(&all[1]);
    all[2] = b"\0\0'; DROP TABLE record; --<script>alert(1)</script>".to_vec();
    all[3] = vec![0xFF; 900];
    let log = write_log(folder.path(), &log_frames(&all));
    import(&db, &[&log]).stdout(contains("5 new records"));
    let archive = SqliteArchive::open(&db).unwrap();
    assert_holds(&archive, &all);
    assert_eq!(archive.counts().unwrap().unread, 3);
    let unread: Vec<u32> = faults(&archive)
        .into_iter()
        .filter(|(_, kind)| matches!(kind, FaultKind::Unread(_)))
        .map(|(number, _)| number)
        .collect();
    assert_eq!(unread, [2, 3, 4]);
    let mut tests = 0;
    let count = &mut |_| {
        tests += 1;
        Ok(())
    };
    archive.each_test(&Wanted::default(), count).unwrap();
    assert_eq!(tests, 1, "only the last record is a test that reads");
}

/// A record in the log of another tester is kept, but never taken for one of this tester.
#[test]
fn a_record_of_another_tester_is_unread() {
    let folder = tempfile::tempdir().unwrap();
    let mut archive = SqliteArchive::open_or_make(&folder.path().join("a.db")).unwrap();
    let mut other = batch(kept(&some(1), 1));
    other.tester = TesterId(7);
    archive.import(&other).unwrap();
    let counts = archive.counts().unwrap();
    assert_eq!((counts.records, counts.unread, counts.tests), (2, 2, 0));
}

#[test]
fn a_backup_is_whole_while_records_come_in() {
    let folder = tempfile::tempdir().unwrap();
    let db = folder.path().join("a.db");
    let all = some(400);
    drop(SqliteArchive::open_or_make(&db).unwrap());
    let goes_on = AtomicBool::new(true);
    let one_is_made = AtomicBool::new(false);
    let backups = std::thread::scope(|scope| {
        let writer = scope.spawn(|| {
            let mut archive = SqliteArchive::open(&db).unwrap();
            let records = kept(&all, 1);
            let (first, rest) = records.split_at(200);
            for chunk in first.chunks(4) {
                archive.import(&batch(chunk.to_vec())).unwrap();
            }
            // Bounded, so that a reader that failed is told of.
            let began = Instant::now();
            while !one_is_made.load(Ordering::Acquire) && began.elapsed().as_secs() < 600 {
                std::thread::yield_now();
            }
            for chunk in rest.chunks(4) {
                archive.import(&batch(chunk.to_vec())).unwrap();
            }
            goes_on.store(false, Ordering::Release);
        });
        let archive = SqliteArchive::open(&db).unwrap();
        let mut sizes = Vec::new();
        while goes_on.load(Ordering::Acquire) {
            let copy = folder.path().join(format!("copy{}.db", sizes.len()));
            archive.backup(&copy).unwrap();
            let copy = SqliteArchive::open(&copy).unwrap();
            assert_eq!(faults(&copy), []);
            let records = copy.counts().unwrap().records;
            assert!(
                records.is_multiple_of(4) || records == all.len() as u64,
                "batches are whole or not there: {records}"
            );
            sizes.push(records);
            one_is_made.store(true, Ordering::Release);
        }
        writer.join().unwrap();
        sizes
    });
    assert!(backups.is_sorted(), "{backups:?}");
    assert!(
        backups.iter().any(|size| *size < all.len() as u64),
        "at least one was made while records came in: {backups:?}"
    );
    // A file that is there is left alone.
    let there = folder.path().join("copy0.db");
    let before = fs::read(&there).unwrap();
    slotwise()
        .args(["archive", "backup", "--archive"])
        .arg(&db)
        .arg("--out")
        .arg(&there)
        .assert()
        .code(7)
        .stderr(contains("already there"));
    assert_eq!(fs::read(&there).unwrap(), before);
    assert!(!folder.path().join("copy0.db.part").exists());
}

#[cfg(unix)]
mod pulls {
    use super::*;
    use serialport::{SerialPort as _, TTYPort};
    use slotwise_core::link::{Refusal, Request};
    use std::sync::{Arc, Mutex};
    use std::time::Duration;

    /// A tester that holds `all`, sends no more than up to record `last` of it, and notes from
    /// where it was pulled.
    fn tester(all: Vec<Vec<u8>>, last: Option<usize>, asked: Arc<Mutex<Vec<u32>>>) -> String {
        let (mut master, port) = TTYPort::pair().unwrap();
        master.set_timeout(Duration::from_millis(50)).unwrap();
        let name = port.name().unwrap();
        std::thread::spawn(move || {
            let _port = port;
            support::answer(master, move |request| {
                let sequence = request.sequence;
                let Request::Pull { from, .. } = request.request else {
                    return match request.request {
                        Request::Hello { .. } => frame(sequence, Reply::Hello(hello(&all))),
                        _ => frame(sequence, Reply::Refused(Refusal::NotUnderstood)),
                    };
                };
                asked.lock().unwrap().push(from.get());
                let mut bytes = Vec::new();
                let mut number = from;
                let there = all.iter().take(last.unwrap_or(all.len()));
                for record in there.skip(from.get() as usize - 1) {
                    let reply = Reply::Record {
                        number,
                        bytes: record,
                    };
                    bytes.extend(frame(sequence, reply));
                    number = number.next();
                }
                if last.is_none() {
                    bytes.extend(frame(sequence, Reply::PullEnd { next: number }));
                }
                bytes
            });
        });
        name
    }

    fn pull(port: &str, db: &Path) -> assert_cmd::assert::Assert {
        let mut command = slotwise();
        command.args(["pull", "--port", port, "--archive"]).arg(db);
        command.assert()
    }

    #[test]
    fn a_pull_goes_straight_in_and_a_second_one_adds_nothing() {
        let folder = tempfile::tempdir().unwrap();
        let db = folder.path().join("a.db");
        let all = some(5);
        let asked = Arc::new(Mutex::new(Vec::new()));
        let broken = tester(all.clone(), Some(3), asked.clone());
        pull(&broken, &db).code(4);
        assert_holds(&SqliteArchive::open(&db).unwrap(), &all[..3]);
        let whole = tester(all.clone(), None, asked.clone());
        asked.lock().unwrap().clear();
        pull(&whole, &db)
            .code(0)
            .stdout(contains("3 new records of tester 51070000000000ab"));
        pull(&whole, &db).code(0).stdout(contains("0 new records"));
        assert_eq!(*asked.lock().unwrap(), [4, 7], "only what is missing");
        let archive = SqliteArchive::open(&db).unwrap();
        assert_holds(&archive, &all);
        assert_eq!(faults(&archive), []);
    }
}
