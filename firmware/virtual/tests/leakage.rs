//! What flows into ground: an appliance's interference filter, and the tester itself, as an
//! interrupter upstream sees them.
//!
//! Limits that are held here:
//! - a class A interrupter does not trip below 4 mA (NEC Article 100, Informational Note;
//!   UL 943; read as quoted);
//! - leakage of a cord-connected appliance: 0.5 mA, of a stationary or fixed one 0.75 mA
//!   (UL 8750, 8.7.1, read as quoted by a testing laboratory; that UL 101 has the same numbers is from
//!   memory).

use slotwise_core::slots::ClipTarget;
use slotwise_core::units::{Amperes, Hertz, Volts};
use slotwise_virtual::circuit::Phasor;
use slotwise_virtual::house::Conductor::{Ground, Leg1, Neutral, Nothing};
use slotwise_virtual::house::{
    Appliance, EmiFilter, Gfci, Joint, Receptacle, Supply, Tripping, bank,
};
use slotwise_virtual::means::{Blade, Reading, imbalance_while_probed, survey};
use slotwise_virtual::quantity::Farads;
use slotwise_virtual::tester::{Specimen, Tolerance};
use std::f64::consts::TAU;

/// A class A interrupter does not trip below this.
const CLASS_A: f64 = 4.0;
/// Leakage of a cord-connected appliance.
const CORD_CONNECTED: f64 = 0.5;
/// Leakage of a stationary or fixed one.
const STATIONARY: f64 = 0.75;

/// A furnace's supply with its filter, and nothing drawn beside.
fn filtered(filter: EmiFilter) -> Appliance {
    Appliance::steady(0.0).with_filter(filter)
}

/// A sine of 120.5 V at the transformer, an interrupter in the panel.
fn behind_a_gfci() -> Receptacle {
    Receptacle::sound()
        .with_supply(Supply::pure(Volts::new(120.5), Hertz::new(60.0)))
        .with_gfci(Gfci::ClassA)
}

/// What the interrupter sees, and v_nw.
fn residual(receptacle: &Receptacle) -> (Phasor, Phasor) {
    let specimen = Specimen::nominal(1);
    let wired = receptacle.fundamental_network(&specimen, true).unwrap();
    let solution = wired.circuit.solve(wired.hertz).unwrap();
    let nw = solution.voltage(wired.slots[0], wired.slots[1]);
    (wired.residual(&solution).unwrap(), nw)
}

/// What `filter` adds to the imbalance of `receptacle`, in mA, and v_nw.
fn added(receptacle: &Receptacle, filter: EmiFilter) -> (Phasor, Phasor) {
    let (bare, _) = residual(&receptacle.clone().with_appliance(filtered(EmiFilter::NONE)));
    let (with, nw) = residual(&receptacle.clone().with_appliance(filtered(filter)));
    ((with - bare) * 1e3, nw)
}

#[test]
fn y_capacitors_leak_omega_c_v_into_ground() {
    // 2 pi 60 x 2.2 nF x 120 V = 0.0995 mA, a quarter turn ahead of the voltage. Only the
    // capacitor of the hot line has a voltage across it; the other's is the neutral's drop.
    let (leak, nw) = added(&behind_a_gfci(), EmiFilter::USUAL);
    let by_hand = Phasor::new(0.0, TAU * 60.0 * 2.2e-9 * 1e3) * nw;
    println!(
        "leakage of 2 x 2.2 nF at {:.2} V: {leak:.6} mA, by hand {by_hand:.6} mA",
        nw.norm()
    );
    assert!((by_hand.norm() - 0.0995).abs() < 0.0005);
    // What the cable and the tester leak is in both states and drops out.
    assert!((leak - by_hand).norm() < 1e-3 * by_hand.norm(), "{leak} mA");
    assert!(leak.norm() < CORD_CONNECTED && leak.norm() < STATIONARY);

    // Reversed, the other capacitor leaks as much.
    let reversed = behind_a_gfci().with_slots(Neutral, Leg1, Ground);
    let (leak, nw) = added(&reversed, EmiFilter::USUAL);
    let by_hand = TAU * 60.0 * 2.2e-9 * 1e3 * nw.norm();
    assert!((leak.norm() / by_hand - 1.0).abs() < 1e-3, "{leak} mA");
}

