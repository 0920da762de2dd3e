//! The sag split between neutral and the rest: least squares through the steps.
//!
//! With `p = Re(dv_gw conj(dv_nw))` and `s = |dv_nw|^2` of a step, `rho = sum p / sum s`: every
//! step weighs with the square of its sag. Two uncertainties are stated for it and the larger
//! one counts:
//!
//! - from the noise of quiet seconds, in phase and in quadrature apart, since the drift of the
//!   line frequency is all in quadrature: a change `e = dv_gw - rho dv_nw` without a step has
//!   variances `Ve_re` and `Ve_im`, so `u^2 = (Ve_re sum Re(dv_nw)^2 + Ve_im sum Im(dv_nw)^2) /
//!   (sum s)^2`;
//! - from the scatter of the steps about rho, `u^2 = n/(n-1) sum (p - rho s)^2 / (sum s)^2`:
//!   noise that differs from step to step, and steps that do not tell the same story, as those
//!   of loads elsewhere among one's own.
//!
//! The gains of the calibration cancel in the ratio. Sums run in `f64`, once a step.

use super::finder::Change;
use crate::evidence::{LoadStep, Missing, Reading};
use crate::units::{Ratio, Volts};

/// Fewest quiet changes of which a noise is stated. They come from windows 0.6 s apart.
const LEAST_QUIET: u32 = 4;

/// Sums over steps and quiet changes.
#[derive(Clone, Copy, Debug)]
pub struct SagSplit {
    steps: u16,
    /// Squares of the sag of `|v_nw|`.
    sag: f64,
    /// `p`, its quadrature counterpart and `s`.
    p: f64,
    across: f64,
    s: f64,
    p_p: f64,
    p_s: f64,
    s_s: f64,
    /// Squares of the parts of `dv_nw`.
    nw_re: f64,
    nw_im: f64,
    quiet: u32,
    in_phase: Moments,
    quadrature: Moments,
}

/// Second moments of quiet changes, one part.
#[derive(Clone, Copy, Debug)]
struct Moments {
    g_g: f64,
    g_n: f64,
    n_n: f64,
}

impl Moments {
    const NONE: Self = Self {
        g_g: 0.0,
        g_n: 0.0,
        n_n: 0.0,
    };

    fn add(&mut self, g: f32, n: f32) {
        let (g, n) = (f64::from(g), f64::from(n));
        self.g_g += g * g;
        self.g_n += g * n;
        self.n_n += n * n;
    }

    /// Sum of squares of `g - rho n`.
    fn beside(self, rho: f64) -> f64 {
        (self.g_g - 2.0 * rho * self.g_n + rho * rho * self.n_n).max(0.0)
    }
}

impl SagSplit {
    /// No steps and no quiet seconds.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            steps: 0,
            sag: 0.0,
            p: 0.0,
            across: 0.0,
            s: 0.0,
            p_p: 0.0,
            p_s: 0.0,
            s_s: 0.0,
            nw_re: 0.0,
            nw_im: 0.0,
            quiet: 0,
            in_phase: Moments::NONE,
            quadrature: Moments::NONE,
        }
    }

    /// Takes a step.
    pub fn add(&mut self, change: &Change) {
        let [n_re, n_im, g_re, g_im] =
            [change.nw.re, change.nw.im, change.gw.re, change.gw.im].map(f64::from);
        let p = g_re * n_re + g_im * n_im;
        let s = n_re * n_re + n_im * n_im;
        self.steps = self.steps.saturating_add(1);
        self.sag += f64::from(change.sag) * f64::from(change.sag);
        self.p += p;
        self.across += g_im * n_re - g_re * n_im;
        self.s += s;
        self.p_p += p * p;
        self.p_s += p * s;
        self.s_s += s * s;
        self.nw_re += n_re * n_re;
        self.nw_im += n_im * n_im;
    }

    /// Takes a change of quiet seconds.
    pub fn quiet(&mut self, change: &Change) {
        self.quiet = self.quiet.saturating_add(1);
        self.in_phase.add(change.gw.re, change.nw.re);
        self.quadrature.add(change.gw.im, change.nw.im);
    }

    /// Steps taken.
    #[must_use]
    pub const fn steps(&self) -> u16 {
        self.steps
    }

    /// The split.
    ///
    /// # Errors
    /// [`Missing::NotAsked`] if no load has stepped; [`Missing::Unsteady`] if there were no
    /// quiet seconds to tell the noise from.
    pub fn load_step(&self) -> Result<LoadStep, Missing> {
        if self.steps == 0 || self.s <= 0.0 {
            return Err(Missing::NotAsked);
        }
        if self.quiet < LEAST_QUIET {
            return Err(Missing::Unsteady);
        }
        let rho = self.p / self.s;
        let count = f64::from(self.quiet);
        let noise = (self.in_phase.beside(rho) * self.nw_re
            + self.quadrature.beside(rho) * self.nw_im)
            / count;
        let scatter = if self.steps > 1 {
            let n = f64::from(self.steps);
            let misfit = (self.p_p - 2.0 * rho * self.p_s + rho * rho * self.s_s).max(0.0);
            misfit * n / (n - 1.0)
        } else {
            0.0
        };
        let u = libm::sqrt(noise.max(scatter)) / self.s;
        let sag = libm::sqrt(self.sag / f64::from(self.steps));
        Ok(LoadStep {
            rho: Reading {
                value: Ratio::from_f64(rho),
                u: Ratio::from_f64(u),
            },
            rho_imaginary: Ratio::from_f64((self.across / self.s).abs()),
            steps: self.steps,
            sag: Volts::from_f64(sag),
        })
    }
}

impl Default for SagSplit {
    fn default() -> Self {
        Self::new()
    }
}
