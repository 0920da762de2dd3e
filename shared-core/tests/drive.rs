//! The drive's estimator in a model of a house, from the integers of the sampling path.
//!
//! The model is made here, in `f64`, from its formulas; nothing of the code under test is used to
//! make it but the sequence of the tone. White noise of 2.2 mV a frame and lead (5.35 uV at the
//! converter); strings of +-0.3 % that the calibration knows; the line at 59.9 to 60.1 Hz with
//! 5 % THD, 80 V on narrow and -40 V on the others against the star; a neutral drop of up to 3 V
//! on the path, which steps with a load every two seconds on average, up to 1 V at a time.
//!
//! The converter is its filter: a frame is converted from three frame times of input, behind the
//! string's filter of 43 us.

use slotwise_core::calibration::{Calibration, ChannelCalibration};
use slotwise_core::drive::{DriveCalibration, Estimator, NORMAL_WINDOWS, tone_is_high};
use slotwise_core::evidence::{Evidence, Measured, Missing, PairVoltage, Phasor, SlotVoltages};
use slotwise_core::front_end::{NOMINAL_VOLTS_PER_CODE, response};
use slotwise_core::limits::Limits;
use slotwise_core::sample::{AdcCode, Frame};
use slotwise_core::stimulus::{DrivePath, Interlock};
use slotwise_core::units::{Celsius, Hertz, Ohms, Radians, Ratio, UnixSeconds, Volts};
use std::f64::consts::TAU;

const FRAMES_4_S: u32 = 16_020;
const NOISE: f64 = 2.2e-3;

/// 5 % THD: 4 % third, 2.65 % fifth, 1.4 % seventh; sqrt(16 + 7.02 + 1.96) = 5.0.
const THD_5: [(f64, f64, f64); 3] = [(3.0, 0.04, 0.7), (5.0, 0.0265, 2.1), (7.0, 0.014, -1.3)];

/// A small generator of its own (xorshift64*), so that a run is its seed.
struct Dice(u64);

impl Dice {
    fn new(seed: u64) -> Self {
        let mut dice = Self(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1);
        for _ in 0..8 {
            dice.even();
        }
        dice
    }

    /// Evenly in 0..1.
    fn even(&mut self) -> f64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        (self.0.wrapping_mul(0x2545_F491_4F6C_DD1D) >> 11) as f64 / (1_u64 << 53) as f64
    }

    fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.even()
    }

    /// Two independent normal numbers (Box and Muller).
    fn normal(&mut self) -> (f64, f64) {
        let size = (-2.0 * (1.0 - self.even()).ln()).sqrt();
        let (sin, cos) = (TAU * self.even()).sin_cos();
        (size * cos, size * sin)
    }
}

/// The line: everything that is on the leads without the drive.
#[derive(Clone, Copy)]
struct Line {
    hertz: f64,
    /// Potential of wide and ground against the star, RMS.
    common: f64,
    /// On the path, RMS.
    drop: f64,
    /// Load steps a second, and the largest, RMS.
    steps: (f64, f64),
}

impl Line {
    const OFF: Self = Self {
        hertz: 60.0,
        common: 0.0,
        drop: 0.0,
        steps: (0.0, 0.0),
    };

    fn house(dice: &mut Dice) -> Self {
        Self {
            hertz: dice.between(59.9, 60.1),
            common: 40.0,
            drop: dice.between(0.0, 3.0),
            steps: (0.5, 1.0),
        }
    }
}

struct Model {
    path: DrivePath,
    /// What stands between the leads of the path, all in.
    ohms: f64,
    drive: DriveCalibration,
    line: Line,
    noise: f64,
}

impl Model {
    fn new(path: DrivePath, ohms: f64, line: Line) -> Self {
        Self {
            path,
            ohms,
            drive: DriveCalibration::NOMINAL,
            line,
            noise: NOISE,
        }
    }

