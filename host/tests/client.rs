//! The client against testers that answer well, badly, late or not at all, over a line in
//! memory.

mod support;

use std::io::Write as _;
use std::thread;
use std::time::Duration;

use slotwise::client::{Client, Pulled};
use slotwise::error::{Error, LinkError};
use slotwise::transport::MemoryLine;
use slotwise_core::link::{PROTOCOL, Refusal, Reply, Request, RequestEnvelope};
use slotwise_core::record::RecordNumber;
use slotwise_core::slots::ClipTarget;
use support::{OPEN_GROUND, REVERSED, SOUND, answer, frame, hello, records};

/// A client of a tester that answers as `script` says.
fn client(script: impl FnMut(RequestEnvelope) -> Vec<u8> + Send + 'static) -> Client {
    let (near, far) = MemoryLine::pair("memory");
    thread::spawn(move || answer(far, script));
    // One that answers does so at once, but its thread may have to wait for its turn.
    Client::new(Box::new(near)).with_patience(Duration::from_secs(1))
}

/// Answers a pull with everything from there on.
fn pull_reply(records: &[Vec<u8>], sequence: u16, from: RecordNumber, limit: u16) -> Vec<Vec<u8>> {
    let mut frames = Vec::new();
    let mut next = from.max(RecordNumber::FIRST);
    for bytes in records
        .iter()
        .skip(next.get() as usize - 1)
        .take(usize::from(limit))
    {
        frames.push(frame(
            sequence,
            Reply::Record {
                number: next,
                bytes,
            },
        ));
        next = next.next();
    }
    frames.push(frame(sequence, Reply::PullEnd { next }));
    frames
}

fn pull(client: &mut Client, from: u32) -> (Vec<Pulled>, Result<(), Error>) {
    let mut pulled = Vec::new();
    let ended = client.pull(RecordNumber::new(from), |one| {
        pulled.push(one);
        Ok::<(), Error>(())
    });
    (pulled, ended)
}

fn numbers(pulled: &[Pulled]) -> Vec<u32> {
    pulled
        .iter()
        .filter_map(|one| match one {
            Pulled::Record { number, .. } => Some(number.get()),
            _ => None,
        })
        .collect()
}

#[test]
fn hello_gives_the_tester_and_the_very_frame() {
    let mut client = client(|asked| frame(asked.sequence, Reply::Hello(hello(&[]))));
    let (answered, raw) = client.hello().unwrap();
    assert_eq!(answered, hello(&[]));
    let mut reader = slotwise_core::link::FrameReader::new();
    let whole = raw
        .0
        .iter()
        .filter(|byte| reader.push(**byte).is_some())
        .count();
    assert_eq!(whole, 1);
}

#[test]
fn noise_before_the_answer_is_passed_over() {
    let mut client = client(|asked| {
        let mut bytes = vec![0x55, 0xAA, 0x00, 0x13, 0x37, 0x00];
        bytes.extend(frame(asked.sequence.wrapping_add(7), Reply::Done));
        bytes.extend(frame(asked.sequence, Reply::Hello(hello(&[]))));
        bytes
    });
    assert!(client.hello().is_ok());
}

#[test]
fn a_lost_answer_is_asked_for_again() {
    let mut asked_before = false;
    let mut client = client(move |asked| {
        if !core::mem::replace(&mut asked_before, true) {
            return Vec::new();
        }
        frame(asked.sequence, Reply::Hello(hello(&[])))
    });
    assert!(client.hello().is_ok());
}

#[test]
fn silence_garbage_and_a_lost_line_are_three_different_errors() {
    let mut silent = client(|_| Vec::new());
    let error = silent.hello().unwrap_err();
    assert!(matches!(error, LinkError::Silent { .. }), "{error}");

    let mut garbage = client(|_| b"OK\r\nready> ".to_vec());
    let error = garbage.hello().unwrap_err();
    assert!(matches!(error, LinkError::Garbage { .. }), "{error}");

    let (near, far) = MemoryLine::pair("memory");
    drop(far);
    let mut lost = Client::new(Box::new(near));
    let error = lost.hello().unwrap_err();
    assert!(matches!(error, LinkError::Broken { .. }), "{error}");
}

