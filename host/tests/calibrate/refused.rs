//! Testers that get no calibration: a filter's part failed, a limiter that does not limit, a board without
//! the resistor in its clip lead. And how many sound ones would be refused with them.

use slotwise::calibrate::{self, Ended, Step};
use slotwise_core::calibration::limiters::LimiterFault;
use slotwise_core::calibration::step::StepFault;
use slotwise_core::calibration::validity::Validity;
use slotwise_core::slots::Lead;
use slotwise_core::stimulus::DrivePath;
use slotwise_core::units::{Amperes, Ohms};
use slotwise_virtual::tester::{Specimen, Tolerance};

use super::person::{Person, bench, powered, uncalibrated};
use super::validity;

/// What `hardware/unseen.csv` says is found by the calibration: a filter's capacitor that is open, a
/// filter's resistor that is shorted, in each of the strings.
#[test]
fn a_filter_with_a_failed_part_is_refused() {
    use slotwise_core::calibration::fit::FitFault;
    use slotwise_virtual::quantity::Farads;
    for lead in Lead::ALL {
        for is_open in [true, false] {
            let mut specimen = Specimen::nominal(60 + lead.channel() as u64);
            let string = &mut specimen.strings[lead.channel()];
            if is_open {
                string.capacitor = Farads::new(1e-15);
            } else {
                string.filter[0] = Ohms::new(0.001);
            }
            let (tester, mut client) = powered(&specimen);
            let mut person = Person::careful(&tester, &specimen);
            let ended = calibrate::run(&mut client, &mut person, &bench(0.001)).expect("runs");
            assert_eq!(ended, Ended::NoFit(FitFault::Turn(lead)), "{is_open}");
            tester.stop().expect("ran to the end");
        }
    }
}

/// ... and sound strings of the usual tolerances never are: 20 000 testers, by the circuit's own
/// angles, against the limit; and what it leaves of the failures with parts at their limits.
#[test]
fn sound_filters_are_not_refused_and_failed_ones_are() {
    use slotwise_core::limits::CalibrationLimits;
    use slotwise_virtual::quantity::Farads;
    let most = f64::from(CalibrationLimits::DEFAULT.turn_most.get());
    let turn = |specimen: &Specimen| {
        let angles: Vec<f64> = specimen
            .strings
            .iter()
            .map(|string| string.gain(60.0).arg())
            .collect();
        // Each lead stands alone once: the other three are joined.
        (0..4)
            .flat_map(|alone| {
                let mut joined: Vec<f64> = (0..4)
                    .filter(|lead| *lead != alone)
                    .map(|lead| angles[lead])
                    .collect();
                joined.sort_by(f64::total_cmp);
                [joined[2] - joined[1], joined[1] - joined[0]]
            })
            .fold(0.0, f64::max)
    };
    let (mut worst, mut missed) = (0.0_f64, [0; 2]);
    const TESTERS: u64 = 20_000;
    for seed in 0..TESTERS {
        let sound = Specimen::draw(seed, &Tolerance::USUAL);
        worst = worst.max(turn(&sound));
        let lead = (seed % 4) as usize;
        let mut open = sound.clone();
        open.strings[lead].capacitor = Farads::new(1e-15);
        let mut short = sound;
        short.strings[lead].filter[(seed / 4 % 2) as usize] = Ohms::new(0.001);
        for (count, failed) in missed.iter_mut().zip([open, short]) {
            *count += u32::from(turn(&failed) <= most);
        }
    }
    println!(
        "turn of sound strings {:.2} mrad at most (limit {:.2}); of {TESTERS} open capacitors {} \
         pass, of {TESTERS} shorted resistors {}",
        worst * 1e3,
        most * 1e3,
        missed[0],
        missed[1]
    );
    assert!(worst < most * 0.9, "{worst}");
    assert_eq!(missed[0], 0);
    assert!(missed[1] < TESTERS as u32 / 50, "{missed:?}");
}

#[test]
fn a_tester_whose_limiter_does_not_limit_is_not_calibrated() {
    let (specimen, tester, mut client) = uncalibrated(35);
    let mut person = Person::careful(&tester, &specimen);
    // Q612 joined drain to source (`hardware/faults_self.csv`).
    let gone = Amperes::new(6.08e-3);
    person.limiters.to_ground[1] = gone;
    let ended = calibrate::run(&mut client, &mut person, &bench(0.001)).expect("runs");
    let fault = LimiterFault {
        path: DrivePath::WideToGround,
        current: gone,
    };
    assert_eq!(ended, Ended::LimiterFault(fault));
    assert_eq!(validity(&mut client), Validity::Missing);
    tester.stop().expect("ran to the end");
}

/// A board of before the resistor in the clip lead, or one whose resistor is shorted: its limiter in
/// that leg could not be told from one that is gone, so it gets no calibration.
#[test]
fn a_board_without_the_resistor_in_the_clip_lead_is_not_calibrated() {
    use slotwise::texts::workshop;
    let mut specimen = Specimen::nominal(37);
    specimen.currents.clip_reference = Ohms::new(0.1);
    let (tester, mut client) = powered(&specimen);
    let mut person = Person::careful(&tester, &specimen);
    person.gives_up = true;
    let ended = calibrate::run(&mut client, &mut person, &bench(0.001)).expect("runs");
    assert_eq!(ended, Ended::Aborted);
    let [(Step::Shorted, fault)] = person.faults[..] else {
        panic!("{:?}", person.faults);
    };
    let StepFault::OtherResistance { ohms } = fault else {
        panic!("{fault:?}");
    };
    // Noise of one reading of the drive: hundredths of an ohm. Of the tester's own 10 there is nothing.
    assert!((ohms.get() - 0.1).abs() < 0.1, "{ohms:?}");
    let text = workshop::wrong(Step::Shorted, &fault);
    println!("{text}");
    let read = format!("about {:.2} ohm", ohms.get());
    for word in [read.as_str(), "R102", "revision B", "cannot be calibrated"] {
        assert!(text.contains(word), "{text}");
    }
    assert_eq!(validity(&mut client), Validity::Missing);
    tester.stop().expect("ran to the end");
}
