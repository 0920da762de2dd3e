//! House model: a receptacle in a busy house, frame by frame, while probe P1 runs its pattern.
//!
//! Made in `f64` from the circuit; nothing of the code under test is used but the pattern,
//! the units and the code's size.
//!
//! ```text
//!  source ─[Zs]─┬─[Zh]── narrow ──[probe]──┐
//!               │          │ loads         inner ground ─[R_cal]─[R]── panel
//!               └─[Zn]── wide
//! ```
//!
//! - supply 120 V, 59.9-60.1 Hz, 5 % total distortion (3rd 4 %, 5th 2.65 %, 7th 1.4 %);
//! - loads on the branch: 0.5-8 A at up to 30 degrees, a fifth of it third harmonic, on a
//!   neutral and a hot conductor of 0.1-0.5 ohm each and a source of 0.02-0.1 ohm. Their
//!   current moves `v_gw` by `-I Zn` and `v_nw` by `-I (Zh + Zn + Zs)`;
//! - other loads step, 0.5 times a second (Poisson) by 0.3-12 A; every third that switches on
//!   is a motor that draws four times as much at first, falling in 50 ms;
//! - if asked, a load that modulates at 7-15 Hz, by a sine or on and off;
//! - white noise of 2.2 mV RMS a frame on every lead;
//! - the tester: gains within 1 % and offsets that the calibration knows; a probe within 1 %
//!   and relays of 1-2 ms, which it does not.

#![allow(dead_code, reason = "every test file takes what it needs")]

use num_complex::Complex;
use slotwise_core::calibration::{Calibration, ChannelCalibration};
use slotwise_core::drive::DriveCalibration;
use slotwise_core::earth_path::is_closed;
use slotwise_core::front_end::NOMINAL_VOLTS_PER_CODE;
use slotwise_core::sample::{AdcCode, Frame};
use slotwise_core::units::{Celsius, Ohms, Ratio, UnixSeconds};

const RATE: f64 = 4000.0;
const NOISE: f64 = 2.2e-3;
const R_CAL: f64 = 10.0;
const PROBE: f64 = 90e3;
const STEPS_A_SECOND: f64 = 0.5;

/// Numbers that repeat for a seed: splitmix64 (S. Vigna, public domain).
pub(crate) struct Draw(u64);

impl Draw {
    pub(crate) fn new(seed: u64) -> Self {
        Self(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15))
    }

    pub(crate) fn bits(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let z = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        let z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    pub(crate) fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * (self.bits() >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// Even over the logarithm.
    pub(crate) fn decades(&mut self, low: f64, high: f64) -> f64 {
        self.between(low.ln(), high.ln()).exp()
    }

    /// Variance 1: four uniform 16-bit numbers. Sums of a block are normal to far beyond
    /// what a test sees.
    fn noise(&mut self) -> f64 {
        let bits = self.bits();
        let sum = (bits & 0xFFFF) + (bits >> 16 & 0xFFFF) + (bits >> 32 & 0xFFFF) + (bits >> 48);
        // Four of variance 65536^2 / 12.
        (sum as f64 - 131_070.0) * (3.0_f64.sqrt() / 65_536.0)
    }
}

/// What modulates at 7-15 Hz.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Modulation {
    pub(crate) hertz: f64,
    pub(crate) amperes: f64,
    pub(crate) on_and_off: bool,
}

/// What a run is drawn with.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Scene {
    /// Earth path, ohms.
    pub(crate) ohms: f64,
    /// Whether other loads step.
    pub(crate) steps: bool,
    pub modulation: Option<Modulation>,
    /// Line frequency, if not drawn.
    pub(crate) hertz: Option<f64>,
    /// How far the probe's resistance may be off, as a share.
    pub(crate) probe_within: f64,
}

impl Scene {
    pub(crate) const fn busy(ohms: f64) -> Self {
        Self {
            ohms,
            steps: true,
            modulation: None,
            hertz: None,
            probe_within: 0.01,
        }
    }
}

/// The receptacle and the tester in it.
pub(crate) struct BusyHouse {
    draw: Draw,
    scene: Scene,
    pub(crate) hertz: f64,
    turn: Complex<f64>,
    turn_a_frame: Complex<f64>,
    neutral: f64,
    hot_and_source: f64,
    /// Steady current and the inrush on top of it, RMS phasors.
    current: Complex<f64>,
    inrush: Complex<f64>,
    third: Complex<f64>,
    next_step: f64,
    modulation_phase: f64,
    probe: f64,
    relay_frames: u32,
    channels: [ChannelCalibration; 4],
    number: u32,
}

