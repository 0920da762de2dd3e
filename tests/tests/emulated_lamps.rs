//! Every state of every lamp, as a person sees it: on the pins of the real image, carried from
//! receptacle to receptacle, decoded by the legend's rhythms.
//!
//! How long each receptacle takes to show what it is there for is found on the desktop, which runs the
//! same firmware in the same house; there the panel is read, here the pins must beat so.
//! Which states there are is not written here: it is asked of the core, over every outcome, finding and
//! kind of evidence. A state of the core that no visit brings about fails the test.

use std::collections::HashSet;
use std::fmt::Write as _;

use slotwise_core::evidence::{Evidence, LoadStep, Measured, Reading};
use slotwise_core::finding::{Finding, FindingCode, NextCheck};
use slotwise_core::judge::failed_self_test;
use slotwise_core::lamps::{Lamp, Panel, Rhythm};
use slotwise_core::link::{JournalState, MAX_FRAME, Request, RequestEnvelope, encode};
use slotwise_core::slots::ClipTarget;
use slotwise_core::topology::TopologySet;
use slotwise_core::units::{Amperes, Hertz, Ohms, Ratio, Volts};
use slotwise_core::verdict::{Outcome, Unproven, Verdict};
use slotwise_tests::bench::Bench;
use slotwise_tests::emulator::{image_or_word, run_in_circuit};
use slotwise_tests::lamp_pins::LampPins;
use slotwise_tests::long_journal::LongJournal;
use slotwise_virtual::board::{NOR_BYTES, workshop_flash};
use slotwise_virtual::front_end::Stretch;
use slotwise_virtual::house::{Appliance, Joint, Receptacle, Supply, find};
use slotwise_virtual::tester::{Specimen, Tolerance};

use Lamp::{EarthPath, LiveMetal, Proven, SteadyUnderLoad, Supply as SupplyLamp, WiredRight};
use Rhythm::{FastBlink, FastPulse, SlowBlink, Steady};

/// In the hand between two receptacles.
const IN_HAND: u64 = 1_200;

/// From plugging in to saying what the clip is on.
const SAID_AFTER: u64 = 700;

/// Where loads switch, image and desktop may need a pass of a test more or less, seconds apart:
/// such a visit is looked at so much later.
const SETTLES: u64 = 10_000;

/// The lamps stand for so long after they show what is wanted, and are looked at in this part of it.
const STANDS: u64 = 2_500;
const LOOK: (u64, u64) = (200, 2_400);

/// How long a tester that is at fault is looked at, and the last part of it in which its lamps are.
const RUN: u64 = 4_000;
const LAST: u64 = 2_200;

/// A place, what is said of the clip there, and what some lamps must come to show.
struct Visit {
    receptacle: Receptacle,
    clip: Option<ClipTarget>,
    wanted: &'static [(Lamp, Rhythm)],
}

fn named(name: &str) -> Receptacle {
    find(name).expect("in the bank").receptacle.clone()
}

fn furnace() -> Appliance {
    Appliance {
        leak: Amperes::new(0.0005),
        ..Appliance::cycling(6.0, 4, 4)
    }
}

fn visits() -> Vec<Visit> {
    let visit = |receptacle, clip, wanted| Visit {
        receptacle,
        clip,
        wanted,
    };
    let earth = Some(ClipTarget::IndependentEarth);
    let low = Supply::pure(Volts::new(106.0), Hertz::new(60.0));
    vec![
        visit(
            named("open-ground"),
            None,
            &[(WiredRight, FastBlink), (EarthPath, FastBlink)],
        ),
        visit(named("reversed-polarity"), None, &[(LiveMetal, FastPulse)]),
        visit(named("supply-low"), None, &[(SupplyLamp, FastBlink)]),
        visit(
            Receptacle::sound().with_supply(low),
            None,
            &[(WiredRight, SlowBlink), (SupplyLamp, SlowBlink)],
        ),
        visit(
            Receptacle {
                neutral_joint: Joint::Weak(Ohms::new(3.0)),
                ..Receptacle::sound()
            },
            None,
            &[(SteadyUnderLoad, FastBlink)],
        ),
        visit(
            Receptacle::sound()
                .with_appliance(furnace())
                .with_clip(ClipTarget::IndependentEarth),
            earth,
            &[
                (WiredRight, Steady),
                (EarthPath, Steady),
                (SupplyLamp, Steady),
                (SteadyUnderLoad, Steady),
                (Proven, Steady),
            ],
        ),
        visit(
            named("open-ground").with_clip(ClipTarget::IndependentEarth),
            earth,
            &[(Proven, FastBlink)],
        ),
    ]
}

