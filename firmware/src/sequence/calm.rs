//! The short way of a frame: 3999 of 4000 only go into the sums of a window.
//!
//! What may happen else (voltage appears, a path is measured, a window is whole, a record is
//! due) is decided on the long way, [`Sequence::frame`], which also decides whether the next
//! frames may go the short one. Every call from outside that changes what is due sends the next
//! frame the long way. So the short way holds nothing but a sum and two counts, in the few
//! registers that a Cortex-M0+ has; both give the same, a frame either way. Ten frames side by side
//! go it together.

use slotwise_core::sample::{Frame, FrameFault};
use slotwise_core::stimulus::Applied;
use slotwise_core::window::{BATCH, Codes};

use super::{Sequence, State};

impl Sequence {
    /// Takes a frame if it goes the short way; false if it must go to [`Sequence::frame`].
    #[inline]
    pub fn takes(&mut self, delivered: &Result<Frame, FrameFault>, applied: Applied) -> bool {
        let (Ok(frame), Applied::Nothing) = (delivered, applied) else {
            return false;
        };
        // The last frame of a window goes the long way.
        if !self.is_calm || self.accumulator.lacks() <= 1 {
            return false;
        }
        // 64 bits of frames are 146 million years.
        self.frames = self.frames.wrapping_add(1);
        self.waited = self.waited.saturating_add(1);
        self.accumulator.push(frame);
        true
    }

    /// Takes ten good frames, lead by lead, while nothing was applied; false if they must go one by
    /// one.
    #[inline]
    pub fn takes_batch(&mut self, codes: &Codes) -> bool {
        if !self.is_calm || self.accumulator.lacks() <= BATCH {
            return false;
        }
        self.frames = self.frames.wrapping_add(BATCH as u64);
        self.waited = self.waited.saturating_add(BATCH as u32);
        self.accumulator.push_batch(codes);
        true
    }

    /// Frames until a batch of the window begins, 0 to 9.
    #[inline]
    #[must_use]
    pub const fn to_a_batch(&self) -> usize {
        if self.is_calm {
            self.accumulator.to_a_batch()
        } else {
            0
        }
    }

    /// After a frame went the long way: whether the next may go the short one.
    pub(super) fn settle(&mut self) {
        let sums_only = match &self.state {
            State::Waiting => false,
            State::Testing { .. } => true,
            State::Watching(watching) => !watching.is_due(),
        };
        self.is_calm = sums_only && self.at_rest && !self.paths.is_running();
    }
}