#[test]
fn capacitors_across_the_line_leak_nothing() {
    let across = EmiFilter {
        across: Farads::from_pico(1e6),
        ..EmiFilter::NONE
    };
    // 1 uF takes 45 mA, all of which comes back through the neutral.
    let (leak, _) = added(&behind_a_gfci(), across);
    assert!(leak.norm() < 1e-4, "{leak} mA");
}

#[test]
fn the_leakage_limits_are_reached_at_11_and_at_17_nanofarads() {
    // C = I / (omega V) at 120 V: 11.05 nF for 0.5 mA, 16.58 nF for 0.75 mA.
    for (limit, nanofarads) in [(CORD_CONNECTED, 11.05), (STATIONARY, 16.58)] {
        let at = |share: f64| {
            let filter = EmiFilter {
                to_frame: Farads::from_pico(nanofarads * 1000.0 * share),
                ..EmiFilter::USUAL
            };
            let (leak, nw) = added(&behind_a_gfci(), filter);
            leak.norm() * 120.0 / nw.norm()
        };
        assert!(at(0.995) < limit && at(1.005) > limit, "{nanofarads} nF");
    }
}

#[test]
fn the_frame_floats_to_half_the_line_when_ground_is_open() {
    let open = behind_a_gfci()
        .with_slots(Leg1, Neutral, Nothing)
        .with_appliance(filtered(EmiFilter::USUAL))
        .with_clip(ClipTarget::ApplianceFrame);
    let truth = open.solve(&Specimen::nominal(1), true).unwrap().truth;
    // The frame hangs on 2200 + 60 pF from hot and on 2200 + 160 + 300 pF (stray and room)
    // from neutral and earth: 2260 / 4920 of the line. The strings are even on both sides.
    let share = 2260.0 / 4920.0;
    let (frame, by_hand) = (truth.cw.norm(), truth.nw.norm() * share);
    println!(
        "frame on an open ground: {frame:.2} V of {:.2} V, by hand {by_hand:.2} V",
        truth.nw.norm()
    );
    assert!((frame / by_hand - 1.0).abs() < 0.05, "{frame} V");
    assert!((frame / truth.nw.norm() - 0.5).abs() < 0.06, "{frame} V");
    // Frame and ground hole are one metal.
    assert!((truth.cw - truth.gw).norm() < 1e-3);
}

#[test]
fn without_an_interrupter_there_is_no_imbalance_to_see() {
    let specimen = Specimen::nominal(1);
    let sound = Receptacle::sound();
    assert_eq!(sound.imbalance(&specimen, true).unwrap(), None);
    assert_eq!(
        imbalance_while_probed(&sound, &specimen, Blade::Narrow).unwrap(),
        None
    );
}

#[test]
fn an_interrupter_changes_no_voltage() {
    let specimen = Specimen::draw(3, &Tolerance::USUAL);
    for named in bank() {
        let [bare, behind] = [
            named.receptacle.clone(),
            named.receptacle.clone().with_gfci(Gfci::ClassA),
        ]
        .map(|receptacle| receptacle.solve(&specimen, true).unwrap().truth);
        for (one, other) in [
            (bare.nw, behind.nw),
            (bare.gw, behind.gw),
            (bare.cw, behind.cw),
        ] {
            assert!((one - other).norm() < 1e-8, "{}: {one} {other}", named.name);
        }
    }
}

#[test]
fn a_frame_on_the_neutral_trips_it_and_a_leak_of_10_ma_too() {
    // 6 A come back by neutral and ground together, half by each.
    let joined = Receptacle {
        jumper: Some(slotwise_core::units::Ohms::new(0.005)),
        ..behind_a_gfci().with_appliance(Appliance::steady(6.0))
    };
    let seen = joined
        .imbalance(&Specimen::nominal(1), true)
        .unwrap()
        .unwrap();
    assert!((seen.get() - 3.0).abs() < 0.3, "{seen:?}");
    let leaking = behind_a_gfci().with_appliance(Appliance {
        leak: Amperes::new(0.010),
        ..Appliance::steady(1.0)
    });
    let seen = leaking
        .imbalance(&Specimen::nominal(1), true)
        .unwrap()
        .unwrap();
    assert!((seen.get() - 0.010).abs() < 0.0003, "{seen:?}");
    assert!(matches!(Gfci::ClassA.trips(seen), Tripping::Within(_)));
}

