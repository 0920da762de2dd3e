//! One complex value of many windows, some of which a load step has spoilt.
//!
//! A step of the line while a window is open leaves up to 4 % of itself at 85 Hz: 20 ohm for a
//! volt. It spoils the four windows that it stands in and no others, so those are told by their
//! distance from the rest: Tukey's biweight, twice over, with the distance taken in the complex
//! plane: a spoilt window is off in any direction, a sound one by noise of equal size in both.

use num_complex::Complex;

use crate::sorting::sort;

/// Distance at which a window has no weight any more, in standard deviations of one part.
const CUT: f64 = 6.0;

/// Median of the size of a complex normal variable over the standard deviation of one part:
/// sqrt(2 ln 2).
const MEDIAN_SIZE: f64 = 1.177_410_022_515_474_7;

/// Times that centre and spread are found anew.
const ROUNDS: usize = 4;

/// Variance of the mean of many overlapping windows against that of as many independent ones:
/// `1 + 2 (r1 + r2 + r3)` with the autocorrelations of sin^4 shifted by a quarter, 0.48555,
/// 0.04286 and 0.00017.
const OVERLAP_FACTOR: f64 = 2.057_142_857;

/// The common value of the windows.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Common {
    pub(super) value: Complex<f64>,
    /// Standard error of the real part.
    pub(super) u_real: f64,
    /// Standard error of the imaginary part.
    pub(super) u_imaginary: f64,
    /// Share of the windows that have any weight.
    pub(super) agreeing: f64,
}

/// Median of `values`, which it sorts; `None` of none.
pub(super) fn median(values: &mut [f64]) -> Option<f64> {
    sort(values, f64::total_cmp);
    let middle = values.len() / 2;
    let upper = values.get(middle).copied()?;
    if values.len() % 2 == 1 {
        return Some(upper);
    }
    let lower = values.get(middle.checked_sub(1)?).copied()?;
    Some((lower + upper) / 2.0)
}

/// The common value of `windows`; `room` holds at least as many numbers. `None` of fewer than
/// four windows, or when a value is not finite.
pub(super) fn common(windows: &[Complex<f64>], room: &mut [f64]) -> Option<Common> {
    let room = room.get_mut(..windows.len())?;
    if windows.len() < 4 || !windows.iter().all(|z| z.re.is_finite() && z.im.is_finite()) {
        return None;
    }
    let mut fill = |of: &dyn Fn(&Complex<f64>) -> f64| {
        for (place, window) in room.iter_mut().zip(windows) {
            *place = of(window);
        }
        median(room)
    };
    let mut centre = Complex::new(fill(&|z| z.re)?, fill(&|z| z.im)?);
    // Codes without noise have no spread; a floor keeps the weights defined.
    let floor = 1e-9 * (1.0 + size(centre));
    let mut cut = floor;
    for _ in 0..ROUNDS {
        let spread = fill(&|z| size(z - centre))? / MEDIAN_SIZE;
        cut = (CUT * spread).max(floor);
        let mut sums = (0.0, Complex::new(0.0, 0.0));
        for z in windows {
            let w = biweight(z, centre, cut);
            sums = (sums.0 + w, sums.1 + z * w);
        }
        if sums.0 <= 0.0 {
            return None;
        }
        centre = sums.1 / sums.0;
    }

    let (mut slope, mut squares, mut agreeing) = ([0.0; 2], [0.0; 2], 0.0);
    for z in windows {
        let w = biweight(z, centre, cut);
        if w > 0.0 {
            agreeing += 1.0;
            let off = z - centre;
            for ((slope, square), part) in slope.iter_mut().zip(&mut squares).zip([off.re, off.im])
            {
                // How far the weighted sum moves with the centre.
                *slope += w - 4.0 * (part / cut) * (part / cut) * libm::sqrt(w);
                *square += w * w * part * part;
            }
        }
    }
    if slope.iter().any(|&slope| slope <= 0.0) {
        return None;
    }
    // Deviations from a mean of overlapping windows are too small by (n - F) / n.
    let scarce = if agreeing > 2.0 * OVERLAP_FACTOR {
        agreeing / (agreeing - OVERLAP_FACTOR)
    } else {
        2.0
    };
    let u = |part: usize| libm::sqrt(squares[part] * OVERLAP_FACTOR * scarce) / slope[part];
    Some(Common {
        value: centre,
        u_real: u(0),
        u_imaginary: u(1),
        agreeing: agreeing / windows.len() as f64,
    })
}

fn biweight(z: &Complex<f64>, centre: Complex<f64>, cut: f64) -> f64 {
    let share = size(z - centre) / cut;
    let left = 1.0 - share * share;
    if left > 0.0 { left * left } else { 0.0 }
}

fn size(z: Complex<f64>) -> f64 {
    libm::hypot(z.re, z.im)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn spoilt_windows_do_not_move_the_value() {
        let mut windows = [Complex::new(10.0, 0.0); 37];
        for (n, z) in windows.iter_mut().enumerate() {
            // A spread of 0.06 by a fixed pattern.
            let turn = n as f64 * 2.399_963;
            *z += Complex::new(turn.cos(), turn.sin()) * (0.085 * ((n % 7) as f64 / 6.0).sqrt());
        }
        let clean = common(&windows, &mut [0.0; 64]).unwrap();
        for (n, z) in windows.iter_mut().enumerate().skip(8).take(12) {
            *z += Complex::new(3.0 + n as f64, -7.0);
        }
        let spoilt = common(&windows, &mut [0.0; 64]).unwrap();
        assert!((clean.value - spoilt.value).norm() < 0.02);
        assert!((spoilt.agreeing - 25.0 / 37.0).abs() < 1e-12);
        assert!(spoilt.u_real < 2.0 * clean.u_real && spoilt.u_real > 0.0);
    }

    #[test]
    fn what_is_no_number_gives_none() {
        let windows = [Complex::new(1.0, f64::NAN); 8];
        assert_eq!(common(&windows, &mut [0.0; 8]), None);
        assert_eq!(common(&windows, &mut [0.0; 7]), None, "no room");
        assert_eq!(common(&[], &mut []), None);
    }

    #[test]
    fn the_overlap_factor_is_that_of_the_weight() {
        let w = |n: usize| (core::f64::consts::PI * n as f64 / 160.0).sin().powi(4);
        let product = |shift: usize| -> f64 { (0..160 - shift).map(|n| w(n) * w(n + shift)).sum() };
        let sum: f64 = [40, 80, 120]
            .map(|shift| product(shift) / product(0))
            .iter()
            .sum();
        assert!((1.0 + 2.0 * sum - OVERLAP_FACTOR).abs() < 1e-6);
    }
}