/// Every state that the core can show on any lamp: all outcomes, each finding, all that can be
/// unproven, and the evidence that the lamps look at.
fn all_states() -> HashSet<(Lamp, Rhythm)> {
    let outcomes = [
        Outcome::Proven,
        Outcome::NoFaultFound,
        Outcome::Fault,
        Outcome::Danger,
        Outcome::CannotTell,
        Outcome::TesterFault,
    ];
    let known = Measured::known(Ohms::new(0.3), Ohms::new(0.1));
    let step = LoadStep {
        rho: Reading {
            value: Ratio::new(0.5),
            u: Ratio::new(0.01),
        },
        rho_imaginary: Ratio::new(0.0),
        steps: 4,
        sag: Volts::new(1.0),
    };
    let mut states = HashSet::new();
    for case in 0..outcomes.len() * FindingCode::ALL.len() * 8 * 8 {
        let (outcome, case) = (outcomes[case % 6], case / 6);
        let code = FindingCode::ALL[case % FindingCode::ALL.len()];
        let bits = case / FindingCode::ALL.len();
        let is = |bit: usize| bits >> bit & 1 == 1;
        let finding = Finding {
            code,
            rivals: TopologySet::EMPTY,
            next: NextCheck::None,
        };
        let verdict = Verdict {
            outcome,
            findings: [finding].into_iter().collect(),
            unproven: Unproven {
                earth_path: is(0),
                separate_ground: is(1),
                polarity: is(2),
            },
        };
        let mut evidence = Evidence::empty();
        if is(3) {
            evidence.earth_path = known;
            evidence.frequency = Measured::known(Hertz::new(60.0), Hertz::new(0.01));
        }
        if is(4) {
            evidence.load_step = Ok(step);
        }
        if is(5) {
            evidence.clip_target = ClipTarget::IndependentEarth;
        }
        let panel = Panel::for_verdict(&verdict, &evidence);
        states.extend(Lamp::ALL.map(|lamp| (lamp, panel.rhythm(lamp))));
    }
    states
}

/// How long a visit takes until it shows what is wanted, and the panel then.
fn on_the_desktop(bench: &mut Bench, visit: &Visit) -> (u64, Panel) {
    bench.hand.plug(&visit.receptacle).expect("it is solved");
    let mut took = SAID_AFTER;
    bench.board.run_for(SAID_AFTER);
    if let Some(clip) = visit.clip {
        bench.ask(Request::StartTest { clip });
    }
    loop {
        let panel = *bench.board.tester().panel();
        if visit
            .wanted
            .iter()
            .all(|(lamp, rhythm)| panel.rhythm(*lamp) == *rhythm)
        {
            if visit.receptacle.appliance.is_some() {
                bench.board.run_for(SETTLES);
                took += SETTLES;
            }
            bench.board.run_for(STANDS);
            assert_eq!(*bench.board.tester().panel(), panel, "it stands");
            bench.unplug();
            bench.board.run_for(IN_HAND);
            return (took, panel);
        }
        assert!(took < 60_000, "{:?}: {panel:?}", visit.wanted);
        bench.board.run_for(100);
        took += 100;
    }
}

/// The lamps' pins of a run, and the milliseconds from power-on to the converter's first row.
struct Seen {
    pins: LampPins,
    before: f64,
}

impl Seen {
    /// Holds every lamp against this panel, between these milliseconds of the plan.
    fn show(&self, panel: &Panel, from: u64, to: u64, case: &str) -> Vec<(Lamp, Rhythm)> {
        let (from, to) = (from as f64 + self.before, to as f64 + self.before);
        let look = |lamp| {
            let rhythm = self.pins.rhythm(lamp, from, to);
            assert_eq!(
                rhythm,
                Some(panel.rhythm(lamp)),
                "{case}: {lamp:?} from {from} to {to} ms: {panel:?}"
            );
            (lamp, panel.rhythm(lamp))
        };
        Lamp::ALL.map(look).to_vec()
    }
}

/// Runs the image along a plan of so many milliseconds.
fn on_the_pins(
    specimen: Specimen,
    contents: &[u8],
    plan: &[Stretch],
    more: &[&str],
    millis: u64,
) -> Seen {
    let elf = image_or_word().expect("it was there");
    let (asked, report) = run_in_circuit(&elf, specimen, contents, plan, more, 4 * millis);
    let conversions = report["converter"]["conversions"].as_u64();
    Seen {
        before: (conversions.expect("counted") - asked.len() as u64) as f64 / 4.0,
        pins: LampPins::of(&report),
    }
}

