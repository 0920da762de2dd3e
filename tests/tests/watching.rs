//! After the test, on the virtual board: load steps that prove or refute, and the load-cycle
//! watch with its records, started and stopped by link and button.
//!
//! The house is computed; the rules are those of the measurement (load-step ratio; a frame ground
//! that moves by more than 0.10 V beyond the neutral's drop; fewer than three steps say nothing).
//! 1 kohm of frame ground with half a milliampere of leakage moves by 0.5 V (arithmetic).

use slotwise_core::evidence::{Measured, Watch};
use slotwise_core::finding::FindingCode;
use slotwise_core::lamps::{Lamp, Rhythm};
use slotwise_core::link::{Phase, Request};
use slotwise_core::record::{Body, Record, Test};
use slotwise_core::slots::ClipTarget;
use slotwise_core::units::{Amperes, Ohms};
use slotwise_core::verdict::Outcome;
use slotwise_core::watch::PAGE_SECONDS;
use slotwise_tests::bench::{Answer, Bench};
use slotwise_virtual::house::{Appliance, Joint, Receptacle};

/// A furnace whose inducer comes and goes: 6 A, 5 s off, 5 s on, some leakage to its frame.
fn furnace() -> Appliance {
    Appliance {
        leak: Amperes::new(0.0005),
        ..Appliance::cycling(6.0, 5, 5)
    }
}

fn with_furnace() -> Receptacle {
    Receptacle::sound()
        .with_appliance(furnace())
        .with_clip(ClipTarget::ApplianceFrame)
}

fn with_frame_joint(joint: Joint) -> Receptacle {
    Receptacle {
        frame_joint: joint,
        ..with_furnace()
    }
}

fn tests(records: &[Record]) -> Vec<&Test> {
    records
        .iter()
        .filter_map(|record| match &record.body {
            Body::Test(test) => Some(test),
            _ => None,
        })
        .collect()
}

fn ask(bench: &mut Bench, request: Request) -> bool {
    let (_, answer) = bench.ask(request);
    matches!(&answer, Answer::Other(text) if text == "Done")
}

fn start(bench: &mut Bench) -> bool {
    ask(
        bench,
        Request::StartWatch {
            clip: ClipTarget::ApplianceFrame,
        },
    )
}

/// Plugs in, lets the test pass, watches for so many seconds, stops.
fn watched(bench: &mut Bench, receptacle: &Receptacle, seconds: u64) -> Vec<Record> {
    bench.hand.plug(receptacle).expect("it is solved");
    bench.board.run_for(16_000);
    assert!(start(bench), "a watch begins");
    bench.board.run_for(seconds * 1000);
    assert!(ask(bench, Request::StopWatch));
    bench.board.run_for(50);
    bench.pull()
}

fn summary(records: &[Record]) -> (Watch, &Test) {
    let last = *tests(records).last().expect("a test");
    (last.evidence.watch.expect("it was watched"), last)
}

#[test]
fn a_sound_outlet_is_not_condemned_for_its_neutral_drop() {
    let mut bench = Bench::new(51);
    let records = watched(&mut bench, &with_furnace(), 55);
    let (watch, test) = summary(&records);
    assert!((53..=55).contains(&watch.seconds), "{watch:?}");
    assert!((9..=12).contains(&watch.steps), "{watch:?}");
    let (Measured::Known(drop), Measured::Known(shift)) = (watch.neutral_drop, watch.frame_shift)
    else {
        panic!("{watch:?}");
    };
    // 6 A through 0.17 ohm of neutral.
    assert!((0.8..1.3).contains(&drop.value.get()), "{watch:?}");
    assert!(shift.value.get() < 0.02, "{watch:?}");
    assert_eq!(test.verdict.outcome, Outcome::NoFaultFound);
    assert!(!test.verdict.unproven.separate_ground, "the steps say so");
    let lamp = bench.board.tester().panel().rhythm(Lamp::SteadyUnderLoad);
    assert_eq!(lamp, Rhythm::Steady);
    let steps = records
        .iter()
        .filter(|record| matches!(record.body, Body::WatchStep(_)))
        .count();
    assert_eq!(steps, usize::from(watch.steps), "every step is kept");
    let pages = records
        .iter()
        .filter(|record| matches!(record.body, Body::WatchPage(_)))
        .count();
    assert_eq!(pages, 1, "the minute in hand is kept at the end");
}

