//! The virtual house against ngspice: the same networks, solved by a program of other authors.
//!
//! Each circuit is a whole house with a tester of drawn parts in one of its receptacles, some
//! thirty nodes. What is compared: the slot voltages nw, gw, ng, cw and the voltage at the
//! converter's pins of all four channels, as phasors. Tolerance: 1e-5 of the value, with a
//! floor of 1 pV for what is a difference of two equal potentials of 120 V, which a double
//! knows to 0.014 pV. The 190 wirings that the atlas enumerates are among them.
//!
//! Limits: the networks are ours on both sides. What a house is, ngspice cannot say.

use slotwise_core::slots::{ClipTarget, Pair};
use slotwise_core::units::{Amperes, Celsius, Ohms};
use slotwise_tests::ngspice::{is_ngspice_here, probed};
use slotwise_virtual::circuit::{Node, Phasor};
use slotwise_virtual::house::{
    Appliance, BranchCable, Conductor, EmiFilter, Gauge, Gfci, Joint, Receptacle, Wired, bank,
    enumeration, find,
};
use slotwise_virtual::quantity::Metres;
use slotwise_virtual::tester::{Specimen, Tolerance};
use std::fmt::Write as _;
use std::time::{Duration, Instant};

/// The bar: relative to the voltage compared.
const TOLERANCE: f64 = 1e-5;
/// What both programs may differ by where the voltage is next to nothing.
const FLOOR_VOLTS: f64 = 1e-12;

/// What is compared, in the order of [`probes`].
const COMPARED: [&str; 8] = [
    "nw",
    "gw",
    "ng",
    "cw",
    "narrow pins",
    "wide pins",
    "ground pins",
    "clip pins",
];

/// A network with a name for the reader of a failure.
struct Case {
    name: String,
    wired: Wired,
}

/// Wires `receptacle` at harmonic `order`; its tester is drawn by `seed`.
fn case(name: &str, receptacle: &Receptacle, seed: u64, order: u32, is_appliance_on: bool) -> Case {
    let specimen = Specimen::draw(seed, &Tolerance::USUAL);
    let wired = receptacle
        .networks(&specimen, is_appliance_on)
        .expect("the supply is one")
        .into_iter()
        .find(|wired| wired.order == order)
        .expect("the supply has this harmonic");
    let state = if is_appliance_on { "on" } else { "off" };
    Case {
        name: format!("{name}, harmonic {order}, appliance {state}"),
        wired,
    }
}

/// A load of 12 A with a leak and a filter to its frame, behind an interrupter, the clip on an
/// independent earth.
fn heavy(receptacle: Receptacle) -> Receptacle {
    receptacle
        .with_appliance(Appliance {
            leak: Amperes::new(0.0005),
            filter: EmiFilter::USUAL,
            ..Appliance::steady(12.0)
        })
        .with_gfci(Gfci::ClassA)
        .with_clip(ClipTarget::IndependentEarth)
}

fn of_the_bank() -> Vec<Case> {
    let mut cases = Vec::new();
    for (seed, named) in (1..).zip(bank()) {
        let is_fed = named.receptacle.appliance.is_some();
        cases.push(case(named.name, &named.receptacle, seed, 1, true));
        if is_fed {
            cases.push(case(named.name, &named.receptacle, seed, 1, false));
        }
    }
    for name in [
        "sound",
        "sound-with-load",
        "open-neutral",
        "reversed-and-joined",
        "lost-service-neutral",
        "generator",
    ] {
        let named = find(name).expect("in the bank");
        for order in [3, 5] {
            cases.push(case(name, &named.receptacle, 40, order, true));
        }
    }
    cases
}

fn of_joints() -> Vec<Case> {
    let sound = Receptacle::sound;
    let weak = |ohms| Joint::Weak(Ohms::new(ohms));
    let mut cases = Vec::new();
    for ohms in [1.0, 10.0] {
        let receptacle = heavy(Receptacle {
            neutral_joint: weak(ohms),
            ..sound()
        });
        let name = format!("neutral of {ohms} ohm");
        cases.push(case(&name, &receptacle, 50, 1, true));
        cases.push(case(&name, &receptacle, 51, 1, false));
    }
    for ohms in [1.0, 10.0, 100.0] {
        let receptacle = heavy(Receptacle {
            ground_joint: weak(ohms),
            ..sound()
        });
        cases.push(case(
            &format!("ground of {ohms} ohm"),
            &receptacle,
            52,
            1,
            true,
        ));
    }
    let rod = sound().with_slots(
        Conductor::Leg1,
        Conductor::Neutral,
        Conductor::Rod(Ohms::new(25.0)),
    );
    cases.push(case("rod of 25 ohm", &heavy(rod), 53, 1, true));
    cases.push(case(
        "frame on an open joint",
        &heavy(Receptacle {
            frame_joint: Joint::Open,
            ..sound()
        })
        .with_clip(ClipTarget::ApplianceFrame),
        54,
        1,
        true,
    ));
    cases
}

