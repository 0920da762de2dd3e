//! The tester's tests of itself on the virtual board: every fault that the models know, at start
//! and while it runs, shows in the record that it leaves and in nothing that it answers.

use slotwise_core::finding::FindingCode;
use slotwise_core::lamps::{Lamp, Rhythm};
use slotwise_core::link::{Phase, Request};
use slotwise_core::record::{Body, Record};
use slotwise_core::sample::AdcCode;
use slotwise_core::self_test::SelfTestFailure;
use slotwise_core::slots::{ClipTarget, Lead};
use slotwise_core::stimulus::Order;
use slotwise_core::verdict::Outcome;
use slotwise_tests::bench::{Answer, Bench};
use slotwise_virtual::board::workshop_flash;
use slotwise_virtual::chips::adc::VirtualAdc;
use slotwise_virtual::computer::Computer;
use slotwise_virtual::outputs::Closings;
use slotwise_virtual::tester::{Specimen, Tolerance};

/// 2/15 of 2^23 codes.
const TEST_CODE: i32 = 1_118_481;

/// The watchdog of the board bites after this.
const WATCHDOG_MS: u64 = 2_000;

fn failures(records: &[Record]) -> Vec<SelfTestFailure> {
    records
        .iter()
        .filter_map(|record| match record.body {
            Body::SelfTest(failure) => Some(failure),
            _ => None,
        })
        .collect()
}

fn count_tests(records: &[Record]) -> usize {
    let is_test = |record: &&Record| matches!(record.body, Body::Test(_));
    records.iter().filter(is_test).count()
}

/// Starts a tester broken like this in a sound receptacle, tries everything that begins a test,
/// and gives the failure of its record. It drives nothing.
fn start_broken(break_it: impl FnOnce(&VirtualAdc, &Computer)) -> SelfTestFailure {
    let (bench, failure) = fail_soon(break_it);
    assert_eq!(bench.board.outputs.closings(), Closings::default());
    failure
}

/// The same of a fault that shows within seconds.
fn fail_soon(break_it: impl FnOnce(&VirtualAdc, &Computer)) -> (Bench, SelfTestFailure) {
    let specimen = Specimen::draw(41, &Tolerance::USUAL);
    let contents = workshop_flash(&specimen).expect("the workshop calibrates it");
    let mut bench = Bench::broken(specimen, contents, break_it);
    bench.plug("sound");
    bench.board.run_for(3_000);
    let closed = bench.board.outputs.closings();
    let clip = ClipTarget::NotConnected;
    let (_, answer) = bench.ask(Request::StartTest { clip });
    assert!(
        matches!(&answer, Answer::Other(said) if said == "Refused(SelfTest)"),
        "{answer:?}"
    );
    let _ = bench.ask(Request::StartWatch { clip });
    // A hold and a press of the button.
    for millis in [1_500, 100] {
        bench.board.button.press();
        bench.board.run_for(millis);
        bench.board.button.release();
        bench.board.run_for(3_000);
    }
    assert_failed(&mut bench);
    assert_eq!(bench.board.outputs.closings(), closed, "open for good");
    let records = bench.pull();
    assert_eq!(count_tests(&records), 0, "no verdict is kept");
    let failures = failures(&records);
    assert_eq!(failures.len(), 1, "{failures:?}");
    let failure = failures[0];
    (bench, failure)
}

/// Lamps, link and outputs of a tester that failed.
fn assert_failed(bench: &mut Bench) {
    assert_eq!(bench.board.tester().order(), Order::Rest);
    let verdict = bench.board.tester().verdict().expect("it says so").clone();
    assert_eq!(verdict.outcome, Outcome::TesterFault);
    assert_eq!(
        verdict.first().map(|finding| finding.code),
        Some(FindingCode::SelfTestFailed)
    );
    let panel = *bench.board.tester().panel();
    for lamp in Lamp::ALL {
        let due = if lamp == Lamp::LiveMetal {
            Rhythm::Off
        } else {
            Rhythm::SlowBlink
        };
        assert_eq!(panel.rhythm(lamp), due, "{lamp:?}");
    }
    let look = bench.look();
    assert_eq!(look.phase, Phase::TesterFault);
    assert_eq!(look.watch, None);
    assert!(!bench.status().testing);
}

