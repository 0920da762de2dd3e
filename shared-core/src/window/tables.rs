//! Sine and Hann tables in Q15, made at compile time.
//!
//! Phases are `u32` turns: 2^32 is one turn. The sine has 4096 entries a turn, so a looked-up
//! phase is off by at most 1/8192 turn; the error is the same in every channel and cancels in
//! differences, and its effect on an amplitude is below 1e-6 (accuracy tests).

use super::batch::BATCH;
use super::{BLOCK, HOP, WINDOW};

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

/// Its square root, sin(pi n / 800). Both factors of a Gram term carry it, so that the matrix is
/// a true sum of squares and differences of leads come out exactly.
static WEIGHT_ROOT: [u16; WINDOW] = {
    let mut table = [0; WINDOW];
    let mut n = 0;
    while n < WINDOW {
        table[n] = (sin_pi(mirrored(n) as f64 / WINDOW as f64) * ONE as f64 + 0.5) as u16;
        n += 1;
    }
    table
};

/// Rising half of a frequency block: the same shape, four times as steep. The falling half is
/// one minus this.
static BLOCK_WEIGHT: [u16; HOP] = {
    let mut table = [0; HOP];
    let mut n = 0;
    while n < HOP {
        table[n] = WEIGHT[n * (WINDOW / BLOCK)];
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
    if n < WINDOW { WEIGHT[n] as i32 } else { 0 }
}

/// Weights, their roots and the rising weights of a frequency block for a batch from these places
/// on, Q15.
#[inline]
pub(super) fn weights(
    window: usize,
    block: usize,
) -> (
    &'static [u16; BATCH],
    &'static [u16; BATCH],
    &'static [u16; BATCH],
) {
    fn from(table: &[u16], place: usize) -> &[u16; BATCH] {
        // Places beyond a table never come: a window and a segment are whole batches.
        let rest = table.get(place..).unwrap_or(&[]);
        rest.first_chunk().unwrap_or(&[0; BATCH])
    }
    (
        from(&WEIGHT, window),
        from(&WEIGHT_ROOT, window),
        from(&BLOCK_WEIGHT, block),
    )
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