fn of_cables() -> Vec<Case> {
    [
        (Gauge::Awg14, 15.0, -10.0),
        (Gauge::Awg14, 150.0, 60.0),
        (Gauge::Awg12, 75.0, 22.0),
        (Gauge::Awg12, 200.0, 75.0),
        (Gauge::Awg10, 100.0, 40.0),
    ]
    .into_iter()
    .map(|(gauge, feet, celsius)| {
        let receptacle = heavy(Receptacle {
            cable: BranchCable {
                gauge,
                length: Metres::from_feet(feet),
                temperature: Celsius::new(celsius),
            },
            ..Receptacle::sound()
        });
        let name = format!("{feet} ft of {gauge:?} at {celsius} degC");
        case(&name, &receptacle, 60, 1, true)
    })
    .collect()
}

/// Every wiring that the atlas looks at.
fn of_the_enumeration() -> Vec<Case> {
    enumeration()
        .iter()
        .map(|entry| {
            let name = format!("wiring {}", entry.name);
            case(&name, &entry.receptacle, 70, 1, true)
        })
        .collect()
}

fn probes(wired: &Wired) -> Vec<[Node; 2]> {
    let pairs = [
        Pair::NarrowWide,
        Pair::GroundWide,
        Pair::NarrowGround,
        Pair::ClipWide,
    ];
    pairs
        .into_iter()
        .map(|pair| {
            let (first, second) = pair.leads();
            [first, second].map(|lead| wired.slots[lead.channel()])
        })
        .chain(wired.pins)
        .collect()
}

fn ours(wired: &Wired) -> Vec<Phasor> {
    let solution = wired.circuit.solve(wired.hertz).expect("a house is solved");
    probes(wired)
        .into_iter()
        .map(|[first, second]| solution.voltage(first, second))
        .collect()
}

fn netlist(wired: &Wired) -> String {
    wired
        .circuit
        .netlist(wired.hertz, &probes(wired))
        .expect("a house is exported")
}

fn theirs(netlist: &str) -> Vec<Phasor> {
    probed(netlist, COMPARED.len())
}

/// How far two phasors are apart, as a multiple of what is allowed.
fn of_allowed(one: Phasor, other: Phasor) -> f64 {
    (one - other).norm() / (TOLERANCE * other.norm()).max(FLOOR_VOLTS)
}

#[test]
fn every_slot_voltage_is_the_one_that_ngspice_finds() {
    if !is_ngspice_here() {
        return;
    }
    let cases: Vec<Case> = of_the_bank()
        .into_iter()
        .chain(of_joints())
        .chain(of_cables())
        .chain(of_the_enumeration())
        .collect();
    assert!(cases.len() >= 30, "{} circuits", cases.len());
    let mut names: Vec<&str> = cases.iter().map(|case| case.name.as_str()).collect();
    names.sort_unstable();
    names.dedup();
    assert_eq!(names.len(), cases.len(), "two circuits have one name");
    let mut failures = String::new();
    let mut worst = (0.0, String::new());
    let mut clocks = [Duration::ZERO; 2];
    for Case { name, wired } in &cases {
        let begin = Instant::now();
        let ours = ours(wired);
        clocks[0] += begin.elapsed();
        let text = netlist(wired);
        let begin = Instant::now();
        let theirs = theirs(&text);
        clocks[1] += begin.elapsed();
        for ((what, ours), theirs) in COMPARED.iter().zip(ours).zip(theirs) {
            let off = of_allowed(ours, theirs);
            let line = format!("{name}: {what}: {ours} V here, {theirs} V there");
            if off > 1.0 || off.is_nan() {
                let _ = writeln!(failures, "{line}");
            }
            if off > worst.0 {
                worst = (off, line);
            }
        }
    }
    let [ours, theirs] = clocks.map(|clock| clock.as_secs_f64() / cases.len() as f64);
    println!(
        "{} circuits, {} voltages; worst deviation {:.1e}: {}",
        cases.len(),
        cases.len() * COMPARED.len(),
        worst.0 * TOLERANCE,
        worst.1
    );
    // For information: the starts of the other program are most of it.
    println!(
        "each circuit {:.2} ms here, {:.1} ms in ngspice with its start, ratio {:.0}",
        ours * 1e3,
        theirs * 1e3,
        theirs / ours
    );
    assert!(failures.is_empty(), "\n{failures}");
}

