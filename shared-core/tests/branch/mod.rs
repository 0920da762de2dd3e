//! A branch circuit with loads that come and go, for the tests of load steps and watch. Nothing
//! of the code under test makes its voltages.
//!
//! ```text
//!  source ──Zs──┬──Zh── narrow ──┐
//!               │                loads, each with inrush, lag and a leakage to the frame
//!        panel ─┼──Zn── wide ────┘
//!               └──Zg── ground hole ──Rf── frame ── clip
//! ```
//!
//! Priors, all of them judgement: 14 or 12 AWG solid copper (2.525 and 1.588 ohm/kft at 20 degC,
//! from the AWG formula and the IACS resistivity; NEC Chapter 9 Table 8 within 0.4 % at 75 degC),
//! 20 to 120 ft, 5 to 45 degC; one joint in each conductor, log-normal about 4.5 mohm by a factor
//! 2.3; source 0.02 to 0.2 ohm, evenly in its logarithm, with a reactance of 0.3 of that; a
//! jumper of 1 to 20 mohm, which in one of twenty carries the whole current since the neutral
//! itself is not connected.
#![allow(dead_code, reason = "every test file takes what it needs")]

pub(crate) mod judged;
pub(crate) mod run;
pub(crate) mod scene;

use num_complex::Complex;

pub(crate) type C = Complex<f64>;

/// Draws without a crate: splitmix64, and Box and Muller's normal.
pub(crate) struct Rng(u64);

impl Rng {
    /// A stream of its own for every pair of numbers.
    pub(crate) fn new(seed: u64, number: u64) -> Self {
        let mut rng = Self(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) ^ number.rotate_left(32));
        rng.bits();
        rng
    }

    fn bits(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    pub(crate) fn unit(&mut self) -> f64 {
        (self.bits() >> 11) as f64 / (1_u64 << 53) as f64
    }

    pub(crate) fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    pub(crate) fn log_between(&mut self, low: f64, high: f64) -> f64 {
        self.between(low.ln(), high.ln()).exp()
    }

    pub(crate) fn happens(&mut self, probability: f64) -> bool {
        self.unit() < probability
    }

    pub(crate) fn normal(&mut self) -> f64 {
        let size = (-2.0 * (1.0 - self.unit()).ln()).sqrt();
        size * (core::f64::consts::TAU * self.unit()).cos()
    }

    pub(crate) fn complex_normal(&mut self) -> C {
        C::new(self.normal(), self.normal())
    }
}

/// How ground reaches the ground hole.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Ground {
    /// A conductor of its own.
    Separate,
    /// A jumper to the neutral in the box.
    JoinedAtBox,
    /// A jumper to the neutral somewhere along the run.
    JoinedUpstream,
}

/// A branch circuit. Ohms, 60 Hz.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Branch {
    pub(crate) source: C,
    pub(crate) hot: f64,
    pub(crate) neutral: f64,
    pub(crate) earth: f64,
    pub(crate) ground: Ground,
    pub(crate) jumper: f64,
    /// Share of the run between the jumper and the receptacle.
    pub(crate) beyond: f64,
    /// Resistance from the ground hole to the frame.
    pub(crate) frame: f64,
}

/// What one ampere of load changes: narrow-wide and ground-wide.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Drop {
    pub(crate) nw: C,
    pub(crate) gw: C,
}

impl Branch {
    pub(crate) fn draw(rng: &mut Rng, ground: Ground) -> Self {
        let ohms_a_foot = if rng.happens(0.5) { 2.525e-3 } else { 1.588e-3 };
        let warm = 1.0 + 0.00393 * rng.between(-15.0, 25.0);
        let run = ohms_a_foot * rng.between(20.0, 120.0) * warm;
        let joint = |rng: &mut Rng| 0.0045 * (rng.normal() * 2.3_f64.ln()).exp();
        let (hot, neutral, earth) = (run + joint(rng), run + joint(rng), run + joint(rng));
        let source = rng.log_between(0.02, 0.2);
        let is_lost = ground == Ground::JoinedAtBox && rng.happens(0.05);
        Self {
            source: C::new(source, 0.3 * source),
            hot,
            neutral: if is_lost { 1e6 } else { neutral },
            earth,
            ground,
            jumper: rng.between(0.001, 0.020),
            beyond: match ground {
                Ground::Separate => 1.0,
                Ground::JoinedAtBox => 0.0,
                Ground::JoinedUpstream => rng.unit(),
            },
            frame: 0.05,
        }
    }

    /// By Kirchhoff: beyond the jumper the neutral is alone; at it the current parts.
    pub(crate) fn drop(&self) -> Drop {
        let common = self.source + self.hot;
        if self.ground == Ground::Separate {
            return Drop {
                nw: -(common + self.neutral),
                gw: C::from(-self.neutral),
            };
        }
        let own = self.neutral * self.beyond;
        let back = self.neutral * (1.0 - self.beyond);
        let through = self.jumper + self.earth * (1.0 - self.beyond);
        let both = back * through / (back + through);
        Drop {
            nw: -(common + own + both),
            gw: C::from(-(own + both / through * self.jumper)),
        }
    }

    /// The ratio that a load on this branch gives.
    pub(crate) fn rho(&self) -> C {
        let Drop { nw, gw } = self.drop();
        gw * nw.conj() / nw.norm_sqr()
    }
}

/// The value below which `share` of the sorted values are.
pub(crate) fn quantile(sorted: &[f64], share: f64) -> f64 {
    let place = (share * sorted.len() as f64) as usize;
    sorted[place.min(sorted.len() - 1)]
}
