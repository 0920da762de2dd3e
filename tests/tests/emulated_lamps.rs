//! Every state of every lamp, as a person sees it: on the pins of the real image, carried from
//! receptacle to receptacle, decoded by the legend's rhythms.
//!
//! How long each receptacle takes to show what it is there for is found on the desktop, which runs the
//! same firmware in the same house; there the panel is read, here the pins must beat so.
//! "Unsure" on the last five lamps at once is what a tester at fault shows: `emulated_failures`.

use std::collections::HashSet;
use std::fmt::Write as _;
use std::fs;

use slotwise_core::lamps::{Lamp, Panel, Rhythm};
use slotwise_core::link::{MAX_FRAME, Request, RequestEnvelope, encode};
use slotwise_core::slots::ClipTarget;
use slotwise_core::units::{Amperes, Hertz, Volts};
use slotwise_tests::bench::Bench;
use slotwise_tests::circuit_server::CircuitServer;
use slotwise_tests::emulator::{EmulatedBoard, Feed, Given, image_or_word, report};
use slotwise_tests::lamp_pins::LampPins;
use slotwise_virtual::board::workshop_flash;
use slotwise_virtual::front_end::{FrontEnd, PhasorSource, Stretch};
use slotwise_virtual::house::{Appliance, Receptacle, Supply, find};
use slotwise_virtual::tester::{Specimen, Tolerance};

use Lamp::{EarthPath, LiveMetal, Proven, SteadyUnderLoad, Supply as SupplyLamp, WiredRight};
use Rhythm::{FastBlink, FastPulse, Off, SlowBlink, Steady};

/// In the hand between two receptacles.
const IN_HAND: u64 = 1_500;

/// From plugging in to saying what the clip is on.
const SAID_AFTER: u64 = 700;

/// The lamps stand for so long after they show what is wanted, and are looked at in this part of it.
const STANDS: u64 = 3_500;
const LOOK: (u64, u64) = (1_000, 3_300);

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
        ..Appliance::cycling(6.0, 2, 2)
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
            named("sound"),
            None,
            &[
                (WiredRight, SlowBlink),
                (EarthPath, Steady),
                (SupplyLamp, Steady),
            ],
        ),
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
            &[(SupplyLamp, SlowBlink)],
        ),
        visit(
            named("weak-neutral").with_appliance(furnace()),
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

/// States that a healthy tester's lamps can have, all but "unsure" of the last four.
fn all_states() -> HashSet<(Lamp, Rhythm)> {
    let mut states: HashSet<_> = Lamp::ALL.into_iter().map(|lamp| (lamp, Off)).collect();
    for lamp in [WiredRight, EarthPath, SupplyLamp, SteadyUnderLoad, Proven] {
        states.extend([(lamp, Steady), (lamp, FastBlink)]);
    }
    states.extend([
        (LiveMetal, FastPulse),
        (WiredRight, SlowBlink),
        (SupplyLamp, SlowBlink),
    ]);
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
    let Some(elf) = image_or_word() else { return };
    let folder = tempfile::tempdir().expect("a temporary folder");
    let path = |name: &str| folder.path().join(name);
    let specimen = Specimen::draw(91, &Tolerance::USUAL);
    let contents = workshop_flash(&specimen).expect("the workshop calibrates it");
    fs::write(path("nor.bin"), &contents).expect("room for the flash's contents");

    let mut bench = Bench::with_contents(specimen.clone(), contents);
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

    let source = PhasorSource::new(&specimen, &plan).expect("it is solved");
    let front_end = FrontEnd::new(specimen, Box::new(source));
    let circuit = CircuitServer::start(folder.path(), front_end).expect("pipes can be made");
    let more: Vec<&str> = arguments.iter().map(String::as_str).collect();
    let board = EmulatedBoard::start(Given {
        elf: &elf,
        feed: Feed::Circuit(&circuit),
        nor: &path("nor.bin"),
        report: &path("report.json"),
        seconds: u32::try_from(at / 1000).expect("minutes") + 60,
        more: &more,
    })
    .expect("the emulator starts");
    // In parts: a part may take minutes on a loaded machine.
    for part in 1..=at / 4000 + 1 {
        circuit.wait_for((4 * at).min(part * 16_000));
    }
    assert!(board.finish().expect("it ends"), "nothing that ends a run");
    let asked = circuit.finish().expect("the pipes held");
    let report = report(&path("report.json"));
    let conversions = report["converter"]["conversions"].as_u64();
    let before = (conversions.expect("counted") - asked.len() as u64) as f64 / 4.0;

    let pins = LampPins::of(&report);
    let mut seen = HashSet::new();
    for (at, panel) in looks {
        let from = if at == 0 { 0 } else { LOOK.0 };
        let to = if at == 0 { 300 } else { LOOK.1 };
        for lamp in Lamp::ALL {
            let window = ((at + from) as f64 + before, (at + to) as f64 + before);
            let rhythm = pins.rhythm(lamp, window.0, window.1);
            assert_eq!(
                rhythm,
                Some(panel.rhythm(lamp)),
                "{lamp:?} at {window:?} ms: {panel:?}"
            );
            seen.extend(rhythm.map(|rhythm| (lamp, rhythm)));
        }
    }
    let missing: Vec<_> = all_states().difference(&seen).copied().collect();
    assert_eq!(missing, [], "states never seen");
    println!("{} states of {} lamps seen", seen.len(), Lamp::ALL.len());
}
