//! The whole way of a calibration over the line, offer and token, with the power failing while it is
//! stored: after the next start the tester has the calibration from before or the new one, whole,
//! or none if it never had one, and says which. A half-written one is never in force.
//!
//! Every operation and every byte of both copies is cut, through the real driver on the virtual part;
//! of the two erases every eighth byte, and every one by a command of its own:
//! `cargo test -p slotwise-tests --test calibration_power_cuts -- --ignored --nocapture`.

use slotwise_core::calibration::limiters::Limiters;
use slotwise_core::calibration::{Calibration, MAX_BYTES};
use slotwise_core::link::{Request, WorkshopReply, WorkshopRequest};
use slotwise_core::units::Amperes;
use slotwise_tests::bench::{Answer, Bench};
use slotwise_virtual::board::{NOR_BYTES, calibrate, workshop_flash};
use slotwise_virtual::chips::nor::{PowerCut, SECTOR};
use slotwise_virtual::tester::{Specimen, Tolerance};

/// Magic, generation, length and check word around the content.
const AROUND: u64 = 14;

/// Erase, copy, erase, copy: a copy of this length is two or three page programs.
const MOST_OPERATIONS: u64 = 12;

/// What sound limiters let through.
const LIMITERS: Limiters = Limiters {
    to_ground: [Amperes::new(2.57e-3); 2],
    to_clip: [Amperes::new(2.57e-3); 2],
};

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

/// Offers a calibration and stores it with the token of the offer.
fn store(bench: &mut Bench, new: Calibration, cut: Option<PowerCut>) -> String {
    let told = ask(bench, WorkshopRequest::Limiters(LIMITERS));
    assert_eq!(told, "Workshop(Done)");
    let words = ask(bench, WorkshopRequest::Offer(new));
    let digits: String = words.chars().filter(char::is_ascii_digit).collect();
    assert!(words.starts_with("Workshop(Offered"), "{words}");
    let token = digits.parse().expect("a token");
    if let Some(cut) = cut {
        bench.board.nor.cut_power(cut);
    }
    ask(bench, WorkshopRequest::Store { token })
}

/// What was in force at the next start.
#[derive(Default, Debug)]
struct Seen {
    none: usize,
    old: usize,
    new: usize,
}

/// Cuts one store, starts again, and looks at what is in force and what is said of it. False if
/// the store was done before the cut.
fn cut_one(seen: &mut Seen, tester: &Tester, contents: &[u8], cut: PowerCut) -> bool {
    let before = (contents != tester.blank).then_some(tester.old);
    let mut bench = Bench::with_contents(tester.specimen.clone(), contents.to_vec());
    // The start's own record is written first.
    bench.board.run_for(50);
    let stored = store(&mut bench, tester.new, Some(cut));
    if bench.board.nor.is_powered() {
        assert_eq!(stored, "Workshop(Done)", "{cut:?}");
        return false;
    }
    assert_ne!(stored, "Workshop(Done)", "{cut:?}");
    let left = bench.board.nor.contents();
    let mut again = Bench::with_contents(tester.specimen.clone(), left);
    again.board.run_for(50);
    let now = ask(&mut again, WorkshopRequest::Calibration);
    let about = ask(&mut again, WorkshopRequest::About);
    let says_none = about.contains("calibration: Missing");
    if now == in_force(Some(tester.new)) {
        seen.new += 1;
    } else {
        assert_eq!(now, in_force(before), "{cut:?}");
        *if before.is_some() {
            &mut seen.old
        } else {
            &mut seen.none
        } += 1;
    }
    assert_eq!(says_none, now == in_force(None), "{cut:?}: {about}");
    // And it can be stored then.
    let stored = store(&mut again, tester.new, None);
    assert_eq!(stored, "Workshop(Done)", "{cut:?}");
    let now = ask(&mut again, WorkshopRequest::Calibration);
    assert_eq!(now, in_force(Some(tester.new)), "{cut:?}");
    let about = ask(&mut again, WorkshopRequest::About);
    assert!(about.contains("copies: Some(true)"), "{cut:?}: {about}");
    true
}

struct Tester {
    specimen: Specimen,
    blank: Vec<u8>,
    calibrated: Vec<u8>,
    old: Calibration,
    new: Calibration,
}

/// Cuts at every operation and byte, of the erases at every so many bytes.
fn cut_all(step: usize) {
    let specimen = Specimen::draw(81, &Tolerance::USUAL);
    let old = calibrate(&specimen);
    let mut new = old;
    new.channels[1].gain *= 1.0001;
    let mut buffer = [0; MAX_BYTES];
    let length = new.encode(&mut buffer).expect("it fits").len() as u64;
    let tester = Tester {
        calibrated: workshop_flash(&specimen).expect("a working tester"),
        blank: vec![0xFF; NOR_BYTES],
        specimen,
        old,
        new,
    };
    // Erase, copy, erase, copy; the last byte of an erase is one of those cut.
    let (sector, copy) = (SECTOR as u64, AROUND + length);
    let mut cuts: Vec<PowerCut> = Vec::new();
    for from in [0, sector + copy] {
        let erase = (from..from + sector).step_by(step);
        let written = from + sector - 1..from + sector + copy;
        cuts.extend(erase.chain(written).map(PowerCut::AfterBytes));
    }
    let mut seen = Seen::default();
    let mut tried = 0;
    for contents in [&tester.blank, &tester.calibrated] {
        for &cut in &cuts {
            // A blank sector may be left as it is: then the last bytes are not reached.
            tried += usize::from(cut_one(&mut seen, &tester, contents, cut));
        }
        let operations = (0..MOST_OPERATIONS).map(PowerCut::AfterOperations);
        let cut = operations
            .filter(|cut| cut_one(&mut seen, &tester, contents, *cut))
            .count();
        assert!((4..MOST_OPERATIONS as usize).contains(&cut), "{cut}");
        tried += cut;
    }
    println!("{tried} cuts; in force afterwards: {seen:?}");
    assert_eq!(tried, seen.none + seen.old + seen.new);
    assert!(tried > cuts.len(), "{tried} of {}", cuts.len());
    assert!(seen.none > 0 && seen.old > 0 && seen.new > 0, "{seen:?}");
}

#[test]
fn a_power_cut_while_it_is_stored_leaves_the_old_or_the_new_calibration() {
    cut_all(8);
}

#[test]
#[ignore = "every byte of the erases, too: minutes"]
fn a_power_cut_at_every_byte_of_the_erases_leaves_the_old_or_the_new_calibration() {
    cut_all(1);
}
