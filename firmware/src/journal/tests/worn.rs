//! Sectors that wear out: from the start or in the middle of their life, told by the flash or
//! not. No acknowledged record is lost, and the journal says how many sectors it passed over.

use super::*;
use crate::strict_nor::Wear;

const KINDS: [Wear; 9] = [
    Wear::EraseIgnored,
    Wear::EraseFails,
    Wear::ProgramIgnored,
    Wear::ProgramFails,
    Wear::Frozen,
    Wear::StuckLow(3),
    Wear::StuckLow(100),
    Wear::StuckHigh(0),
    Wear::StuckHigh(40),
];

/// Fills, frees and fills again; checks after every step that all that was acknowledged and is
/// not freed reads back. Returns the records taken and
/// the most sectors passed over at a time.
fn three_rounds(flash: Nor, case: &str) -> (usize, usize) {
    let mut journal = open(flash);
    let mut kept: Vec<u32> = Vec::new();
    let mut taken = 0;
    let mut passed_over = 0;
    for _ in 0..3 {
        let more = fill_past_worn(&mut journal, case);
        taken += more.len();
        kept.extend(more);
        assert_eq!(read_all(&mut journal), kept, "{case}");
        let passed = journal.sectors_passed_over();
        passed_over = passed_over.max(passed);
        let mut again = open(journal.close());
        assert_eq!(read_all(&mut again), kept, "{case}: after a start");
        assert!(again.sectors_passed_over() <= passed, "{case}");
        journal = again;
        // All but the last two records are freed.
        let upto = kept[kept.len().saturating_sub(3)];
        if journal.confirm(upto).is_ok() && journal.free(upto).is_ok() {
            kept.retain(|number| *number > upto);
        }
        assert_eq!(read_all(&mut journal), kept, "{case}: after freeing");
    }
    (taken, passed_over)
}

/// As `fill`, but an append that failed for worn sectors is tried again.
fn fill_past_worn(journal: &mut TestJournal, case: &str) -> Vec<u32> {
    let mut acknowledged = Vec::new();
    let mut failed = 0;
    loop {
        let number = journal.next_number().expect("reads");
        match journal.append(&payload(number)) {
            Ok(stored) => {
                assert_eq!(stored, number, "{case}");
                acknowledged.push(stored);
                failed = 0;
            }
            Err(JournalError::Full { .. }) => return acknowledged,
            Err(error) => {
                failed += 1;
                assert!(failed < 4, "{case}: {error}");
            }
        }
    }
}

#[test]
fn a_worn_sector_costs_its_room_and_no_record() {
    let (healthy, _) = three_rounds(blank(), "healthy");
    let mut cases = 0;
    let mut passed_over = 0;
    for sector in SECTORS_BEFORE..SECTORS {
        for wear in KINDS {
            for after in (0..2 * SECTOR).step_by(4) {
                let case = format!("sector {sector}, {wear:?} after {after} bytes");
                let (taken, passed) = three_rounds(blank().wear(sector, wear, after), &case);
                // One of four sectors at most is missing in each of three rounds, and the
                // freed end of a round may lie in it.
                assert!(taken * 2 > healthy, "{case}: {taken} of {healthy}");
                cases += 1;
                passed_over += passed;
            }
        }
    }
    println!("{cases} ways for a sector to wear out, {passed_over} told, 0 records lost");
    assert!(
        cases == 4 * 9 * SECTOR / 2 && passed_over > cases / 8,
        "{passed_over}"
    );
}

#[test]
fn a_sector_worn_from_the_start_is_told() {
    for wear in [Wear::ProgramIgnored, Wear::ProgramFails, Wear::Frozen] {
        let mut journal = open(blank().wear(SECTORS_BEFORE + 1, wear, 0));
        let written = fill(&mut journal);
        assert_eq!(journal.sectors_passed_over(), 1, "{wear:?}");
        let mut journal = open(journal.close());
        assert_eq!(journal.sectors_passed_over(), 1, "{wear:?}: after a start");
        assert_eq!(read_all(&mut journal), written);
    }
}

#[test]
fn worn_marks_free_nothing_that_they_do_not_hold() {
    for sector in 2..4 {
        for wear in KINDS {
            for after in [0, 1, 7, 20, 100] {
                let case = format!("mark sector {sector}, {wear:?} after {after} bytes");
                let mut journal = open(blank().wear(sector, wear, after));
                let written = fill(&mut journal);
                let mut freed = 0;
                for &upto in &written {
                    if journal
                        .confirm(upto)
                        .and_then(|()| journal.free(upto))
                        .is_ok()
                    {
                        freed = upto;
                    }
                    journal = open(journal.close());
                    assert_eq!(journal.marks().freed, freed, "{case}");
                }
                // One sector of marks is enough as long as it has room.
                assert!(freed > 0, "{case}");
            }
        }
    }
}

#[test]
fn both_marks_worn_is_an_error_and_frees_nothing() {
    let flash = blank().wear(2, Wear::Frozen, 0).wear(3, Wear::Frozen, 0);
    let mut journal = open(flash);
    let written = fill(&mut journal);
    let failed = journal
        .confirm(written[2])
        .expect_err("cannot be remembered");
    assert_eq!(failed, JournalError::NotStored { number: written[2] });
    assert_eq!(
        journal.free(written[2]),
        Err(JournalError::NotConfirmed { number: written[2] })
    );
    assert_eq!(read_all(&mut journal), written);
}

/// A bit of every item of the youngest whole sector turns over, once the next one was begun and
/// before its first record was whole.
#[test]
fn the_number_of_a_record_that_went_bad_is_not_given_again() {
    let mut journal = open(blank());
    let mut sectors = 0;
    let mut last = 0;
    // Up to the first record of the third sector.
    while sectors < 3 {
        last = journal.append(&payload(last + 1)).expect("it fits");
        sectors = journal.sectors_used().0;
    }
    let next = journal.next_number().expect("reads");
    let mut flash = journal.close();
    for sector in [SECTORS_BEFORE + 1, SECTORS_BEFORE + 2] {
        let start = sector * SECTOR + HEAD_BYTES;
        for byte in &mut flash.bytes[start..(sector + 1) * SECTOR] {
            if *byte != 0xFF {
                *byte ^= 0x10;
            }
        }
    }
    let mut journal = open(flash);
    assert!(journal.last().expect("the first sector is whole") < last - 1);
    let given = journal.next_number().expect("reads");
    // The last head knows of every number but that of the records behind it.
    assert_eq!(given, next - 1, "{last}");
    let kept = read_all(&mut journal);
    let stored = journal.append(&payload(given)).expect("there is room");
    let mut again = open(journal.close());
    assert_eq!(read_all(&mut again), [kept, vec![stored]].concat());
}
