//! The work of a frame in single precision: what the tester would do with plain floats.
//!
//! The same sums as the core's: in phase, quadrature and mean of four weighted channels, the eight
//! products of the Gram matrix that are asked for, under the root of the weight, and the reference
//! pair under the rising weight and without one for the frequency. Frame by frame, and, last, dealt
//! out as the core does it: two frames added, weights once for ten.

use micromath::F32Ext as _;
use slotwise_core::sample::Frame;

use crate::WINDOW;

/// Oscillator at 60 Hz, turns a frame.
const STEP: f32 = 60.0 / 4000.0;
const TAU: f32 = core::f32::consts::TAU;

/// Leads of the products of the Gram matrix.
const PRODUCTS: [(usize, usize); 8] = [
    (0, 0),
    (1, 1),
    (2, 2),
    (3, 3),
    (0, 1),
    (1, 2),
    (0, 2),
    (1, 3),
];

/// Sums of a window.
pub(crate) struct Sums {
    n: usize,
    phase: f32,
    iq: [[f32; 2]; 4],
    mean: [f32; 4],
    gram: [f32; 8],
    blocks: [[f32; 2]; 2],
}

/// What a frame is multiplied with.
struct Factors {
    cos: f32,
    sin: f32,
    weight: f32,
    root: f32,
    rising: f32,
}

impl Sums {
    pub(crate) const NEW: Self = Self {
        n: 0,
        phase: 0.0,
        iq: [[0.0; 2]; 4],
        mean: [0.0; 4],
        gram: [0.0; 8],
        blocks: [[0.0; 2]; 2],
    };

    /// RMS of a channel's line, codes. Weights add up to half a window.
    pub(crate) fn rms(&self, channel: usize) -> f32 {
        let [i, q] = self.iq[channel];
        (i * i + q * q).sqrt() * core::f32::consts::SQRT_2 / (WINDOW as f32 / 2.0)
    }

    #[inline]
    fn turn(&mut self) {
        self.n += 1;
        self.phase += STEP;
        if self.phase >= 1.0 {
            self.phase -= 1.0;
        }
    }

    #[inline]
    fn add_iq(&mut self, x: &[f32; 4], at: &Factors) {
        let (c, s) = (at.weight * at.cos, at.weight * at.sin);
        for ((x, [i, q]), mean) in x.iter().zip(&mut self.iq).zip(&mut self.mean) {
            *i += x * c;
            *q -= x * s;
            *mean += x * at.weight;
        }
    }

    #[inline]
    fn add_rest(&mut self, x: &[f32; 4], at: &Factors) {
        let y = x.map(|x| x * at.root);
        for ((first, second), entry) in PRODUCTS.into_iter().zip(&mut self.gram) {
            *entry += y[first] * y[second];
        }
        let difference = x[0] - x[1];
        let turned = [difference * at.cos, difference * at.sin];
        let [rising, plain] = &mut self.blocks;
        rising[0] += turned[0] * at.rising;
        rising[1] -= turned[1] * at.rising;
        plain[0] += turned[0];
        plain[1] -= turned[1];
    }
}

fn numbers(frame: &Frame) -> [f32; 4] {
    frame.codes.map(|code| code.get() as f32)
}

/// All of it, sine and window by micromath.
#[inline(never)]
#[unsafe(no_mangle)]
pub(crate) fn bench_micromath(sums: &mut Sums, frame: &Frame) {
    let angle = sums.phase * TAU;
    let root = (sums.n as f32 * (TAU / 2.0 / WINDOW as f32)).sin();
    let rising = ((sums.n % 100) as f32 * (TAU / 2.0 / 200.0)).sin();
    let at = Factors {
        cos: angle.cos(),
        sin: angle.sin(),
        weight: root * root,
        root,
        rising: rising * rising,
    };
    let x = numbers(frame);
    sums.add_iq(&x, &at);
    sums.add_rest(&x, &at);
    sums.turn();
}

