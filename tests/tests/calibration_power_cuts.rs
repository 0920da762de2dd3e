//! The whole way of a calibration over the line, offer and token, with the power failing while it is
//! stored: after the next start the tester has the calibration from before or the new one, whole,
//! or none if it never had one. A half-written one is never in force.
//!
//! Every byte of the store itself is cut in `calibration_store`'s own tests; here every third byte
//! of both copies and some of both erases, through the real driver on the virtual part.

use slotwise_core::calibration::{Calibration, MAX_BYTES};
use slotwise_core::link::{Request, WorkshopReply, WorkshopRequest};
use slotwise_tests::bench::{Answer, Bench};
use slotwise_virtual::board::{NOR_BYTES, calibrate, workshop_flash};
use slotwise_virtual::chips::nor::{PowerCut, SECTOR};
use slotwise_virtual::tester::{Specimen, Tolerance};

/// Magic, generation, length and check word around the content.
const AROUND: u64 = 14;

/// The answer, as its words: what a workshop says is compared, not used.
fn ask(bench: &mut Bench, request: WorkshopRequest) -> String {
    match bench.ask(Request::Workshop(request)) {
        (_, Answer::Other(words)) => words,
        (_, other) => panic!("{other:?}"),
    }
}

fn in_force(calibration: Option<Calibration>) -> String {
    let reply = WorkshopReply::Calibration(calibration);
    format!("Workshop({reply:?})")
}

fn token(words: &str) -> u32 {
    let digits: String = words.chars().filter(char::is_ascii_digit).collect();
    assert!(words.starts_with("Workshop(Offered"), "{words}");
    digits.parse().expect("a token")
}

#[test]
fn a_power_cut_while_it_is_stored_leaves_the_old_or_the_new_calibration() {
    let specimen = Specimen::draw(81, &Tolerance::USUAL);
    let old = calibrate(&specimen);
    let mut new = old;
    new.channels[1].gain *= 1.0001;
    let mut buffer = [0; MAX_BYTES];
    let length = new.encode(&mut buffer).expect("it fits").len() as u64;
    // Erase, copy, erase, copy.
    let (sector, copy) = (SECTOR as u64, AROUND + length);
    let mut cuts: Vec<u64> = Vec::new();
    for from in [0, sector + copy] {
        cuts.extend((from..from + sector).step_by(512));
        cuts.extend((from + sector..from + sector + copy).step_by(3));
    }
    let calibrated = workshop_flash(&specimen).expect("a working tester");
    let blank = vec![0xFF; NOR_BYTES];
    let (mut seen_old, mut seen_new) = (0, 0);
    for (contents, before) in [(blank, None), (calibrated, Some(old))] {
        for &cut in &cuts {
            let mut bench = Bench::with_contents(specimen.clone(), contents.clone());
            // The start's own record is written first.
            bench.board.run_for(50);
            let offered = ask(&mut bench, WorkshopRequest::Offer(new));
            let token = token(&offered);
            bench.board.nor.cut_power(PowerCut::AfterBytes(cut));
            let stored = ask(&mut bench, WorkshopRequest::Store { token });
            assert!(
                !bench.board.nor.is_powered(),
                "byte {cut}: the cut happened"
            );
            assert_ne!(stored, "Workshop(Done)", "byte {cut}");
            let left = bench.board.nor.contents();
            let mut again = Bench::with_contents(specimen.clone(), left);
            again.board.run_for(50);
            let now = ask(&mut again, WorkshopRequest::Calibration);
            if now == in_force(Some(new)) {
                seen_new += 1;
            } else {
                assert_eq!(now, in_force(before), "byte {cut}");
                seen_old += 1;
            }
            // And it can be stored then.
            let offered = ask(&mut again, WorkshopRequest::Offer(new));
            let token = self::token(&offered);
            let stored = ask(&mut again, WorkshopRequest::Store { token });
            assert_eq!(stored, "Workshop(Done)", "byte {cut}");
            let now = ask(&mut again, WorkshopRequest::Calibration);
            assert_eq!(now, in_force(Some(new)), "byte {cut}");
        }
    }
    println!(
        "{} cuts: {seen_old} times as before, {seen_new} times new",
        seen_old + seen_new
    );
    assert!(seen_old > 0 && seen_new > 0);
}