#[test]
fn another_protocol_is_named_by_either_side() {
    let mut refusing = client(|asked| {
        let refusal = Refusal::Protocol {
            spoken: PROTOCOL + 3,
        };
        frame(asked.sequence, Reply::Refused(refusal))
    });
    let error = refusing.hello().unwrap_err();
    assert!(error.to_string().contains("update Slotwise"), "{error}");

    let mut other = client(|asked| {
        let mut other = hello(&[]);
        other.protocol = PROTOCOL - 1;
        frame(asked.sequence, Reply::Hello(other))
    });
    let error = other.hello().unwrap_err();
    assert!(error.to_string().contains("update the tester"), "{error}");
}

#[test]
fn a_refusal_is_not_a_fault_of_the_line() {
    let mut busy = client(|asked| frame(asked.sequence, Reply::Refused(Refusal::Busy)));
    let error = busy.start_test(ClipTarget::NotConnected).unwrap_err();
    assert!(matches!(error, LinkError::Refused { .. }), "{error}");
    let mut wrong = client(|asked| frame(asked.sequence, Reply::Done));
    let error = wrong.status().unwrap_err();
    assert!(matches!(error, LinkError::Unexpected { .. }), "{error}");
}

#[test]
fn a_pull_goes_over_several_requests_and_gives_every_record_once() {
    let all = records(&[SOUND; 150]);
    let there = all.clone();
    let mut client = client(move |asked| match asked.request {
        Request::Pull { from, limit } => pull_reply(&there, asked.sequence, from, limit).concat(),
        _ => Vec::new(),
    });
    let (pulled, ended) = pull(&mut client, 1);
    ended.unwrap();
    assert_eq!(numbers(&pulled), (1..=151).collect::<Vec<u32>>());
    let Some(Pulled::End { next, .. }) = pulled.last() else {
        panic!("no end");
    };
    assert_eq!(next.get(), 152);
}

#[test]
fn a_pull_goes_on_at_the_record_that_came_broken() {
    let there = records(&[SOUND, REVERSED, OPEN_GROUND, SOUND]);
    let mut broken = false;
    let mut client = client(move |asked| match asked.request {
        Request::Pull { from, limit } => {
            let mut frames = pull_reply(&there, asked.sequence, from, limit);
            if !core::mem::replace(&mut broken, true) {
                // The third frame loses a byte on the way, the others follow.
                let middle = frames[2].len() / 2;
                frames[2].remove(middle);
            }
            frames.concat()
        }
        _ => Vec::new(),
    });
    let (pulled, ended) = pull(&mut client, 1);
    ended.unwrap();
    assert_eq!(numbers(&pulled), [1, 2, 3, 4, 5]);
    assert!(pulled.contains(&Pulled::Again(RecordNumber::new(3))));
}

#[test]
fn a_record_that_vanishes_without_a_trace_is_noticed() {
    let there = records(&[SOUND, REVERSED, OPEN_GROUND]);
    let mut dropped = false;
    let mut client = client(move |asked| match asked.request {
        Request::Pull { from, limit } => {
            let mut frames = pull_reply(&there, asked.sequence, from, limit);
            if !core::mem::replace(&mut dropped, true) {
                frames.remove(1);
            }
            frames.concat()
        }
        _ => Vec::new(),
    });
    let (pulled, ended) = pull(&mut client, 1);
    ended.unwrap();
    assert_eq!(numbers(&pulled), [1, 2, 3, 4]);
}

#[test]
fn a_record_that_the_tester_itself_has_lost_does_not_stop_the_pull() {
    let there = records(&[SOUND, REVERSED, OPEN_GROUND]);
    let mut client = client(move |asked| match asked.request {
        Request::Pull { from, limit } => {
            let mut frames = pull_reply(&there, asked.sequence, from, limit);
            if from.get() <= 2 {
                frames.remove(2 - from.get() as usize);
            }
            frames.concat()
        }
        _ => Vec::new(),
    });
    let (pulled, ended) = pull(&mut client, 1);
    ended.unwrap();
    assert_eq!(numbers(&pulled), [1, 3, 4]);
}