#[test]
fn a_sound_tester_passes_for_minutes_loses_no_frame_and_feeds_its_watchdog() {
    let mut bench = Bench::new(40);
    bench.plug("sound");
    bench.board.run_for(130_000);
    assert_eq!(bench.board.tester().failure(), None);
    let records = bench.pull();
    assert_eq!(failures(&records), []);
    assert_eq!(count_tests(&records), 1);
    assert_eq!(bench.status().bad_frames, 0);
    assert_eq!(bench.board.adc.misuse(), []);
    let unfed = bench.board.longest_unfed_ms();
    assert!(unfed < WATCHDOG_MS / 10, "{unfed} ms");
}

#[test]
fn a_changed_program_and_a_stuck_bit_of_memory_fail_at_start() {
    for bit in [0, 9_999, 4096 * 8 - 1] {
        let failure = start_broken(|_, computer| computer.flip_image_bit(bit));
        let SelfTestFailure::Image { found, expected } = failure else {
            panic!("{failure:?}");
        };
        assert_ne!(found, expected);
    }
    let failure = start_broken(|_, computer| computer.stick_memory(77, 13, true));
    let SelfTestFailure::Memory {
        address,
        found,
        expected,
    } = failure
    else {
        panic!("{failure:?}");
    };
    assert_eq!(address, 0x2000_0000 + 4 * 77);
    assert_eq!(found ^ expected, 1 << 13);
}

#[test]
fn a_stuck_channel_fails_at_start_whatever_it_is_stuck_at() {
    for lead in Lead::ALL {
        // At zero the shorted input is right and the test voltage is not; at the test voltage
        // the other way round.
        let failure = start_broken(|adc, _| adc.stick(lead, Some(AdcCode::saturating(0))));
        let SelfTestFailure::TestVoltage {
            lead: of,
            code,
            least,
            most,
        } = failure
        else {
            panic!("{failure:?}");
        };
        assert_eq!((of, code), (lead, 0));
        // 5 % of it either way.
        assert!((least - TEST_CODE * 95 / 100).abs() <= 1, "{least}");
        assert!((most - TEST_CODE * 105 / 100).abs() <= 1, "{most}");
        let stuck = Some(AdcCode::saturating(TEST_CODE));
        let failure = start_broken(|adc, _| adc.stick(lead, stuck));
        let SelfTestFailure::ShortedInput { lead: of, code, .. } = failure else {
            panic!("{failure:?}");
        };
        assert_eq!((of, code), (lead, TEST_CODE));
    }
}

#[test]
fn an_offset_beyond_its_limit_fails_and_one_of_the_data_sheet_passes() {
    // 3 mV and 175 uV at the pins, of 1.2 V at 2^23 codes.
    let failure = start_broken(|adc, _| adc.skew(Lead::Ground, 20_972));
    let SelfTestFailure::ShortedInput { lead, code, most } = failure else {
        panic!("{failure:?}");
    };
    assert_eq!(lead, Lead::Ground);
    // The specimen's own offset of up to 175 uV is in it, and the noise of a mean.
    assert!(
        (code - 20_972).abs() < 1_300 && most < code,
        "{code} {most}"
    );
    let specimen = Specimen::draw(42, &Tolerance::USUAL);
    let contents = workshop_flash(&specimen).expect("the workshop calibrates it");
    let mut bench = Bench::broken(specimen, contents, |adc, _| adc.skew(Lead::Ground, 1_223));
    assert_eq!(bench.board.tester().failure(), None);
}

