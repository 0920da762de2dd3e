//! Telling a tester what is kept, and freeing its room: only what was pulled, checked and written
//! down, in two steps, and nothing when anything is amiss. On the virtual board, by the program and
//! by its client.
#![cfg(unix)]

mod support;

use std::path::Path;
use std::time::{Duration, Instant};

use predicates::prelude::PredicateBooleanExt as _;
use predicates::str::contains;
use rusqlite::Connection;
use slotwise::archive::{Archive as _, SqliteArchive};
use slotwise::bench::{LineWish, Pace, VirtualTester};
use slotwise::client::{Client, NotVerified, Verified, verify};
use slotwise::error::LinkError;
use slotwise::log_file::{self, LogFile};
use slotwise::port;
use slotwise_core::link::{JournalRefusal, JournalReport, JournalState};
use slotwise_core::record::{Digest, RecordNumber, decode};
use slotwise_core::slots::ClipTarget;
use slotwise_virtual::house::find;
use support::{OPEN_GROUND, SOUND, TESTER, log_frames, of_newer_schema, pulled, records, slotwise};

/// Records of [`tester`]: its start, and two tests.
const RECORDS: u32 = 3;

/// A tester on a pseudo-terminal with so many records, at rest.
fn tester() -> VirtualTester {
    let receptacle = &find("reversed-polarity").expect("in the bank").receptacle;
    let tester = VirtualTester::start(receptacle, Pace(1000), LineWish::Best).expect("starts");
    let mut client = client(&tester);
    let deadline = Instant::now() + Duration::from_secs(600);
    let mut asked = false;
    loop {
        let status = client.status().expect("answers");
        let newest = status.newest.map_or(0, RecordNumber::get);
        if !status.testing && newest == 2 && !asked {
            client.start_test(ClipTarget::NotConnected).expect("starts");
            asked = true;
        }
        if !status.testing && newest == RECORDS {
            return tester;
        }
        assert!(Instant::now() < deadline, "{status:?}");
        std::thread::sleep(Duration::from_millis(5));
    }
}

fn client(tester: &VirtualTester) -> Client {
    let name = tester.port().expect("a pseudo-terminal");
    let mut client = Client::new(Box::new(port::open(name).expect("it opens")));
    client.hello().expect("answers");
    client
}

fn report(tester: &VirtualTester) -> JournalReport {
    client(tester).journal().expect("answers")
}

fn refusal<T: std::fmt::Debug>(outcome: Result<T, LinkError>) -> JournalRefusal {
    match outcome {
        Err(LinkError::Journal { reason, .. }) => reason,
        other => panic!("{other:?}"),
    }
}

#[test]
fn freeing_takes_the_right_digest_and_the_offer_s_own_token() {
    let tester = tester();
    let mut client = client(&tester);
    let log = pulled(&mut client);
    let before = client.journal().expect("answers");
    assert_eq!((before.confirmed, before.freed), (None, None));
    assert_eq!(refusal(client.offer_free()), JournalRefusal::NothingToFree);

    let verified = verify(&log, &before).expect("it is whole");
    assert_eq!(verified.upto.get(), RECORDS);
    let other = Verified {
        digest: Digest([7; 32]),
        ..verified
    };
    assert_eq!(refusal(client.confirm(other)), JournalRefusal::NotTheSame);
    assert_eq!(refusal(client.offer_free()), JournalRefusal::NothingToFree);
    let told = client.confirm(verified).expect("it remembers");
    assert_eq!((told.confirmed, told.freed), (Some(verified.upto), None));
    // Confirming frees nothing.
    assert_eq!(pulled(&mut client).records, log.records);

    let (upto, token) = client.offer_free().expect("an offer");
    assert_eq!(upto, verified.upto);
    // A wrong answer ends the offer; the right one is too late then.
    assert_eq!(refusal(client.free(upto, token ^ 1)), JournalRefusal::Token);
    assert_eq!(refusal(client.free(upto, token)), JournalRefusal::Token);
    // Less than was offered is another answer.
    let (upto, token) = client.offer_free().expect("an offer");
    let less = RecordNumber::new(upto.get() - 1);
    assert_eq!(refusal(client.free(less, token)), JournalRefusal::Token);
    assert_eq!(client.journal().expect("answers").freed, None);
    assert_eq!(pulled(&mut client).records, log.records);

    let (upto, token) = client.offer_free().expect("an offer");
    let freed = client.free(upto, token).expect("it frees");
    assert_eq!(freed.freed, Some(upto));
    assert_eq!(pulled(&mut client).records, []);
    // Asked again because its answer was lost: done is done.
    assert_eq!(
        client.free(upto, token).expect("it was done").freed,
        Some(upto)
    );
    assert_eq!(refusal(client.offer_free()), JournalRefusal::NothingToFree);
    tester.stop().expect("it ran");
}

