//! The journal against a strict flash: order, fullness, damage, and a power cut at every
//! byte. Small sectors keep "every byte" small; the code does not know the difference.

use super::*;
use crate::strict_nor::{StrictError, StrictNor};

mod around;
mod foreign;
mod library;
mod power_cut;
mod worn;

const SECTOR: usize = 192;
/// Two for the calibration, two for the marks, four for the records.
const SECTORS: usize = SECTORS_BEFORE + 4;

type Nor = StrictNor<SECTOR>;
type TestJournal = Journal<Nor>;

fn blank() -> Nor {
    Nor::blank(SECTORS)
}

fn open(flash: Nor) -> TestJournal {
    Journal::open(flash).expect("opens")
}

/// The record that the tests write as number `number`: its length and bytes depend on it.
/// Bytes FF and 00 are among them, which in flash look like "erased" and "mark".
fn payload(number: u32) -> Vec<u8> {
    let length = (number * 7 % 31) as usize;
    (0..length)
        .map(|i| match (number as usize + i) % 5 {
            0 => 0xFF,
            1 => 0x00,
            _ => (number as usize * 31 + i) as u8,
        })
        .collect()
}

/// Appends test records until the journal is full or the power fails; returns the numbers
/// that were acknowledged.
fn fill(journal: &mut TestJournal) -> Vec<u32> {
    let mut acknowledged = Vec::new();
    loop {
        let Ok(number) = journal.next_number() else {
            return acknowledged;
        };
        match journal.append(&payload(number)) {
            Ok(stored) => {
                assert_eq!(stored, number);
                acknowledged.push(stored);
            }
            Err(JournalError::Full { .. } | JournalError::Flash(StrictError::Dark)) => {
                return acknowledged;
            }
            Err(error) => panic!("record {number}: {error}"),
        }
    }
}

/// All records, by reading in sequence; each is checked to be the test record of its number.
fn read_all(journal: &mut TestJournal) -> Vec<u32> {
    let mut buffer = [0; 64];
    let mut numbers = Vec::new();
    let mut from = 0;
    while let Some((number, length)) = journal.read_from(from, &mut buffer).expect("reads") {
        assert!(number >= from);
        assert_eq!(buffer[..length], payload(number), "record {number}");
        numbers.push(number);
        from = number + 1;
    }
    numbers
}

fn assert_ends_agree(journal: &mut TestJournal, numbers: &[u32]) {
    assert_eq!(journal.first(), numbers.first().copied());
    assert_eq!(journal.last(), numbers.last().copied());
    let mut buffer = [0; 64];
    let length = journal.last_payload(&mut buffer).expect("reads");
    assert_eq!(
        length.map(|length| buffer[..length].to_vec()),
        numbers.last().map(|&number| payload(number))
    );
}

#[test]
fn a_blank_flash_is_an_empty_journal() {
    let mut journal = open(blank());
    assert_ends_agree(&mut journal, &[]);
    assert_eq!(journal.read_from(0, &mut [0; 64]), Ok(None));
    assert_eq!(journal.next_number(), Ok(1));
    assert_eq!(journal.sectors_used(), (0, 4));
    assert_eq!(journal.close().changed, 0, "opening writes nothing");
}

#[test]
fn records_are_numbered_from_one_and_read_back_in_order() {
    let mut journal = open(blank());
    let written = fill(&mut journal);
    assert_eq!(written, (1..=written.len() as u32).collect::<Vec<_>>());
    assert!(written.len() > 12, "the test means more than one sector");
    assert_eq!(read_all(&mut journal), written);
    assert_ends_agree(&mut journal, &written);
    // And after a restart.
    let mut journal = open(journal.close());
    assert_eq!(read_all(&mut journal), written);
    assert_ends_agree(&mut journal, &written);
}

#[test]
fn a_full_journal_refuses_and_keeps_everything() {
    let mut journal = open(blank());
    let written = fill(&mut journal);
    assert_eq!(journal.sectors_used(), (4, 4));
    let before = journal.close();
    let mut journal = open(before.clone());
    for _ in 0..3 {
        assert_eq!(
            journal.append(&[1; 40]),
            Err(JournalError::Full {
                last: written.last().copied()
            })
        );
    }
    assert_eq!(read_all(&mut journal), written);
    let after = journal.close();
    assert_eq!(after.bytes, before.bytes);
    assert_eq!(after.erases, 0);
}

#[test]
fn any_record_is_found_from_any_number() {
    let mut journal = open(blank());
    let written = fill(&mut journal);
    let last = written.len() as u32;
    let mut buffer = [0; 64];
    // Backwards, so that the cursor never helps.
    for number in (0..=last + 1).rev() {
        let found = journal.read_from(number, &mut buffer).expect("reads");
        let wanted = number.max(1);
        if wanted > last {
            assert_eq!(found, None);
        } else {
            let (found, length) = found.expect("is there");
            assert_eq!(found, wanted);
            assert_eq!(buffer[..length], payload(wanted));
        }
    }
}

#[test]
fn reading_in_sequence_costs_the_same_for_every_record() {
    const LARGE: usize = 4096;
    let mut journal = Journal::open(StrictNor::<LARGE>::blank(36)).expect("opens");
    while journal.append(&[0x5A; 60]).is_ok() {}
    let last = journal.last().expect("has records");
    assert!(last > 1000);
    let mut buffer = [0; 64];
    let mut most = 0;
    journal.read_from(1, &mut buffer).expect("reads");
    for number in 2..=last {
        let before = journal.flash.reads;
        journal.read_from(number, &mut buffer).expect("reads");
        most = most.max(journal.flash.reads - before);
    }
    // Header and data of the item; at the end of a sector also one look behind its last item.
    assert!(most <= 4, "{most} reads for one record");

    // Out of sequence: a search over 32 sectors (5 steps), then at most one sector of items;
    // header and data each.
    let in_sector = LARGE / (60 + 12);
    let mut most = 0;
    for number in (1..=last).rev().step_by(7) {
        let before = journal.flash.reads;
        journal.read_from(number, &mut buffer).expect("reads");
        most = most.max(journal.flash.reads - before);
    }
    assert!(most <= 2 * (5 + in_sector), "{most} reads for one record");
}

