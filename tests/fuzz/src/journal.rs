//! The journal: arbitrary content of its flash, or steps with power cuts against a model.
//!
//! Promises: no panic; no record is handed out that does not stand in the flash, whole by its
//! own CRC; numbers grow; whatever the flash held before, what was acknowledged and not freed is
//! read by number and in sequence, at once and after a start, after any cut; what is confirmed or
//! freed stays so; no number is given twice.

use std::collections::BTreeMap;

use slotwise_firmware::journal::{Journal, JournalError, MAX_RECORD_BYTES};

use crate::flash::{Failed, Flash, SECTOR};
use crate::items::{head, whole_item};

/// Two for the calibration, two for the marks, four for records.
const SECTORS: usize = 8;

/// First byte of the records.
const RECORDS: usize = 4 * SECTOR;

/// Most records read: more cannot stand in the flash.
const MOST: usize = SECTORS * SECTOR;

/// Steps of an input that are done: they fill the ring three times, with all that is in between.
/// More of them make the runs slow, not deep.
const STEPS: usize = 80;

/// Runs the target.
pub fn run(bytes: &[u8]) {
    match bytes.split_first() {
        Some((mode, rest)) if mode % 4 == 2 => arbitrary(built(rest)),
        Some((mode, rest)) if mode % 2 == 0 => arbitrary(rest.to_vec()),
        Some((_, rest)) => steps(rest),
        None => {}
    }
}

/// A flash of heads, whole items and rubbish with check words that hold, which mutations of bytes
/// hardly ever give; three bytes each.
fn built(bytes: &[u8]) -> Vec<u8> {
    let mut content = vec![0xFF; SECTORS * SECTOR];
    let mut at = RECORDS;
    for &[what, first, second] in bytes.as_chunks::<3>().0.iter().take(STEPS) {
        let number = u32::from(first) << (what >> 5);
        let piece = match what % 8 {
            // On to the next sector, with or without a head.
            0 | 1 => {
                at = (at / SECTOR + 1) * SECTOR;
                head(u32::from(second), number)
            }
            2 => {
                at = (at / SECTOR + 1) * SECTOR;
                vec![second; usize::from(first % 48)]
            }
            3 => vec![0xFF; usize::from(second % 96)],
            // A header without what it announces.
            4 => whole_item(number, &[7; 200][..usize::from(second % 200)])[..8].to_vec(),
            5 => {
                // One sector back, so that they need not rise.
                at = (at.saturating_sub(SECTOR)).max(RECORDS);
                Vec::new()
            }
            _ => whole_item(number, &[what; 64][..usize::from(second % 64)]),
        };
        for byte in piece {
            if let Some(place) = content.get_mut(at) {
                *place = byte;
            }
            at += 1;
        }
        at = if at < content.len() { at } else { RECORDS };
    }
    content
}

/// Whatever stands in the flash.
fn arbitrary(mut content: Vec<u8>) {
    content.resize(SECTORS * SECTOR, 0xFF);
    let mut journal = Journal::open(Flash::new(content.clone())).expect("it opens");
    let mut owed = read_standing(&mut journal, &content);
    let mut buffer = [0; MAX_RECORD_BYTES];
    let _ = journal.last_payload(&mut buffer);
    for length in [0, 3, 40, 90, 1] {
        let payload = vec![0xC3; length];
        match journal.append(&payload) {
            Ok(number) => assert!(owed.insert(number, payload).is_none(), "{number} twice"),
            Err(
                JournalError::NotStored { .. }
                | JournalError::Full { .. }
                | JournalError::NumbersUsedUp,
            ) => {}
            Err(error) => panic!("{error}"),
        }
        assert_owed(&mut journal, &mut owed);
    }
    let flash = journal.close();
    let content = flash.bytes.clone();
    let mut journal = Journal::open(flash).expect("it opens");
    read_standing(&mut journal, &content);
    assert_owed(&mut journal, &mut owed);
    // What is whole and not freed is not erased.
    for (number, payload) in owed.range(journal.marks().freed.saturating_add(1)..) {
        let stands = stands_in(&content, *number, payload);
        assert!(stands, "record {number} is lost");
    }
}

/// All of it is read, in sequence and by number. What was refused may stand there all the same,
/// and what stood behind a gap may come to light: from then on that is owed, too.
fn assert_owed(journal: &mut Journal<Flash>, owed: &mut BTreeMap<u32, Vec<u8>>) {
    let found = read_all(journal);
    let is_found = |(number, payload)| found.get(number) == Some(payload);
    assert!(owed.iter().all(is_found), "{owed:?} of {found:?}");
    *owed = found;
    let mut buffer = [0; MAX_RECORD_BYTES];
    for (number, payload) in owed.iter().rev() {
        let found = journal.read_from(*number, &mut buffer).expect("it reads");
        assert_eq!(found, Some((*number, payload.len())));
        assert_eq!(buffer[..payload.len()], payload[..], "record {number}");
    }
}

/// Every record; each must stand in the flash.
fn read_standing(journal: &mut Journal<Flash>, content: &[u8]) -> BTreeMap<u32, Vec<u8>> {
    let found = read_all(journal);
    for (number, payload) in &found {
        assert!(
            stands_in(content, *number, payload),
            "record {number} is invented"
        );
    }
    found
}