#[test]
fn a_frame_ground_of_a_kilohm_moves_and_is_found() {
    let mut bench = Bench::new(52);
    let receptacle = with_frame_joint(Joint::Weak(Ohms::new(1_000.0)));
    let records = watched(&mut bench, &receptacle, 55);
    let (watch, test) = summary(&records);
    let Measured::Known(shift) = watch.frame_shift else {
        panic!("{watch:?}");
    };
    assert!((0.3..0.7).contains(&shift.value.get()), "{watch:?}");
    assert!(test.verdict.has(FindingCode::FrameGroundMoves));
    assert_eq!(test.verdict.outcome, Outcome::Fault);
    let lamp = bench.board.tester().panel().rhythm(Lamp::SteadyUnderLoad);
    assert_eq!(lamp, Rhythm::FastBlink);
}

#[test]
fn without_load_steps_a_watch_is_not_exercised() {
    let mut bench = Bench::new(53);
    let receptacle = Receptacle::sound()
        .with_appliance(Appliance::steady(6.0))
        .with_clip(ClipTarget::ApplianceFrame);
    let records = watched(&mut bench, &receptacle, 20);
    let (watch, test) = summary(&records);
    assert_eq!(watch.steps, 0);
    assert!(test.verdict.has(FindingCode::WatchNotExercised));
    let lamp = bench.board.tester().panel().rhythm(Lamp::SteadyUnderLoad);
    assert_eq!(lamp, Rhythm::SlowBlink, "never a pass");
}

#[test]
fn a_long_watch_leaves_a_page_a_minute_and_loses_no_second() {
    let mut bench = Bench::new(54);
    let records = watched(&mut bench, &with_furnace(), 150);
    let pages: Vec<_> = records
        .iter()
        .filter_map(|record| match &record.body {
            Body::WatchPage(page) => Some(page),
            _ => None,
        })
        .collect();
    let first: Vec<u16> = pages.iter().map(|page| page.first).collect();
    assert_eq!(first, [0, 60, 120]);
    assert_eq!(pages[0].seconds.len(), PAGE_SECONDS);
    assert_eq!(pages[1].seconds.len(), PAGE_SECONDS);
    assert!(
        pages
            .iter()
            .all(|page| page.seconds.iter().all(Option::is_some))
    );
    let status = bench.status();
    assert_eq!(
        status.bad_frames, 0,
        "no frame lost while records were written"
    );
}

#[test]
fn the_button_held_begins_and_ends_a_watch() {
    let mut bench = Bench::new(55);
    bench.hand.plug(&with_furnace()).unwrap();
    bench.board.run_for(16_000);
    let hold = |bench: &mut Bench| {
        bench.board.button.press();
        bench.board.run_for(2_000);
        bench.board.button.release();
        bench.board.run_for(100);
    };
    hold(&mut bench);
    assert!(!start(&mut bench), "a watch runs already");
    bench.board.run_for(25_000);
    hold(&mut bench);
    bench.board.run_for(100);
    let records = bench.pull();
    let (watch, _) = summary(&records);
    assert!(watch.steps >= 4, "{watch:?}");
}

#[test]
fn a_watch_does_not_begin_in_a_test_and_ends_in_a_record_when_unplugged() {
    let mut bench = Bench::new(56);
    bench.hand.plug(&with_furnace()).unwrap();
    bench.board.run_for(1_000);
    assert!(!start(&mut bench), "a test runs");
    bench.board.run_for(16_000);
    assert!(start(&mut bench));
    bench.board.run_for(30_000);
    bench.unplug();
    bench.board.run_for(2_000);
    let records = bench.pull();
    let (watch, _) = summary(&records);
    assert!(watch.steps >= 5, "{watch:?}");
    assert!(matches!(
        records.last().map(|record| &record.body),
        Some(Body::Test(_))
    ));
    assert_eq!(bench.board.tester().panel().rhythms, [Rhythm::Off; 6]);
}