impl BusyHouse {
    pub(crate) fn new(seed: u64, scene: Scene) -> Self {
        let mut draw = Draw::new(seed);
        let hertz = scene.hertz.unwrap_or(draw.between(59.9, 60.1));
        let angle = |turns: f64| Complex::from_polar(1.0, turns * std::f64::consts::TAU);
        let neutral = draw.between(0.1, 0.5);
        let current = Complex::from_polar(draw.between(0.5, 8.0), draw.between(-0.52, 0.52));
        let channels = [(); 4].map(|()| ChannelCalibration {
            offset: draw.between(-1200.0, 1200.0) as i32,
            gain: draw.between(0.99, 1.01),
        });
        let mut house = Self {
            hertz,
            turn: angle(draw.between(0.0, 1.0)),
            turn_a_frame: angle(hertz / RATE),
            neutral,
            hot_and_source: neutral + draw.between(0.02, 0.1),
            current,
            inrush: Complex::new(0.0, 0.0),
            third: angle(draw.between(0.0, 1.0)) * 0.2,
            next_step: 0.0,
            modulation_phase: draw.between(0.0, std::f64::consts::TAU),
            probe: PROBE * (1.0 + scene.probe_within * draw.between(-1.0, 1.0)),
            relay_frames: draw.between(4.0, 9.0) as u32,
            channels,
            number: 0,
            draw,
            scene,
        };
        house.next_step = house.wait();
        house
    }

    /// Frames to the next step.
    fn wait(&mut self) -> f64 {
        -self.draw.between(1e-12, 1.0).ln() / STEPS_A_SECOND * RATE
    }

    pub(crate) fn calibration(&self) -> Calibration {
        Calibration {
            channels: self.channels,
            ..calibration()
        }
    }

    fn step(&mut self) {
        let amperes = self.draw.decades(0.3, 12.0);
        let angle = self.draw.between(-0.52, 0.52);
        let change = Complex::from_polar(amperes, angle);
        if self.current.re > amperes && self.draw.bits() & 1 == 0 {
            self.current -= change;
        } else {
            self.current += change;
            if self.draw.bits().is_multiple_of(3) {
                self.inrush += change * 3.0;
            }
        }
    }

    /// The next frame, its number in the pattern, and whether the probe is closed.
    pub(crate) fn frame(&mut self) -> (Frame, u32, bool) {
        let number = self.number;
        let frame = self.frame_with(is_closed, |_| 0.0);
        (frame, number, is_closed(number))
    }

    /// The next frame while the probe is closed as `order` has it, frame by frame, and the
    /// ground is lifted by so many volts more.
    pub(crate) fn frame_with(
        &mut self,
        order: impl Fn(u32) -> bool,
        lifted: impl Fn(u32) -> f64,
    ) -> Frame {
        let number = self.number;
        self.number += 1;
        if self.scene.steps && f64::from(number) >= self.next_step {
            self.step();
            self.next_step += self.wait();
        }
        self.inrush *= 1.0 - 1.0 / (0.05 * RATE);
        let mut current = self.current + self.inrush;
        if let Some(modulation) = self.scene.modulation {
            let angle = std::f64::consts::TAU * modulation.hertz * f64::from(number) / RATE;
            let wave = (angle + self.modulation_phase).sin();
            let wave = if modulation.on_and_off {
                wave.signum()
            } else {
                wave
            };
            current += modulation.amperes * wave;
        }
        self.turn *= self.turn_a_frame;
        if number.is_multiple_of(1024) {
            self.turn /= self.turn.norm();
        }
        let turn = self.turn;
        let square = turn * turn;
        let cube = square * turn;
        let fifth = cube * square;
        let seventh = fifth * square;
        let peak = std::f64::consts::SQRT_2;
        let load = peak * (current * turn + current * self.third * cube).re;
        let source = peak
            * 120.0
            * (turn.re
                + 0.04 * (cube * Complex::new(0.76, 0.65)).re
                + 0.0265 * (fifth * Complex::new(-0.5, 0.866)).re
                + 0.014 * (seventh * Complex::new(0.27, -0.963)).re);

        let blades = source - load * (self.neutral + self.hot_and_source);
        let background = -load * self.neutral;
        // The relays follow their order after 1-2 ms.
        let closed = order(number.saturating_sub(self.relay_frames));
        let (nw, gw) = if closed {
            // v_gw = background + I (R_cal + R), I = (v_nw - v_gw) / R_probe, and the probe's
            // own current is drawn through the hot conductor.
            let ratio = (R_CAL + self.scene.ohms) / self.probe;
            let gw = (background + blades * ratio) / (1.0 + ratio);
            let nw = blades - (blades - gw) / self.probe * self.hot_and_source;
            (nw, gw)
        } else {
            (blades, background)
        };
        let gw = gw + lifted(number);
        // Against the star, the clip hanging free: the three currents add up to zero.
        let wide = -(nw + gw) / 3.0;
        let mut frame = Frame::default();
        let leads = [nw + wide, wide, gw + wide];
        for ((code, volts), channel) in frame.codes.iter_mut().zip(leads).zip(self.channels) {
            let volts = volts + self.draw.noise() * NOISE;
            let ideal = volts / (channel.gain * NOMINAL_VOLTS_PER_CODE);
            *code = AdcCode::saturating(ideal.round() as i32 + channel.offset);
        }
        frame
    }
}

/// A tester with nominal channels.
pub(crate) fn calibration() -> Calibration {
    Calibration {
        channels: [ChannelCalibration {
            offset: 0,
            gain: 1.0,
        }; 4],
        u_gain: Ratio::new(0.001),
        reference: Ohms::new(R_CAL as f32),
        done: UnixSeconds::new(1_790_000_000),
        temperature: Celsius::new(23.0),
        drive: DriveCalibration::NOMINAL,
    }
}
