//! Accuracy of the window estimators, from the integers of the sampling path.
//!
//! The waveform is made here, in `f64`, from its formula; nothing of the code under test is
//! used to make it. Bounds asserted are the documented ones.

use slotwise_core::calibration::{Calibration, ChannelCalibration};
use slotwise_core::drive::DriveCalibration;
use slotwise_core::front_end::{NOMINAL_VOLTS_PER_CODE, response};
use slotwise_core::sample::{AdcCode, Frame};
use slotwise_core::slots::Lead;
use slotwise_core::units::{Celsius, Hertz, Ohms, Ratio, UnixSeconds, Volts};
use slotwise_core::window::{Accumulator, Tuning, WINDOW, WindowSums};

const NARROW_WIDE: (Lead, Lead) = (Lead::Narrow, Lead::Wide);

fn nominal() -> Calibration {
    Calibration {
        channels: [ChannelCalibration {
            offset: 0,
            gain: 1.0,
        }; 4],
        u_gain: Ratio::new(0.001),
        reference: Ohms::new(10.0),
        done: UnixSeconds::new(1_790_000_000),
        temperature: Celsius::new(23.0),
        drive: DriveCalibration::NOMINAL,
    }
}

/// Mains as a sum of sinusoids: (order, share of the fundamental, phase).
struct Mains {
    volts: f64,
    hertz: f64,
    harmonics: &'static [(f64, f64, f64)],
    phase: f64,
}

/// 5 % THD: 4 % third, 2.65 % fifth, 1.4 % seventh; sqrt(16 + 7.02 + 1.96) = 5.0.
const THD_5: &[(f64, f64, f64)] = &[(3.0, 0.04, 0.7), (5.0, 0.0265, 2.1), (7.0, 0.014, -1.3)];

impl Mains {
    fn peak(&self, seconds: f64) -> f64 {
        // As the converter delivers it: each component under the response of the front end.
        let part = |order: f64, share: f64, phase: f64| {
            let hertz = self.hertz * order;
            let angle = core::f64::consts::TAU * hertz * seconds + phase + order * self.phase;
            share * response(Hertz::new(hertz as f32)) * angle.cos()
        };
        let sum: f64 = self.harmonics.iter().map(|&(o, s, p)| part(o, s, p)).sum();
        self.volts * core::f64::consts::SQRT_2 * (part(1.0, 1.0, 0.0) + sum)
    }

    /// Sound receptacle without clip against the star: +2/3, -1/3, -1/3 of v_nw.
    fn frame(&self, n: usize) -> Frame {
        let volts = self.peak(n as f64 / 4000.0);
        let code = |share: f64| {
            AdcCode::saturating((volts * share / NOMINAL_VOLTS_PER_CODE).round() as i32)
        };
        let mut frame = Frame::default();
        frame.codes[0] = code(2.0 / 3.0);
        frame.codes[1] = code(-1.0 / 3.0);
        frame.codes[2] = code(-1.0 / 3.0);
        frame
    }

    fn window(&self, start: usize, tuning: Tuning) -> WindowSums {
        let mut accumulator = Accumulator::new(tuning);
        for n in start..start + WINDOW {
            accumulator.push(&self.frame(n));
        }
        accumulator.sums().clone()
    }

    fn true_rms(&self) -> f64 {
        let harmonics: f64 = self.harmonics.iter().map(|&(_, s, _)| s * s).sum();
        self.volts * (1.0 + harmonics).sqrt()
    }
}

