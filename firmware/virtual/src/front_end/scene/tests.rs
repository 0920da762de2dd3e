use super::super::{PhasorSource, Source};
use super::*;
use crate::house::find;
use crate::outputs::Outputs;
use core::f64::consts::TAU;
use slotwise_core::units::{Hertz, Volts};

const PROBE: Paths = Paths {
    probe: true,
    ..Paths::NONE
};
const TO_GROUND: Paths = Paths {
    drive_to_ground: true,
    ..Paths::NONE
};

fn sound() -> Receptacle {
    let mut receptacle = find("sound").unwrap().receptacle.clone();
    receptacle.supply = Supply::pure(Volts::new(120.0), Hertz::new(60.0));
    receptacle
}

/// Runs the probe's pins so that its contacts are closed in the conversions `from..until`.
fn close_probe(outputs: &Outputs, from: u64, until: u64) {
    for number in from - 3..until {
        let held = number < until - 1;
        outputs.set_during(
            number,
            [(number + from) % 2 == 1, held, false, false, false, false],
        );
    }
    let paths = |number| outputs.during(number)[0].paths;
    assert_eq!(
        [from - 1, from, until - 1, until].map(|number| paths(number).probe),
        [false, true, true, false]
    );
}

/// The converter's filter and the string's pole, by brute force over 3000 points: `steady`
/// is what the pin settles to at a time in frames, `changes` when that changes.
fn brute(number: f64, pole: f64, changes: &[f64], steady: impl Fn(usize, f64) -> f64) -> f64 {
    const STEPS: i32 = 3000;
    let pin = |time: f64| {
        // From the first change on: what is left of each change decays by itself.
        let now = changes.iter().filter(|&&change| change < time).count();
        let mut volts = steady(now, time);
        for (index, change) in changes.iter().take(now).enumerate() {
            let step = steady(index, *change) - steady(index + 1, *change);
            volts += step * ((change - time) / pole).exp();
        }
        volts
    };
    (0..STEPS)
        .map(|step| {
            let x = (f64::from(step) + 0.5) * 3.0 / f64::from(STEPS);
            let weight = match x {
                x if x < 1.0 => x * x / 2.0,
                x if x < 2.0 => (-2.0 * x * x + 6.0 * x - 3.0) / 2.0,
                x => (3.0 - x).powi(2) / 2.0,
            };
            weight * pin(number - x) * 3.0 / f64::from(STEPS)
        })
        .sum()
}

#[test]
fn a_closing_probe_looks_as_the_filters_make_it() {
    let specimen = Specimen::nominal(1);
    let receptacle = sound();
    let mut source = PhasorSource::plugged(&specimen, &receptacle).unwrap();
    let outputs = Outputs::new();
    source.connect(&outputs);
    close_probe(&outputs, 100, 140);
    let pins = |paths| {
        pins_with(
            Some(&receptacle),
            &receptacle.supply,
            &specimen,
            false,
            paths,
        )
        .unwrap()[0]
            .pins
    };
    let (rest, closed) = (pins(Paths::NONE), pins(PROBE));
    let pole = specimen.strings[0].time_constant() * RATE;
    for number in 95..150_u64 {
        let got = source.pins(number);
        for (channel, got) in got.iter().enumerate() {
            let steady = |changes: usize, time: f64| {
                let pin = if changes == 1 { closed } else { rest }[channel];
                // The instant that a time stands for: 1.5 frames of group delay.
                let angle = TAU * 60.0 * (time + 1.5) / RATE + pin.arg();
                SQRT_2 * pin.norm() * angle.cos()
            };
            // Conversion 100 begins at time 99.
            let expected = brute(number as f64, pole, &[99.0, 139.0], steady);
            let error = (got - expected).abs();
            // One code is 143 nV.
            assert!(error < 50e-9, "{number} {channel}: {got} {expected}");
        }
    }
}

#[test]
fn the_tone_looks_as_the_filters_make_it() {
    let specimen = Specimen::nominal(1);
    let mut receptacle = sound();
    receptacle.supply = Supply::pure(Volts::ZERO, Hertz::new(60.0));
    let mut source = PhasorSource::plugged(&specimen, &receptacle).unwrap();
    let outputs = Outputs::new();
    source.connect(&outputs);
    let high = |number: u64| (number / 23).is_multiple_of(2);
    for number in 20..300 {
        outputs.set_during(number, [false, false, true, false, high(number), false]);
    }
    let response = drive_response(
        Some(&receptacle),
        &receptacle.supply,
        &specimen,
        false,
        TO_GROUND,
        85.0,
    )
    .unwrap();
    let string = specimen.strings[2];
    let pole = string.time_constant() * RATE;
    let changes: Vec<f64> = (2..13).map(|turn| f64::from(23 * turn - 1)).collect();
    for number in 60..290_u64 {
        let got = source.pins(number);
        let level = 6.0 * (response[2] / string.gain(85.0)).re * string.steady_gain();
        let steady = |changes: usize, _| {
            if changes.is_multiple_of(2) {
                -level
            } else {
                level
            }
        };
        let expected = brute(number as f64, pole, &changes, steady);
        let error = (got[2] - expected).abs();
        assert!(error < 5e-9, "{number}: {} {expected}", got[2]);
        // Wide stands positive while the tone is high: ground below the star.
        assert!(level < 0.0);
    }
}

#[test]
fn the_steady_state_of_the_probe_is_that_of_its_means() {
    // R = Re(dV / I): the pins say the same as the means' own network.
    let specimen = Specimen::nominal(1);
    let receptacle = sound();
    let leads = |paths| {
        let supply = &receptacle.supply;
        let solved = pins_with(Some(&receptacle), supply, &specimen, false, paths).unwrap();
        let gain = specimen.strings[0].gain(60.0);
        solved[0].pins.map(|pin| pin / gain)
    };
    let (rest, closed) = (leads(Paths::NONE), leads(PROBE));
    let moved = (closed[2] - closed[1]) - (rest[2] - rest[1]);
    let current = (closed[0] - closed[2]) / 90_000.0;
    let ohms = (moved / current).re - 10.0;
    let expected =
        crate::means::earth_path_ohms(&receptacle, &specimen, crate::means::Blade::Narrow);
    assert!((ohms - expected.unwrap()).abs() < 1e-3, "{ohms}");
    assert!(ohms > 0.1 && ohms < 0.3, "{ohms}");
}

#[test]
fn a_free_tester_can_close_its_paths_too() {
    let specimen = Specimen::nominal(1);
    let mut source = PhasorSource::new(&specimen, &[]).unwrap();
    let outputs = Outputs::new();
    source.connect(&outputs);
    close_probe(&outputs, 10, 100);
    let gain = specimen.strings[0].steady_gain();
    for number in 0..120 {
        for pin in source.pins(number) {
            assert!(pin.abs() / gain < 1.0, "{number} {pin}");
        }
    }
    for number in 120..200 {
        outputs.set_during(number, [false, false, true, false, number % 40 < 20, false]);
    }
    // 6 V of drive into nothing but strings: wide and ground against each other.
    let pins = source.pins(155);
    let apart = (pins[1] - pins[2]).abs() / gain;
    assert!((apart - 6.0).abs() < 0.3, "{apart}");
}
