//! The power fails at every byte, in five ways, once and twice.

use super::*;
use crate::strict_nor::Torn;

/// Bytes changed by filling a blank journal.
fn bytes_to_fill() -> usize {
    let mut journal = open(blank());
    fill(&mut journal);
    journal.close().changed
}

/// Fills `flash` until the power fails after `after` bytes; returns what was acknowledged
/// and the flash as it is found at the next start.
fn cut(flash: Nor, after: usize, torn: Torn) -> (Vec<u32>, Nor) {
    let mut journal = open(flash.cut_after(after, torn));
    let acknowledged = fill(&mut journal);
    let flash = journal.close();
    (acknowledged, flash)
}

/// Everything acknowledged is there and right; at most the record under way is there too.
fn assert_kept(journal: &mut TestJournal, acknowledged: &[u32], case: &str) {
    let found = read_all(journal);
    let kept = found.get(..acknowledged.len());
    assert_eq!(kept, Some(acknowledged), "{case}: lost");
    assert!(found.len() <= acknowledged.len() + 1, "{case}: invented");
    assert_eq!(
        found,
        (1..=found.len() as u32).collect::<Vec<_>>(),
        "{case}"
    );
    assert_ends_agree(journal, &found);
}

#[test]
fn at_every_byte_all_acknowledged_records_stay_and_new_ones_are_taken() {
    let total = bytes_to_fill();
    let mut cuts = 0;
    for after in 0..total {
        for torn in Torn::ALL {
            let case = format!("cut after {after} of {total} bytes, {torn:?}");
            let (mut acknowledged, flash) = cut(blank(), after, torn);
            assert!(flash.is_dark(), "{case}: the power did fail");
            let mut journal = open(flash.power_up());
            assert_kept(&mut journal, &acknowledged, &case);
            acknowledged = (1..=journal.last().unwrap_or(0)).collect();
            acknowledged.extend(fill(&mut journal));
            // A cut costs at most the room of the record under way.
            assert!(acknowledged.len() >= 12, "{case}: {}", acknowledged.len());
            assert_kept(&mut journal, &acknowledged, &case);
            let flash = journal.close();
            // Only a sector whose head was cut off is erased before it is used.
            assert!(flash.erases <= 1, "{case}");
            assert_kept(&mut open(flash), &acknowledged, &case);
            cuts += 1;
        }
    }
    println!(
        "{cuts} cut points ({total} bytes, {} ways)",
        Torn::ALL.len()
    );
    assert!(cuts > 2000);
}

#[test]
fn two_cuts_in_a_row_lose_nothing_either() {
    let total = bytes_to_fill();
    let mut cuts = 0;
    for first in 0..total {
        for second in 0..70 {
            let torn = Torn::ALL[(first + second) % Torn::ALL.len()];
            let case = format!("cuts after {first} and {second} more bytes, {torn:?}");
            let (acknowledged, flash) = cut(blank(), first, torn);
            let mut journal = open(flash.power_up());
            assert_kept(&mut journal, &acknowledged, &case);
            let before = (1..=journal.last().unwrap_or(0)).collect::<Vec<_>>();

            let (more, flash) = cut(journal.close(), second, torn);
            let mut journal = open(flash.power_up());
            let acknowledged = [before, more].concat();
            assert_kept(&mut journal, &acknowledged, &case);
            let kept = (1..=journal.last().unwrap_or(0)).collect::<Vec<_>>();
            let acknowledged = [kept, fill(&mut journal)].concat();
            assert_kept(&mut journal, &acknowledged, &case);
            cuts += 1;
        }
    }
    println!("{cuts} pairs of cuts");
    assert!(cuts > 30_000);
}

#[test]
fn a_cut_erase_is_erased_again() {
    let mut journal = open(blank());
    fill(&mut journal);
    let full = journal.close();
    for after in 0..4 * SECTOR {
        for torn in Torn::ALL {
            let mut flash = full.clone().cut_after(after, torn);
            Journal::erase(&mut flash).expect_err("the power fails");
            let mut flash = flash.power_up();
            Journal::erase(&mut flash).expect("erased");
            let mut journal = open(flash);
            assert_eq!(journal.next_number(), Ok(1));
            assert_eq!(fill(&mut journal).first(), Some(&1));
        }
    }
}

#[test]
fn after_a_failed_append_the_running_journal_finds_out_what_stands() {
    let total = bytes_to_fill();
    for after in 0..total {
        for torn in Torn::ALL {
            // The flash drops out and comes back; the processor keeps running.
            let mut journal = open(blank().cut_after(after, torn));
            let acknowledged = fill(&mut journal);
            let flash = &mut journal.flash;
            *flash = flash.clone().power_up();
            let case = format!("drop-out after {after}, {torn:?}");
            let standing = open(flash.clone()).last();
            let next = journal.next_number().expect("looks again");
            // A number that stands in the flash, acknowledged or not, is never given to
            // a second record.
            assert_eq!(next, standing.unwrap_or(0) + 1, "{case}");
            assert!(next > acknowledged.last().copied().unwrap_or(0), "{case}");
            assert_kept(&mut journal, &acknowledged, &case);
            let acknowledged = [(1..next).collect(), fill(&mut journal)].concat();
            assert_kept(&mut journal, &acknowledged, &case);
        }
    }
}
