//! Sine and Hann tables in Q15, made at compile time.
//!
//! Phases are `u32` turns: 2^32 is one turn. The sine has 4096 entries a turn, so a looked-up
//! phase is off by at most 1/8192 turn; the error is the same in every channel and cancels in
//! differences, and its effect on an amplitude is below 1e-6 (accuracy tests).

use super::batch::{BATCH, PAIRS};
use super::{BLOCK, HOP, WINDOW};

/// Q15 one.
pub(crate) const ONE: i32 = 32_768;

/// The sine table's full scale: 1.0 is 32767, so sums are scaled by 32768/32767 afterwards.
pub(crate) const SINE_SCALE: f64 = 32_767.0;

const QUARTER: usize = 1024;

/// sin(pi x) for 0 <= x <= 1/2, by its series: 12 terms reach 1e-20 there.
pub(super) const fn sin_pi(x: f64) -> f64 {
    let angle = x * core::f64::consts::PI;
    let square = angle * angle;
    let mut term = angle;
    let mut sum = angle;
    let mut n = 1.0;
    while n < 24.0 {
        term = -term * square / ((n + 1.0) * (n + 2.0));
        sum += term;
        n += 2.0;
    }
    sum
}

/// sin of the first quarter turn, both ends included.
const QUARTER_SINE: [i16; QUARTER + 1] = {
    let mut table = [0; QUARTER + 1];
    let mut n = 0;
    while n <= QUARTER {
        table[n] = (sin_pi(n as f64 / (2 * QUARTER) as f64) * SINE_SCALE + 0.5) as i16;
        n += 1;
    }
    table
};

/// The whole turn, and a quarter more for the cosine: 10 kB, and a look-up is two loads. Folded
/// into a quarter it would take three branches for each.
static SINE: [i16; 5 * QUARTER] = {
    let mut table = [0; 5 * QUARTER];
    let mut n = 0;
    while n < table.len() {
        let within = n % QUARTER;
        table[n] = match (n / QUARTER) % 4 {
            0 => QUARTER_SINE[within],
            1 => QUARTER_SINE[QUARTER - within],
            2 => -QUARTER_SINE[within],
            _ => -QUARTER_SINE[QUARTER - within],
        };
        n += 1;
    }
    table
};

/// Hann window, sin^2(pi n / 800). The falling half is the rising one backwards.
static WEIGHT: [u16; WINDOW] = {
    let mut table = [0; WINDOW];
    let mut n = 0;
    while n < WINDOW {
        let s = sin_pi(mirrored(n) as f64 / WINDOW as f64);
        table[n] = (s * s * ONE as f64 + 0.5) as u16;
        n += 1;
    }
    table
};

/// Weight of a window's batches: Hann's in the middle of each, sin^2(pi (b + 1/2) / 80).
static STEPS: [u16; WINDOW / BATCH] = stairs();

/// Rising half of a frequency block, whose steps are of two frames. The falling half is one minus
/// this.
static RISING: [u16; HOP / 2] = {
    let all: [u16; BLOCK / 2] = stairs();
    let mut table = [0; HOP / 2];
    let mut n = 0;
    while n < table.len() {
        table[n] = all[n];
        n += 1;
    }
    table
};

/// A Hann window of `N` steps, each weighted as in its middle.
const fn stairs<const N: usize>() -> [u16; N] {
    let mut table = [0; N];
    let mut n = 0;
    while n < N {
        let half = if 2 * n < N { n } else { N - 1 - n };
        let s = sin_pi((2 * half + 1) as f64 / (2 * N) as f64);
        table[n] = (s * s * ONE as f64 + 0.5) as u16;
        n += 1;
    }
    table
}

/// Sum of the window's weights over its frames.
pub(crate) const WEIGHT_SUM: i64 = {
    let table: [u16; WINDOW / BATCH] = stairs();
    let mut sum = 0;
    let mut n = 0;
    while n < table.len() {
        sum += table[n] as i64 * BATCH as i64;
        n += 1;
    }
    sum
};

/// Weight `n` of the periodic Hann window, `0..WINDOW`, Q15.
#[inline]
pub(crate) const fn weight(n: usize) -> i32 {
    if n < WINDOW { WEIGHT[n] as i32 } else { 0 }
}

