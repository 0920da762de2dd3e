//! The terrace against the table of what a receptacle shows (measurement notes, section 7).

use slotwise_core::slots::{ClipTarget, Lead, Pair};
use slotwise_core::units::{Amperes, Hertz, Ohms, Volts};
use slotwise_virtual::circuit::Phasor;
use slotwise_virtual::house::{
    Appliance, Conductor, House, Joint, Receptacle, Supply, Truth, bank, find,
};
use slotwise_virtual::quantity::Farads;
use slotwise_virtual::tester::{Specimen, Tolerance};

fn truth(receptacle: &Receptacle, on: bool) -> Truth {
    receptacle.solve(&Specimen::nominal(1), on).unwrap().truth
}

fn named(name: &str) -> Receptacle {
    find(name).unwrap().receptacle.clone()
}

fn assert_volts(name: &str, what: &str, got: Phasor, expected: f64, tolerance: f64) {
    assert!(
        (got.norm() - expected).abs() <= tolerance,
        "{name}: {what} {:.2} V, expected {expected} +- {tolerance}",
        got.norm()
    );
}

/// Name, appliance on, v_nw, v_gw, v_ng, v_cw on an independent earth; each with tolerance.
type Row = (&'static str, bool, [(f64, f64); 4]);

#[test]
fn every_wiring_reads_as_the_table_says() {
    let table: [Row; 15] = [
        (
            "sound",
            false,
            [(119.5, 0.1), (0.0, 0.05), (119.5, 0.1), (0.1, 0.1)],
        ),
        (
            "reversed-polarity",
            false,
            [(119.5, 0.1), (119.5, 0.1), (0.0, 0.05), (119.6, 0.1)],
        ),
        (
            "ground-on-hot",
            false,
            [(119.5, 0.1), (119.5, 0.1), (0.0, 0.05), (0.1, 0.1)],
        ),
        (
            "ground-on-other-leg",
            false,
            [(119.5, 0.1), (120.0, 0.2), (239.5, 0.3), (0.1, 0.1)],
        ),
        (
            "open-ground",
            false,
            [(119.5, 0.1), (60.0, 8.0), (60.0, 8.0), (0.1, 0.1)],
        ),
        (
            "open-neutral",
            false,
            [(60.0, 8.0), (60.0, 8.0), (119.5, 0.1), (47.0, 12.0)],
        ),
        (
            "open-neutral-with-load",
            true,
            [(0.0, 0.1), (119.5, 0.1), (119.5, 0.1), (119.6, 0.1)],
        ),
        (
            "open-hot",
            false,
            [(5.0, 5.0), (0.0, 0.05), (5.0, 5.0), (0.1, 0.1)],
        ),
        (
            "joined-at-box",
            false,
            [(119.5, 0.1), (0.0, 0.05), (119.5, 0.1), (0.1, 0.1)],
        ),
        (
            "reversed-and-joined",
            false,
            [(119.5, 0.1), (0.0, 0.05), (119.5, 0.1), (119.6, 0.1)],
        ),
        (
            "buses-exchanged",
            false,
            [(119.5, 0.1), (0.0, 0.05), (119.5, 0.1), (119.6, 0.1)],
        ),
        (
            "weak-neutral",
            false,
            [(119.5, 0.1), (0.0, 0.05), (119.5, 0.1), (0.1, 0.1)],
        ),
        (
            "weak-ground",
            false,
            [(119.5, 0.1), (0.0, 0.05), (119.5, 0.1), (0.1, 0.1)],
        ),
        (
            "ground-on-rod",
            false,
            [(119.5, 0.1), (0.1, 0.1), (119.6, 0.1), (0.1, 0.1)],
        ),
        (
            "volts-240",
            false,
            [(239.5, 0.3), (120.0, 0.2), (119.5, 0.1), (119.9, 0.3)],
        ),
    ];
    for (name, on, row) in table {
        // The slots with the clip free: on an earth its string would pull the star, and with
        // it every open slot, from a half to a third.
        let free = truth(&named(name).with_clip(ClipTarget::NotConnected), on);
        let earthed = truth(&named(name).with_clip(ClipTarget::IndependentEarth), on);
        let readings = [free.nw, free.gw, free.ng, earthed.cw];
        for ((what, got), (volts, tolerance)) in ["v_nw", "v_gw", "v_ng", "v_cw"]
            .into_iter()
            .zip(readings)
            .zip(row)
        {
            assert_volts(name, what, got, volts, tolerance);
        }
    }
}

#[test]
fn phases_are_those_of_the_table() {
    let open = truth(&named("open-neutral"), false);
    // "v_gw 56.9 (161 deg)": the ground stands against the floating neutral.
    let degrees = (open.gw / open.nw).arg().to_degrees().abs();
    assert!(degrees > 150.0, "{degrees}");
    let other = truth(&named("ground-on-other-leg"), false);
    assert!((other.gw / other.nw).re < 0.0);
    let reversed = truth(&named("reversed-polarity"), false);
    assert!((reversed.gw / reversed.nw - 1.0).norm() < 0.001);
}

#[test]
fn pairs_close_and_string_currents_sum_to_the_barrier_current() {
    let specimen = Specimen::draw(3, &Tolerance::USUAL);
    for named in bank() {
        for on in [false, true] {
            let truth = named.receptacle.solve(&specimen, on).unwrap().truth;
            let closure = truth.nw - truth.gw - truth.ng;
            assert!(closure.norm() < 1e-9, "{}: {closure}", named.name);
            assert_eq!(truth.pair(Pair::NarrowGround), truth.ng);
            let clip = truth.pair(Pair::ClipGround) + truth.gw - truth.cw;
            assert!(clip.norm() < 1e-12);
            let sum: Phasor = truth.lead_currents.iter().sum();
            let omega = core::f64::consts::TAU * truth.frequency;
            let drained = truth.star * Phasor::new(0.0, omega * specimen.barrier.get());
            assert!(
                (sum - drained).norm() < 1e-13,
                "{}: {sum} {drained}",
                named.name
            );
        }
    }
}

#[test]
fn a_sound_receptacle_puts_80_and_40_volts_on_the_strings() {
    // Clip open; barrier of 30 pF.
    let specimen = Specimen::nominal(1);
    let sound = named("sound").with_clip(ClipTarget::NotConnected);
    let pins = sound.solve(&specimen, false).unwrap().fundamental();
    let gain = specimen.strings[0].gain(60.0);
    let volts = pins.map(|pin| (pin / gain).re);
    for (lead, expected) in [
        (Lead::Narrow, 79.7),
        (Lead::Wide, -39.9),
        (Lead::Ground, -39.9),
        (Lead::Clip, 0.0),
    ] {
        let got = volts[lead.channel()];
        assert!((got - expected).abs() < 0.3, "{lead:?} {got}");
    }
    // 120 V in a string is at most 0.12 mA.
    let truth = truth(&sound, false);
    assert!(
        truth
            .lead_currents
            .iter()
            .all(|current| current.norm() < 0.121e-3)
    );
}

#[test]
fn the_quadrature_of_the_sum_turns_over_when_everything_is_live() {
    // Measurement notes section 1: V_star = +v_nw/3 when sound, -2/3 v_nw when reversed and
    // joined, both against v_nw's phase.
    let quadrature = |name: &str| {
        let specimen = Specimen::nominal(1);
        let receptacle = named(name).with_clip(ClipTarget::NotConnected);
        let solved = receptacle.solve(&specimen, false).unwrap();
        let gain = specimen.strings[0].gain(60.0);
        let sum: Phasor = solved.fundamental().iter().map(|pin| pin / gain).sum();
        (sum / (solved.truth.nw / solved.truth.nw.norm())).im
    };
    let (sound, live) = (quadrature("sound"), quadrature("reversed-and-joined"));
    assert!((sound - 0.45).abs() < 0.05, "{sound}");
    assert!((live + 0.90).abs() < 0.10, "{live}");
}

#[test]
fn more_cable_shifts_the_halves_of_an_open_ground() {
    // Hardware notes section 4: 1 nF of cable to hot: 52.4 / 78.4 V.
    let mut receptacle =
        Receptacle::sound().with_slots(Conductor::Leg1, Conductor::Neutral, Conductor::Nothing);
    receptacle.strays.hot_ground = Farads::from_pico(1000.0);
    receptacle.strays.neutral_ground = Farads::from_pico(1e-3);
    let specimen = Specimen {
        cord: Farads::from_pico(1e-3),
        ..Specimen::nominal(1)
    };
    let truth = receptacle.solve(&specimen, false).unwrap().truth;
    assert_volts("open ground", "v_ng", truth.ng, 52.4, 1.5);
    assert_volts("open ground", "v_gw", truth.gw, 78.4, 1.5);
}

#[test]
fn a_lost_service_neutral_shares_240_volts() {
    // 72 or 168 V by which leg the receptacle is on; v_gw 0; clip about 40 V.
    let house = |background: [f32; 2]| House {
        service_neutral: Joint::Open,
        background: background.map(Amperes::new),
        ..House::default()
    };
    let mut receptacle = named("lost-service-neutral");
    receptacle.house = house([28.0, 12.0]);
    let low = truth(&receptacle, false);
    receptacle.house = house([12.0, 28.0]);
    let high = truth(&receptacle, false);
    assert_volts("lost neutral", "v_nw", low.nw, 72.0, 6.0);
    assert_volts("lost neutral", "v_nw", high.nw, 168.0, 6.0);
    assert_volts("lost neutral", "v_gw", low.gw, 0.0, 0.1);
    assert_volts("lost neutral", "v_cw", low.cw, 40.0, 5.0);
}

#[test]
fn the_neutrals_share_of_the_sag_is_that_of_the_table() {
    // rho = dv_gw / dv_nw over a step of the load: sound 0.44, neutral joint of 1 ohm 0.84,
    // joined 0, reversed 0.56.
    let share = |receptacle: Receptacle| {
        let receptacle = receptacle.with_appliance(Appliance::steady(6.0));
        let (off, on) = (truth(&receptacle, false), truth(&receptacle, true));
        ((on.gw - off.gw) / (on.nw - off.nw)).re
    };
    for (name, expected, tolerance) in [
        ("sound", 0.44, 0.05),
        ("weak-neutral", 0.84, 0.05),
        ("joined-at-box", 0.0, 0.001),
        ("reversed-and-joined", 0.0, 0.001),
        ("reversed-polarity", 0.56, 0.05),
        ("ground-on-hot", 0.99, 0.02),
        ("ground-on-rod", 0.47, 0.05),
    ] {
        let got = share(named(name));
        assert!((got - expected).abs() <= tolerance, "{name}: {got}");
    }
}

#[test]
fn a_live_frame_shows_only_against_an_independent_earth() {
    for name in ["reversed-and-joined", "buses-exchanged"] {
        let frame = truth(&named(name).with_clip(ClipTarget::ApplianceFrame), false);
        assert_volts(name, "v_cw on the frame", frame.cw, 0.0, 0.01);
        let earth = truth(&named(name).with_clip(ClipTarget::IndependentEarth), false);
        assert_volts(name, "v_cw on an earth", earth.cw, 119.6, 0.1);
    }
}

#[test]
fn leaking_appliances_lift_an_ungrounded_frame() {
    // 0.5 mA at 120 V through 240 kohm onto a ground hole on nothing, against two strings in
    // series with the third: well above half.
    let appliance = Appliance {
        leak: Amperes::new(0.0005),
        ..Appliance::steady(1.0)
    };
    let open = named("open-ground").with_appliance(appliance);
    let (off, on) = (truth(&open, false), truth(&open, true));
    assert!(
        off.gw.norm() < 70.0 && on.gw.norm() > 90.0,
        "{} {}",
        off.gw,
        on.gw
    );
    let sound = truth(&named("sound").with_appliance(appliance), true);
    assert!((sound.gw.norm() - 0.168).abs() < 0.03, "{}", sound.gw);
}

#[test]
fn sagging_and_low_supplies_are_as_named() {
    assert_volts(
        "supply-low",
        "v_nw",
        truth(&named("supply-low"), false).nw,
        101.0,
        0.5,
    );
    let sagging = named("sagging");
    let (off, on) = (truth(&sagging, false), truth(&sagging, true));
    assert_volts("sagging", "v_nw off", off.nw, 119.5, 0.2);
    assert!(on.nw.norm() < 110.0, "{}", on.nw);
    assert!(truth(&named("breaker-off"), false).nw.norm() < 2.0);
}

#[test]
fn leg_2_mirrors_leg_1() {
    // With equal background loads the two legs differ in sign only.
    let mut receptacle = Receptacle::sound();
    receptacle.house.background = [Amperes::new(10.0); 2];
    let one = truth(&receptacle, false);
    let two = truth(
        &receptacle.with_slots(Conductor::Leg2, Conductor::Neutral, Conductor::Ground),
        false,
    );
    assert!((one.nw + two.nw).norm() < 1e-6, "{} {}", one.nw, two.nw);
}

#[test]
fn harmonics_stand_on_the_rms_and_not_on_the_phasor() {
    let pure = Receptacle::sound().with_supply(Supply::pure(Volts::new(120.0), Hertz::new(60.0)));
    let mut rough = pure.clone();
    rough.supply = rough
        .supply
        .with_thd(slotwise_core::units::Ratio::new(0.05));
    let (pure, rough) = (truth(&pure, false), truth(&rough, false));
    assert!((pure.nw - rough.nw).norm() < 1e-9);
    assert!((pure.nw_rms - pure.nw.norm()).abs() < 1e-9);
    // sqrt(1 + 0.05^2) = 1.00125, less a little that the transformer's reactance takes.
    let ratio = rough.nw_rms / rough.nw.norm();
    assert!((ratio - 1.00125).abs() < 2e-5, "{ratio}");
}

#[test]
fn a_supply_that_is_none_is_refused() {
    for supply in [
        Supply::pure(Volts::new(f32::NAN), Hertz::new(60.0)),
        Supply::pure(Volts::new(120.0), Hertz::new(0.0)),
        Supply::pure(Volts::new(-1.0), Hertz::new(60.0)),
    ] {
        let receptacle = Receptacle::sound().with_supply(supply);
        let error = receptacle.solve(&Specimen::nominal(1), false).unwrap_err();
        assert!(
            error.to_string().contains("give it a finite voltage"),
            "{error}"
        );
    }
    let mut receptacle = Receptacle::sound();
    receptacle.neutral_joint = Joint::Weak(Ohms::new(f32::INFINITY));
    let error = receptacle.solve(&Specimen::nominal(1), false).unwrap_err();
    assert!(error.to_string().contains("neutral at the box"), "{error}");
}