/// The analysis alone, in a process that is already there. For information, not a bar.
#[test]
fn how_long_one_analysis_takes_beside_ours() {
    const TIMES: u32 = 400;
    if !is_ngspice_here() {
        return;
    }
    let sound = find("sound-with-load").expect("in the bank");
    let Case { wired, .. } = case(sound.name, &sound.receptacle, 1, 1, true);
    let once = netlist(&wired);
    let analysis = once
        .lines()
        .find(|line| line.starts_with("ac lin"))
        .expect("an analysis");
    let often = once.replace(
        analysis,
        &format!("repeat {TIMES}\n{analysis}\nend\n{analysis}"),
    );
    let timed = |text: &str| {
        let begin = Instant::now();
        let found = theirs(text);
        (begin.elapsed(), found)
    };
    let (start, first) = timed(&once);
    let (all, last) = timed(&often);
    assert_eq!(first, last, "one analysis is as another");
    let theirs = all.saturating_sub(start).as_secs_f64() / f64::from(TIMES);
    let begin = Instant::now();
    for _ in 0..TIMES {
        ours(&wired);
    }
    let ours = begin.elapsed().as_secs_f64() / f64::from(TIMES);
    println!(
        "one analysis of one house: {:.3} ms here, {:.3} ms in ngspice without its start, \
         ratio {:.1}",
        ours * 1e3,
        theirs * 1e3,
        theirs / ours
    );
}

/// What of our own is compared is what the tester's truth is made of.
#[test]
fn the_networks_compared_are_the_ones_behind_the_truth() {
    let specimen = Specimen::draw(9, &Tolerance::USUAL);
    for named in bank() {
        let solved = named.receptacle.solve(&specimen, true).expect("solved");
        let networks = named.receptacle.networks(&specimen, true).expect("wired");
        assert_eq!(networks.len(), solved.harmonics().len());
        for (wired, harmonic) in networks.iter().zip(solved.harmonics()) {
            let voltages = ours(wired);
            assert_eq!(wired.order, harmonic.order);
            assert_eq!(voltages[4..], harmonic.pins, "{}", named.name);
            if wired.order == 1 {
                let truth = solved.truth;
                assert_eq!(voltages[..4], [truth.nw, truth.gw, truth.ng, truth.cw]);
            }
        }
    }
}

/// A part that is 0.1 % off in the exported text alone is seen: the comparison can fail.
#[test]
fn a_part_a_thousandth_off_is_noticed() {
    if !is_ngspice_here() {
        return;
    }
    for (receptacle, [from, to], what) in [
        (
            "sound-with-load",
            ["narrow_slot", "narrow_string_foot"],
            "narrow pins",
        ),
        (
            "sound-with-load",
            ["neutral_bus", "neutral_at_the_box"],
            "gw",
        ),
        (
            "open-neutral",
            ["neutral_up_to_the_break", "neutral_at_the_box"],
            "cw",
        ),
    ] {
        let named = find(receptacle).expect("in the bank");
        let Case { wired, .. } = case(named.name, &named.receptacle, 1, 1, true);
        let index = COMPARED
            .iter()
            .position(|compared| *compared == what)
            .expect("compared");
        let ours = ours(&wired)[index];
        let sound = netlist(&wired);
        let off = of_allowed(ours, theirs(&sound)[index]);
        assert!(off < 1.0, "{receptacle} {what}: {off} before the change");
        let off = of_allowed(ours, theirs(&with_part_off(&sound, from, to))[index]);
        println!("{receptacle} {what}: 0.1 % of {from} to {to} is {off:.0} times the tolerance");
        assert!(off > 3.0, "{receptacle} {what}: {off} after the change");
    }
}

/// The netlist with the one element between two nodes 0.1 % larger.
fn with_part_off(netlist: &str, from: &str, to: &str) -> String {
    let mut changed = 0;
    let text = netlist
        .lines()
        .map(|line| {
            let words: Vec<&str> = line.split(' ').collect();
            match words[..] {
                [_, one, other, .., value] if one.ends_with(from) && other.ends_with(to) => {
                    changed += 1;
                    let element = line.strip_suffix(value).expect("it ends so");
                    let value: f64 = value.parse().expect("a value");
                    format!("{element}{:e}\n", value * 1.001)
                }
                _ => format!("{line}\n"),
            }
        })
        .collect();
    assert_eq!(changed, 1, "one element from {from} to {to}");
    text
}
