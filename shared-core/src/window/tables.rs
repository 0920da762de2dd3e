//! Sine and Hann tables in Q15, made at compile time.
//!
//! Phases are `u32` turns: 2^32 is one turn. The sine has 4096 entries a turn, so a looked-up
//! phase is off by at most 1/8192 turn; the error is the same in every channel and cancels in
//! differences, and its effect on an amplitude is below 1e-6 (accuracy tests).

use super::{BLOCK, WINDOW};

/// Q15 one.
pub(crate) const ONE: i32 = 32_768;

/// The sine table's full scale: 1.0 is 32767, so sums are scaled by 32768/32767 afterwards.
pub(crate) const SINE_SCALE: f64 = 32_767.0;

const QUARTER: usize = 1024;

/// sin(pi x) for 0 <= x <= 1/2, by its series: 12 terms reach 1e-20 there.
const fn sin_pi(x: f64) -> f64 {
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
static QUARTER_SINE: [i16; QUARTER + 1] = {
    let mut table = [0; QUARTER + 1];
    let mut n = 0;
    while n <= QUARTER {
        table[n] = (sin_pi(n as f64 / (2 * QUARTER) as f64) * SINE_SCALE + 0.5) as i16;
        n += 1;
    }
    table
};

/// Rising half of the Hann window, sin^2(pi n / 800), n = 0 ..= 400.
static RISING: [u16; WINDOW / 2 + 1] = {
    let mut table = [0; WINDOW / 2 + 1];
    let mut n = 0;
    while n <= WINDOW / 2 {
        let s = sin_pi(n as f64 / WINDOW as f64);
        table[n] = (s * s * ONE as f64 + 0.5) as u16;
        n += 1;
    }
    table
};

/// Square root of the rising half, sin(pi n / 800). Both factors of a Gram term carry it, so
/// that the matrix is a true sum of squares and differences of leads come out exactly.
static RISING_ROOT: [u16; WINDOW / 2 + 1] = {
    let mut table = [0; WINDOW / 2 + 1];
    let mut n = 0;
    while n <= WINDOW / 2 {
        table[n] = (sin_pi(n as f64 / WINDOW as f64) * ONE as f64 + 0.5) as u16;
        n += 1;
    }
    table
};

/// Sum of the window's weights.
pub(crate) const WEIGHT_SUM: i64 = {
    let mut sum = 0;
    let mut n = 0;
    while n < WINDOW {
        sum += weight(n) as i64;
        n += 1;
    }
    sum
};

/// Weight `n` of the periodic Hann window, `0..WINDOW`, Q15.
#[inline]
pub(crate) const fn weight(n: usize) -> i32 {
    entry(&RISING, mirrored(n))
}

/// Square root of weight `n`, `0..WINDOW`, Q15.
#[inline]
pub(crate) const fn weight_root(n: usize) -> i32 {
    entry(&RISING_ROOT, mirrored(n))
}

/// Rising weight `n` of a frequency block, `0..=BLOCK / 2`: the same shape, four times as
/// steep. The falling half is one minus this.
#[inline]
pub(crate) const fn block_weight(n: usize) -> i32 {
    entry(&RISING, n * (WINDOW / BLOCK))
}

/// The falling half is the rising one backwards.
#[inline]
const fn mirrored(n: usize) -> usize {
    if n <= WINDOW / 2 {
        n
    } else {
        WINDOW.saturating_sub(n)
    }
}

/// Entry `place`, 0 beyond the end. No remainder is taken to stay inside: the core that this
/// runs on has no division.
#[inline]
const fn entry(table: &[u16; WINDOW / 2 + 1], place: usize) -> i32 {
    if place < table.len() {
        table[place] as i32
    } else {
        0
    }
}

/// Cosine and sine of `phase`, full scale 32767.
#[inline]
pub(crate) fn cos_sin(phase: u32) -> (i32, i32) {
    // 12 bits of phase, rounded.
    let place = (phase.wrapping_add(1 << 19) >> 20) as usize;
    (sine(place + QUARTER), sine(place))
}

#[inline]
fn sine(place: usize) -> i32 {
    let within = place % QUARTER;
    let value = match (place / QUARTER) % 4 {
        0 => QUARTER_SINE[within],
        1 => QUARTER_SINE[QUARTER - within],
        2 => -QUARTER_SINE[within],
        _ => -QUARTER_SINE[QUARTER - within],
    };
    i32::from(value)
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
    fn hann_halves_add_up_to_one() {
        for n in 0..WINDOW / 2 {
            assert!((weight(n) + weight(n + WINDOW / 2) - ONE).abs() <= 1, "{n}");
        }
        assert_eq!(weight(WINDOW / 2), ONE);
        assert_eq!(weight(0), 0);
        assert_eq!(WEIGHT_SUM, i64::from(ONE) * WINDOW as i64 / 2);
    }

    #[test]
    fn phase_is_rounded_not_cut() {
        assert_eq!(cos_sin(u32::MAX).1, 0);
        assert_eq!(cos_sin((1 << 19) - 1).1, 0);
        assert!(cos_sin(1 << 19).1 > 0);
    }
}