fn read_all(journal: &mut Journal<Flash>) -> BTreeMap<u32, Vec<u8>> {
    let mut buffer = [0; MAX_RECORD_BYTES];
    let mut found = BTreeMap::new();
    let mut from = 0;
    while let Some((number, length)) = journal.read_from(from, &mut buffer).expect("it reads") {
        assert!(number >= from, "{number} after {from}");
        found.insert(number, buffer[..length].to_vec());
        assert!(found.len() <= MOST);
        match number.checked_add(1) {
            Some(next) => from = next,
            None => break,
        }
    }
    found
}

/// Whether an item with this number and record stands anywhere in the flash: CRC, length, CRC
/// of the length, number, record.
fn stands_in(content: &[u8], number: u32, payload: &[u8]) -> bool {
    let whole = whole_item(number, payload);
    content[RECORDS..]
        .windows(whole.len())
        .any(|part| part == whole)
}

/// What was promised.
#[derive(Default)]
struct Model {
    acknowledged: BTreeMap<u32, Vec<u8>>,
    /// Asked for and not answered: may be there.
    open: Option<(u32, Vec<u8>)>,
    confirmed: (u32, u32),
    freed: (u32, u32),
}

/// Steps from a blank flash; two bytes each.
fn steps(bytes: &[u8]) {
    let mut model = Model::default();
    let mut journal = Journal::open(Flash::new(vec![0xFF; SECTORS * SECTOR])).expect("it opens");
    let mut cut = None;
    for pair in bytes.as_chunks::<2>().0.iter().take(STEPS) {
        let [what, how] = *pair;
        let failed = match what % 8 {
            0..=3 => append(&mut journal, &mut model, what, how),
            4 => confirm(&mut journal, &mut model, how),
            5 => free(&mut journal, &mut model, how),
            // The power is to fail this many bytes later, and these bits of the byte change.
            6 => {
                cut = Some((usize::from(how), what ^ how));
                Ok(())
            }
            _ => Err(Failed::Dark),
        };
        let mut flash = journal.close();
        if failed.is_err() {
            (flash.is_dark, flash.cut) = (false, None);
        }
        if let Some(cut) = cut.take() {
            flash.cut = Some(cut);
        }
        // Every step begins with a look at the flash, as after a start.
        journal = Journal::open(flash).expect("it opens");
        check(&mut journal, &mut model);
    }
}

fn append(
    journal: &mut Journal<Flash>,
    model: &mut Model,
    what: u8,
    how: u8,
) -> Result<(), Failed> {
    let payload: Vec<u8> = (0..how % 80).map(|i| i.wrapping_mul(what)).collect();
    let number = journal.next_number().expect("numbers last");
    match journal.append(&payload) {
        Ok(stored) => {
            assert_eq!(stored, number);
            assert!(model.acknowledged.insert(stored, payload).is_none());
            Ok(())
        }
        Err(JournalError::Full { .. }) => Ok(()),
        Err(JournalError::Flash(error)) => {
            model.open = Some((number, payload));
            Err(error)
        }
        Err(error) => panic!("{error}"),
    }
}

fn confirm(journal: &mut Journal<Flash>, model: &mut Model, how: u8) -> Result<(), Failed> {
    let upto = journal
        .last()
        .unwrap_or(0)
        .saturating_sub(u32::from(how % 16));
    match journal.confirm(upto) {
        Ok(()) => model.confirmed.0 = model.confirmed.0.max(upto),
        Err(JournalError::NoSuchRecord { .. }) => {}
        Err(JournalError::Flash(error)) => {
            model.confirmed.1 = upto;
            return Err(error);
        }
        Err(error) => panic!("{error}"),
    }
    Ok(())
}

fn free(journal: &mut Journal<Flash>, model: &mut Model, how: u8) -> Result<(), Failed> {
    let upto = journal.marks().confirmed.saturating_sub(u32::from(how % 4)) + u32::from(how / 200);
    let is_confirmed = upto <= journal.marks().confirmed;
    match journal.free(upto) {
        Ok(()) => {
            assert!(is_confirmed, "freed {upto}, which is not confirmed");
            model.freed.0 = model.freed.0.max(upto);
        }
        Err(JournalError::NotConfirmed { .. }) => assert!(!is_confirmed),
        Err(JournalError::Flash(error)) => {
            model.freed.1 = upto;
            return Err(error);
        }
        Err(error) => panic!("{error}"),
    }
    Ok(())
}

/// What is read is what is owed, exactly, so it need not be looked for in the flash as well.
fn check(journal: &mut Journal<Flash>, model: &mut Model) {
    let marks = journal.marks();
    let either = |(told, asked): (u32, u32), is: u32| is == told || is == told.max(asked);
    assert!(either(model.confirmed, marks.confirmed), "{marks:?}");
    assert!(either(model.freed, marks.freed), "{marks:?}");
    model.confirmed = (marks.confirmed, 0);
    model.freed = (marks.freed, 0);
    let found = read_all(journal);
    if let Some((number, payload)) = model.open.take()
        && (found.get(&number) == Some(&payload) || journal.last() == Some(number))
    {
        model.acknowledged.insert(number, payload);
    }
    let owed: BTreeMap<u32, Vec<u8>> = model
        .acknowledged
        .range(marks.freed + 1..)
        .map(|(number, payload)| (*number, payload.clone()))
        .collect();
    assert_eq!(found, owed);
    assert_eq!(journal.first(), owed.keys().next().copied());
    let last = model.acknowledged.keys().next_back().copied().unwrap_or(0);
    assert_eq!(journal.next_number().expect("numbers last"), last + 1);
}