/// A flash without room for another record, not even for that of a start.
fn full_journal() -> Vec<u8> {
    let mut bench = Bench::new(92);
    bench.plug("sound");
    bench.board.run_for(15_000);
    let mut contents = LongJournal::grow(bench.board.nor.contents(), usize::MAX).contents;
    for _ in 0..100 {
        let mut bench = Bench::with_contents(Bench::new(92).specimen, contents);
        bench.board.run_for(50);
        contents = bench.board.nor.contents();
        if bench.status().journal == JournalState::Full {
            return contents;
        }
    }
    panic!("a hundred starts do not fill it");
}

/// In a sound receptacle: a tester without a calibration, one that fails a test of itself, and one
/// whose journal is full, which answers all the same.
fn tester_at_fault() -> Vec<(Lamp, Rhythm)> {
    let calibrated = |bench: &Bench| workshop_flash(&bench.specimen).expect("it is calibrated");
    let plan = [Stretch::plugged(named("sound"), 2 * RUN)];
    let mut states = Vec::new();

    let full = full_journal();
    for (case, contents) in [("no calibration", vec![0xFF; NOR_BYTES]), ("full", full)] {
        let mut bench = Bench::with_contents(Bench::new(92).specimen, contents.clone());
        bench.plug("sound");
        bench.board.run_for(RUN);
        let expected = if case == "full" {
            JournalState::Full
        } else {
            JournalState::Writable
        };
        assert_eq!(bench.status().journal, expected, "{case}");
        let panel = *bench.board.tester().panel();
        assert_ne!(panel, Panel::DARK, "{case}");
        let seen = on_the_pins(bench.specimen, &contents, &plan, &[], RUN);
        states.extend(seen.show(&panel, RUN - LAST, RUN, case));
    }

    // What failed does not change what the lamps show; that a stuck channel does is a test of
    // `emulated_self_test`.
    let bench = Bench::new(92);
    let contents = calibrated(&bench);
    let panel = Panel::for_verdict(&failed_self_test(), &Evidence::empty());
    let seen = on_the_pins(bench.specimen, &contents, &plan, &["--stuck", "2:0"], RUN);
    states.extend(seen.show(&panel, RUN - LAST, RUN, "failed self-test"));
    states
}

/// The bytes of a request, hexadecimal, as `run.mjs` takes them.
fn hexadecimal(request: Request) -> String {
    let mut frame = [0; MAX_FRAME];
    let envelope = RequestEnvelope {
        sequence: 1,
        request,
    };
    let length = encode(&envelope, &mut frame).expect("it fits");
    frame[..length]
        .iter()
        .fold(String::new(), |mut text, byte| {
            let _ = write!(text, "{byte:02x}");
            text
        })
}

#[test]
fn every_state_of_every_lamp_is_seen_on_the_pins() {
    if image_or_word().is_none() {
        return;
    }
    let mut seen: HashSet<_> = tester_at_fault().into_iter().collect();
    let specimen = Specimen::draw(91, &Tolerance::USUAL);
    let contents = workshop_flash(&specimen).expect("the workshop calibrates it");

    let mut bench = Bench::with_contents(specimen.clone(), contents.clone());
    bench.board.run_for(IN_HAND);
    let visits = visits();
    let mut plan = vec![Stretch::unplugged(IN_HAND)];
    let mut arguments = Vec::new();
    // When the lamps are looked at, and what they must show.
    let mut looks = vec![(0, Panel::DARK)];
    let mut at = IN_HAND;
    for visit in &visits {
        let (took, panel) = on_the_desktop(&mut bench, visit);
        plan.push(Stretch::plugged(visit.receptacle.clone(), took + STANDS));
        plan.push(Stretch::unplugged(IN_HAND));
        if let Some(clip) = visit.clip {
            let bytes = hexadecimal(Request::StartTest { clip });
            // The converter's rows begin 0.1 s after power-on.
            arguments.push("--send".to_owned());
            arguments.push(format!("{}:{bytes}", at + SAID_AFTER + 100));
        }
        looks.push((at + took, panel));
        at += took + STANDS + IN_HAND;
    }
    println!("{:.1} simulated s", at as f64 / 1000.0);

    let more: Vec<&str> = arguments.iter().map(String::as_str).collect();
    let pins = on_the_pins(specimen, &contents, &plan, &more, at);

    for (at, panel) in looks {
        let (from, to) = if at == 0 { (0, 300) } else { LOOK };
        seen.extend(pins.show(&panel, at + from, at + to, "visits"));
    }
    let missing: Vec<_> = all_states().difference(&seen).copied().collect();
    assert_eq!(missing, [], "states never seen");
    let strange: Vec<_> = seen.difference(&all_states()).copied().collect();
    assert_eq!(strange, [], "states that the core does not show");
    println!("{} states of {} lamps seen", seen.len(), Lamp::ALL.len());
}
