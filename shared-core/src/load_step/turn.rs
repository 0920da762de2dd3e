//! How far a step turns `v_nw`: the change of its phase that the line frequency does not
//! explain.
//!
//! Phase runs on with the line frequency, which itself drifts. From the windows before the step
//! and those after it, the frequency on either side is the median of the phase gained from
//! window to window; between them it is taken to drift evenly. What is left between the medians
//! of the two sides is the turn. Medians, since the window of the step and a window of inrush
//! beside it are turned by something else.
//!
//! Limits: a frequency that bends within the two seconds is taken for a turn. Drift of any even
//! rate is none; a random walk of 0.5 mHz a window leaves some 1 mrad, 0.1 V of 120 V in
//! quadrature.

use core::f64::consts::{PI, TAU};

use super::finder::{AFTER, BEFORE, MIDDLE, SPAN};

/// Turn of the line from before to after, radians, from the angles of the windows.
pub(crate) fn turn(angles: &[f64; SPAN]) -> f64 {
    let mut gained = [0.0; SPAN - 1];
    for (gain, pair) in gained.iter_mut().zip(angles.windows(2)) {
        if let [one, next] = pair {
            *gain = wrapped(next - one);
        }
    }
    // Windows 0 to 4 and 6 to 10: four gains each, around -3 and +3 from the middle.
    let (mut early, mut late) = ([0.0; BEFORE - 1], [0.0; AFTER - 1]);
    for (place, gain) in early.iter_mut().zip(gained.iter()) {
        *place = *gain;
    }
    for (place, gain) in late.iter_mut().zip(gained.iter().skip(MIDDLE + 1)) {
        *place = *gain;
    }
    let (before, after) = (middle_of_four(early), middle_of_four(late));
    let centre = (SPAN - BEFORE) as f64 / 2.0;
    let even = (before + after) / 2.0;
    let drift = (after - before) / (2.0 * centre);

    let mut phase = 0.0;
    let mut left = [0.0; SPAN];
    for (number, place) in left.iter_mut().enumerate() {
        if let Some(gain) = number.checked_sub(1).and_then(|before| gained.get(before)) {
            phase += gain;
        }
        let time = number as f64 - MIDDLE as f64;
        *place = phase - even * time - drift * time * time / 2.0;
    }
    let (mut early, mut late) = ([0.0; BEFORE], [0.0; AFTER]);
    for (place, value) in early.iter_mut().zip(left.iter()) {
        *place = *value;
    }
    for (place, value) in late.iter_mut().zip(left.iter().skip(MIDDLE + 1)) {
        *place = *value;
    }
    median(late) - median(early)
}

/// To within half a turn.
fn wrapped(angle: f64) -> f64 {
    angle - TAU * libm::floor((angle + PI) / TAU)
}

/// Mean of the two middle ones.
fn middle_of_four(mut values: [f64; 4]) -> f64 {
    values.sort_unstable_by(f64::total_cmp);
    let [_, low, high, _] = values;
    (low + high) / 2.0
}

fn median(mut values: [f64; 5]) -> f64 {
    values.sort_unstable_by(f64::total_cmp);
    let [_, _, middle, _, _] = values;
    middle
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Angles under a line of `hertz` that drifts by `drift` hertz a second, turned by `step`
    /// from the middle on.
    fn angles(hertz: f64, drift: f64, step: f64) -> [f64; SPAN] {
        core::array::from_fn(|number| {
            let time = (number as f64 - 5.0) * 0.2;
            let turns = (hertz - 60.0) * time + drift * time * time / 2.0;
            let step = match number {
                0..5 => 0.0,
                5 => step / 2.0,
                _ => step,
            };
            wrapped(turns * TAU + step + 2.9)
        })
    }

    #[test]
    fn only_what_the_frequency_does_not_explain_is_a_turn() {
        for hertz in [59.5, 59.9, 60.0, 60.1, 60.5] {
            for drift in [-0.1, 0.0, 0.02, 0.1] {
                for step in [-0.02, 0.0, 0.004, 0.03] {
                    let found = turn(&angles(hertz, drift, step));
                    assert!(
                        (found - step).abs() < 1e-9,
                        "{hertz} {drift} {step}: {found}"
                    );
                }
            }
        }
    }

    #[test]
    fn a_window_of_inrush_after_the_step_does_not_move_it() {
        let mut tried = angles(59.93, 0.01, 0.006);
        tried[6] += 0.02;
        assert!((turn(&tried) - 0.006).abs() < 1.5e-3, "{}", turn(&tried));
    }
}