    /// Plays `frames` frames to `take`, with a calibration that knows the strings.
    fn play(
        &self,
        dice: &mut Dice,
        frames: u32,
        mut take: impl FnMut(&Frame, u32, bool),
    ) -> Calibration {
        let gains: [f64; 4] = std::array::from_fn(|_| dice.between(0.997, 1.003));
        let level = f64::from(self.drive.level.get());
        let share = self.ohms / (self.ohms + f64::from(self.drive.source.get()));
        let mut drop = self.line.drop;
        let mut turn = dice.between(0.0, TAU);
        let step = TAU * self.line.hertz / 4000.0;
        let memory = response_to_a_frame();
        let is_dead = self.line.common == 0.0 && self.line.drop == 0.0;
        let harmonics: Vec<(f64, f64, f64)> = std::iter::once((1.0, 1.0, 0.0))
            .chain(THD_5)
            .filter(|_| !is_dead)
            .map(|(order, size, phase)| {
                let passed = response(Hertz::from_f64(60.0 * order));
                (order, size * 2.0_f64.sqrt() * passed, phase)
            })
            .collect();
        // Open before frame 0.
        let held = |number: i64| match u32::try_from(number) {
            Ok(number) if tone_is_high(number) => 1.0,
            Ok(_) => -1.0,
            Err(_) => 0.0,
        };
        for number in 0..frames {
            if self.line.steps.0 > 0.0 && dice.even() < self.line.steps.0 / 4000.0 {
                // A load comes or goes; the drop stays below 3 V.
                let most = self.line.steps.1;
                drop = (drop + dice.between(-most, most)).clamp(0.0, 3.0);
            }
            turn += step;
            let wave = |offset: f64| {
                let angle = turn + offset;
                harmonics
                    .iter()
                    .map(|(order, size, phase)| size * (order * angle + phase).cos())
                    .sum::<f64>()
            };
            let wide = -self.line.common * wave(0.0);
            let square: f64 = (0..)
                .zip(memory)
                .map(|(back, w)| w * held(i64::from(number) - back))
                .sum();
            let far = wide + drop * wave(0.3) - level * share * square;
            let (a, b) = dice.normal();
            let mut volts = [-2.0 * wide, wide, 0.0, 0.0];
            volts[1] += a * self.noise;
            let place = match self.path {
                DrivePath::WideToGround => 2,
                DrivePath::WideToClip => 3,
            };
            volts[place] = far + b * self.noise;
            let mut codes = [AdcCode::default(); 4];
            for ((code, volts), gain) in codes.iter_mut().zip(volts).zip(gains) {
                let value = volts / (NOMINAL_VOLTS_PER_CODE * gain);
                *code = AdcCode::saturating(value.round() as i32);
            }
            take(&Frame { codes }, number, tone_is_high(number));
        }
        Calibration {
            channels: gains.map(|gain| ChannelCalibration { offset: 0, gain }),
            u_gain: Ratio::new(0.0011),
            reference: Ohms::new(10.0),
            done: UnixSeconds::new(1_790_000_000),
            temperature: Celsius::new(23.0),
            drive: self.drive,
        }
    }

    fn measure(&self, seed: u64) -> (Estimator, Calibration) {
        let mut estimator = Estimator::new(self.path);
        let calibration = self.play(&mut Dice::new(seed), FRAMES_4_S, |frame, number, high| {
            estimator.push(frame, number, self.path, high);
        });
        (estimator, calibration)
    }

    fn reading(&self, seed: u64) -> Measured<Ohms> {
        let (estimator, calibration) = self.measure(seed);
        estimator.estimate(&calibration, &Limits::DEFAULT)
    }
}

/// What a level that is held through a frame leaves in the code of that frame and of the three
/// after it: the sinc3 over three frame times makes a cubic B-spline of it (1/6, 4/6, 1/6), and
/// the string's filter, one pole of 43.3 us, smears that. By the midpoint rule.
fn response_to_a_frame() -> [f64; 5] {
    const TAU_FRAMES: f64 = 43.3e-6 * 4000.0;
    const POINTS: u32 = 20_000;
    let spline = |x: f64| {
        let x = x.abs();
        if x < 1.0 {
            (4.0 - 6.0 * x * x + 3.0 * x * x * x) / 6.0
        } else if x < 2.0 {
            (2.0 - x).powi(3) / 6.0
        } else {
            0.0
        }
    };
    std::array::from_fn(|back| {
        (0..POINTS)
            .map(|n| {
                // Shares of the exponential of equal weight.
                let share = (f64::from(n) + 0.5) / f64::from(POINTS);
                spline(back as f64 - 1.0 + TAU_FRAMES * share.ln()) / f64::from(POINTS)
            })
            .sum()
    })
}

