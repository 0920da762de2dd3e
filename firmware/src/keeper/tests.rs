//! Full, verified, freed, and on: the chain from the first record to the last, over the ring.

use slotwise_core::record::{BootCause, TesterId, Version, decode};
use slotwise_core::start::{FileName, Stop, Stopped};

use super::*;
use crate::strict_nor::StrictNor;

type Nor = StrictNor<4096>;

const IDENTITY: Identity = Identity {
    tester: TesterId(7),
    firmware: Version {
        major: 0,
        minor: 1,
        patch: 0,
    },
    start: Start {
        cause: BootCause::PowerOn,
        build: None,
        stopped: None,
    },
    clock: None,
};

fn start(flash: Nor) -> Keeper<Nor> {
    Keeper::open(Some(flash), IDENTITY)
}

fn fill(keeper: &mut Keeper<Nor>) {
    let body = || Body::Boot(BootCause::PowerOn);
    while keeper.keep(Millis::new(5), body()) {}
}

/// The bytes of every record that is not freed.
fn pull(keeper: &mut Keeper<Nor>) -> Vec<Vec<u8>> {
    let journal = keeper.journal.as_mut().expect("it is there");
    let mut buffer = [0; MAX_BYTES];
    let mut all = Vec::new();
    let mut from = 1;
    while let Some((number, length)) = journal.read_from(from, &mut buffer).expect("it reads") {
        all.push(buffer[..length].to_vec());
        from = number + 1;
    }
    all
}

fn number_of(bytes: &[u8]) -> RecordNumber {
    decode(bytes).expect("it decodes").number
}

#[test]
fn a_full_journal_goes_on_only_when_verified_and_freed_and_the_chain_holds() {
    let mut keeper = start(Nor::blank(7));
    let mut every: Vec<Vec<u8>> = Vec::new();
    for round in 0..4 {
        fill(&mut keeper);
        assert_eq!(keeper.report().state, JournalState::Full);
        let held = pull(&mut keeper);
        let last = held.last().expect("it is full").clone();
        let upto = number_of(&last);
        for bytes in &held {
            if every
                .last()
                .is_none_or(|before| number_of(before) < number_of(bytes))
            {
                every.push(bytes.clone());
            }
        }

        // Another digest, another number: not the same.
        let wrong = digest(&held[0]);
        assert_eq!(
            keeper.confirm(upto, &wrong),
            Err(JournalRefusal::NotTheSame)
        );
        let beyond = keeper.confirm(upto.next(), &digest(&last));
        assert_eq!(beyond, Err(JournalRefusal::NotTheSame));
        assert_eq!(keeper.free(upto), Err(JournalRefusal::NotStored));
        assert!(!keeper.keep(Millis::new(5), Body::Boot(BootCause::PowerOn)));

        // Verified alone: still full.
        assert_eq!(keeper.confirm(upto, &digest(&last)), Ok(()));
        assert!(!keeper.keep(Millis::new(5), Body::Boot(BootCause::PowerOn)));
        keeper = start(keeper.journal.take().expect("it is there").close());
        assert_eq!(keeper.report().confirmed, Some(upto), "round {round}");

        // The start itself leaves no record here: full until it is freed.
        assert_eq!(keeper.free(upto), Ok(()));
        assert_eq!(keeper.report().freed, Some(upto));
        assert_eq!(keeper.report().kept, None);
    }
    assert!(every.len() > 300, "{}", every.len());
    let mut before = Digest::default();
    for (bytes, number) in every.iter().zip(1..) {
        let record = decode(bytes).expect("it decodes");
        assert_eq!(record.number.get(), number);
        assert_eq!(record.previous, before, "record {number}");
        before = digest(bytes);
    }
}

#[test]
fn without_a_chip_everything_is_refused() {
    let mut keeper: Keeper<Nor> = Keeper::open(None, IDENTITY);
    let number = RecordNumber::FIRST;
    let refused = keeper.confirm(number, &Digest::default());
    assert_eq!(refused, Err(JournalRefusal::Failed));
    assert_eq!(keeper.free(number), Err(JournalRefusal::Failed));
    assert_eq!(keeper.report().state, JournalState::Failed);
}

/// A start that stops right after its record was written, before memory forgot the stop before:
/// the next start finds it again and does not tell it again. The same stop later is another one.
#[test]
fn how_the_run_before_ended_is_told_once() {
    let after = Identity {
        start: Start {
            cause: BootCause::Panic,
            stopped: Some(Stopped {
                boot: 3,
                at: Millis::new(812),
                how: Stop::Panic {
                    file: FileName::new("firmware/src/some.rs"),
                    line: 7,
                },
            }),
            ..IDENTITY.start
        },
        ..IDENTITY
    };
    let mut keeper = Keeper::open(Some(Nor::blank(7)), after);
    let start = keeper.start_to_tell();
    assert_eq!(start, after.start);
    assert!(keeper.keep(Millis::default(), Body::Start(start)));
    let flash = keeper.journal.take().expect("it is there").close();

    let mut keeper = Keeper::open(Some(flash), after);
    let again = keeper.start_to_tell();
    assert_eq!(again.stopped, None);
    assert_eq!(again.cause, BootCause::Panic);
    assert!(keeper.keep(Millis::default(), Body::Start(again)));
    let flash = keeper.journal.take().expect("it is there").close();

    let keeper = Keeper::open(Some(flash), after);
    assert_eq!(keeper.start_to_tell(), after.start);
}
