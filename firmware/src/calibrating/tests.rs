//! Storing by token on a flash whose power fails at any byte, and the age of what is in force.

use slotwise_core::calibration::raw::NOMINAL;
use slotwise_core::units::{Celsius, Ohms, Ratio};

use super::*;
use crate::journal::Journal;
use crate::strict_nor::{StrictNor, Torn};

const SECTOR: usize = 4096;
const DONE: u64 = 1_772_460_000;

type Flash = StrictNor<SECTOR>;

fn calibration(gain: f64, done: u64) -> Calibration {
    let mut calibration = Calibration {
        u_gain: Ratio::new(0.0011),
        reference: Ohms::new(10.0),
        temperature: Celsius::new(23.0),
        done: UnixSeconds::new(done),
        ..NOMINAL
    };
    calibration.channels[1].gain = gain;
    calibration
}

fn journal(flash: Flash) -> Journal<Flash> {
    Journal::open(flash).ok().expect("opens")
}

/// Offers and stores `new`; what the tester answered to the second step.
fn store(journal: &mut Journal<Flash>, new: Calibration) -> (Workshop, WorkshopReply) {
    let old = load(&mut journal.calibration_store());
    let mut workshop = Workshop::new(old);
    let now = Millis::new(1234);
    let offer = WorkshopRequest::Offer(new);
    let (reply, then) = workshop.answer(&offer, Some(journal), None, now);
    assert_eq!(then, Then::Nothing);
    let WorkshopReply::Offered { token } = reply else {
        panic!("{reply:?}");
    };
    let request = WorkshopRequest::Store { token };
    let (reply, _) = workshop.answer(&request, Some(journal), None, now);
    (workshop, reply)
}

#[test]
fn a_power_cut_while_storing_leaves_the_old_or_the_new_one() {
    let (old, new) = (calibration(1.001, DONE), calibration(0.999, DONE + 7));
    let mut first = journal(Flash::blank(16));
    assert_eq!(store(&mut first, old).1, WorkshopReply::Done);
    let start = first.close();
    let (mut cuts, mut news) = (0, 0);
    // Every 61st byte of two erases, and every byte of the copies behind them.
    for after in 0.. {
        let in_copy = after % SECTOR < 200;
        if !in_copy && after % 61 != 0 {
            continue;
        }
        let mut cut = journal(start.clone().cut_after(after, Torn::Untouched));
        let (_, reply) = store(&mut cut, new);
        if reply == WorkshopReply::Done {
            break;
        }
        assert_eq!(reply, WorkshopReply::Refused(WorkshopRefusal::NotStored));
        cuts += 1;
        let mut again = journal(cut.close().power_up());
        let stands = load(&mut again.calibration_store()).expect("one is whole");
        assert!(stands == old || stands == new, "cut after {after}");
        news += usize::from(stands == new);
    }
    println!("{cuts} cuts, the new one stood after {news}");
    assert!(cuts > 300 && news > 0 && news < cuts);
}

#[test]
fn what_is_in_force_ends_with_its_last_second() {
    let workshop = Workshop::new(Some(calibration(1.0, DONE)));
    let at = |clock: u64| workshop.in_force(Some(UnixSeconds::new(clock))).is_some();
    let last = DONE + 365 * 86_400;
    assert!(at(DONE) && at(last));
    assert!(!at(last + 1));
    assert!(
        workshop.in_force(None).is_some(),
        "no clock, no false expiry"
    );
}

#[test]
fn raw_readings_end_when_nobody_asks_or_the_port_closes() {
    let mut workshop = Workshop::new(None);
    let begin = WorkshopRequest::Measure(slotwise_core::calibration::raw::RawMeasure::Rest);
    let start = Millis::new(5_000);
    for (is_open, later, ends) in [
        (true, IDLE_MS - 1, false),
        (true, IDLE_MS, true),
        (false, 1, true),
    ] {
        let (reply, then) = workshop.answer::<Flash>(&begin, None, None, start);
        assert_eq!((reply, then), (WorkshopReply::Measuring, Then::StopTesting));
        let now = Millis::new(start.get() + later);
        assert_eq!(workshop.has_ended(is_open, now), ends, "{is_open} {later}");
        assert_eq!(workshop.is_measuring(), !ends);
    }
}