fn p95(errors: &mut [f64]) -> f64 {
    errors.sort_by(f64::total_cmp);
    errors[errors.len() * 95 / 100]
}

/// Errors of many runs.
struct Runs {
    p95: f64,
    bias: f64,
    /// Root mean square of error over stated u.
    stated: f64,
    /// Share of runs that are off by more than three stated u.
    beyond: f64,
    missing: usize,
}

fn runs(place: u64, count: u64, model: impl Fn(u64) -> (Model, f64)) -> Runs {
    let mut errors = Vec::new();
    let mut stated = Vec::new();
    for seed in 0..count {
        let (model, truth) = model(seed);
        if let Some(reading) = model.reading(seed + place * 10_000).reading() {
            let error = f64::from(reading.value.get()) - truth;
            errors.push(error);
            stated.push(error / f64::from(reading.u.get()));
        }
    }
    let n = errors.len() as f64;
    let bias = errors.iter().sum::<f64>() / n;
    let mut sizes: Vec<f64> = errors.iter().map(|error| error.abs()).collect();
    Runs {
        p95: p95(&mut sizes),
        bias,
        stated: (stated.iter().map(|z| z * z).sum::<f64>() / n).sqrt(),
        beyond: stated.iter().filter(|z| z.abs() > 3.0).count() as f64 / n,
        missing: usize::try_from(count).unwrap() - errors.len(),
    }
}

impl Runs {
    fn print(&self, what: &str) {
        println!(
            "{what}: p95 {:.4} ohm, bias {:+.4} ohm, error/u rms {:.2}, beyond 3u {:.1} %, missing {}",
            self.p95,
            self.bias,
            self.stated,
            self.beyond * 100.0,
            self.missing
        );
    }
}

#[test]
fn within_a_twentieth_of_an_ohm_in_a_busy_house() {
    let mut all = (0.0, 0);
    for (place, ohms) in (0..).zip([0.05, 0.2, 0.5, 1.0, 3.0, 10.0, 30.0, 100.0]) {
        let runs = runs(place, 160, |seed| {
            let line = Line::house(&mut Dice::new(1000 * place + seed));
            (Model::new(DrivePath::WideToGround, ohms + 10.0, line), ohms)
        });
        runs.print(&format!("power on, {ohms} ohm"));
        assert!(runs.p95 < 0.05, "{ohms} ohm: p95 {}", runs.p95);
        assert!(runs.bias.abs() < 0.01, "{ohms} ohm: bias {}", runs.bias);
        assert!(runs.missing <= 4, "{ohms} ohm: {} without", runs.missing);
        // u contains the calibrated current, which is exact here: at 100 ohm it is most of u.
        assert!(runs.stated < 1.25, "{ohms} ohm: {}", runs.stated);
        all = (all.0 + runs.beyond, all.1 + 1);
    }
    let beyond = all.0 / f64::from(all.1);
    println!("beyond 3u over all: {:.2} %", beyond * 100.0);
    assert!(beyond < 0.015, "{beyond}");
}

/// White noise alone leaves 2.2 mV sqrt 2 / sqrt 14700 / 1.80 mA = 0.0143 ohm, p95 0.0280: of
/// 16020 frames 14700 count under the windows' tapers. One p95 of 1200 runs is known to 2.3 %.
#[test]
fn power_off_within_three_hundredths() {
    let runs = runs(20, 1200, |seed| {
        let ohms = [0.05, 0.5, 3.0, 9.0][(seed % 4) as usize];
        (Model::new(DrivePath::WideToClip, ohms, Line::OFF), ohms)
    });
    runs.print("power off, 0.05 to 9 ohm");
    assert!(runs.p95 <= 0.03, "p95 {}", runs.p95);
    assert!(runs.bias.abs() < 0.002, "bias {}", runs.bias);
    assert!((0.85..1.15).contains(&runs.stated), "{}", runs.stated);
    assert_eq!(runs.missing, 0);
}

