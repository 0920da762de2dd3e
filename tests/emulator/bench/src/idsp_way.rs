//! Four lock-ins of the crate `idsp`: integers, a sine of its own, 32-bit products of 64 bits.
//!
//! The nearest thing in a public crate to the work of a frame: every channel against one
//! oscillator, in phase and quadrature, under a weighting. The weighting is a low-pass of two
//! poles instead of a window. It does less than the core: no mean, no Gram matrix, no frequency
//! blocks.

use core::num::Wrapping;

use dsp_fixedpoint::Q32;
use dsp_process::SplitProcess as _;
use idsp::{Complex, Lockin, Lowpass, LowpassState};
use slotwise_core::sample::Frame;

/// 60 Hz of 4000 a second; 2^32 is one turn.
const STEP: Wrapping<i32> = Wrapping(64_424_509);

/// Codes are 24 bits; the filter wants its input large.
const UP: u32 = 6;

/// The four channels.
pub(crate) struct Channels {
    phase: Wrapping<i32>,
    lockin: Lockin<Lowpass<2>>,
    states: [[LowpassState<2>; 2]; 4],
    last: [Complex<i32>; 4],
}

impl Channels {
    pub(crate) fn new() -> Self {
        // Corner at 16 Hz of 2000 Hz: k = pi 2^31 16 / 2000.
        const K: i64 = 53_972_150;
        let gains = [((K * K) >> 32) as i32, -(K * 1_414_214 / 1_000_000) as i32];
        Self {
            phase: Wrapping(0),
            lockin: Lockin(Lowpass(gains)),
            states: Default::default(),
            last: [Complex::new(0, 0); 4],
        }
    }

    /// RMS of a channel's line, codes. The oscillator's full scale is one half.
    pub(crate) fn rms(&self, channel: usize) -> f32 {
        use micromath::F32Ext as _;
        let [i, q] = self.last[channel].0.map(|part| part as f32);
        (i * i + q * q).sqrt() * core::f32::consts::SQRT_2 / (1_u32 << UP) as f32 * 2.0
    }
}

/// One frame.
#[inline(never)]
#[unsafe(no_mangle)]
pub(crate) fn bench_idsp(channels: &mut Channels, frame: &Frame) {
    let lo = Complex::<Q32<32>>::from_bits(Complex::<i32>::from_angle(channels.phase));
    let places = channels.states.iter_mut().zip(&mut channels.last);
    for (code, (state, last)) in frame.codes.iter().zip(places) {
        *last = channels.lockin.process(state, (code.get() << UP, lo));
    }
    channels.phase += STEP;
}
