//! Clock chip and display under the whole firmware on the virtual board: true times in records, no
//! time where there is none, and a screen that says what the lamps say and nothing old.

use slotwise_core::link::{ClockChip, Request, WorkshopRequest};
use slotwise_core::record::Record;
use slotwise_core::units::UnixSeconds;
use slotwise_firmware::display::screen::Look;
use slotwise_firmware::display::texts::ENGLISH;
use slotwise_tests::bench::{Answer, Bench};
use slotwise_tests::outside::root;
use slotwise_tests::tester_picture::{Image, image};
use slotwise_tests::tester_states::{states, with_display};
use slotwise_virtual::board::workshop_flash;
use slotwise_virtual::chips::side_bus::{Cell, SideParts, VirtualDisplay, VirtualRtc};
use slotwise_virtual::tester::{Specimen, Tolerance};

use slotwise::texts::{English, Language as _};
use slotwise_core::finding::FindingCode;

/// 2026-11-25T18:52:07Z, by `date -u`.
const NOW: u64 = 1_795_632_727;

fn bench(rtc: Option<VirtualRtc>) -> Bench {
    let specimen = Specimen::draw(61, &Tolerance::USUAL);
    let contents = workshop_flash(&specimen).expect("the workshop calibrates it");
    with(specimen, contents, rtc)
}

fn with(specimen: Specimen, contents: Vec<u8>, rtc: Option<VirtualRtc>) -> Bench {
    let parts = SideParts { rtc, display: None };
    Bench::with_parts(specimen, contents, parts, |_, _| {})
}

fn clock(bench: &mut Bench) -> String {
    match bench.ask(Request::Workshop(WorkshopRequest::Clock)) {
        (_, Answer::Other(text)) => text,
        (_, other) => panic!("{other:?}"),
    }
}

fn set_clock(bench: &mut Bench, clock: u64) -> String {
    let clock = UnixSeconds::new(clock);
    let mut ask = |request| match bench.ask(Request::Workshop(request)) {
        (_, Answer::Other(text)) => text,
        (_, other) => panic!("{other:?}"),
    };
    let offered = ask(WorkshopRequest::OfferClock { clock });
    let token = offered
        .strip_prefix("Workshop(Offered { token: ")
        .and_then(|rest| rest.strip_suffix(" })"));
    match token {
        None => offered,
        Some(token) => {
            let token = token.parse().expect("a number");
            let other = WorkshopRequest::SetClock {
                token: u32::wrapping_add(token, 1),
            };
            assert_eq!(ask(other), "Workshop(Refused(Token))");
            let done = ask(WorkshopRequest::SetClock { token });
            let again = ask(WorkshopRequest::SetClock { token });
            assert_eq!(again, "Workshop(Refused(Token))", "an offer is taken once");
            done
        }
    }
}

fn times(records: &[Record]) -> Vec<Option<u64>> {
    let clock = |record: &Record| record.clock.map(UnixSeconds::get);
    records.iter().map(clock).collect()
}

#[test]
fn records_carry_the_chips_time_from_the_first_on() {
    let mut bench = bench(Some(VirtualRtc::running(NOW)));
    bench.plug("open-ground");
    bench.board.run_for(30_000);
    let records = bench.pull();
    assert!(records.len() >= 2);
    for record in &records {
        let clock = record.clock.expect("the chip has the time").get();
        let truth = NOW + record.at.get() / 1000;
        // Whole seconds of the chip, and the milliseconds between power-on and the first frame.
        assert!(clock.abs_diff(truth) <= 1, "{clock} at {truth}");
    }
}