#[test]
fn a_plugged_in_tester_trips_no_interrupter() {
    let mut idle = (0.0, String::new());
    let mut probed = (0.0, String::new());
    let mut lead = (0.0, String::new());
    let keep = |worst: &mut (f64, String), seen: Amperes, name: String| {
        let milliamperes = f64::from(seen.get()) * 1e3;
        if milliamperes > worst.0 {
            *worst = (milliamperes, name);
        }
    };
    for named in bank() {
        let receptacle = named.receptacle.clone().with_gfci(Gfci::ClassA);
        for (seed, on) in [(1, true), (2, false), (3, true)] {
            let specimen = Specimen::draw(seed, &Tolerance::USUAL);
            let seen = receptacle.imbalance(&specimen, on).unwrap().unwrap();
            keep(&mut idle, seen, format!("{}, tester {seed}", named.name));
            let truth = receptacle.solve(&specimen, on).unwrap().truth;
            let ground = Amperes::new(truth.lead_currents[2].norm() as f32);
            keep(&mut lead, ground, format!("{}, tester {seed}", named.name));
            for blade in [Blade::Narrow, Blade::Wide] {
                // Whether its interlock would let it or not: stricter than what the tester does.
                let seen = imbalance_while_probed(&receptacle, &specimen, blade)
                    .unwrap()
                    .unwrap();
                assert_eq!(
                    Gfci::ClassA.trips(seen),
                    Tripping::DoesNot,
                    "{}",
                    named.name
                );
                keep(
                    &mut probed,
                    seen,
                    format!("{}, {blade:?}, tester {seed}", named.name),
                );
            }
        }
    }
    // The ground lead is the tester's own share; at 120 V most of the imbalance is the
    // cable's, 80 pF/m from hot to ground.
    println!(
        "worst current of the ground lead: {:.4} mA ({})",
        lead.0, lead.1
    );
    println!("worst imbalance, probes off: {:.4} mA ({})", idle.0, idle.1);
    println!(
        "worst imbalance, probe on: {:.4} mA ({})",
        probed.0, probed.1
    );
    assert!(lead.0 > 0.0 && lead.0 < CORD_CONNECTED, "{lead:?}");
    assert!(idle.0 > 0.0 && idle.0 < CORD_CONNECTED, "{idle:?}");
    assert!(probed.0 > 1.0 && probed.0 < CLASS_A, "{probed:?}");
}

#[test]
fn the_probe_leaves_its_own_current_beside_the_neutral() {
    // 120 V over 90 kohm and 10 ohm: 1.33 mA that go out by the hot and back by the ground.
    let receptacle = behind_a_gfci();
    let specimen = Specimen::nominal(1);
    let seen = imbalance_while_probed(&receptacle, &specimen, Blade::Narrow).unwrap();
    let (_, nw) = residual(&receptacle);
    let by_hand = nw.norm() / 90_010.0;
    let seen = f64::from(seen.unwrap().get());
    println!("probe on at a sound receptacle: {:.4} mA", seen * 1e3);
    assert!((seen / by_hand - 1.0).abs() < 0.05, "{seen} A, {by_hand} A");
}

#[test]
fn a_filter_does_not_hide_the_ground_from_the_probe() {
    let read = |ground_joint| {
        let receptacle = Receptacle {
            ground_joint,
            ..behind_a_gfci().with_appliance(filtered(EmiFilter::USUAL))
        };
        survey(&receptacle).unwrap().signature.p1
    };
    let Reading::Value(ohms) = read(Joint::Sound) else {
        panic!("a sound ground is read");
    };
    assert!((ohms - 0.18).abs() < 0.02, "{ohms}");
    assert_eq!(read(Joint::Open), Reading::Refused);
}