#[test]
fn a_channel_that_scatters_fails_at_start_and_twice_the_data_sheets_noise_passes() {
    for lead in Lead::ALL {
        // Ten times 5.35 uV (SBAS890D table 7-1).
        let failure = start_broken(|adc, _| adc.disquiet(lead, 53.5e-6));
        let SelfTestFailure::NoisyInput {
            lead: of,
            rms,
            most,
        } = failure
        else {
            panic!("{failure:?}");
        };
        assert_eq!(of, lead);
        // 53.8 uV with the converter's own are 376 codes; an estimate from sixteen is within 80 %.
        assert!((75..680).contains(&rms) && rms > most, "{rms}, {most}");
        assert_eq!(most, 149, "21.4 uV of 1.2 V at 2^23 codes");
    }
    // The same again beside its own makes it twice 5.35 uV. Thirty specimens, four channels.
    for seed in 200..230 {
        let specimen = Specimen::draw(seed, &Tolerance::USUAL);
        let contents = workshop_flash(&specimen).expect("the workshop calibrates it");
        let mut bench = Bench::broken(specimen, contents, |adc, _| {
            for lead in Lead::ALL {
                adc.disquiet(lead, 9.3e-6);
            }
        });
        assert_eq!(bench.board.tester().failure(), None, "specimen {seed}");
    }
}

#[test]
fn a_clock_off_by_one_percent_fails_within_a_second_and_keeps_no_verdict() {
    for (ppm, apart) in [(10_000, -9_901), (-10_000, 10_101)] {
        let (_, failure) = fail_soon(|_, computer| computer.set_crystal_ppm(ppm));
        let SelfTestFailure::Clock {
            apart_ppm,
            most_ppm,
        } = failure
        else {
            panic!("{failure:?}");
        };
        assert!((apart_ppm - apart).abs() < 10, "{apart_ppm} of {apart}");
        assert_eq!(most_ppm, 500);
    }
}

#[test]
fn a_clock_that_goes_off_in_mid_probe_lets_go_and_a_new_start_answers_again() {
    let mut bench = Bench::new(43);
    bench.plug("sound");
    while bench.board.tester().order() != Order::Probe {
        bench.board.run_for(1);
    }
    bench.board.run_for(300);
    assert_ne!(bench.board.outputs.closings().probe, 0);
    bench.board.computer.set_crystal_ppm(10_000);
    bench.board.run_for(2_000);
    assert_failed(&mut bench);
    let closed = bench.board.outputs.closings();
    bench.board.run_for(10_000);
    assert_failed(&mut bench);
    assert_eq!(bench.board.outputs.closings(), closed, "open for good");
    let records = bench.pull();
    assert_eq!(count_tests(&records), 0);
    assert!(matches!(
        failures(&records)[..],
        [SelfTestFailure::Clock { .. }]
    ));

    let contents = bench.board.nor.contents();
    let mut again = Bench::with_contents(bench.specimen.clone(), contents);
    again.plug("sound");
    again.board.run_for(16_000);
    assert_eq!(again.board.tester().failure(), None);
    assert_eq!(count_tests(&again.pull()), 1);
}

#[test]
fn a_stack_in_its_guard_fails_within_two_seconds() {
    let mut bench = Bench::new(44);
    bench.plug("sound");
    bench.board.run_for(1_000);
    bench.board.computer.grow_stack(4_000);
    bench.board.run_for(2_000);
    assert_failed(&mut bench);
    let stack = SelfTestFailure::Stack {
        untouched: 4_000,
        guard: 4_096,
    };
    assert_eq!(failures(&bench.pull()), [stack]);
}

#[test]
fn a_setting_of_the_converter_that_changes_is_read_back_within_a_minute() {
    // The check of what is sent to the part, off: nothing of the codes tells.
    const MODE: u8 = 0x02;
    let mut bench = Bench::new(45);
    bench.plug("sound");
    bench.board.run_for(16_000);
    bench.board.adc.disturb(MODE, 0x0110);
    bench.board.run_for(61_000);
    assert_failed(&mut bench);
    let setting = SelfTestFailure::Register {
        register: MODE,
        found: 0x0110,
        expected: 0x1110,
    };
    assert_eq!(failures(&bench.pull()), [setting]);
    assert_eq!(bench.status().bad_frames, 0);
}

#[test]
fn a_converter_whose_conversions_never_come_whole_fails_at_start() {
    // The driver's start takes fewer than 30 conversions; all that the test reads are damaged.
    let failure = start_broken(|adc, _| (35..2_000).for_each(|number| adc.corrupt(number)));
    assert!(
        matches!(failure, SelfTestFailure::NoConversions { .. }),
        "{failure:?}"
    );
}
