//! From frames to the sums of one window. This is the sampling path: integers only.
//!
//! A window is 800 frames: 12 cycles at 60 Hz, 10 at 50 Hz, 200 ms. Over it, every lead's code
//! `x` is weighted by a Hann window `w` and summed
//! - against a tracked oscillator (in phase and quadrature): the line-frequency phasor,
//! - alone: the mean value,
//! - against other leads' codes: the Gram matrix, from which the true RMS of calibrated differences
//!   of leads follows.
//!
//! Beside it, one reference pair of leads is summed over seven Hann blocks of 200 frames, 100
//! frames apart; their phases give the frequency within the same window ([`sums`]).
//!
//! Settings ([`Tuning`]) stand apart from state ([`Accumulator`]); a tuning holds for a whole
//! window.

mod accumulator;
pub(crate) mod batch;
mod hann;
mod summing;
pub mod sums;
pub(crate) mod tables;

pub use accumulator::Accumulator;
pub use batch::Codes;
pub(crate) use hann::pair_response;
pub use summing::WindowSums;

use crate::sample::FRAMES_PER_SECOND;
use crate::slots::Lead;
use crate::units::Hertz;

/// Frames that are summed at a time.
pub const BATCH: usize = batch::BATCH;

/// Frames of a window.
pub const WINDOW: usize = 800;

/// Frames of a frequency block.
pub const BLOCK: usize = 200;

/// Frames from one frequency block to the next.
pub const HOP: usize = BLOCK / 2;

/// Frequency blocks in a window.
pub const BLOCKS: usize = WINDOW / HOP - 1;

/// What a window is tuned to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Tuning {
    /// Phase step of the oscillator a frame; 2^32 is one turn.
    step: u32,
    /// The pair whose difference carries the frequency.
    reference: (Lead, Lead),
}

impl Tuning {
    /// Utility supply before anything is known: 60 Hz, between the blades.
    pub const NOMINAL: Self = Self::new(Hertz::new(60.0), (Lead::Narrow, Lead::Wide));

    /// An oscillator at `frequency`, 0 Hz to half the frame rate; the frequency is measured
    /// on `reference`. Resolution 4000 Hz / 2^32, below 1e-6 Hz.
    #[must_use]
    pub const fn new(frequency: Hertz, reference: (Lead, Lead)) -> Self {
        let turns = frequency.get() as f64 / FRAMES_PER_SECOND as f64;
        Self {
            step: (turns * 4_294_967_296.0 + 0.5) as u32,
            reference,
        }
    }

    /// The oscillator's frequency.
    #[must_use]
    pub const fn hertz(self) -> f64 {
        self.step as f64 / 4_294_967_296.0 * FRAMES_PER_SECOND as f64
    }

    /// The pair on which the frequency is measured.
    #[must_use]
    pub const fn reference(self) -> (Lead, Lead) {
        self.reference
    }
}
