//! The transform of the window: what a sinusoid leaves in a sum that is tuned beside it.
//!
//! A real sinusoid of frequency f is two lines, at +f and -f. In a sum tuned to f0 the first
//! comes through with `H(f0 - f)`, the second, its image, with `H(f0 + f)`. In a block of three
//! cycles the image is not small (2e-3 off nominal); since it is the mirror of the line itself,
//! it is computed and taken out.
//!
//! The window is Hann's in steps of ten frames, that of a block in steps of two; they meet the
//! oscillator two by two (`summing`). That two frames are added before costs every line the same at +f as at -f and stands apart
//! ([`pair_response`]).

use core::f64::consts::{PI, TAU};

use num_complex::Complex;

use super::batch::{BATCH, PAIRS};
use super::tables::sin_pi;
use super::{BLOCK, WINDOW};
use crate::sample::FRAMES_PER_SECOND;

/// What is left of a line of `hertz` when two frames are added, as a share of two in step.
pub(crate) fn pair_response(hertz: f64) -> f64 {
    libm::cos(PI * hertz / f64::from(FRAMES_PER_SECOND))
}

/// Transform of a window at `hertz`, against its value at 0 Hz.
///
/// All of it is symmetric about the window's middle, so it is a real number, turned by the angle
/// from the first frame to the middle: a sum of Hann's three lines over the steps, times the sum
/// over the pairs of a step.
fn transform(window: Staircase, hertz: f64) -> Complex<f64> {
    let (count, pairs) = (window.steps as f64, window.pairs as f64);
    let half = PI * hertz / f64::from(FRAMES_PER_SECOND);
    let frames = count * pairs * 2.0;
    let (turn_sin, turn_cos) = libm::sincos(half * (frames - 1.0));
    let turn = Complex::new(turn_cos, -turn_sin);

    // Half a step, and half a bin beside it.
    let (sin, cos) = libm::sincos(2.0 * pairs * half);
    let (along, across) = (sin * window.bin_cos, cos * window.bin_sin);
    let (below, above) = (along - across, along + across);
    let pair = if window.pairs == 1 {
        sin
    } else {
        libm::sin(2.0 * half)
    };
    if [pair, below, above].iter().all(|sin| sin.abs() > 1e-9) {
        // The three lines have the numerator in common, and what a step has at the top they have
        // below the line.
        let lines = 1.0 - sin / (2.0 * below) - sin / (2.0 * above);
        let common = libm::sin(half * frames) / (count * pairs * pair);
        return turn * (common * lines);
    }
    let (step, bin) = (4.0 * pairs * half, TAU / count);
    // Weighted in the middle of each step, the side lines have half the size of the middle one and
    // its sign.
    let hann = dirichlet(count, step)
        + dirichlet(count, step - bin) / 2.0
        + dirichlet(count, step + bin) / 2.0;
    turn * (hann * dirichlet(pairs, 4.0 * half))
}

/// Mean of exp(j angle n) over `count` numbers n about 0: `sin(count angle / 2) / (count sin(angle
/// / 2))`, a real number.
fn dirichlet(count: f64, angle: f64) -> f64 {
    let below = libm::sin(angle / 2.0);
    if below.abs() < 1e-9 {
        // Next to a whole turn, where every second one has the other sign if `count` is even.
        let turns = libm::round(angle / TAU);
        let is_odd = (turns * (count - 1.0)) as i64 % 2 != 0;
        return if is_odd { -1.0 } else { 1.0 };
    }
    libm::sin(count * angle / 2.0) / (count * below)
}

/// A Hann window in steps.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Staircase {
    steps: usize,
    /// Pairs of frames in a step.
    pairs: usize,
    /// Cosine and sine of half a bin, a turn over twice the steps.
    bin_cos: f64,
    bin_sin: f64,
}

impl Staircase {
    /// A window: a batch is a step.
    pub(crate) const WINDOW: Self = Self::new(WINDOW / BATCH, PAIRS);
    /// A frequency block.
    pub(crate) const BLOCK: Self = Self::new(BLOCK / 2, 1);

    const fn new(steps: usize, pairs: usize) -> Self {
        Self {
            steps,
            pairs,
            bin_cos: sin_pi(0.5 - 1.0 / steps as f64),
            bin_sin: sin_pi(1.0 / steps as f64),
        }
    }
}

/// A sum tuned to one frequency and the line in it at another.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Line {
    /// Transform of the window at the detuning.
    direct: Complex<f64>,
    /// What the image adds, as a factor on the conjugate of the sum, for a window that starts
    /// at oscillator phase zero.
    image: Complex<f64>,
    /// The oscillator's frequency.
    tuned: f64,
}

