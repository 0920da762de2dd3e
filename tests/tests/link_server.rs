//! The link server against bad lines and bad hosts: garbage, floods, cut frames, a reader that
//! does not read, a port that closes in the middle of a pull.

use slotwise_core::finding::FindingCode;
use slotwise_core::lamps::{Lamp, Rhythm};
use slotwise_core::link::{
    FrameReader, JournalReply, Look, MAX_FRAME, Phase, Reply, ReplyEnvelope, Request,
    RequestEnvelope, decode, encode,
};
use slotwise_core::record::RecordNumber;
use slotwise_core::slots::ClipTarget;
use slotwise_virtual::board::{VirtualBoard, demo_identity, workshop_flash};
use slotwise_virtual::front_end::{FrontEnd, PhasorSource};
use slotwise_virtual::house::find;
use slotwise_virtual::serial::{FarEnd, line};
use slotwise_virtual::tester::{Specimen, Tolerance};

fn board() -> (VirtualBoard, FarEnd) {
    let specimen = Specimen::draw(31, &Tolerance::USUAL);
    let receptacle = &find("sound").expect("in the bank").receptacle;
    let source = PhasorSource::plugged(&specimen, receptacle).expect("it is solved");
    let contents = workshop_flash(&specimen).expect("the workshop calibrates it");
    let front_end = FrontEnd::new(specimen, Box::new(source));
    let (near, far) = line();
    let mut board = VirtualBoard::start(front_end, contents, near, demo_identity(None))
        .expect("the board starts");
    board.run_for(11_500);
    far.set_open(true);
    board.run_for(2);
    (board, far)
}

fn frame(sequence: u16, request: Request) -> Vec<u8> {
    let mut frame = [0; MAX_FRAME];
    let length = encode(&RequestEnvelope { sequence, request }, &mut frame).expect("it fits");
    frame[..length].to_vec()
}

/// Whole replies in `bytes`: sequence number and kind.
fn replies(bytes: &[u8]) -> Vec<(u16, &'static str)> {
    let mut reader = FrameReader::new();
    let mut found = Vec::new();
    for &byte in bytes {
        if let Some(message) = reader.push(byte) {
            let message = message.expect("the tester sends whole frames");
            let reply: ReplyEnvelope = decode(message).expect("replies are understood");
            let kind = match reply.reply {
                Reply::Hello(_) => "hello",
                Reply::Status(_) => "status",
                Reply::Record { .. } => "record",
                Reply::PullEnd { .. } => "end",
                Reply::Done => "done",
                Reply::Refused(_) => "refused",
                Reply::Look(_) => "look",
                Reply::Workshop(_) => "workshop",
                Reply::Journal(JournalReply::Refused(_)) => "journal refused",
                Reply::Journal(_) => "journal",
                Reply::Firmware(_) => "firmware",
            };
            found.push((reply.sequence, kind));
        }
    }
    found
}

#[test]
fn garbage_between_requests_costs_no_request() {
    let (mut board, far) = board();
    far.write(&[0x55; 70]);
    far.write(&[0]);
    far.write(&frame(1, Request::Status));
    far.write(b"\r\nAT\r\n\0");
    far.write(&frame(2, Request::Status));
    board.run_for(20);
    assert_eq!(replies(&far.read()), [(1, "status"), (2, "status")]);
}

#[test]
fn many_requests_at_once_are_all_answered_in_order() {
    let (mut board, far) = board();
    let all: Vec<u8> = (1..=40).flat_map(|n| frame(n, Request::Status)).collect();
    assert_eq!(far.write(&all), all.len());
    board.run_for(100);
    let expected: Vec<_> = (1..=40).map(|n| (n, "status")).collect();
    assert_eq!(replies(&far.read()), expected);
}

#[test]
fn a_request_that_comes_byte_by_byte_is_answered() {
    let (mut board, far) = board();
    for byte in frame(9, Request::Status) {
        far.write(&[byte]);
        board.run_for(3);
    }
    board.run_for(5);
    assert_eq!(replies(&far.read()), [(9, "status")]);
}

#[test]
fn a_flood_does_not_hold_up_measuring() {
    let (mut board, far) = board();
    let before = board.tester().verdict().map(|verdict| verdict.outcome);
    for _ in 0..200 {
        far.write(&[0xA7; 4096]);
        board.run_for(5);
    }
    far.write(&[0]);
    board.run_for(50);
    let _ = far.read();
    far.write(&frame(3, Request::Status));
    board.run_for(20);
    assert_eq!(replies(&far.read()), [(3, "status")]);
    assert_eq!(
        board.tester().verdict().map(|verdict| verdict.outcome),
        before
    );
}

#[test]
fn a_reader_that_stops_reading_gets_the_rest_when_it_goes_on() {
    let (mut board, far) = board();
    for _ in 0..12 {
        board
            .tester()
            .start_test(slotwise_core::slots::ClipTarget::NotConnected);
        board.run_for(14_000);
    }
    far.write(&frame(
        4,
        Request::Pull {
            from: RecordNumber::FIRST,
            limit: u16::MAX,
        },
    ));
    // The line holds 4096 bytes, the records are more: the tester must wait.
    board.run_for(500);
    let mut bytes = far.read();
    assert!(bytes.len() <= 4096);
    for _ in 0..50 {
        board.run_for(5);
        bytes.extend(far.read());
    }
    let replies = replies(&bytes);
    assert_eq!(replies.len(), 14, "start, 12 tests, end: {replies:?}");
    assert_eq!(replies.last(), Some(&(4, "end")));
}