#[test]
fn a_chip_without_the_time_gives_records_without_one_until_the_host_sets_it() {
    for rtc in [Some(VirtualRtc::never_set()), None] {
        let has_chip = rtc.is_some();
        let mut bench = bench(rtc);
        bench.plug("open-ground");
        bench.board.run_for(5_000);
        let before = bench.pull();
        assert!(times(&before).iter().all(Option::is_none));
        let chip = if has_chip {
            ClockChip::Stopped
        } else {
            ClockChip::Absent
        };
        let told = clock(&mut bench);
        assert!(
            told.contains(&format!("clock: None, chip: {chip:?}")),
            "{told}"
        );
        assert_eq!(set_clock(&mut bench, NOW), "Workshop(Done)");
        bench.board.run_for(20);
        let chip = if has_chip {
            ClockChip::Running
        } else {
            // The tester knows the time until it is switched off, and says that the chip does not.
            ClockChip::Absent
        };
        let told = clock(&mut bench);
        assert!(told.contains(&format!("chip: {chip:?}")), "{told}");
        assert!(told.contains("clock: Some(UnixSeconds(17956327"), "{told}");
        bench.unplug();
        bench.board.run_for(2_000);
        bench.plug("reversed-polarity");
        bench.board.run_for(5_000);
        let after = bench.pull();
        let last = after.last().expect("a record").clock.expect("a time").get();
        assert!((NOW..NOW + 30).contains(&last), "{last}");
        assert_eq!(
            times(&after)[..before.len()],
            times(&before),
            "nothing is rewritten"
        );
    }
}

#[test]
fn the_time_holds_over_a_start_with_a_good_cell_and_is_gone_with_an_empty_one() {
    let specimen = Specimen::draw(62, &Tolerance::USUAL);
    let contents = workshop_flash(&specimen).expect("the workshop calibrates it");
    let mut first = with(specimen.clone(), contents, Some(VirtualRtc::never_set()));
    first.board.run_for(500);
    set_clock(&mut first, NOW);
    first.board.run_for(3_000);
    let set = first.board.clock.nanos();
    for (cell, off) in [(Cell::Good, 86_400), (Cell::Empty, 86_400)] {
        let rtc = first.board.side.rtc().expect("on the board");
        let rtc = rtc.after_off(set, off, cell);
        let contents = first.board.nor.contents();
        let mut second = with(specimen.clone(), contents, Some(rtc));
        second.board.run_for(2_000);
        let records = second.pull();
        let last = records.last().expect("a start").clock;
        match cell {
            Cell::Good => {
                let last = last.expect("the chip has the time").get();
                assert!((NOW + off + 2..NOW + off + 6).contains(&last), "{last}");
            }
            Cell::Empty => {
                assert_eq!(last, None);
                assert!(clock(&mut second).contains("chip: Stopped"));
            }
        }
    }
}

#[test]
fn a_bus_that_sticks_while_the_tester_runs_costs_no_frame_and_no_time() {
    let mut bench = bench(Some(VirtualRtc::running(NOW)));
    bench.plug("open-ground");
    bench.board.run_for(3_000);
    bench.board.side.stick(true);
    bench.board.run_for(130_000);
    let told = clock(&mut bench);
    assert!(told.contains("chip: BusStuck"), "{told}");
    // What the tester has counted since it last knew still holds.
    assert!(told.contains("clock: Some(UnixSeconds(1795632"), "{told}");
    bench.board.side.stick(false);
    bench.board.side.fail_next(1);
    bench.board.run_for(130_000);
    assert!(clock(&mut bench).contains("chip: Running"));
    let status = bench.status();
    assert_eq!(status.bad_frames, 0);
    assert!(bench.board.longest_unfed_ms() < 200);
}

#[test]
fn a_time_that_is_none_is_refused_and_changes_nothing() {
    let mut bench = bench(Some(VirtualRtc::running(NOW)));
    bench.board.run_for(500);
    for none in [0, 1_700_000_000, 4_102_444_800, u64::MAX] {
        assert_eq!(set_clock(&mut bench, none), "Workshop(Refused(NotATime))");
    }
    bench.board.run_for(100);
    let told = clock(&mut bench);
    assert!(told.contains("chip: Running"), "{told}");
    let chip = bench.board.side.rtc().expect("on the board");
    assert!(chip.time(bench.board.clock.nanos()).abs_diff(NOW) < 10);
}