impl Line {
    /// A line at `hertz` in a sum under `window` tuned to `tuned`.
    pub(crate) fn new(window: Staircase, tuned: f64, hertz: f64) -> Self {
        let direct = transform(window, tuned - hertz);
        let image = transform(window, tuned + hertz) / direct.conj();
        Self {
            direct,
            image,
            tuned,
        }
    }

    /// Sums without the image, the first from the window's first frame on, each `hop` frames later
    /// than the one before.
    pub(crate) fn without_images<const N: usize>(
        &self,
        mut sums: [Complex<f64>; N],
        hop: usize,
    ) -> [Complex<f64>; N] {
        let turns = 2.0 * self.tuned * hop as f64 / f64::from(FRAMES_PER_SECOND);
        let (sin, cos) = libm::sincos(-TAU * (turns - libm::floor(turns)));
        let turn = Complex::new(cos, sin);
        let mut image = self.image;
        for sum in &mut sums {
            *sum -= sum.conj() * image;
            image *= turn;
        }
        sums
    }

    /// The line itself: the sum without image and without the loss of the detuning.
    pub(crate) fn undo(&self, sum: Complex<f64>) -> Complex<f64> {
        (sum - sum.conj() * self.image) / self.direct
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Weight of frame `n`, and the place where it meets the oscillator.
    fn step(window: Staircase, n: usize) -> (f64, f64) {
        let of = 2 * window.pairs;
        let middle = (n / of * of) as f64 + window.pairs as f64;
        let w = (PI * middle / (window.steps * of) as f64).sin().powi(2);
        (w, (n / 2 * 2) as f64 + 0.5)
    }

    #[test]
    fn transform_is_the_sum_it_stands_for() {
        for window in [Staircase::WINDOW, Staircase::BLOCK] {
            let frames = window.steps * window.pairs * 2;
            for hertz in [
                0.0, 1e-7, 1e-3, 0.3, 5.0, 5.000_001, 20.0, 57.3, 119.7, 380.0, 400.0, 800.0,
                801.0, 2000.0,
            ] {
                let mut direct = Complex::new(0.0, 0.0);
                for n in 0..frames {
                    let (w, middle) = step(window, n);
                    let angle = -TAU * hertz * middle / 4000.0;
                    direct += Complex::new(angle.cos(), angle.sin()) * w;
                }
                let off = (transform(window, hertz) - direct / (frames as f64 / 2.0)).norm();
                assert!(off < 1e-9, "{hertz} Hz: {off}");
            }
        }
    }

    #[test]
    fn a_line_is_found_again_among_its_image() {
        let (tuned, hertz) = (60.0, 54.0);
        let mut sum = Complex::new(0.0, 0.0);
        for n in 0..200_u32 {
            let (w, middle) = step(Staircase::BLOCK, n as usize);
            let x = (TAU * hertz * f64::from(n) / 4000.0 + 0.9).cos();
            let angle = -TAU * tuned * middle / 4000.0;
            sum += Complex::new(angle.cos(), angle.sin()) * (x * w / 50.0);
        }
        let line = Line::new(Staircase::BLOCK, tuned, hertz);
        let truth = Complex::new(0.9_f64.cos(), 0.9_f64.sin()) * pair_response(hertz);
        let off = (line.undo(sum) - truth).norm();
        assert!(off < 2e-5, "second order of the image: {off}");
        assert!(
            (sum / line.direct - truth).norm() > 1e-3,
            "uncorrected, it shows"
        );
    }

    // The harmonics that the staircase and the adding of two frames fold near the line: those
    // that the docs of `summing` name.
    #[test]
    fn what_folds_onto_the_line_is_as_small_as_stated() {
        for off_tune in [-0.1, 0.1] {
            for order in 2..=33 {
                let harmonic = f64::from(order) * (60.0 + off_tune);
                let at = |hertz| transform(Staircase::WINDOW, hertz).norm();
                let left =
                    at(60.0 - harmonic).max(at(60.0 + harmonic)) * pair_response(harmonic).abs();
                assert!(left < 2e-3, "harmonic {order} of {off_tune}: {left}");
            }
        }
        // Any tone at all, in steps of a tenth of a bin, from three bins on.
        for tenths in 31..3900 {
            let off = f64::from(tenths) * 0.5;
            let left = transform(Staircase::WINDOW, off).norm();
            assert!(left < 0.01, "{off} Hz: {left}");
        }
        for off in [-5.0, 0.0, 5.0] {
            assert!(pair_response(1940.0 + off).abs() < 0.052);
        }
    }
}