#[test]
fn load_steps_and_another_earth_prove_a_receptacle() {
    let mut bench = Bench::new(57);
    let receptacle = with_furnace().with_clip(ClipTarget::IndependentEarth);
    bench.hand.plug(&receptacle).unwrap();
    bench.board.run_for(200);
    assert!(ask(
        &mut bench,
        Request::StartTest {
            clip: ClipTarget::IndependentEarth,
        },
    ));
    bench.board.run_for(60_000);
    let verdict = bench.board.tester().verdict().expect("an answer").clone();
    assert_eq!(verdict.outcome, Outcome::Proven, "{verdict:?}");
    assert_eq!(
        bench.board.tester().panel().rhythm(Lamp::Proven),
        Rhythm::Steady
    );
    let records = bench.pull();
    let last = *tests(&records).last().unwrap();
    assert_eq!(last.verdict.outcome, Outcome::Proven, "and it is kept");
    let step = last.evidence.load_step.expect("steps were seen");
    // Copper of 60 ft and its joints, against the whole loop (house model: 0.44).
    assert!((0.35..0.50).contains(&step.rho.value.get()), "{step:?}");
}

#[test]
fn load_steps_refute_a_joined_ground() {
    let mut bench = Bench::new(58);
    let receptacle = Receptacle {
        jumper: Some(Ohms::new(0.005)),
        ..Receptacle::sound().with_slots(
            slotwise_virtual::house::Conductor::Leg1,
            slotwise_virtual::house::Conductor::Neutral,
            slotwise_virtual::house::Conductor::Nothing,
        )
    }
    .with_appliance(furnace());
    bench.hand.plug(&receptacle).unwrap();
    bench.board.run_for(60_000);
    let verdict = bench.board.tester().verdict().expect("an answer").clone();
    assert!(
        verdict.has(FindingCode::JoinedNearReceptacle),
        "{verdict:?}"
    );
    // Reversed as well it would have every frame live, and three slots cannot show that.
    assert_eq!(verdict.outcome, Outcome::Danger);
    let records = bench.pull();
    let last = *tests(&records).last().unwrap();
    assert!(last.verdict.has(FindingCode::JoinedNearReceptacle));
}

#[test]
fn another_wiring_ends_the_watch_keeps_it_and_is_tested() {
    let mut bench = Bench::new(59);
    bench.hand.plug(&with_furnace()).unwrap();
    bench.board.run_for(16_000);
    assert!(start(&mut bench));
    bench.board.run_for(30_000);
    bench.plug("reversed-polarity");
    bench.board.run_for(5_000);
    let records = bench.pull();
    let tests = tests(&records);
    let watched = tests.iter().filter(|test| test.evidence.watch.is_ok());
    assert_eq!(watched.count(), 1, "the watch is kept");
    let last = tests.last().unwrap();
    assert!(last.verdict.has(FindingCode::ReversedPolarity));
}

#[test]
fn what_it_is_doing_is_told_over_the_link() {
    let mut bench = Bench::new(60);
    bench.hand.plug(&with_furnace()).unwrap();
    let mut seen = Vec::new();
    for _ in 0..70 {
        bench.board.run_for(200);
        let phase = bench.look().phase;
        if seen.last() != Some(&phase) {
            seen.push(phase);
        }
    }
    start(&mut bench);
    bench.board.run_for(3_000);
    let look = bench.look();
    seen.push(look.phase);
    assert_eq!(
        seen,
        [
            Phase::Wiring,
            Phase::EarthPath,
            Phase::NeutralAndGround,
            Phase::Wiring,
            Phase::Steady,
            Phase::LoadCycle,
        ]
    );
    let watch = look.watch.expect("it runs");
    assert!(watch.seconds >= 2, "{watch:?}");
}