#[test]
fn a_port_that_closes_in_a_pull_starts_clean_when_it_opens_again() {
    let (mut board, far) = board();
    let pull = Request::Pull {
        from: RecordNumber::FIRST,
        limit: u16::MAX,
    };
    far.write(&frame(5, pull));
    far.write(&frame(6, Request::Status)[..4]);
    board.step();
    far.set_open(false);
    board.run_for(20);
    far.set_open(true);
    board.run_for(20);
    assert_eq!(far.read(), [], "nothing of the old session");
    far.write(&frame(7, Request::Status));
    board.run_for(20);
    assert_eq!(replies(&far.read()), [(7, "status")]);
}

#[test]
fn a_pull_beyond_the_newest_record_ends_at_once() {
    let (mut board, far) = board();
    for (sequence, from, limit) in [(1, 1000, 5), (2, 1, 0), (3, u32::MAX, 9)] {
        let from = RecordNumber::new(from);
        far.write(&frame(sequence, Request::Pull { from, limit }));
        board.run_for(20);
        assert_eq!(replies(&far.read()), [(sequence, "end")]);
    }
}

#[test]
fn a_new_request_ends_a_pull_that_is_still_running() {
    let (mut board, far) = board();
    let from = RecordNumber::FIRST;
    far.write(&frame(1, Request::Pull { from, limit: 9 }));
    far.write(&frame(2, Request::Status));
    board.run_for(20);
    let replies = replies(&far.read());
    assert_eq!(replies.last(), Some(&(2, "status")));
    assert!(!replies.contains(&(1, "end")), "{replies:?}");
}

#[test]
fn a_frame_that_holds_no_request_is_refused() {
    let (mut board, far) = board();
    let mut out = [0; MAX_FRAME];
    let length = encode(&(8_u16, 250_u8, "no request"), &mut out).expect("it fits");
    far.write(&out[..length]);
    board.run_for(20);
    assert_eq!(replies(&far.read()), [(0, "refused")]);
}

/// The look that the tester gives now.
fn look(board: &mut VirtualBoard, far: &FarEnd) -> Look {
    far.write(&frame(1, Request::Look));
    board.run_for(5);
    let bytes = far.read();
    let mut reader = FrameReader::new();
    for &byte in &bytes {
        if let Some(message) = reader.push(byte) {
            let reply: ReplyEnvelope = decode(message.expect("whole")).expect("understood");
            if let Reply::Look(look) = reply.reply {
                return look;
            }
        }
    }
    panic!("no look in {bytes:?}");
}

#[test]
fn a_look_tells_what_the_lamps_show_and_what_was_measured_last() {
    let (mut board, far) = board();
    let first = look(&mut board, &far);
    let answer = first.answer.expect("the test is over");
    assert_eq!(
        answer.finding.map(|finding| finding.code),
        Some(FindingCode::ReadsSound)
    );
    assert_eq!(first.panel.rhythm(Lamp::LiveMetal), Rhythm::Off);
    assert_ne!(first.panel.rhythm(Lamp::WiredRight), Rhythm::Off);
    let slots = first.slots.expect("there is voltage");
    assert!((slots.narrow_wide.value.get() - 120.0).abs() < 3.0);
    assert!(slots.narrow_wide.u.get() > 0.0 && slots.narrow_wide.u.get() < 0.5);
    assert!(first.windows > 0 && first.watch.is_none());
    board.run_for(1000);
    let later = look(&mut board, &far);
    assert!(later.windows > first.windows);
    assert!(later.now > first.now);
}

#[test]
fn a_watch_is_refused_while_a_test_runs_begun_after_it_and_ended_once() {
    let (mut board, far) = board();
    let clip = ClipTarget::ApplianceFrame;
    let ask = |board: &mut VirtualBoard, request| {
        far.write(&frame(7, request));
        board.run_for(5);
        match replies(&far.read()).as_slice() {
            [(7, kind)] => *kind,
            other => panic!("{other:?}"),
        }
    };
    assert_eq!(ask(&mut board, Request::StopWatch), "refused");
    assert_eq!(ask(&mut board, Request::StartTest { clip }), "done");
    assert_eq!(ask(&mut board, Request::StartWatch { clip }), "refused");
    // The whole test, its currents included.
    let mut waited = 0;
    while ask(&mut board, Request::StartWatch { clip }) == "refused" {
        board.run_for(1000);
        waited += 1;
        assert!(waited < 60, "{:?}", look(&mut board, &far));
    }
    board.run_for(3000);
    let seen = look(&mut board, &far);
    assert_eq!(seen.phase, Phase::LoadCycle);
    assert_eq!(seen.clip_target, clip);
    let watch = seen.watch.expect("it runs");
    assert!((2..=3).contains(&watch.seconds), "{watch:?}");
    assert_eq!(ask(&mut board, Request::StopWatch), "done");
    assert_eq!(look(&mut board, &far).watch, None);
    assert_eq!(ask(&mut board, Request::StopWatch), "refused");
}
