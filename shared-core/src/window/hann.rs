//! The transform of a Hann window: what a sinusoid leaves in a sum that is tuned beside it.
//!
//! A real sinusoid of frequency f is two lines, at +f and -f. In a sum tuned to f0 the first
//! comes through with `H(f0 - f)`, the second, its image, with `H(f0 + f)`. In a block of three
//! cycles the image is not small (2e-3 off nominal); since it is the mirror of the line itself,
//! it is computed and taken out.

use core::f64::consts::TAU;

use num_complex::Complex;

use crate::sample::FRAMES_PER_SECOND;

/// Transform of the periodic Hann window of `length` frames at `hertz`, against its value at
/// 0 Hz (`length / 2`).
fn transform(length: usize, hertz: f64) -> Complex<f64> {
    let length = length as f64;
    let omega = TAU * hertz / f64::from(FRAMES_PER_SECOND);
    let bin = TAU / length;
    let half = omega / 2.0;
    let (sin, cos) = libm::sincos(half);
    let (sin_bin, cos_bin) = libm::sincos(bin / 2.0);
    let (below, above) = (sin * cos_bin - cos * sin_bin, sin * cos_bin + cos * sin_bin);
    if [sin, below, above].iter().all(|sin| sin.abs() > 1e-9) {
        // The three parts have the numerator and all but half a bin of angle in common.
        let beside = Complex::new(cos_bin, sin_bin);
        let sum = Complex::new(2.0 / sin, 0.0) - beside.conj() / below - beside / above;
        let (turn_sin, turn_cos) = libm::sincos(half * (length - 1.0));
        let common = libm::sin(length * half) / (2.0 * length);
        return sum * Complex::new(turn_cos, -turn_sin) * common;
    }
    let sum = dirichlet(length, omega) * 2.0
        - dirichlet(length, omega - bin)
        - dirichlet(length, omega + bin);
    sum / (2.0 * length)
}

/// Sum of exp(-j omega n) over n = 0 .. length.
fn dirichlet(length: f64, omega: f64) -> Complex<f64> {
    let half = omega / 2.0;
    let below = libm::sin(half);
    let size = if below.abs() < 1e-12 {
        length
    } else {
        libm::sin(length * half) / below
    };
    let angle = -half * (length - 1.0);
    Complex::new(libm::cos(angle), libm::sin(angle)) * size
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
    /// A line at `hertz` in a sum of `length` frames tuned to `tuned`.
    pub(crate) fn new(length: usize, tuned: f64, hertz: f64) -> Self {
        let direct = transform(length, tuned - hertz);
        let image = transform(length, tuned + hertz) / direct.conj();
        Self {
            direct,
            image,
            tuned,
        }
    }

    /// The sum without the image; `start` is the frame of the window at which the sum began.
    pub(crate) fn without_image(&self, sum: Complex<f64>, start: usize) -> Complex<f64> {
        let image = sum.conj() * self.image;
        if start == 0 {
            return sum - image;
        }
        let turns = 2.0 * self.tuned * start as f64 / f64::from(FRAMES_PER_SECOND);
        let (sin, cos) = libm::sincos(-TAU * (turns - libm::floor(turns)));
        sum - image * Complex::new(cos, sin)
    }

    /// The line itself: the sum without image and without the loss of the detuning.
    pub(crate) fn undo(&self, sum: Complex<f64>) -> Complex<f64> {
        self.without_image(sum, 0) / self.direct
    }
}

#[cfg(test)]
mod tests {
    use core::f64::consts::PI;

    use super::*;

    #[test]
    fn transform_is_the_sum_it_stands_for() {
        for hertz in [0.0, 0.3, 5.0, 20.0, 57.3, 119.7] {
            let mut direct = Complex::new(0.0, 0.0);
            for n in 0..200 {
                let w = (PI * f64::from(n) / 200.0).sin().powi(2);
                let angle = -TAU * hertz * f64::from(n) / 4000.0;
                direct += Complex::new(angle.cos(), angle.sin()) * w;
            }
            let off = (transform(200, hertz) - direct / 100.0).norm();
            assert!(off < 1e-12, "{hertz} Hz: {off}");
        }
    }

    #[test]
    fn a_line_is_found_again_among_its_image() {
        let (tuned, hertz) = (60.0, 54.0);
        let mut sum = Complex::new(0.0, 0.0);
        for n in 0..200 {
            let w = (PI * f64::from(n) / 200.0).sin().powi(2);
            let x = (TAU * hertz * f64::from(n) / 4000.0 + 0.9).cos();
            let angle = -TAU * tuned * f64::from(n) / 4000.0;
            sum += Complex::new(angle.cos(), angle.sin()) * (x * w / 50.0);
        }
        let line = Line::new(200, tuned, hertz);
        let truth = Complex::new(0.9_f64.cos(), 0.9_f64.sin());
        assert!(
            (line.undo(sum) - truth).norm() < 2e-5,
            "second order of the image"
        );
        assert!(
            (sum / line.direct - truth).norm() > 1e-3,
            "uncorrected, it shows"
        );
    }
}
