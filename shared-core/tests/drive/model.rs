//! The house, the tester in it, and errors over many runs.

use slotwise_core::calibration::{Calibration, ChannelCalibration};
use slotwise_core::drive::{DriveCalibration, Estimator, tone_is_high};
use slotwise_core::evidence::Measured;
use slotwise_core::front_end::{NOMINAL_VOLTS_PER_CODE, response};
use slotwise_core::limits::Limits;
use slotwise_core::sample::{AdcCode, Frame};
use slotwise_core::stimulus::DrivePath;
use slotwise_core::units::{Celsius, Hertz, Ohms, Ratio, UnixSeconds};
use std::f64::consts::TAU;

pub(crate) const FRAMES_4_S: u32 = 16_020;
pub(crate) const NOISE: f64 = 2.2e-3;

/// 5 % THD: 4 % third, 2.65 % fifth, 1.4 % seventh; sqrt(16 + 7.02 + 1.96) = 5.0.
pub(crate) const THD_5: [(f64, f64, f64); 3] =
    [(3.0, 0.04, 0.7), (5.0, 0.0265, 2.1), (7.0, 0.014, -1.3)];

/// A small generator of its own (xorshift64*), so that a run is its seed.
pub(crate) struct Dice(u64);

impl Dice {
    pub(crate) fn new(seed: u64) -> Self {
        let mut dice = Self(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1);
        for _ in 0..8 {
            dice.even();
        }
        dice
    }

    /// Evenly in 0..1.
    pub(crate) fn even(&mut self) -> f64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        (self.0.wrapping_mul(0x2545_F491_4F6C_DD1D) >> 11) as f64 / (1_u64 << 53) as f64
    }

    pub(crate) fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.even()
    }

    /// Two independent normal numbers (Box and Muller).
    pub(crate) fn normal(&mut self) -> (f64, f64) {
        let size = (-2.0 * (1.0 - self.even()).ln()).sqrt();
        let (sin, cos) = (TAU * self.even()).sin_cos();
        (size * cos, size * sin)
    }
}

/// The line: everything that is on the leads without the drive.
#[derive(Clone, Copy)]
pub(crate) struct Line {
    pub(crate) hertz: f64,
    /// Potential of wide and ground against the star, RMS.
    pub(crate) common: f64,
    /// On the path, RMS.
    pub(crate) drop: f64,
    /// Load steps a second, and the largest, RMS.
    pub(crate) steps: (f64, f64),
}

impl Line {
    pub(crate) const OFF: Self = Self {
        hertz: 60.0,
        common: 0.0,
        drop: 0.0,
        steps: (0.0, 0.0),
    };

    pub(crate) fn house(dice: &mut Dice) -> Self {
        Self {
            hertz: dice.between(59.9, 60.1),
            common: 40.0,
            drop: dice.between(0.0, 3.0),
            steps: (0.5, 1.0),
        }
    }
}

pub(crate) struct Model {
    pub(crate) path: DrivePath,
    /// What stands between the leads of the path, all in: the resistor of 10 ohm in the clip lead too.
    pub(crate) ohms: f64,
    pub(crate) drive: DriveCalibration,
    pub(crate) line: Line,
    pub(crate) noise: f64,
}

impl Model {
    /// To ground: `ohms` with the reference resistor; to the clip: from wide to the clip itself.
    pub(crate) fn new(path: DrivePath, ohms: f64, line: Line) -> Self {
        let in_lead = match path {
            DrivePath::WideToGround => 0.0,
            DrivePath::WideToClip => 10.0,
        };
        Self {
            path,
            ohms: ohms + in_lead,
            drive: DriveCalibration::NOMINAL,
            line,
            noise: NOISE,
        }
    }

    /// Plays `frames` frames to `take`, with a calibration that knows the strings.
    pub(crate) fn play(
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

    pub(crate) fn measure(&self, seed: u64) -> (Estimator, Calibration) {
        let mut estimator = Estimator::new(self.path);
        let calibration = self.play(&mut Dice::new(seed), FRAMES_4_S, |frame, number, high| {
            estimator.push(frame, number, self.path, high);
        });
        (estimator, calibration)
    }

    pub(crate) fn reading(&self, seed: u64) -> Measured<Ohms> {
        let (estimator, calibration) = self.measure(seed);
        estimator.estimate(&calibration, &Limits::DEFAULT)
    }
}

/// What a level that is held through a frame leaves in the code of that frame and of the three
/// after it: the sinc3 over three frame times makes a cubic B-spline of it (1/6, 4/6, 1/6), and
/// the string's filter, one pole of 43.3 us, smears that. By the midpoint rule.
pub(crate) fn response_to_a_frame() -> [f64; 5] {
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

pub(crate) fn p95(errors: &mut [f64]) -> f64 {
    errors.sort_by(f64::total_cmp);
    errors[errors.len() * 95 / 100]
}

/// Errors of many runs.
pub(crate) struct Runs {
    pub(crate) p95: f64,
    pub(crate) bias: f64,
    /// Root mean square of error over stated u.
    pub(crate) stated: f64,
    /// Share of runs that are off by more than three stated u.
    pub(crate) beyond: f64,
    pub(crate) missing: usize,
}

pub(crate) fn runs(place: u64, count: u64, model: impl Fn(u64) -> (Model, f64)) -> Runs {
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
    pub(crate) fn print(&self, what: &str) {
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