/// What stands in a tester's journal of `kept` records of which it was told `confirmed`.
fn stands(kept: u32, confirmed: u32) -> JournalReport {
    let number = |number: u32| (number > 0).then(|| RecordNumber::new(number));
    JournalReport {
        state: JournalState::Writable,
        kept: Some((RecordNumber::FIRST, RecordNumber::new(kept))),
        confirmed: number(confirmed),
        freed: None,
        sectors: (1, 2044),
        passed_over: 0,
    }
}

fn log_of(frames: &[Vec<u8>]) -> LogFile {
    log_file::read_from(&*frames.concat(), Path::new("memory")).expect("a log")
}

#[test]
fn only_a_whole_chain_from_what_is_owed_on_is_verified() {
    let all = records(&[SOUND, OPEN_GROUND, SOUND]);
    let frames = log_frames(&all);
    let whole = log_of(&frames);
    let upto = verify(&whole, &stands(4, 0)).expect("whole").upto;
    assert_eq!(upto.get(), 4);

    let nothing = log_of(&[frames[0].clone(), frames[5].clone()]);
    assert_eq!(verify(&nothing, &stands(4, 0)), Err(NotVerified::Empty));

    // One bit of a frame, or no closing frame.
    let mut bent = frames.clone();
    bent[2][9] ^= 1;
    assert_eq!(
        verify(&log_of(&bent), &stands(4, 0)),
        Err(NotVerified::Damaged(1))
    );
    assert_eq!(
        verify(&log_of(&frames[..5]), &stands(4, 0)),
        Err(NotVerified::Damaged(1))
    );

    // It begins at record 3: fit for a tester that was told of 2, not of 1.
    let mut late = frames.clone();
    late.drain(1..3);
    let late = log_of(&late);
    assert_eq!(verify(&late, &stands(4, 2)).expect("whole").upto.get(), 4);
    assert_eq!(
        verify(&late, &stands(4, 1)),
        Err(NotVerified::BeginsLate { first: 3, owed: 2 })
    );

    // A record is missing in the middle.
    let mut gap = frames.clone();
    gap.remove(3);
    assert_eq!(
        verify(&log_of(&gap), &stands(4, 0)),
        Err(NotVerified::Chain(4))
    );

    // A record was made anew with another content, in whole frames: the next one says so.
    let mut changed = all.clone();
    let mut record = decode(&all[1]).expect("it decodes");
    record.boot += 1;
    changed[1] = support::bytes_of(&record);
    assert_eq!(
        verify(&log_of(&log_frames(&changed)), &stands(4, 0)),
        Err(NotVerified::Chain(3))
    );

    // A newer record cannot be checked.
    let mut newer = all;
    newer[3] = of_newer_schema(&newer[3]);
    assert_eq!(
        verify(&log_of(&log_frames(&newer)), &stands(4, 0)),
        Err(NotVerified::Chain(4))
    );
}

fn pull(tester: &VirtualTester) -> assert_cmd::Command {
    let mut command = slotwise();
    command.args(["pull", "--quiet", "--port"]);
    command.arg(tester.port().expect("a pseudo-terminal"));
    command
}

#[test]
fn a_pull_into_a_file_confirms_and_frees_only_when_asked() {
    let folder = tempfile::tempdir().unwrap();
    let file = |name: &str| folder.path().join(name);
    let tester = tester();
    pull(&tester)
        .arg("--out")
        .arg(file("a.slotlog"))
        .assert()
        .code(0);
    let told = report(&tester);
    assert_eq!(
        (told.confirmed, told.freed),
        (Some(RecordNumber::new(RECORDS)), None)
    );
    pull(&tester)
        .args(["--free", "--out"])
        .arg(file("b.slotlog"))
        .assert()
        .code(0)
        .stdout(contains("3 records").and(contains("records up to 3 again")));
    let freed = report(&tester);
    assert_eq!(freed.freed, Some(RecordNumber::new(RECORDS)));
    let log = log_file::read(&file("b.slotlog")).expect("it reads");
    assert_eq!(log.records.len(), 3);
    // Freed is gone from the tester; the next pull says so and brings nothing.
    pull(&tester)
        .arg("--out")
        .arg(file("c.slotlog"))
        .assert()
        .code(0)
        .stdout(contains("0 records"));
    tester.stop().expect("it ran");
}

