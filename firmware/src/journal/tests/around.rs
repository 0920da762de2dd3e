//! Confirming, freeing, and going around the ring; with the power cut at every byte of it.

use super::*;
use crate::strict_nor::Torn;

/// What was promised of a journal.
#[derive(Clone, Debug, Default)]
struct Promised {
    /// In rising order.
    acknowledged: Vec<u32>,
    confirmed: u32,
    freed: u32,
    /// Freeing up to here was asked for and not answered: either is right.
    asked: u32,
}

impl Promised {
    /// Steps of one round: fill, confirm in two steps, free all but the last records.
    fn round(&mut self, journal: &mut TestJournal) -> Result<(), JournalError<StrictError>> {
        loop {
            let number = journal.next_number()?;
            match journal.append(&payload(number)) {
                Ok(stored) => {
                    assert!(self.acknowledged.last() < Some(&stored), "{stored} twice");
                    self.acknowledged.push(stored);
                }
                Err(JournalError::Full { .. }) => break,
                Err(error) => return Err(error),
            }
        }
        let last = journal.last().expect("it is full");
        for upto in [last - 6, last - 2] {
            journal.confirm(upto)?;
            self.confirmed = upto;
        }
        for upto in [last - 8, last - 3] {
            self.asked = upto;
            journal.free(upto)?;
            self.freed = upto;
        }
        Ok(())
    }

    /// Rounds until the power fails, or this many.
    fn rounds(&mut self, journal: &mut TestJournal, rounds: usize) {
        for _ in 0..rounds {
            match self.round(journal) {
                Ok(()) => {}
                Err(JournalError::Flash(StrictError::Dark)) => return,
                Err(error) => panic!("{error}"),
            }
        }
    }

    /// Everything promised is there and right. Takes over what the cut left undecided.
    fn check(&mut self, journal: &mut TestJournal, case: &str) {
        let marks = journal.marks();
        assert!(marks.confirmed >= self.confirmed, "{case}: confirmed");
        assert!(
            marks.freed == self.freed || marks.freed == self.asked,
            "{case}: freed {} of {} or {}",
            marks.freed,
            self.freed,
            self.asked
        );
        (self.confirmed, self.freed, self.asked) = (marks.confirmed, marks.freed, marks.freed);
        let found = read_all(journal);
        assert!(found.is_sorted_by(|a, b| a < b), "{case}: {found:?}");
        let owed = self
            .acknowledged
            .iter()
            .filter(|number| **number > self.freed);
        let lost: Vec<_> = owed.filter(|number| !found.contains(number)).collect();
        assert!(lost.is_empty(), "{case}: lost {lost:?}");
        // At most the record under way besides, and no gap anywhere.
        let last = self.acknowledged.last().copied().unwrap_or(0);
        assert!(
            found.last().is_none_or(|found| *found <= last + 1),
            "{case}"
        );
        let whole = match (found.first(), found.last()) {
            (Some(first), Some(last)) => {
                *first == self.freed + 1 && (last - first) as usize + 1 == found.len()
            }
            _ => true,
        };
        assert!(whole, "{case}: {found:?} after {}", self.freed);
        self.acknowledged.extend(found);
        self.acknowledged.sort_unstable();
        self.acknowledged.dedup();
        let next = journal.next_number().expect("reads");
        assert!(next > last, "{case}: number {next} given twice");
    }
}

const ROUNDS: usize = 3;

fn bytes_of_all_rounds() -> usize {
    let mut journal = open(blank());
    Promised::default().rounds(&mut journal, ROUNDS);
    journal.close().changed
}

#[test]
fn it_goes_around_over_freed_records_and_no_others() {
    let mut journal = open(blank());
    let mut promised = Promised::default();
    for round in 0..40 {
        promised.rounds(&mut journal, 1);
        promised.check(&mut journal, &format!("round {round}"));
        journal = open(journal.close());
        promised.check(&mut journal, &format!("round {round}, after a start"));
    }
    let flash = journal.close();
    assert!(promised.acknowledged.len() > 300, "it went around often");
    assert!(flash.erases > 80, "{} erases", flash.erases);
}

#[test]
fn confirmed_alone_frees_nothing() {
    let mut journal = open(blank());
    let written = fill(&mut journal);
    let last = *written.last().expect("has records");
    journal.confirm(last).expect("remembered");
    assert_eq!(
        journal.append(&[1; 40]),
        Err(JournalError::Full { last: Some(last) })
    );
    assert_eq!(read_all(&mut journal), written);
    assert_eq!(journal.flash.erases, 0);
}

#[test]
fn freeing_needs_the_confirmation_and_confirming_the_record() {
    let mut journal = open(blank());
    let written = fill(&mut journal);
    let last = *written.last().expect("has records");
    assert_eq!(
        journal.free(1),
        Err(JournalError::NotConfirmed { number: 1 })
    );
    assert_eq!(
        journal.confirm(last + 1),
        Err(JournalError::NoSuchRecord { number: last + 1 })
    );
    journal.confirm(3).expect("remembered");
    assert_eq!(
        journal.free(4),
        Err(JournalError::NotConfirmed { number: 4 })
    );
    journal.free(3).expect("freed");
    // Neither goes back.
    journal.confirm(1).expect("is confirmed");
    journal.free(1).expect("is freed");
    assert_eq!(
        journal.marks(),
        Marks {
            confirmed: 3,
            freed: 3
        }
    );
    assert_eq!(journal.first(), Some(4));
    assert_eq!(read_all(&mut journal), written[3..]);
}