#[test]
fn an_unreadable_record_of_the_journal_is_passed_over_and_said() {
    let there = records(&[SOUND, REVERSED, OPEN_GROUND]);
    let mut client = client(move |asked| match asked.request {
        Request::Hello { .. } => frame(asked.sequence, Reply::Hello(hello(&there))),
        Request::Pull { from, limit } if from.get() <= 2 => {
            let mut frames = pull_reply(&there, asked.sequence, from, limit);
            frames.truncate(2 - from.get() as usize);
            let number = RecordNumber::new(2);
            let refusal = Refusal::JournalUnreadable { number };
            frames.push(frame(asked.sequence, Reply::Refused(refusal)));
            frames.concat()
        }
        Request::Pull { from, limit } => pull_reply(&there, asked.sequence, from, limit).concat(),
        _ => Vec::new(),
    });
    client.hello().unwrap();
    let (pulled, ended) = pull(&mut client, 1);
    ended.unwrap();
    assert_eq!(numbers(&pulled), [1, 3, 4]);
    assert!(pulled.contains(&Pulled::Unreadable(RecordNumber::new(2))));
}

#[test]
fn a_journal_that_cannot_be_read_at_all_ends_the_pull() {
    let there = records(&[SOUND]);
    let mut client = client(move |asked| match asked.request {
        Request::Pull { from, .. } => {
            let refusal = Refusal::JournalUnreadable { number: from };
            frame(asked.sequence, Reply::Refused(refusal))
        }
        _ => frame(asked.sequence, Reply::Hello(hello(&there))),
    });
    client.hello().unwrap();
    let (pulled, ended) = pull(&mut client, 1);
    assert_eq!(pulled.len(), 2, "{pulled:?}");
    let error = ended.unwrap_err().to_string();
    assert!(error.contains("cannot be read at record 3"), "{error}");
}

#[test]
fn a_pull_that_never_gets_on_says_where_to_begin_again() {
    let there = records(&[SOUND, REVERSED]);
    let mut client = client(move |asked| match asked.request {
        Request::Pull { from, limit } => {
            let mut frames = pull_reply(&there, asked.sequence, from, limit);
            // Nothing after record 2 ever arrives.
            frames.truncate(3_usize.saturating_sub(from.get() as usize));
            frames.concat()
        }
        _ => Vec::new(),
    });
    let (pulled, ended) = pull(&mut client, 1);
    assert_eq!(numbers(&pulled), [1, 2]);
    let error = ended.unwrap_err().to_string();
    assert!(error.contains("--from 3"), "{error}");
}

#[test]
fn the_tester_may_begin_later_than_asked() {
    let there = records(&[SOUND, REVERSED, OPEN_GROUND]);
    let mut client = client(move |asked| match asked.request {
        Request::Hello { .. } => {
            let mut hello = hello(&there);
            hello.records = Some((RecordNumber::new(3), RecordNumber::new(4)));
            frame(asked.sequence, Reply::Hello(hello))
        }
        Request::Pull { from, limit } => {
            let from = from.max(RecordNumber::new(3));
            pull_reply(&there, asked.sequence, from, limit).concat()
        }
        _ => Vec::new(),
    });
    client.hello().unwrap();
    let (pulled, ended) = pull(&mut client, 1);
    ended.unwrap();
    assert_eq!(numbers(&pulled), [3, 4]);
    assert!(!pulled.iter().any(|one| matches!(one, Pulled::Again(_))));
}

#[test]
fn a_pull_stops_when_what_it_brings_cannot_be_kept() {
    let there = records(&[SOUND]);
    let mut client = client(move |asked| match asked.request {
        Request::Pull { from, limit } => pull_reply(&there, asked.sequence, from, limit).concat(),
        _ => Vec::new(),
    });
    let ended = client.pull(RecordNumber::FIRST, |_| {
        Err(Error::Bench("full".to_owned()))
    });
    assert!(matches!(ended, Err(Error::Bench(_))));
}

#[test]
fn the_line_may_deliver_byte_by_byte() {
    let (near, mut far) = MemoryLine::pair("memory");
    let bytes = frame(1, Reply::Done);
    thread::spawn(move || {
        for byte in bytes {
            far.write_all(&[byte]).unwrap();
        }
    });
    // The sequence number will not fit, so the client must time out, not hang or panic.
    let mut client = Client::new(Box::new(near)).with_patience(Duration::from_millis(20));
    assert!(client.status().is_err());
}