/// The worked case of the measurement notes, section 10: 59.7 Hz, 120 V, 5 % THD, 800 samples.
#[test]
fn off_nominal_frequency_with_distortion_is_measured_within_one_window() {
    let calibration = nominal();
    let (mut worst_hertz, mut worst_share) = (0.0_f64, 0.0_f64);
    for step in 0..40 {
        let mains = Mains {
            volts: 120.0,
            hertz: 59.7,
            harmonics: THD_5,
            phase: f64::from(step) * 0.157,
        };
        let sums = mains.window(0, Tuning::NOMINAL);
        let frequency = sums.frequency(&calibration, Volts::new(5.0)).unwrap();
        worst_hertz = worst_hertz.max((f64::from(frequency.value.get()) - 59.7).abs());
        let leads = sums.phasors(&calibration, frequency.value).unwrap();
        let v_nw = f64::from(leads[0].rms().get() + leads[1].rms().get());
        worst_share = worst_share.max((v_nw / 120.0 - 1.0).abs());
    }
    println!("59.7 Hz, 5 % THD, one window at 60 Hz: {worst_hertz:.2e} Hz, {worst_share:.2e}");
    assert!(worst_hertz < 5e-4, "{worst_hertz}");
    assert!(worst_share < 1e-4, "{worst_share}");
}

/// The negative check: the same 800 samples in a plain window at a fixed 60 Hz.
#[test]
fn a_plain_window_fixed_at_60_hz_fails_the_same_case() {
    let mains = Mains {
        volts: 120.0,
        hertz: 59.7,
        harmonics: THD_5,
        phase: 0.3,
    };
    let (mut re, mut im) = (0.0, 0.0);
    for n in 0..WINDOW {
        let x = mains.peak(n as f64 / 4000.0) / response(Hertz::new(59.7));
        let angle = core::f64::consts::TAU * 60.0 * n as f64 / 4000.0;
        re += x * angle.cos();
        im -= x * angle.sin();
    }
    let rms = f64::hypot(re, im) * core::f64::consts::SQRT_2 / WINDOW as f64;
    let share = (rms / 120.0 - 1.0).abs();
    println!("plain window fixed at 60 Hz: {share:.2e}");
    assert!(share > 1e-4, "the negative check passes the bound: {share}");
}

/// Worst frequency error, amplitude share and true RMS share over `tenths` of a hertz, in the
/// third window: the first two tuned it.
fn worst_tracked(tenths: std::ops::RangeInclusive<u32>) -> (f64, f64, f64) {
    let calibration = nominal();
    let mut worst = (0.0_f64, 0.0_f64, 0.0_f64);
    for tenth in tenths {
        let mains = Mains {
            volts: 120.0,
            hertz: f64::from(tenth) / 10.0 + 0.013,
            harmonics: THD_5,
            phase: f64::from(tenth) * 0.37,
        };
        let mut tuning = Tuning::NOMINAL;
        let mut start = 0;
        for _ in 0..2 {
            let sums = mains.window(start, tuning);
            let frequency = sums.frequency(&calibration, Volts::new(5.0)).unwrap();
            tuning = Tuning::new(frequency.value, NARROW_WIDE);
            start += WINDOW;
        }
        let sums = mains.window(start, tuning);
        let frequency = sums.frequency(&calibration, Volts::new(5.0)).unwrap();
        let leads = sums.phasors(&calibration, frequency.value).unwrap();
        let v_nw = leads[0] - leads[1];
        let spread = sums.spread(&calibration, NARROW_WIDE, v_nw, frequency.value);
        let share = |value: f32, truth: f64| (f64::from(value) / truth - 1.0).abs();
        worst.0 = worst
            .0
            .max((f64::from(frequency.value.get()) - mains.hertz).abs());
        worst.1 = worst.1.max(share(v_nw.rms().get(), 120.0));
        worst.2 = worst.2.max(share(spread.true_rms.get(), mains.true_rms()));
    }
    worst
}

/// Operating range of a tester, supply frequency +-5 %: IEC 61557-1 4.3.
#[test]
fn tracked_windows_hold_over_the_operating_range() {
    let (hertz, share, rms) = worst_tracked(570..=630);
    println!("57-63 Hz tracked: {hertz:.2e} Hz, amplitude {share:.2e}, true rms {rms:.2e}");
    assert!(hertz < 5e-4, "{hertz}");
    assert!(share < 3e-5, "{share}");
    // The sinc3 droop of the harmonics is not taken out: at most 3e-5 at 5 % THD.
    assert!(rms < 1e-4, "{rms}");
}