#[test]
fn two_milliamperes_and_20_6_millivolts_fail_the_10_ohm_limit() {
    // Worked case: 20.6 mV / 2.00 mA = 10.3 ohm. The drive of 6 V and 3 kohm with 10.3 ohm
    // gives 1.993 mA and 20.53 mV; one that gives just 2.00 mA has 6.0206 V.
    let mut model = Model::new(DrivePath::WideToClip, 10.3, Line::OFF);
    model.drive.level = Volts::new(2.0e-3 * 3_010.3);
    let quiet = Model {
        noise: 0.2e-3,
        ..model
    };
    let Measured::Known(reading) = quiet.reading(1) else {
        panic!("a reading");
    };
    assert!((reading.value.get() - 10.3).abs() < 0.005, "{reading:?}");
    let limits = Limits::DEFAULT.drive;
    assert!(!limits.passes_power_off(reading));
    // The limit is met with its uncertainty or not at all.
    for (ohms, passes) in [(0.4, true), (9.7, true), (9.99, false), (10.1, false)] {
        for seed in 0..10 {
            let reading = Model::new(DrivePath::WideToClip, ohms, Line::OFF)
                .reading(seed)
                .reading()
                .unwrap();
            assert_eq!(
                limits.passes_power_off(reading),
                passes,
                "{ohms} {reading:?}"
            );
        }
    }
}

#[test]
fn the_lead_zero_and_the_reference_resistor_are_taken_out() {
    let mut clip = Model::new(DrivePath::WideToClip, 0.73, Line::OFF);
    clip.drive.lead_zero = Ohms::new(0.23);
    clip.noise = 0.2e-3;
    let value = clip.reading(3).value().unwrap().get();
    assert!((value - 0.5).abs() < 0.005, "{value}");
    let mut ground = Model::new(DrivePath::WideToGround, 10.5, Line::OFF);
    ground.noise = 0.2e-3;
    let value = ground.reading(3).value().unwrap().get();
    assert!((value - 0.5).abs() < 0.005, "{value}");
}

/// Section for comparison: how much worse it would be on another frequency, all else equal.
#[test]
fn the_line_is_further_away_at_85_hz_than_at_83_33() {
    // The tone of another frequency, demodulated with Hann's weight over 800 frames and with
    // the weight used here, in f64: what 3 V of a line at 59.9 Hz leave, in ohms at 1.8 mA.
    let leak = |hertz: f64, line: f64, frames: u32, power: i32| {
        let (mut re, mut im, mut sum) = (0.0, 0.0, 0.0);
        for n in 0..frames {
            let w = (std::f64::consts::PI * f64::from(n) / f64::from(frames))
                .sin()
                .powi(power);
            let angle = TAU * (line - hertz) * f64::from(n) / 4000.0;
            re += w * angle.cos();
            im += w * angle.sin();
            sum += w;
        }
        3.0 * f64::hypot(re, im) / sum / 1.8e-3
    };
    // Worst over the line's range: a line that stands on a null says nothing.
    let worst = |hertz: f64, frames: u32, power: i32, range: f64| {
        (-20..=20)
            .map(|n| leak(hertz, 60.0 + range * f64::from(n) / 20.0, frames, power))
            .fold(0.0, f64::max)
    };
    for range in [0.1, 0.5] {
        for (what, frames, power) in [("Hann, 200 ms", 800, 2), ("Hann squared, 400 ms", 1600, 4)] {
            let (ours, theirs) = (
                worst(85.0, frames, power, range),
                worst(250.0 / 3.0, frames, power, range),
            );
            println!(
                "line 60 +-{range} Hz, 3 V, {what}: {ours:.4} ohm at 85 Hz, {theirs:.4} ohm at 83.33 Hz, \
                 ratio {:.1}",
                theirs / ours
            );
            assert!(theirs > ours, "{what}");
        }
    }
    // The weight in use, the whole range of a utility's frequency.
    assert!(worst(85.0, 1600, 4, 0.5) < 0.015);
    assert!(
        worst(85.0, 800, 2, 0.1) > 0.2,
        "why Hann alone is not enough"
    );
}