/// Weight of batch `n` of a window, Q15.
#[inline]
pub(super) fn step_weight(n: usize) -> i32 {
    STEPS.get(n).map_or(0, |weight| i32::from(*weight))
}

/// Rising weights of a frequency block's batch `n`, Q15.
#[inline]
pub(super) fn rising_weights(n: usize) -> &'static [u16; PAIRS] {
    let rest = RISING.get(n * PAIRS..).unwrap_or(&[]);
    // Places beyond the table never come: a segment is whole batches.
    rest.first_chunk().unwrap_or(&[0; PAIRS])
}

/// The falling half is the rising one backwards.
const fn mirrored(n: usize) -> usize {
    if n <= WINDOW / 2 {
        n
    } else {
        WINDOW.saturating_sub(n)
    }
}

/// Cosine and sine of `phase`, full scale 32767.
#[inline]
pub(crate) fn cos_sin(phase: u32) -> (i32, i32) {
    // 12 bits of phase, rounded.
    let place = (phase.wrapping_add(1 << 19) >> 20) as usize;
    (i32::from(SINE[place + QUARTER]), i32::from(SINE[place]))
}

/// The same in Q12 (full scale 4095.9), and of the phase in full: the rest of the phase, at most
/// 1/8192 turn, turns what the table gives. Right to half a step and 1/40.
#[inline]
pub(super) fn fine_cos_sin(phase: u32) -> (i32, i32) {
    let (cos, sin) = cos_sin(phase);
    let rest = (phase.wrapping_add(1 << 19) & 0xF_FFFF) as i32 - (1 << 19);
    // Radians in units of 2^-24: 2 pi / 2^8 of the rest, 201/32 being 2 pi to 3e-4. At most 2^13.7.
    let angle = ((rest >> 4) * 201) >> 9;
    // Q23 each, and half a step.
    let turned = |along: i32, across: i32| ((along << 8) + ((across * angle) >> 16) + 0x400) >> 11;
    (turned(cos, -sin), turned(sin, cos))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sine_is_within_half_a_step_of_the_true_sine() {
        for place in 0..4096_u32 {
            let (cos, sin) = cos_sin(place << 20);
            let angle = f64::from(place) / 4096.0 * core::f64::consts::TAU;
            assert!(
                (f64::from(sin) - angle.sin() * SINE_SCALE).abs() < 0.5001,
                "{place}"
            );
            assert!(
                (f64::from(cos) - angle.cos() * SINE_SCALE).abs() < 0.5001,
                "{place}"
            );
        }
    }

    #[test]
    fn the_fine_sine_is_that_of_the_whole_phase() {
        let mut phase = 0_u32;
        for _ in 0..100_000 {
            let (cos, sin) = fine_cos_sin(phase);
            let angle = f64::from(phase) / 4_294_967_296.0 * core::f64::consts::TAU;
            let scale = SINE_SCALE / 8.0;
            assert!(
                (f64::from(cos) - angle.cos() * scale).abs() < 0.58,
                "{phase}"
            );
            assert!(
                (f64::from(sin) - angle.sin() * scale).abs() < 0.58,
                "{phase}"
            );
            phase = phase.wrapping_add(2_654_435_761);
        }
    }

    #[test]
    fn hann_halves_add_up_to_one() {
        for n in 0..WINDOW / 2 {
            assert!((weight(n) + weight(n + WINDOW / 2) - ONE).abs() <= 1, "{n}");
        }
        assert_eq!(weight(WINDOW / 2), ONE);
        assert_eq!(weight(0), 0);
        for n in 0..WINDOW / BATCH / 2 {
            let sum = step_weight(n) + step_weight(n + WINDOW / BATCH / 2);
            assert!((sum - ONE).abs() <= 1, "{n}");
        }
        assert!((WEIGHT_SUM - i64::from(ONE) * WINDOW as i64 / 2).abs() < 400);
    }

    #[test]
    fn phase_is_rounded_not_cut() {
        assert_eq!(cos_sin(u32::MAX).1, 0);
        assert_eq!(cos_sin((1 << 19) - 1).1, 0);
        assert!(cos_sin(1 << 19).1 > 0);
    }
}