#[test]
fn numbers_go_on_when_every_record_is_freed() {
    let mut journal = open(blank());
    let last = *fill(&mut journal).last().expect("has records");
    journal.confirm(last).expect("remembered");
    journal.free(last).expect("freed");
    let mut journal = open(journal.close());
    assert_eq!((journal.first(), journal.last()), (None, Some(last)));
    assert_eq!(read_all(&mut journal), []);
    // The chain goes on at the last one.
    let mut buffer = [0; 64];
    let length = journal
        .last_payload(&mut buffer)
        .expect("reads")
        .expect("is there");
    assert_eq!(buffer[..length], payload(last));
    assert_eq!(journal.append(&payload(last + 1)), Ok(last + 1));
    assert_eq!(read_all(&mut open(journal.close())), [last + 1]);
}

#[test]
fn marks_outlive_many_rewrites_of_their_sectors() {
    let mut journal = open(blank());
    let last = *fill(&mut journal).last().expect("has records");
    // An entry takes 16 bytes; both sectors are gone around.
    for upto in 1..=last {
        journal.confirm(upto).expect("remembered");
        journal.free(upto).expect("freed");
        journal = open(journal.close());
        assert_eq!(
            journal.marks(),
            Marks {
                confirmed: upto,
                freed: upto
            }
        );
    }
    assert!(journal.flash.erases > 1);
}

#[test]
fn cut_at_every_byte_of_append_wrap_confirm_and_free() {
    let total = bytes_of_all_rounds();
    let mut cuts = 0;
    for after in 0..total {
        for torn in Torn::ALL {
            let case = format!("cut after {after} of {total} bytes, {torn:?}");
            let mut promised = Promised::default();
            let mut journal = open(blank().cut_after(after, torn));
            promised.rounds(&mut journal, ROUNDS);
            let flash = journal.close();
            assert!(flash.is_dark(), "{case}: the power did fail");
            let mut journal = open(flash.power_up());
            promised.check(&mut journal, &case);
            promised.rounds(&mut journal, 1);
            promised.check(&mut journal, &case);
            promised.check(&mut open(journal.close()), &case);
            cuts += 1;
        }
    }
    println!(
        "{cuts} cut points over append, wrap, confirm and free ({total} bytes changed, {} ways), \
         0 records lost",
        Torn::ALL.len()
    );
    assert!(cuts > 10_000);
}

#[test]
fn two_cuts_in_a_row_over_wrap_confirm_and_free() {
    let total = bytes_of_all_rounds();
    let mut cuts = 0;
    // The second cut over a whole round, in steps of 61 that begin at another byte for every first one.
    for first in 0..total {
        for second in (first % 61..SECTOR + 120).step_by(61) {
            let torn = Torn::ALL[(first + second) % Torn::ALL.len()];
            let other = Torn::ALL[(first + second / 61) % Torn::ALL.len()];
            let case = format!("cuts after {first} and {second} more, {torn:?}, {other:?}");
            let mut promised = Promised::default();
            let mut journal = open(blank().cut_after(first, torn));
            promised.rounds(&mut journal, ROUNDS);
            let mut journal = open(journal.close().power_up().cut_after(second, other));
            promised.check(&mut journal, &case);
            promised.rounds(&mut journal, 1);
            let mut journal = open(journal.close().power_up());
            promised.check(&mut journal, &case);
            promised.rounds(&mut journal, 1);
            promised.check(&mut journal, &case);
            cuts += 1;
        }
    }
    println!("{cuts} pairs of cuts over append, wrap, confirm and free, 0 records lost");
    assert!(cuts > 15_000);
}

#[test]
fn a_cut_erase_is_not_trusted_although_it_reads_blank() {
    let mut journal = open(blank());
    let mut promised = Promised::default();
    promised.rounds(&mut journal, 1);
    // The erase is done to its last byte when the power fails.
    let before = journal.flash.changed;
    while journal.flash.erases == 0 {
        let number = journal.next_number().expect("reads");
        journal.append(&payload(number)).expect("there is room");
    }
    assert!(journal.flash.changed > before + SECTOR);
    let mut flash = journal.close();
    let erases = flash.erases;
    // As if the power had failed just after: the sector is blank, its head was not written.
    let blank_again = (SECTORS_BEFORE..SECTORS)
        .map(|sector| sector * SECTOR)
        .min_by_key(|base| {
            flash.bytes[*base + HEAD_BYTES..][..SECTOR - HEAD_BYTES]
                .iter()
                .filter(|b| **b != 0xFF)
                .count()
        })
        .expect("there are sectors");
    flash.bytes[blank_again..blank_again + SECTOR].fill(0xFF);
    let mut journal = open(flash);
    while journal.flash.erases == erases {
        let number = journal.next_number().expect("reads");
        let used = journal.sectors_used().0;
        journal.append(&payload(number)).expect("there is room");
        let begun = journal.sectors_used().0 > used;
        assert!(
            !begun || journal.flash.erases > erases,
            "begun without an erase"
        );
    }
}