#[test]
fn a_full_size_record_is_kept_on_the_real_sector_size() {
    let mut journal = Journal::open(StrictNor::<4096>::blank(6)).expect("opens");
    let record = [0xA5; MAX_RECORD_BYTES];
    for number in 1..=4 {
        assert_eq!(journal.append(&record), Ok(number));
    }
    assert_eq!(
        journal.append(&record),
        Err(JournalError::Full { last: Some(4) })
    );
    let mut buffer = [0; MAX_RECORD_BYTES];
    assert_eq!(
        journal.read_from(3, &mut buffer),
        Ok(Some((3, MAX_RECORD_BYTES)))
    );
    assert_eq!(buffer, record);
}

#[test]
fn what_does_not_fit_is_told_and_changes_nothing() {
    let mut journal = open(blank());
    // The head, 8 bytes of item header and 4 of number do not hold record bytes.
    let most = SECTOR - HEAD_BYTES - 8 - 4;
    assert_eq!(
        journal.append(&vec![0; most + 1]),
        Err(JournalError::TooLong {
            length: most + 1,
            most
        })
    );
    assert_eq!(journal.append(&vec![0; most]), Ok(1));
    assert_eq!(
        journal.read_from(1, &mut [0; 10]),
        Err(JournalError::BufferTooSmall {
            number: 1,
            length: most
        })
    );
    assert_eq!(journal.append(&[]), Ok(2), "an empty record is a record");
    assert_eq!(journal.read_from(2, &mut []), Ok(Some((2, 0))));
}

#[test]
fn a_flash_without_room_is_refused_and_given_back() {
    for sectors in 0..6 {
        let failed = Journal::open(Nor::blank(sectors)).expect_err("too small");
        assert_eq!(
            failed.error,
            JournalError::FlashTooSmall {
                capacity: sectors * SECTOR
            }
        );
        assert_eq!(failed.flash.bytes.len(), sectors * SECTOR);
    }
}

#[test]
fn a_damaged_record_is_a_gap_and_the_others_stay() {
    let mut journal = open(blank());
    let written = fill(&mut journal);
    let whole = journal.close();
    let start = TestJournal::START as usize;
    // Break every bit of the region in turn, marks and headers included.
    for bit in start * 8..whole.bytes.len() * 8 {
        let mut flash = whole.clone();
        flash.bytes[bit / 8] ^= 1 << (bit % 8);
        let mut journal = open(flash);
        let left = read_all(&mut journal);
        let lost = written.len() - left.len();
        assert!(lost <= 1, "bit {bit}: {lost} records lost");
        assert!(left.is_sorted(), "bit {bit}");
    }
}

#[test]
fn items_that_are_no_records_are_passed_over() {
    let mut journal = open(blank());
    journal.append(&[42]).expect("stored");
    let base = TestJournal::START;
    for item in [&[9, 9][..], &[7]] {
        let pushed = TestJournal::push_item(&mut journal.flash, base, item);
        assert!(matches!(pushed, Ok(Pushed::Tried(Ok(())))));
    }
    let mut journal = open(journal.close());
    assert_eq!(journal.append(&[5]), Ok(2));
    let mut buffer = [0; 8];
    assert_eq!(journal.read_from(0, &mut buffer), Ok(Some((1, 1))));
    assert_eq!(buffer[0], 42);
    assert_eq!(journal.read_from(2, &mut buffer), Ok(Some((2, 1))));
}

/// Both copies of a head misread must not cost the records of the sector.
#[test]
fn a_sector_with_a_record_is_not_erased_whatever_its_head_says() {
    let mut journal = open(blank());
    let written = fill(&mut journal);
    let mut flash = journal.close();
    let start = TestJournal::START as usize;
    let heads = flash.bytes[start..start + HEAD_BYTES].to_vec();
    for index in 0..SECTORS - SECTORS_BEFORE {
        flash.bytes[start + index * SECTOR..][..HEAD_BYTES].fill(0x55);
        let mut journal = open(flash.clone());
        for _ in 0..4 {
            let _ = journal.append(&[1; 100]);
        }
        assert_eq!(journal.close().erases, 0, "sector {index}");
        if index == 0 {
            flash.bytes[start..start + HEAD_BYTES].copy_from_slice(&heads);
            assert_eq!(read_all(&mut open(flash.clone())), written);
        }
    }
}

#[test]
fn erasing_empties_the_journal_and_leaves_the_calibration() {
    let mut journal = open(blank());
    journal
        .calibration_store()
        .write(b"calibration")
        .expect("stored");
    fill(&mut journal);
    let mut flash = journal.close();
    Journal::erase(&mut flash).expect("erased");
    assert!(
        flash.bytes[TestJournal::START as usize..]
            .iter()
            .all(|b| *b == 0xFF)
    );
    let erases = flash.erases;
    Journal::erase(&mut flash).expect("erased");
    assert_eq!(flash.erases, erases, "blank sectors are left alone");
    let mut journal = open(flash);
    assert_eq!(journal.next_number(), Ok(1));
    let mut buffer = [0; 32];
    let stored = journal
        .calibration_store()
        .read(&mut buffer)
        .expect("reads");
    assert_eq!(stored.length, Some(11));
    assert_eq!(&buffer[..11], b"calibration");
}
