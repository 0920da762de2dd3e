//! The whole firmware, drivers and all, on the virtual board: a tester carried along the
//! terrace, its lamps, its button, its log.

use slotwise_core::finding::FindingCode;
use slotwise_core::lamps::{Lamp, Rhythm};
use slotwise_core::link::{JournalState, PROTOCOL, Request};
use slotwise_core::record::{Body, BootCause, Record, RecordNumber, SCHEMA};
use slotwise_core::slots::ClipTarget;
use slotwise_core::start::{BuildId, FileName, Start, Stop, Stopped};
use slotwise_core::units::Millis;
use slotwise_core::verdict::Outcome;
use slotwise_tests::bench::{Answer, Bench};
use slotwise_virtual::chips::nor::PowerCut;
use slotwise_virtual::tester::{Specimen, Tolerance};

fn first_code(record: &Record) -> Option<FindingCode> {
    match &record.body {
        Body::Test(test) => test.verdict.first().map(|finding| finding.code),
        _ => None,
    }
}

#[test]
fn a_walk_along_the_terrace_leaves_one_record_a_receptacle() {
    let mut bench = Bench::new(11);
    bench.board.run_for(3000);
    for name in ["sound", "reversed-polarity", "open-ground"] {
        bench.plug(name);
        bench.board.run_for(15_000);
        bench.unplug();
        bench.board.run_for(1500);
    }
    let records = bench.pull();
    let codes: Vec<_> = records.iter().map(first_code).collect();
    assert_eq!(
        codes,
        [
            None,                    // the start
            Some(FindingCode::Dead), // in the hand
            Some(FindingCode::ReadsSound),
            Some(FindingCode::ReversedPolarity),
            Some(FindingCode::OpenGround),
        ]
    );
    let start = Start {
        cause: BootCause::PowerOn,
        build: None,
        stopped: None,
    };
    assert_eq!(records[0].body, Body::Start(start));
    for (place, record) in records.iter().enumerate() {
        assert_eq!(record.number, RecordNumber::new(place as u32 + 1));
        assert_eq!(record.boot, 1);
    }
    let status = bench.status();
    assert_eq!(
        status.bad_frames, 0,
        "no frame lost while the journal was written"
    );
    assert_eq!(status.journal, JournalState::Writable);
    assert_eq!(bench.board.adc.misuse(), []);
    assert_eq!(bench.board.nor.violations(), []);
}

/// What memory kept of the run before is in the first record and told over the link; the same
/// again, by a start that got no further than to write that, is not told twice.
#[test]
fn a_start_tells_once_how_the_run_before_ended() {
    let how = Stop::Panic {
        file: FileName::new("firmware/src/some.rs"),
        line: 12,
    };
    let stopped = Some(Stopped {
        boot: 1,
        at: Millis::new(90_000),
        how,
    });
    let build = Some(BuildId([7; 8]));
    let cause = BootCause::Panic;
    let start = Start {
        cause,
        build,
        stopped,
    };
    let mut bench = Bench::started(14, None, start);
    assert!(!bench.board.tester().start_is_kept());
    bench.board.run_for(5);
    let contents = bench.board.nor.contents();
    assert!(bench.board.tester().start_is_kept());
    assert_eq!(bench.pull()[0].body, Body::Start(start));
    let (_, Answer::Other(said)) = bench.ask(Request::Firmware) else {
        panic!("another answer");
    };
    assert!(said.contains("firmware/src/some.rs"), "{said}");

    let mut bench = Bench::started(14, Some(contents), start);
    assert!(bench.board.tester().start_is_kept());
    let records = bench.pull();
    assert_eq!(records.len(), 2);
    let without = Start {
        stopped: None,
        ..start
    };
    assert_eq!(records[1].body, Body::Start(without));
}

#[test]
fn lamps_answer_within_half_a_second_of_plugging_in() {
    let mut bench = Bench::new(12);
    bench.board.run_for(3000);
    assert_eq!(
        bench.board.tester().panel().rhythm(Lamp::LiveMetal),
        Rhythm::Off
    );
    bench.plug("reversed-and-joined");
    bench.board.run_for(500);
    assert_eq!(
        bench.board.tester().panel().rhythm(Lamp::WiredRight),
        Rhythm::SlowBlink,
        "reads sound, and three slots prove nothing"
    );
    bench.unplug();
    bench.board.run_for(1000);
    bench.plug("ground-on-other-leg");
    bench.board.run_for(500);
    let red = &bench.board.lamps[Lamp::LiveMetal as usize];
    let before = red.edges().len();
    bench.board.run_for(1000);
    let red = &bench.board.lamps[Lamp::LiveMetal as usize];
    assert!(
        red.edges().len() >= before + 15,
        "the red lamp pulses at 8 Hz"
    );
    for lamp in &bench.board.lamps[1..] {
        assert!(!lamp.is_high(), "all others are dark");
    }
    bench.unplug();
    bench.board.run_for(1500);
    assert_eq!(
        bench.board.tester().panel().rhythms,
        [Rhythm::Off; 6],
        "out of the receptacle, dark again"
    );
}

#[test]
fn an_independent_earth_said_over_the_link_shows_the_live_frame() {
    let mut bench = Bench::new(13);
    bench.plug("reversed-and-joined");
    bench.board.run_for(15_000);
    assert_eq!(
        bench
            .board
            .tester()
            .verdict()
            .map(|verdict| verdict.outcome),
        Some(Outcome::NoFaultFound)
    );
    let (_, answer) = bench.ask(Request::StartTest {
        clip: ClipTarget::IndependentEarth,
    });
    assert!(
        matches!(&answer, Answer::Other(text) if text == "Done"),
        "{answer:?}"
    );
    bench.board.run_for(3000);
    let verdict = bench.board.tester().verdict().expect("an answer");
    assert_eq!(verdict.outcome, Outcome::Danger);
    assert_eq!(
        first_code(bench.pull().last().expect("records")),
        Some(FindingCode::ReversedAndJoined)
    );
}

