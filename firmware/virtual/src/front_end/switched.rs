//! What a change between two frames looks like in the codes: the converter's filter over three
//! frames, the strings' filter behind it.
//!
//! The filter is three boxcars of one frame each. Its weight over the time before the end of a
//! conversion, in frames, is the quadratic spline x^2/2, (-2x^2 + 6x - 3)/2, (3-x)^2/2 on [0, 3]:
//! sums 1/6, 4/6, 1/6. A steady sine comes out whole (times the droop); one that changes at a
//! frame's boundary comes out in three parts, each with its own weight, and the string's
//! capacitor needs its 43 us from the old value to the new. Both are in closed form or
//! integrated to 1e-12; what is left out is the charging of stray capacitance in the house (some
//! microseconds).

use super::RATE;
use crate::circuit::Phasor;
use crate::outputs::PAST;
use crate::tester::SensingString;
use core::f64::consts::TAU;

/// Abscissas and weights of Gauss and Legendre on [-1, 1], five points a side.
const GAUSS: [(f64, f64); 5] = [
    (0.148_874_338_981_631_2, 0.295_524_224_714_752_9),
    (0.433_395_394_129_247_2, 0.269_266_719_309_996_4),
    (0.679_409_568_299_024_4, 0.219_086_362_515_982_04),
    (0.865_063_366_688_984_5, 0.149_451_349_150_580_6),
    (0.973_906_528_517_171_7, 0.066_671_344_308_688_1),
];

/// Frames that the filter spans.
pub(super) const SPAN: usize = 3;

/// Weights of a steady value in the three frames, newest first.
pub(super) const STEADY: [f64; SPAN] = [1.0 / 6.0, 4.0 / 6.0, 1.0 / 6.0];

/// The filter's weight `x` frames before the end of the conversion.
fn spline(x: f64) -> f64 {
    if !(0.0..=3.0).contains(&x) {
        0.0
    } else if x < 1.0 {
        x * x / 2.0
    } else if x < 2.0 {
        (-2.0 * x * x + 6.0 * x - 3.0) / 2.0
    } else {
        (3.0 - x) * (3.0 - x) / 2.0
    }
}

/// Integral over `frame..frame + 1`, which is smooth there.
fn integrate(frame: usize, value: impl Fn(f64) -> Phasor) -> Phasor {
    let middle = frame as f64 + 0.5;
    GAUSS
        .iter()
        .flat_map(|(place, weight)| {
            [
                (middle - place / 2.0, weight),
                (middle + place / 2.0, weight),
            ]
        })
        .map(|(x, weight)| value(x) * (weight / 2.0))
        .sum()
}

/// Weights of a sine of `hertz` in the three frames, newest first, against its value at the
/// filter's middle. They sum to the droop.
pub(super) fn sine_weights(hertz: f64) -> [Phasor; SPAN] {
    let angle = TAU * hertz / RATE;
    core::array::from_fn(|frame| {
        integrate(frame, |x| Phasor::from_polar(spline(x), angle * (1.5 - x)))
    })
}

/// What is left in a code of one volt that was at the capacitor when a change happened at the
/// beginning of the conversion so many frames back: 0 is the conversion itself.
pub(super) fn forgotten(string: &SensingString) -> [f64; PAST - 1] {
    let frames = string.time_constant() * RATE;
    core::array::from_fn(|back| {
        let since = (back + 1) as f64;
        (0..(back + 1).min(SPAN))
            .map(|frame| {
                // The exponential is steep against a frame: ten pieces.
                (0..10)
                    .map(|piece| {
                        let from = frame as f64 + f64::from(piece) / 10.0;
                        integrate(0, |x| {
                            let x = from + x / 10.0;
                            Phasor::new(spline(x) * ((x - since) / frames).exp(), 0.0)
                        })
                        .re / 10.0
                    })
                    .sum::<f64>()
            })
            .sum()
    })
}

#[cfg(test)]
mod tests {
    use super::super::droop;
    use super::*;

    #[test]
    fn the_parts_of_a_steady_sine_are_the_whole() {
        for hertz in [1e-6, 60.0, 85.0, 780.0] {
            let sum: Phasor = sine_weights(hertz).iter().sum();
            assert!((sum - droop(hertz)).norm() < 1e-12, "{hertz} {sum}");
        }
        for (weight, steady) in sine_weights(1e-6).iter().zip(STEADY) {
            assert!((weight - steady).norm() < 1e-8);
        }
    }

    #[test]
    fn an_exponential_is_forgotten_as_its_integral_says() {
        // A change at the beginning of the conversion: integral of x^2/2 e^((x-1)/t) over 0..1
        // = t/2 - t^2 + t^3 (1 - e^(-1/t)), arithmetic.
        let string = SensingString::NOMINAL;
        let t = string.time_constant() * RATE;
        let closed = t / 2.0 - t * t + t * t * t * (1.0 - (-1.0 / t).exp());
        let weights = forgotten(&string);
        assert!(
            (weights[0] - closed).abs() < 1e-12,
            "{} {closed}",
            weights[0]
        );
        // The whole of an exponential is its time constant, whatever the filter.
        let sum: f64 = weights.iter().sum();
        assert!((sum - t).abs() < 1e-4, "{sum} {t}");
        assert!(weights[PAST - 2] < 1e-4);
    }
}
