//! Flash that holds what no journal left there: heads out of order, numbers out of order, whole items
//! behind gaps, headers that claim more than there is. Whatever it is: what is appended is read
//! again, by its number and in sequence, at once and after a start, and what was read before is
//! still read.

use super::*;
use crate::journal::head::SEQUENCE_MOST;

/// Numbers, rising, and records.
type Read = Vec<(u32, Vec<u8>)>;

const PARTS: usize = SECTORS - SECTORS_BEFORE;

/// A sector's head as the journal writes it.
fn put_head(flash: &mut Nor, part: usize, sequence: u32, first: u32) {
    let copy = Head { sequence, first }.to_bytes();
    let base = (SECTORS_BEFORE + part) * SECTOR;
    for (to, from) in flash.bytes[base..].iter_mut().zip([copy, copy].concat()) {
        *to = from;
    }
}

/// A whole item, as the journal writes it.
fn item(number: u32, payload: &[u8]) -> Vec<u8> {
    let mut flash = Nor::blank(1);
    let content = [&number.to_le_bytes(), payload].concat();
    let pushed = TestJournal::push_item(&mut flash, 0, &content);
    assert!(matches!(pushed, Ok(Pushed::Tried(Ok(())))));
    flash.bytes[HEAD_BYTES..HEAD_BYTES + 8 + content.len()].to_vec()
}

/// Bytes at a place behind a sector's head, as far as they go in; returns the place behind them.
fn put(flash: &mut Nor, part: usize, at: usize, bytes: &[u8]) -> usize {
    let base = (SECTORS_BEFORE + part) * SECTOR + HEAD_BYTES;
    let room = (SECTOR - HEAD_BYTES).saturating_sub(at);
    let count = bytes.len().min(room);
    let at = at.min(SECTOR - HEAD_BYTES);
    flash.bytes[base + at..base + at + count].copy_from_slice(&bytes[..count]);
    at + count
}

/// A sector with records of these numbers, one behind the other.
fn put_sector(flash: &mut Nor, part: usize, sequence: u32, first: u32, numbers: &[u32]) -> usize {
    put_head(flash, part, sequence, first);
    numbers.iter().fold(0, |at, &number| {
        put(flash, part, at, &item(number, &[number as u8; 4]))
    })
}

fn read(journal: &mut TestJournal) -> Read {
    let mut buffer = [0; SECTOR];
    let mut found = Read::new();
    let mut from = 0;
    while let Some((number, length)) = journal.read_from(from, &mut buffer).expect("reads") {
        assert!(number >= from && found.iter().all(|(before, _)| *before < number));
        found.push((number, buffer[..length].to_vec()));
        from = number + 1;
    }
    found
}

fn read_by_number(journal: &mut TestJournal, numbers: &Read) -> Read {
    let mut buffer = [0; SECTOR];
    // Backwards, so that the cursor never helps.
    let each = numbers.iter().rev().filter_map(|&(number, _)| {
        let (found, length) = journal.read_from(number, &mut buffer).expect("reads")?;
        Some((found, buffer[..length].to_vec()))
    });
    let mut found: Read = each.collect();
    found.reverse();
    found
}

fn numbers(read: &Read) -> Vec<u32> {
    read.iter().map(|(number, _)| *number).collect()
}

/// All that is owed is read, in sequence and by number. What stood behind a gap may come to light
/// besides: from then on that is owed, too.
fn assert_reads(journal: &mut TestJournal, owed: &mut Read, case: &str) {
    let found = read(journal);
    assert!(
        owed.iter().all(|one| found.contains(one)),
        "{case}: {owed:?} of {found:?}"
    );
    assert_eq!(read_by_number(journal, &found), found, "{case}");
    *owed = found;
}

/// Appends until it is full, with a start after every third record. Returns the journal, and what it
/// must read.
fn keeps_all(flash: Nor, case: &str) -> (TestJournal, Read) {
    let mut journal = open(flash);
    let mut kept = read(&mut journal);
    let (mut appended, mut failed) = (0, 0);
    loop {
        let payload = vec![0xC3; appended * 7 % 40];
        match journal.append(&payload) {
            Ok(number) => {
                assert!(
                    numbers(&kept).iter().all(|before| *before < number),
                    "{case}: {number}"
                );
                kept.push((number, payload));
                (appended, failed) = (appended + 1, 0);
            }
            // Three sectors were passed over, and the next one is tried then. It may stand there all
            // the same.
            Err(JournalError::NotStored { .. }) => {
                failed += 1;
                assert!(failed < PARTS, "{case}: it goes on");
                assert_reads(&mut journal, &mut kept, case);
                continue;
            }
            Err(JournalError::Full { .. } | JournalError::NumbersUsedUp) => break,
            Err(error) => panic!("{case}: {error}"),
        }
        assert_reads(&mut journal, &mut kept, case);
        assert_eq!(
            journal.last(),
            kept.last().map(|(number, _)| *number),
            "{case}"
        );
        if appended % 3 == 0 {
            journal = open(journal.close());
            assert_reads(&mut journal, &mut kept, case);
        }
        assert!(appended < 200, "{case}: it fills");
    }
    (journal, kept)
}