#[test]
fn a_press_blinks_out_the_finding_number() {
    let mut bench = Bench::new(14);
    bench.plug("open-ground");
    bench.board.run_for(3000);
    let lamp = bench.board.lamps[Lamp::WiredRight as usize].clone();
    bench.board.button.press();
    bench.board.run_for(100);
    bench.board.button.release();
    bench.board.run_for(300);
    let _ = lamp.take_edges();
    // 13: one flash, a pause, three flashes: 1 s lead-in, 0.6 s a flash, 1 s pause.
    bench.board.run_for(5000);
    let rises: Vec<u64> = lamp
        .edges()
        .iter()
        .filter(|edge| edge.high)
        .map(|edge| edge.nanos / 1_000_000)
        .collect();
    assert!(rises.len() >= 4, "{rises:?}");
    let gaps: Vec<u64> = rises
        .windows(2)
        .take(3)
        .map(|pair| pair[1] - pair[0])
        .collect();
    assert_eq!(gaps[0] / 100, 16, "tens, then a pause: {gaps:?}");
    assert_eq!(
        (gaps[1] / 100, gaps[2] / 100),
        (6, 6),
        "three flashes: {gaps:?}"
    );
}

#[test]
fn a_restart_goes_on_with_numbers_boots_and_chain() {
    let mut bench = Bench::new(15);
    bench.plug("sound");
    bench.board.run_for(15_000);
    let before = bench.pull();
    let contents = bench.board.nor.contents();
    let mut again = Bench::with_contents(bench.specimen.clone(), contents);
    again.plug("sound");
    again.board.run_for(15_000);
    let after = again.pull();
    assert_eq!(after[..before.len()], before[..]);
    assert!(after.len() > before.len());
    let boots: Vec<u32> = after.iter().map(|record| record.boot).collect();
    assert!(boots.contains(&1) && boots.ends_with(&[2]), "{boots:?}");
    assert!(boots.is_sorted());
}

#[test]
fn a_tester_without_calibration_gives_no_answer_and_says_so() {
    let specimen = Specimen::draw(16, &Tolerance::USUAL);
    let blank = vec![0xFF; slotwise_virtual::board::NOR_BYTES];
    let mut bench = Bench::with_contents(specimen, blank);
    bench.plug("sound");
    bench.board.run_for(1000);
    let verdict = bench.board.tester().verdict().expect("an answer");
    assert_eq!(verdict.outcome, Outcome::TesterFault);
    assert!(verdict.has(FindingCode::NotCalibrated));
}

#[test]
fn a_dead_ground_channel_is_a_tester_fault_not_a_finding() {
    for lead in [
        slotwise_core::slots::Lead::Narrow,
        slotwise_core::slots::Lead::Wide,
        slotwise_core::slots::Lead::Ground,
    ] {
        let mut bench = Bench::new(17);
        bench
            .board
            .adc
            .stick(lead, Some(slotwise_core::sample::AdcCode::saturating(0)));
        bench.plug("sound");
        bench.board.run_for(3500);
        let verdict = bench.board.tester().verdict().expect("an answer");
        assert_eq!(verdict.outcome, Outcome::TesterFault, "{lead:?}");
        assert!(verdict.has(FindingCode::StringSumBroken), "{lead:?}");
    }
}

#[test]
fn damaged_frames_are_counted_and_never_measured() {
    let mut bench = Bench::new(18);
    bench.plug("sound");
    bench.board.run_for(100);
    let now = bench.board.clock.frame();
    for number in (0..8000).step_by(400) {
        bench.board.adc.corrupt(now + 10 + number);
    }
    bench.board.run_for(1500);
    let verdict = bench.board.tester().verdict().expect("an answer");
    assert_eq!(verdict.outcome, Outcome::TesterFault);
    assert!(verdict.has(FindingCode::FramesDamaged));
    assert!(bench.status().bad_frames >= 10);
}

#[test]
fn power_lost_in_a_record_loses_no_earlier_one() {
    let mut bench = Bench::new(19);
    bench.plug("sound");
    bench.board.run_for(15_000);
    let before = bench.pull();
    assert_eq!(before.len(), 2);
    bench.board.nor.cut_power(PowerCut::AfterBytes(300));
    let (_, _) = bench.ask(Request::StartTest {
        clip: ClipTarget::NotConnected,
    });
    bench.board.run_for(15_000);
    assert!(!bench.board.nor.is_powered(), "the cut happened");
    let contents = bench.board.nor.contents();
    let mut again = Bench::with_contents(bench.specimen.clone(), contents);
    again.board.run_for(3000);
    let after = again.pull();
    assert_eq!(after[..2], before[..]);
    assert!(after.len() >= 4, "the log goes on: {}", after.len());
}

#[test]
fn a_host_of_another_protocol_is_refused_by_name() {
    let mut bench = Bench::new(20);
    let (_, answer) = bench.ask(Request::Hello {
        protocol: PROTOCOL + 1,
        schema: SCHEMA,
    });
    assert!(
        matches!(&answer, Answer::Other(text) if text.contains("Protocol { spoken: 1 }")),
        "{answer:?}"
    );
}
