//! Frames in, frames out: none lost untold, none out of order.

use super::*;

type Delivered = (Result<Frame, FrameFault>, Applied);

fn ends() -> (Packer, Unpacker) {
    Box::leak(Box::new(Blocks::new())).split()
}

fn good(number: usize) -> Frame {
    Frame {
        codes: core::array::from_fn(|lead| AdcCode::saturating((number * 4 + lead) as i32 - 1000)),
    }
}

fn marked(frame: u32) -> Applied {
    Applied::Probe {
        frame,
        closed: true,
    }
}

/// As the interrupt does it.
fn push(packer: &mut Packer, (frame, applied): Delivered) {
    if applied != Applied::Nothing || !frame.is_ok_and(|frame| packer.takes_quiet(&frame)) {
        packer.push(&frame, applied);
    }
}

/// Everything that waits, and the length of the whole quiet blocks among it.
fn take(unpacker: &mut Unpacker) -> (Vec<Delivered>, usize) {
    let (mut all, mut quiet) = (Vec::new(), 0);
    while unpacker.next(|block| {
        quiet += block.quiet().map_or(0, |_| BATCH);
        all.extend(block.frames());
    }) {}
    (all, quiet)
}

#[test]
fn whatever_comes_arrives_in_order() {
    let (mut packer, mut unpacker) = ends();
    let mut sent = Vec::new();
    let mut state = 1_u32;
    for number in 0..400 {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        let what = match state >> 28 {
            0 => (Err(FrameFault::Checksum), Applied::Nothing),
            1 => (Err(FrameFault::Lost(3)), marked(number)),
            2..6 => (Ok(good(number as usize)), marked(number)),
            _ => (Ok(good(number as usize)), Applied::Nothing),
        };
        sent.push(what);
        push(&mut packer, what);
        if number % 16 == 0 {
            packer.flush();
        }
        if number % 7 == 0 {
            let (got, _) = take(&mut unpacker);
            assert_eq!(got[..], sent[..got.len()], "{number}");
            sent.drain(..got.len());
        }
    }
    packer.flush();
    assert_eq!(take(&mut unpacker).0, sent);
}

#[test]
fn rest_begins_a_block_of_its_own() {
    let (mut packer, mut unpacker) = ends();
    for number in 0..7 {
        push(&mut packer, (Ok(good(number)), marked(number as u32)));
    }
    for number in 7..40 {
        push(&mut packer, (Ok(good(number)), Applied::Nothing));
    }
    let (got, quiet) = take(&mut unpacker);
    assert_eq!((got.len(), quiet), (37, 30));
    packer.flush();
    assert_eq!(take(&mut unpacker).0.len(), 3);
}

#[test]
fn frames_without_room_are_counted_and_told_before_the_next() {
    let (mut packer, mut unpacker) = ends();
    let held = (BLOCKS - 1) * BATCH;
    // The last block is full, and there is none to go on with.
    for number in 0..held + 25 {
        push(&mut packer, (Ok(good(number)), Applied::Nothing));
    }
    let (got, _) = take(&mut unpacker);
    assert_eq!(got.len(), held);
    assert_eq!(got.last(), Some(&(Ok(good(held - 1)), Applied::Nothing)));
    push(&mut packer, (Ok(good(1)), Applied::Nothing));
    packer.flush();
    let (got, _) = take(&mut unpacker);
    assert_eq!(
        got,
        [
            (Err(FrameFault::Lost(25)), Applied::Nothing),
            (Ok(good(1)), Applied::Nothing)
        ]
    );
}

#[test]
fn lost_frames_that_find_no_room_are_counted_as_what_they_stand_for() {
    let (mut packer, mut unpacker) = ends();
    for number in 0..(BLOCKS - 1) * BATCH + 3 {
        push(&mut packer, (Ok(good(number)), Applied::Nothing));
    }
    push(&mut packer, (Err(FrameFault::Lost(100)), Applied::Nothing));
    let _ = take(&mut unpacker);
    push(&mut packer, (Err(FrameFault::Checksum), Applied::Nothing));
    let (got, _) = take(&mut unpacker);
    assert_eq!(got[0].0, Err(FrameFault::Lost(103)));
    assert_eq!(got[1].0, Err(FrameFault::Checksum));
    assert_eq!(got.len(), 2);
}

#[test]
fn a_block_that_is_cut_once_puts_the_next_ones_in_step() {
    let (mut packer, mut unpacker) = ends();
    let rest = |packer: &mut Packer, count| {
        for number in 0..count {
            push(packer, (Ok(good(number)), Applied::Nothing));
        }
    };
    rest(&mut packer, 2);
    packer.cut_at(7);
    rest(&mut packer, 5);
    assert_eq!(
        take(&mut unpacker),
        (
            vec![
                (Ok(good(0)), Applied::Nothing),
                (Ok(good(1)), Applied::Nothing),
                (Ok(good(0)), Applied::Nothing),
                (Ok(good(1)), Applied::Nothing),
                (Ok(good(2)), Applied::Nothing),
                (Ok(good(3)), Applied::Nothing),
                (Ok(good(4)), Applied::Nothing),
            ],
            0
        )
    );
    rest(&mut packer, 20);
    assert_eq!(take(&mut unpacker).1, 20);
    // Too late for this block: it goes whole.
    rest(&mut packer, 4);
    packer.cut_at(4);
    rest(&mut packer, 6);
    assert_eq!(take(&mut unpacker).1, 10);
}