#[test]
fn off_nominal_lines_do_not_pull_it() {
    for hertz in [59.5, 60.5] {
        let runs = runs(40, 60, |seed| {
            let mut line = Line::house(&mut Dice::new(seed));
            line.hertz = hertz;
            line.drop = 3.0;
            (Model::new(DrivePath::WideToGround, 10.5, line), 0.5)
        });
        runs.print(&format!("line of {hertz} Hz and 3 V"));
        assert!(runs.p95 < 0.05 && runs.bias.abs() < 0.015);
    }
}

#[test]
fn an_open_path_is_beyond_range_and_a_kilohm_is_not() {
    let reading = |ohms: f64| Model::new(DrivePath::WideToClip, ohms, Line::OFF).reading(5);
    for ohms in [1.3e3, 1e4, 1e6, 1e9] {
        assert_eq!(
            reading(ohms),
            Measured::Missing(Missing::BeyondRange),
            "{ohms}"
        );
    }
    let value = reading(900.0).value().unwrap().get();
    assert!((value - 900.0).abs() < 1.0, "{value}");
}

#[test]
fn an_interlock_that_opens_at_once_at_the_drives_own_level_says_open() {
    let peak = 4.24 / NOMINAL_VOLTS_PER_CODE;
    let stopped = |ohms: f64, line: Line| {
        let model = Model::new(DrivePath::WideToClip, ohms, line);
        let mut estimator = Estimator::new(model.path);
        let mut dropped = None;
        let calibration = model.play(&mut Dice::new(3), 4000, |frame, number, high| {
            if dropped.is_none() {
                estimator.push(frame, number, model.path, high);
                let [_, wide, _, clip] = frame.codes.map(AdcCode::get);
                if f64::from((clip - wide).abs()) > peak {
                    dropped = Some(number);
                }
            }
        });
        (
            dropped,
            estimator.why_dropped(Interlock::Voltage, &calibration),
        )
    };
    let (frame, why) = stopped(1e6, Line::OFF);
    assert!(frame.unwrap() < 5);
    assert_eq!(why, Missing::BeyondRange);
    // A line that is too high on the path is no open path, whenever its peak comes.
    for hertz in [57.0, 59.9, 60.0, 61.3, 63.0] {
        let live = Line {
            drop: 3.3,
            hertz,
            ..Line::OFF
        };
        let (frame, why) = stopped(5.0, live);
        assert!(frame.is_some());
        assert_eq!(why, Missing::Refused, "{hertz}");
    }
    let estimator = Estimator::new(DrivePath::WideToClip);
    let (_, calibration) = Model::new(DrivePath::WideToClip, 1.0, Line::OFF).measure(1);
    assert_eq!(
        estimator.why_dropped(Interlock::Blind, &calibration),
        Missing::Unsteady
    );
}

#[test]
fn doubt_gives_no_number() {
    let limits = Limits::DEFAULT;
    let model = Model::new(DrivePath::WideToGround, 10.5, Line::OFF);
    // Too short.
    let mut short = Estimator::new(model.path);
    let calibration = model.play(&mut Dice::new(1), 3000, |frame, number, high| {
        short.push(frame, number, model.path, high);
    });
    assert_eq!(
        short.estimate(&calibration, &limits),
        Measured::Missing(Missing::Unsteady)
    );
    // A tone that stands still.
    let mut still = Estimator::new(model.path);
    model.play(&mut Dice::new(1), FRAMES_4_S, |frame, number, _| {
        still.push(frame, number, model.path, true);
    });
    assert_eq!(
        still.estimate(&calibration, &limits),
        Measured::Missing(Missing::Unsteady)
    );
    // A lead beyond full scale in every frame.
    let mut clipped = Estimator::new(model.path);
    model.play(&mut Dice::new(1), FRAMES_4_S, |frame, number, high| {
        let mut frame = *frame;
        frame.codes[2] = AdcCode::MAX;
        clipped.push(&frame, number, model.path, high);
    });
    assert_eq!(
        clipped.estimate(&calibration, &limits),
        Measured::Missing(Missing::Clipped)
    );
    // Frames of another path count for nothing.
    let mut other = Estimator::new(DrivePath::WideToClip);
    model.play(&mut Dice::new(1), FRAMES_4_S, |frame, number, high| {
        other.push(frame, number, DrivePath::WideToGround, high);
    });
    assert_eq!(other.windows(), 0);
    // A converter whose codes lag by a frame more than the calibration says: the path would have
    // a reactance that copper has not.
    let (estimator, mut calibration) = model.measure(1);
    assert!(
        estimator
            .estimate(&calibration, &limits)
            .reading()
            .is_some()
    );
    calibration.drive.lag = calibration.drive.lag + Radians::new(0.134);
    assert_eq!(
        estimator.estimate(&calibration, &limits),
        Measured::Missing(Missing::Unsteady)
    );
}