#[test]
fn heads_whose_numbers_are_out_of_order_hide_nothing_that_is_appended() {
    let mut flash = blank();
    put_sector(&mut flash, 0, 1, 1, &[1, 2, 3]);
    put_sector(&mut flash, 1, 2, 20, &[20, 21]);
    put_sector(&mut flash, 2, 3, 4, &[8, 9, 10]);
    let mut journal = open(flash.clone());
    // The newest is believed, and the one that does not fit to it is passed over and told.
    assert_eq!(numbers(&read(&mut journal)), [1, 2, 3, 8, 9, 10]);
    assert_eq!(journal.sectors_passed_over(), 1);
    assert_eq!(journal.append(&[7]), Ok(11));
    let (journal, kept) = keeps_all(flash, "out of order");
    assert!(kept.len() > 12);
    // The records in the strange sector stand there still: it was not erased.
    assert_eq!(journal.close().erases, 0);
}

#[test]
fn a_number_that_does_not_belong_in_its_sector_is_not_read() {
    let mut flash = blank();
    // 100 among the first ones; 3 behind 6; more than a sector can hold behind the head's.
    put_sector(&mut flash, 0, 1, 1, &[1, 100, 2]);
    put_sector(&mut flash, 1, 2, 5, &[5, 6, 3, 6000, u32::MAX]);
    let (mut journal, kept) = keeps_all(flash, "numbers");
    assert_eq!(numbers(&kept)[..5], [1, 2, 5, 6, 7]);
    assert!(
        numbers(&read(&mut journal))
            .iter()
            .all(|number| *number < 100)
    );
}

#[test]
fn whole_items_that_come_to_light_behind_a_gap_hide_nothing() {
    // The gap is exactly one record long, or a little more, or all but the sector's end.
    for gap in [12, 13, 19, 24, 31, 40, 60, 100] {
        for number in [1, 4, 5, 6, 9, 500] {
            let mut flash = blank();
            let end = put_sector(&mut flash, 0, 1, 3, &[3, 4]);
            put(&mut flash, 0, end + gap, &item(number, &[0x77; 3]));
            keeps_all(flash, &format!("{number} behind {gap}"));
        }
    }
}

#[test]
fn a_header_that_claims_more_than_the_sector_has_hides_nothing() {
    for more in 0..60 {
        let mut flash = blank();
        let end = put_sector(&mut flash, 0, 1, 1, &[1, 2, 3]);
        // The length of a record, with its check word, that does not end in the sector.
        let length = SECTOR - HEAD_BYTES - end - 8 + more;
        let whole = {
            let mut long = StrictNor::<4096>::blank(1);
            let pushed = Journal::push_item(&mut long, 0, &vec![0; length]);
            assert!(matches!(pushed, Ok(Pushed::Tried(Ok(())))));
            long.bytes[HEAD_BYTES..HEAD_BYTES + 8].to_vec()
        };
        put(&mut flash, 0, end, &whole);
        let (_, kept) = keeps_all(flash, &format!("{more} too long"));
        assert!(kept.len() > 10);
    }
}

#[test]
fn a_sector_number_beyond_the_wear_of_any_flash_is_no_head() {
    let mut flash = blank();
    put_sector(&mut flash, 0, 1, 1, &[1, 2]);
    for (part, sequence) in [(2, SEQUENCE_MOST + 1), (3, u32::MAX)] {
        put_sector(&mut flash, part, sequence, 90, &[90]);
    }
    let (journal, kept) = keeps_all(flash, "beyond");
    assert_eq!(numbers(&kept)[..3], [1, 2, 3]);
    // Their records are not read and not erased, and that two sectors are lost is told.
    assert_eq!(journal.sectors_passed_over(), 2);
    assert_eq!(read(&mut open(journal.close())), kept);
}

/// Xorshift (Marsaglia 2003, from memory).
fn draw(state: &mut u64, below: u32) -> u32 {
    *state ^= *state << 13;
    *state ^= *state >> 7;
    *state ^= *state << 17;
    (*state >> 16) as u32 % below
}

#[test]
fn drawn_sectors_hide_nothing_that_is_appended() {
    const IMAGES: usize = 5_000;
    let mut state = 0x51_07_11_5E;
    let (mut strange, mut foreign) = (0, 0);
    for case in 0..IMAGES {
        let mut flash = blank();
        for part in 0..PARTS {
            let draw = |below| draw(&mut state, below);
            let mut draw = draw;
            if draw(5) > 0 {
                let sequence = draw(9) * (1 + draw(40) / 39 * 1000);
                put_head(&mut flash, part, sequence, draw(14));
            }
            let mut at = 0;
            for _ in 0..draw(7) {
                let bytes = match draw(8) {
                    0 => vec![draw(256) as u8; draw(9) as usize],
                    1 => vec![0xFF; draw(40) as usize],
                    2 => item(draw(14), &vec![5; draw(40) as usize])[..8].to_vec(),
                    _ => item(
                        draw(20) * (1 + draw(9) / 8 * 999),
                        &vec![6; draw(30) as usize],
                    ),
                };
                at = put(&mut flash, part, at, &bytes);
            }
        }
        let (journal, kept) = keeps_all(flash, &format!("image {case}"));
        strange += usize::from(journal.sectors_passed_over() > 0);
        foreign += kept.len();
    }
    println!("{IMAGES} images, {strange} with sectors passed over, {foreign} records read");
    assert!(strange > IMAGES / 10);
}
