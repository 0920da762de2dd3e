//! How far each window is turned: the part of its phase that the line frequency does not
//! explain. A motor's lagging current turns `v_nw` when it comes on.
//!
//! Over the four seconds in sight the line's own phase is a parabola in time: a frequency that
//! drifts evenly. The loads' part is a straight line over the current, whatever that does
//! between off, inrush and running: `v_nw = V - I (Zh + Zn + Zs)` and `v_gw = -I Zn`, so the
//! turn of `v_nw`, for small angles, is a sum of the in-phase and the quadrature part of `v_gw`
//! with factors that stay the same. Parabola and factors are fitted together by least squares;
//! taken off is the parabola alone. No window needs to be left out, not even the one in which a
//! step falls: it is a mixture of both sides in all three.
//!
//! Limits: where `v_gw` does not follow the current at all (a joint without resistance, loads
//! elsewhere) the parabola takes up part of the turn. Then rho is next to nothing whatever the
//! turn is. A ramp that lasts longer than the sight cannot be told from a frequency that drifts.
//! A random walk of the frequency of 0.5 mHz a window leaves about 1 mrad, 0.1 V of 120 V in
//! quadrature; it makes rho smaller, never larger.

use core::f64::consts::{PI, TAU};

use num_complex::Complex;

use super::finder::{BEFORE, MIDDLE, SPAN, median};

/// Unknowns: three of the parabola, two factors.
const UNKNOWNS: usize = 5;

/// Least size of `v_gw` over the sight that the factors are stated for, volts: ten times the
/// noise of a window. A smaller one is scaled to less than one.
const LEAST: f32 = 1e-3;

/// Added to the diagonal for the factors, whose equations are 21 windows of size one: where the
/// current keeps its angle only one of them is determined, and any split serves.
const RIDGE: f32 = 1e-3;

/// Turn of each window against the five before the middle, radians, from the windows' angles and
/// their `v_gw`.
///
/// The line's mean frequency is taken out in double precision. What is left are some hundredths
/// of a radian, which single precision holds to some nanoradians, in half the cycles where there
/// is no floating-point unit.
pub(crate) fn turns(angles: &[f64; SPAN], ground: &[Complex<f32>; SPAN]) -> [f32; SPAN] {
    let mut phases = [0.0; SPAN];
    let (mut phase, mut last) = (0.0, None);
    for (place, angle) in phases.iter_mut().zip(angles) {
        phase += last.map_or(0.0, |last| wrapped(angle - last));
        last = Some(*angle);
        *place = phase;
    }
    let gain = phase * (1.0 / (SPAN - 1) as f64);
    let mut mean = 0.0;
    let phases = phases.map(|phase| {
        let left = phase - mean;
        mean += gain;
        left as f32
    });
    let rows = rows(ground);
    let parabola = fitted(&rows, &phases);
    let mut turns = [0.0; SPAN];
    for ((turn, phase), row) in turns.iter_mut().zip(phases).zip(&rows) {
        let line: f32 = row.iter().zip(parabola).take(3).map(|(x, a)| x * a).sum();
        *turn = phase - line;
    }
    let mut before = [0.0; BEFORE];
    for (place, turn) in before.iter_mut().zip(turns.iter().skip(MIDDLE - BEFORE)) {
        *place = *turn;
    }
    let axis = median(before);
    turns.map(|turn| turn - axis)
}

/// To within half a turn.
fn wrapped(angle: f64) -> f64 {
    angle - TAU * libm::floor((angle + PI) * (1.0 / TAU))
}

/// What the phase of each window is fitted with: 1, t, t^2 and both parts of `v_gw`, which are
/// centred and scaled to an RMS of one.
fn rows(ground: &[Complex<f32>; SPAN]) -> [[f32; UNKNOWNS]; SPAN] {
    const EACH: f32 = 1.0 / SPAN as f32;
    const STEP: f32 = 1.0 / MIDDLE as f32;
    let mean = ground.iter().sum::<Complex<f32>>() * EACH;
    let square: f32 = ground.iter().map(|volts| (volts - mean).norm_sqr()).sum();
    let share = 1.0 / libm::sqrtf(square * EACH).max(LEAST);
    let mut rows = [[1.0; UNKNOWNS]; SPAN];
    let mut time = -1.0;
    for (row, volts) in rows.iter_mut().zip(ground) {
        let volts = (volts - mean) * share;
        *row = [1.0, time, time * time, volts.re, volts.im];
        time += STEP;
    }
    rows
}