#[test]
fn a_pull_into_the_archive_frees_when_asked_what_the_archive_holds() {
    let folder = tempfile::tempdir().unwrap();
    let db = folder.path().join("office.db");
    let tester = tester();
    pull(&tester)
        .args(["--free", "--archive"])
        .arg(&db)
        .assert()
        .code(0)
        .stdout(contains("3 new records").and(contains("records up to 3 again")));
    let freed = report(&tester);
    assert_eq!(freed.freed, Some(RecordNumber::new(RECORDS)));
    let counts = SqliteArchive::open(&db).unwrap().counts().unwrap();
    assert_eq!(counts.records, u64::from(RECORDS));
    slotwise()
        .args(["archive", "verify", "--archive"])
        .arg(&db)
        .assert()
        .code(0);
    // Nothing new, nothing to free, no failure.
    pull(&tester)
        .args(["--free", "--archive"])
        .arg(&db)
        .assert()
        .code(0)
        .stdout(contains("0 new records"));
    tester.stop().expect("it ran");
}

#[test]
fn what_the_archive_did_not_take_is_not_freed() {
    let folder = tempfile::tempdir().unwrap();
    let db = folder.path().join("office.db");
    let tester = tester();
    drop(SqliteArchive::open_or_make(&db).unwrap());
    // As on a full disk: the transaction of the third record fails.
    Connection::open(&db)
        .unwrap()
        .execute_batch(
            "CREATE TRIGGER no_room BEFORE INSERT ON record WHEN new.number = 3 \
             BEGIN SELECT RAISE(ABORT, 'no room'); END",
        )
        .unwrap();
    let failed = pull(&tester)
        .args(["--free", "--archive"])
        .arg(&db)
        .assert()
        .failure();
    failed.stdout(contains("again").not());
    let untouched = report(&tester);
    assert_eq!((untouched.confirmed, untouched.freed), (None, None));
    let counts = SqliteArchive::open(&db).unwrap().counts().unwrap();
    assert_eq!(counts.records, 0, "a batch comes in whole or not at all");

    Connection::open(&db)
        .unwrap()
        .execute_batch("DROP TRIGGER no_room")
        .unwrap();
    pull(&tester)
        .args(["--free", "--archive"])
        .arg(&db)
        .assert()
        .code(0);
    assert_eq!(report(&tester).freed, Some(RecordNumber::new(RECORDS)));
    tester.stop().expect("it ran");
}

#[test]
fn a_record_that_contradicts_the_archive_keeps_the_tester_full() {
    let folder = tempfile::tempdir().unwrap();
    let db = folder.path().join("office.db");
    let tester = tester();
    pull(&tester).arg("--archive").arg(&db).assert().code(0);
    let told = report(&tester);
    assert_eq!(
        (told.confirmed, told.freed),
        (Some(RecordNumber::new(RECORDS)), None)
    );
    // Somebody changes the kept copy of record 2.
    Connection::open(&db)
        .unwrap()
        .execute_batch("UPDATE record SET bytes = zeroblob(9) WHERE number = 2")
        .unwrap();
    pull(&tester)
        .args(["--free", "--from", "1", "--archive"])
        .arg(&db)
        .assert()
        .failure()
        .stderr(contains("nothing was freed"));
    assert_eq!(report(&tester).freed, None);
    tester.stop().expect("it ran");
}

#[test]
fn an_archive_that_lacks_what_is_owed_frees_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let db = folder.path().join("office.db");
    let tester = tester();
    pull(&tester)
        .args(["--free", "--from", "3", "--archive"])
        .arg(&db)
        .assert()
        .stderr(contains("nothing was freed"));
    let untouched = report(&tester);
    assert_eq!((untouched.confirmed, untouched.freed), (None, None));
    assert_ne!(client(&tester).hello().expect("answers").0.tester, TESTER);
    tester.stop().expect("it ran");
}