/// A hum at 85 Hz, as a load that modulates the line at 25 Hz makes: never a confident wrong
/// value in more than a few of its phases, and refused in most.
#[test]
fn a_hum_at_the_tones_frequency_is_mostly_refused() {
    let (mut wrong, mut refused) = (0, 0);
    const PHASES: u32 = 48;
    for n in 0..PHASES {
        let model = Model::new(DrivePath::WideToGround, 10.5, Line::OFF);
        let mut estimator = Estimator::new(model.path);
        let phase = TAU * f64::from(n) / f64::from(PHASES);
        let calibration = model.play(
            &mut Dice::new(u64::from(n)),
            FRAMES_4_S,
            |frame, number, high| {
                let mut frame = *frame;
                let volts = 5e-3 * (TAU * 85.0 * f64::from(number) / 4000.0 + phase).cos();
                let code = frame.codes[2].get() + (volts / NOMINAL_VOLTS_PER_CODE).round() as i32;
                frame.codes[2] = AdcCode::saturating(code);
                estimator.push(&frame, number, model.path, high);
            },
        );
        match estimator.estimate(&calibration, &Limits::DEFAULT) {
            Measured::Missing(_) => refused += 1,
            Measured::Known(reading) => {
                wrong += u32::from((reading.value.get() - 0.5).abs() > 3.0 * reading.u.get());
            }
        }
    }
    println!("5 mV at 85 Hz (2 ohm), {PHASES} phases: {refused} refused, {wrong} wrong");
    assert!(refused >= PHASES * 6 / 10 && wrong <= PHASES * 4 / 10);
}

#[test]
fn lost_frames_cost_time_and_nothing_else() {
    let model = Model::new(DrivePath::WideToGround, 13.0, Line::OFF);
    let mut estimator = Estimator::new(model.path);
    let calibration = model.play(&mut Dice::new(9), 2 * FRAMES_4_S, |frame, number, high| {
        if !(5_000..5_123).contains(&number) && number != 20_001 {
            estimator.push(frame, number, model.path, high);
        }
    });
    let whole = 2 * u32::from(NORMAL_WINDOWS);
    assert!(u32::from(estimator.windows()) < whole);
    let reading = estimator
        .estimate(&calibration, &Limits::DEFAULT)
        .reading()
        .unwrap();
    assert!((reading.value.get() - 3.0).abs() < 0.05, "{reading:?}");
}

#[test]
fn the_normal_time_is_four_seconds() {
    let (estimator, _) = Model::new(DrivePath::WideToGround, 10.0, Line::OFF).measure(1);
    assert_eq!(estimator.windows(), NORMAL_WINDOWS);
    println!(
        "an estimator takes {} bytes of memory",
        std::mem::size_of::<Estimator>()
    );
}

mod interlock {
    use super::*;
    use slotwise_core::drive::{may_close, may_stay};
    use slotwise_core::slots::Lead;
    use slotwise_core::window::{Accumulator, Tuning};

