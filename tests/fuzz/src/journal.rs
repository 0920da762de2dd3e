//! The journal: arbitrary content of its flash, or steps with power cuts against a model.
//!
//! Promises: no panic; no record is handed out that does not stand in the flash, whole by its
//! own CRC; numbers grow; what was acknowledged and not freed is there after any cut; what is
//! confirmed or freed stays so; no number is given twice.

use std::collections::BTreeMap;

use slotwise_firmware::journal::{Journal, JournalError, MAX_RECORD_BYTES};

use crate::flash::{Failed, Flash, SECTOR};

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
        Some((mode, rest)) if mode % 2 == 0 => arbitrary(rest),
        Some((_, rest)) => steps(rest),
        None => {}
    }
}

/// Whatever stands in the flash.
fn arbitrary(content: &[u8]) {
    let mut content = content.to_vec();
    content.resize(SECTORS * SECTOR, 0xFF);
    let mut journal = Journal::open(Flash::new(content.clone())).expect("it opens");
    let before = read_standing(&mut journal, &content);
    let mut buffer = [0; MAX_RECORD_BYTES];
    let _ = journal.last_payload(&mut buffer);
    let mut appended = BTreeMap::new();
    for length in [0, 3, 40, 90, 1] {
        let payload = vec![0xC3; length];
        match journal.append(&payload) {
            Ok(number) => assert!(appended.insert(number, payload).is_none(), "{number} twice"),
            Err(JournalError::Full { .. } | JournalError::NumbersUsedUp) => break,
            Err(JournalError::NotStored { .. }) => {}
            Err(error) => panic!("{error}"),
        }
    }
    let flash = journal.close();
    let content = flash.bytes.clone();
    let mut journal = Journal::open(flash).expect("it opens");
    let after = read_standing(&mut journal, &content);
    // Content that no journal wrote may hold a number twice, in sectors of any order: then one
    // of the two is read. And it may hold whole items behind a blank gap, which no journal and
    // no power cut leaves: filling the gap brings them to light, and those of greater numbers hide
    // what was appended from a reader in sequence. But all must stand there: what is whole and not
    // freed is not erased.
    let freed = journal.marks().freed;
    let is_new = |number: &u32| !before.contains_key(number) && !appended.contains_key(number);
    let came_to_light = after.keys().filter(|number| is_new(number)).max();
    let owed = before.range(freed.saturating_add(1)..);
    for (number, payload) in owed.chain(&appended) {
        let stands = stands_in(&content, *number, payload);
        assert!(stands, "record {number} is lost");
        let is_hidden = came_to_light.is_some_and(|greater| greater > number);
        assert!(
            after.contains_key(number) || is_hidden,
            "record {number} is not read"
        );
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
    let mut item = number.to_le_bytes().to_vec();
    item.extend(payload);
    let length = (item.len() as u16).to_le_bytes();
    let mut whole = item_crc(&item).to_le_bytes().to_vec();
    whole.extend(length);
    whole.extend(length_crc(length).to_le_bytes());
    whole.extend(item);
    content[RECORDS..]
        .windows(whole.len())
        .any(|part| part == whole)
}

/// CRC-32C with another start and no 00 or FF in its first byte, as the items carry it.
fn item_crc(bytes: &[u8]) -> u32 {
    let crc = !bytes.iter().fold(0xEEEE_EEEE_u32, |crc, byte| {
        (0..8).fold(crc ^ u32::from(*byte), |crc, _| {
            (crc >> 1) ^ (0x82F6_3B78 & (crc & 1).wrapping_neg())
        })
    });
    match crc {
        0 => 1,
        _ if matches!(crc & 0xFF, 0x00 | 0xFF) => crc ^ 1,
        _ => crc,
    }
}

/// The CRC-16 of the length.
fn length_crc(length: [u8; 2]) -> u16 {
    let crc = !length.iter().fold(0xFFFF_u16, |crc, byte| {
        (0..8).fold(crc ^ u16::from(*byte), |crc, _| {
            (crc >> 1) ^ (0x1A2E & (crc & 1).wrapping_neg())
        })
    });
    if crc == 0xFFFF { 0xFFFE } else { crc }
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