/// Generators and 50 Hz supply are measured too, with wider bounds: a frequency block holds
/// only 2.25 cycles of 45 Hz.
#[test]
fn tracked_windows_hold_more_loosely_from_45_to_65_hz() {
    let (hertz, share, rms) = worst_tracked(450..=650);
    println!("45-65 Hz tracked: {hertz:.2e} Hz, amplitude {share:.2e}, true rms {rms:.2e}");
    assert!(hertz < 5e-4, "{hertz}");
    assert!(share < 3e-4, "{share}");
    assert!(rms < 2e-4, "{rms}");
}

#[test]
fn frequency_error_stays_within_three_stated_uncertainties() {
    let calibration = nominal();
    let mut outside = 0;
    let mut tried = 0;
    for tenth in 590..=610 {
        for phase in 0..8 {
            let mains = Mains {
                volts: 120.0,
                hertz: f64::from(tenth) / 10.0 + 0.007,
                harmonics: THD_5,
                phase: f64::from(phase) * 0.7,
            };
            let sums = mains.window(0, Tuning::NOMINAL);
            let frequency = sums.frequency(&calibration, Volts::new(5.0)).unwrap();
            let off = (f64::from(frequency.value.get()) - mains.hertz).abs();
            tried += 1;
            outside += usize::from(off > 3.0 * f64::from(frequency.u.get()));
        }
    }
    assert_eq!(outside, 0, "of {tried}");
}

#[test]
fn a_dead_pair_has_no_frequency_and_a_far_off_one_no_phasor() {
    let calibration = nominal();
    let dead = Mains {
        volts: 0.2,
        hertz: 60.0,
        harmonics: &[],
        phase: 0.0,
    };
    let sums = dead.window(0, Tuning::NOMINAL);
    assert_eq!(sums.frequency(&calibration, Volts::new(5.0)), None);
    let european = Mains {
        volts: 230.0,
        hertz: 50.0,
        harmonics: &[],
        phase: 0.0,
    };
    let sums = european.window(0, Tuning::NOMINAL);
    let frequency = sums.frequency(&calibration, Volts::new(5.0)).unwrap();
    assert!((frequency.value.get() - 50.0).abs() < 0.3);
    assert_eq!(sums.phasors(&calibration, frequency.value), None);
}

#[test]
fn offsets_and_gains_are_taken_out() {
    let mut calibration = nominal();
    for (channel, (offset, gain)) in [(800, 1.004), (-350, 0.997), (120, 1.0008), (60, 0.9991)]
        .into_iter()
        .enumerate()
    {
        calibration.channels[channel] = ChannelCalibration { offset, gain };
    }
    let mains = Mains {
        volts: 117.3,
        hertz: 60.0,
        harmonics: THD_5,
        phase: 1.0,
    };
    let mut accumulator = Accumulator::new(Tuning::NOMINAL);
    for n in 0..WINDOW {
        let mut frame = mains.frame(n);
        for (code, channel) in frame.codes.iter_mut().zip(calibration.channels) {
            let raw = f64::from(code.get()) / channel.gain + f64::from(channel.offset);
            *code = AdcCode::saturating(raw.round() as i32);
        }
        accumulator.push(&frame);
    }
    let sums = accumulator.sums();
    let leads = sums.phasors(&calibration, Hertz::new(60.0)).unwrap();
    let v_gw = leads[2] - leads[1];
    assert!(v_gw.rms().get() < 1e-3, "{v_gw:?}");
    let ground_wide = (Lead::Ground, Lead::Wide);
    let spread = sums.spread(&calibration, ground_wide, v_gw, Hertz::new(60.0));
    // Floor of the Gram matrix: two channels of 4.4 mV rounding noise.
    assert!(spread.true_rms.get() < 0.012, "{spread:?}");
    assert!(spread.mean.get().abs() < 1e-3, "{spread:?}");
}