    fn evidence(nw: f32, gw: f32, cw: Result<f32, Missing>) -> Evidence {
        let phasor = |volts: f32| Phasor {
            rms: Volts::new(volts),
            ..Phasor::default()
        };
        let pair = |volts: f32| PairVoltage {
            fundamental: phasor(volts),
            true_rms: Volts::new(volts),
            ..PairVoltage::default()
        };
        let mut evidence = Evidence::empty();
        evidence.slots = Ok(SlotVoltages {
            pairs: [pair(nw), pair(gw), pair(nw - gw)],
            ..SlotVoltages::default()
        });
        evidence.clip_wide = cw.map(phasor);
        evidence
    }

    #[test]
    fn the_drive_is_closed_only_where_nothing_stands() {
        use DrivePath::{WideToClip, WideToGround};
        let free = Err(Missing::ClipFree);
        let refused = Err(Missing::Refused);
        for (path, nw, gw, cw, expected) in [
            (WideToGround, 119.5, 0.0, free, Ok(())),
            (WideToGround, 119.5, 2.99, free, Ok(())),
            (WideToGround, 119.5, 3.0, free, refused),
            (WideToGround, 119.5, 119.5, free, refused),
            (WideToGround, 119.5, f32::NAN, free, refused),
            // The power-off check wants every pair of slots below 2 V.
            (WideToClip, 0.0, 0.0, Ok(0.0), Ok(())),
            (WideToClip, 2.0, 0.0, Ok(0.0), Ok(())),
            (WideToClip, 2.1, 0.0, Ok(0.0), refused),
            (WideToClip, 0.5, -2.1, Ok(0.0), refused),
            (WideToClip, 119.5, 0.0, Ok(0.0), refused),
            (WideToClip, 0.0, 0.0, Ok(3.0), refused),
            (WideToClip, 0.0, 0.0, free, Err(Missing::ClipFree)),
        ] {
            let evidence = evidence(nw, gw, cw);
            let got = may_close(path, &evidence, &Limits::DEFAULT);
            assert_eq!(got, expected, "{path:?} {nw} {gw} {cw:?}");
        }
        let nothing = Evidence::empty();
        assert_eq!(
            may_close(WideToGround, &nothing, &Limits::DEFAULT),
            Err(Missing::NotAsked)
        );
    }

    /// Windows with this on narrow and ground against wide, RMS, beside the drive's own.
    fn stays(path: DrivePath, narrow: f64, ground: f64) -> Result<(), Missing> {
        let model = Model::new(path, 10.5, Line::OFF);
        let mut accumulator = Accumulator::new(Tuning::NOMINAL);
        let mut whole = false;
        let calibration = model.play(&mut Dice::new(2), 820, |frame, number, _| {
            if number < 20 || whole {
                return;
            }
            let mut frame = *frame;
            let wave = 2.0_f64.sqrt() * (TAU * 60.0 * f64::from(number) / 4000.0).cos();
            for (lead, volts) in [(Lead::Narrow, narrow), (Lead::Ground, ground)] {
                let code = frame.codes[lead.channel()].get()
                    + (volts * wave / NOMINAL_VOLTS_PER_CODE).round() as i32;
                frame.codes[lead.channel()] = AdcCode::saturating(code);
            }
            whole = accumulator.push(&frame);
        });
        assert!(whole);
        let limits = Limits::DEFAULT;
        may_stay(path, accumulator.sums(), None, &calibration, &limits)
    }

    #[test]
    fn it_stays_closed_as_long_as_nothing_rises() {
        use DrivePath::{WideToClip, WideToGround};
        let refused = Err(Missing::Refused);
        for (path, narrow, ground, expected) in [
            (WideToGround, 119.5, 0.0, Ok(())),
            (WideToGround, 119.5, 2.9, Ok(())),
            (WideToGround, 119.5, 3.1, refused),
            (WideToGround, 119.5, 60.0, refused),
            (WideToClip, 0.0, 0.0, Ok(())),
            (WideToClip, 1.8, 0.0, Ok(())),
            (WideToClip, 2.2, 0.0, refused),
            (WideToClip, 0.0, 2.2, refused),
            (WideToGround, 600.0, 0.0, Err(Missing::Clipped)),
        ] {
            assert_eq!(
                stays(path, narrow, ground),
                expected,
                "{path:?} {narrow} {ground}"
            );
        }
    }
}