/// In phase, quadrature and mean under the window alone, by micromath.
#[inline(never)]
#[unsafe(no_mangle)]
pub(crate) fn bench_micromath_iq(sums: &mut Sums, frame: &Frame) {
    let angle = sums.phase * TAU;
    let root = (sums.n as f32 * (TAU / 2.0 / WINDOW as f32)).sin();
    let at = Factors {
        cos: angle.cos(),
        sin: angle.sin(),
        weight: root * root,
        root,
        rising: 0.0,
    };
    sums.add_iq(&numbers(frame), &at);
    sums.turn();
}

/// sin(2 pi n / 1600), n = 0 .. 2000: a window's root, and 60 Hz as every 24th of it.
static SINE: [f32; 2000] = {
    let mut table = [0.0; 2000];
    let (mut c, mut s) = (1.0_f64, 0.0_f64);
    // cos and sin of 2 pi / 1600.
    let (turn_c, turn_s) = (0.999_992_289_384_6, 0.003_926_980_723_9);
    let mut n = 0;
    while n < 2000 {
        table[n] = s as f32;
        (c, s) = (c * turn_c - s * turn_s, c * turn_s + s * turn_c);
        n += 1;
    }
    table
};

/// All of it, sine and window from tables: no trigonometry a frame, only the sums are floats.
#[inline(never)]
#[unsafe(no_mangle)]
pub(crate) fn bench_f32_tables(sums: &mut Sums, frame: &Frame) {
    let place = sums.n * 24 % 1600;
    let root = SINE[sums.n];
    let rising = SINE[sums.n % 100 * 4];
    let at = Factors {
        cos: SINE[place + 400],
        sin: SINE[place],
        weight: root * root,
        root,
        rising: rising * rising,
    };
    let x = numbers(frame);
    sums.add_iq(&x, &at);
    sums.add_rest(&x, &at);
    sums.n += 1;
}

/// Ten frames as the core deals them out: two are added before they meet the oscillator, and the
/// window weighs their sums once.
#[inline(never)]
#[unsafe(no_mangle)]
pub(crate) fn bench_f32_batch(sums: &mut Sums, codes: &[[i32; 10]; 4]) {
    let x = codes.map(|lead| lead.map(|code| code as f32));
    let pairs = x.map(|x| core::array::from_fn::<f32, 5, _>(|p| x[2 * p] + x[2 * p + 1]));
    // The middle of two frames is half a step of the table behind the first.
    let carrier = core::array::from_fn::<[f32; 2], 5, _>(|p| {
        let place = ((sums.n + 2 * p) * 24 + 12) % 1600;
        [SINE[place + 400], SINE[place]]
    });
    let root = SINE[sums.n + 5];
    let weight = root * root;
    let mut turned = [[0.0; 2]; 4];
    for ((pairs, turned), mean) in pairs.iter().zip(&mut turned).zip(&mut sums.mean) {
        let mut sum = 0.0;
        for (x, [cos, sin]) in pairs.iter().zip(&carrier) {
            turned[0] += x * cos;
            turned[1] -= x * sin;
            sum += x;
        }
        *mean += sum * weight;
    }
    for ([i, q], turned) in sums.iq.iter_mut().zip(&turned) {
        *i += turned[0] * weight;
        *q += turned[1] * weight;
    }
    for ((first, second), entry) in PRODUCTS.into_iter().zip(&mut sums.gram) {
        let product = x[first].iter().zip(&x[second]).map(|(a, b)| a * b);
        *entry += product.sum::<f32>() * weight;
    }
    let [rising, plain] = &mut sums.blocks;
    for (p, [cos, sin]) in carrier.iter().enumerate() {
        let root = SINE[(sums.n + 2 * p + 1) % 100 * 4];
        let difference = (pairs[0][p] - pairs[1][p]) * (root * root);
        rising[0] += difference * cos;
        rising[1] -= difference * sin;
    }
    for (plain, part) in plain.iter_mut().zip([0, 1]) {
        *plain += turned[0][part] - turned[1][part];
    }
    sums.n += 10;
}