/// Least squares by the normal equations, which Gauss's elimination solves without pivots: they
/// are positive definite. Symmetric too, and stay so, so only the upper triangle is kept.
fn fitted(rows: &[[f32; UNKNOWNS]; SPAN], phases: &[f32; SPAN]) -> [f32; UNKNOWNS] {
    let mut normal = [[0.0; UNKNOWNS]; UNKNOWNS];
    let mut right = [0.0; UNKNOWNS];
    for (row, phase) in rows.iter().zip(phases) {
        for (place, (line, sum)) in normal.iter_mut().zip(&mut right).enumerate() {
            let x = row[place];
            for (entry, y) in line.iter_mut().zip(row).skip(place) {
                *entry += x * y;
            }
            *sum += x * phase;
        }
    }
    normal[3][3] += RIDGE;
    normal[4][4] += RIDGE;
    for step in 0..UNKNOWNS {
        let (line, value) = (normal[step], right[step]);
        let share = 1.0 / line[step];
        for below in step + 1..UNKNOWNS {
            let factor = line[below] * share;
            let entries = normal[below].iter_mut().zip(line);
            for (entry, above) in entries.skip(below) {
                *entry -= factor * above;
            }
            right[below] -= factor * value;
        }
    }
    let mut found = [0.0; UNKNOWNS];
    for step in (0..UNKNOWNS).rev() {
        let line = normal[step].iter().zip(found).skip(step + 1);
        let known: f32 = line.map(|(x, a)| x * a).sum();
        found[step] = (right[step] - known) / normal[step][step];
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A current that comes on in the middle of the sight, with inrush that lags more.
    fn current(number: usize, inrush: f64) -> Complex<f64> {
        let since = number as f64 - MIDDLE as f64;
        let on = Complex::from_polar(6.0, -0.5);
        let start = Complex::from_polar(inrush, -1.1);
        match number {
            0..MIDDLE => Complex::new(0.0, 0.0),
            MIDDLE => (on + start) * 0.5,
            _ => on + start * libm::exp(-since),
        }
    }

    /// Greatest error of a turn, radians, under a line of `hertz` that drifts by `drift` hertz a
    /// second: by Kirchhoff, 120 V behind 0.4 + 0.03j ohm, the neutral 0.15 ohm of it.
    fn worst(hertz: f64, drift: f64, inrush: f64) -> f64 {
        let volts = |number| {
            let current = current(number, inrush);
            let nw = -current * Complex::new(0.4, 0.03) + 120.0;
            (nw, current * -0.15)
        };
        let angles = core::array::from_fn(|number| {
            let time = (number as f64 - MIDDLE as f64) * 0.2;
            let turns = (hertz - 60.0) * time + drift * time * time / 2.0;
            wrapped(turns * TAU + volts(number).0.arg() + 2.9)
        });
        let ground = core::array::from_fn(|number| {
            let (nw, gw) = volts(number);
            let turned = gw * nw.conj() / nw.norm();
            Complex::new(turned.re as f32, turned.im as f32)
        });
        let found = turns(&angles, &ground);
        (0..SPAN)
            .map(|number| (f64::from(found[number]) - volts(number).0.arg()).abs())
            .fold(0.0, f64::max)
    }

    #[test]
    fn only_what_the_frequency_does_not_explain_is_a_turn() {
        for hertz in [59.5, 59.9, 60.0, 60.1, 60.5] {
            for drift in [-0.1, 0.0, 0.02, 0.1] {
                for inrush in [0.0, 10.0, 30.0] {
                    let off = worst(hertz, drift, inrush);
                    // The turn of the running load is 8 mrad, of the inrush up to 90.
                    assert!(off < 3e-4, "{hertz} {drift} {inrush}: {off}");
                }
            }
        }
    }
}