#[test]
fn with_a_display_no_frame_is_lost_and_the_lamps_answer_as_before() {
    let mut seen = Vec::new();
    for display in [None, Some(VirtualDisplay::new())] {
        let has_display = display.is_some();
        let specimen = Specimen::draw(63, &Tolerance::USUAL);
        let contents = workshop_flash(&specimen).expect("the workshop calibrates it");
        let parts = SideParts { rtc: None, display };
        let mut bench = Bench::with_parts(specimen, contents, parts, |_, _| {});
        bench.plug("sound");
        bench.board.run_for(500);
        let panel = *bench.board.tester().panel();
        bench.board.run_for(15_000);
        let status = bench.status();
        assert_eq!(status.bad_frames, 0, "display {has_display}");
        assert!(bench.board.longest_unfed_ms() < 200);
        if has_display {
            let shown = bench.board.side.display().expect("on the board");
            assert!(shown.refused().is_empty(), "{:?}", shown.refused());
            // One slice at the longest: its data in pieces of 17 bytes.
            assert!(bench.board.side.longest_transfer() < 500_000);
        }
        seen.push((panel, status.panel));
    }
    assert_eq!(seen[0], seen[1]);
}

#[test]
fn what_was_shown_is_gone_when_the_tester_fails_is_unplugged_or_starts_anew() {
    let mut bench = with_display(None, Some(VirtualRtc::running(NOW)));
    bench.plug("sound");
    bench.board.run_for(15_000);
    let answered = bench.board.side.display().expect("on the board").picture();
    bench.unplug();
    bench.board.run_for(1_500);
    let waiting = bench.board.side.display().expect("on the board").picture();
    assert_ne!(answered, waiting);
    bench.plug("sound");
    bench.board.run_for(6_000);
    bench.board.computer.grow_stack(0);
    bench.board.run_for(4_000);
    assert!(bench.board.tester().failure().is_some());
    let failed = bench.board.side_bus().display().screen().clone();
    assert_eq!(failed.look, Look::Fault);
    let text: Vec<&str> = failed.rows.iter().map(|line| line.as_str()).collect();
    assert!(!text.join(" ").contains('V'), "{text:?}");
    // A new start puts the old picture out before anything else.
    let display = bench.board.side.display();
    assert!(display.as_ref().is_some_and(VirtualDisplay::is_on));
    let parts = SideParts { rtc: None, display };
    let contents = bench.board.nor.contents();
    let again = Bench::with_parts(bench.specimen.clone(), contents, parts, |_, _| {});
    assert!(!again.board.side.display().expect("on the board").is_on());
}

#[test]
fn a_display_taken_off_and_put_on_is_found_again() {
    let mut bench = with_display(None, None);
    bench.plug("reversed-polarity");
    bench.board.run_for(3_000);
    bench.board.side.replace(SideParts::default());
    bench.board.run_for(3_000);
    bench.board.side.replace(SideParts {
        rtc: None,
        display: Some(VirtualDisplay::new()),
    });
    bench.board.run_for(2_000);
    let shown = bench.board.side.display().expect("on the board");
    assert!(shown.is_on() && shown.refused().is_empty());
    assert_eq!(bench.board.side_bus().display().screen().look, Look::Danger);
    assert_eq!(bench.status().bad_frames, 0);
}

/// Names of findings are the host's wherever those fit a line.
#[test]
fn the_displays_names_are_the_hosts_where_they_fit() {
    let mut same = 0;
    for code in FindingCode::ALL {
        let (short, title) = ((ENGLISH.finding)(code), English.finding(code).title);
        if title.chars().count() <= 21 {
            assert_eq!(short, title, "{code:?}");
            same += 1;
        }
    }
    assert!(same >= 8, "{same}");
    assert_eq!(ENGLISH.symbols, English.labels().symbols);
}

/// `cargo run -p slotwise-tests --example tester_pictures` makes it anew.
#[test]
fn the_picture_of_the_screens_is_up_to_date() {
    let file = std::fs::read(root().join("host/pictures/tester.png")).expect("it is there");
    let kept = Image::of_png(&file).expect("a picture of ours");
    assert!(
        kept == image(&states()),
        "the screens have changed; look at them, and make host/pictures/tester.png anew: see above"
    );
}
