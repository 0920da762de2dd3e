//! Drawn testers calibrated over their line from nothing, held against voltages of other sizes and
//! frequencies than they were calibrated at: what they say over the line is within what they state. The
//! truth is the exact solution of the fixture's circuit, in which no estimator of the core is.

use std::time::{Duration, Instant};

use slotwise::calibrate::{self, Ended};
use slotwise::client::Client;
use slotwise_core::link::Look;
use slotwise_core::slots::{ClipTarget, Lead};
use slotwise_core::units::{Hertz, Volts};
use slotwise_virtual::house::{Jig, Supply};

use super::person::{Person, bench, uncalibrated};

/// Levels around and beyond both supply bands, and half of it.
const LEVELS: [f32; 6] = [60.0, 104.0, 114.0, 120.0, 127.0, 140.0];

/// Frequencies of a utility and of a generator that is not quite right.
const FREQUENCIES: [f32; 3] = [57.3, 60.0, 62.6];

/// Looks until the answer of a test that was begun after `before` windows stands on this frequency.
fn look(client: &mut Client, frequency: f32) -> Look {
    let before = client.look().expect("answers").windows;
    client.start_test(ClipTarget::NotConnected).expect("starts");
    // The tester runs on its own clock; only one that never answers is to end here.
    let deadline = Instant::now() + Duration::from_secs(600);
    loop {
        let look = client.look().expect("answers");
        let tuned = look
            .frequency
            .value()
            .is_some_and(|found| (found.get() - frequency).abs() < 0.05);
        // Some windows after the change of the voltage.
        if look.slots.is_ok() && tuned && look.windows.wrapping_sub(before) >= 4 {
            return look;
        }
        assert!(Instant::now() < deadline, "{look:?}");
        std::thread::sleep(Duration::from_millis(2));
    }
}

#[test]
fn a_calibrated_tester_reads_other_voltages_and_frequencies_within_what_it_states() {
    for seed in [35, 36, 37, 38] {
        sweep(seed);
    }
}

fn sweep(seed: u64) {
    let (specimen, tester, mut client) = uncalibrated(seed);
    let mut person = Person::careful(&tester, &specimen);
    let ended = calibrate::run(&mut client, &mut person, &bench(0.001)).expect("runs");
    let Ended::Stored(worked) = ended else {
        panic!("{ended:?}");
    };
    let u_gain = worked.calibration.u_gain.get();
    let mut worst = 0.0_f32;
    for level in LEVELS {
        for frequency in FREQUENCIES {
            let supply = Supply::pure(Volts::new(level), Hertz::new(frequency));
            let on = Jig::applied(Lead::Narrow, supply);
            let truth = on.volts(&specimen).expect("solves").get();
            tester.put_on(&on).expect("it is solved");
            let look = look(&mut client, frequency);
            let slots = look.slots.expect("it looked");
            let seen = slots.narrow_wide.value.get();
            let off = seen / truth - 1.0;
            worst = worst.max(off.abs());
            // k = 2 of the stated gain, and 10 mV of floor.
            let bound = 2.0 * u_gain * truth + 0.01;
            assert!(
                (seen - truth).abs() < bound,
                "{seen} of {truth} V at {frequency} Hz"
            );
            // The joined leads stand at one voltage: what is read between them is no more than
            // the tester states for it.
            let between = slots.ground_wide;
            assert!(
                between.value.get() < 2.0 * between.u.get(),
                "{between:?} between joined leads"
            );
            let found = look.frequency.value().expect("tuned").get();
            assert!(
                (found - frequency).abs() < 0.01,
                "{found} of {frequency} Hz"
            );
        }
    }
    // The meter of this bench is exact, so what is left is the tester's own.
    println!(
        "tester {seed}, {} levels at {} frequencies: worst {:.4} % of a stated {:.3} %",
        LEVELS.len(),
        FREQUENCIES.len(),
        worst * 100.0,
        2.0 * u_gain * 100.0
    );
    assert!(worst < 2.0 * u_gain, "{worst}");
    tester.stop().expect("ran to the end");
}
