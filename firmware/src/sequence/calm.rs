//! The short way of a frame: 3999 of 4000 only go into the sums of a window.
//!
//! What may happen else (voltage appears, a path is measured, a window is whole, a record is
//! due) is decided on the long way, [`Sequence::frame`], which also decides whether the next
//! frames may go the short one. Every call from outside that changes what is due sends the next
//! frame the long way. So the short way holds nothing but a sum and two counts, in the few
//! registers that a Cortex-M0+ has; both give the same, a frame either way.

use slotwise_core::sample::{Frame, FrameFault};
use slotwise_core::stimulus::Applied;

use super::{Sequence, State};

impl Sequence {
    /// Takes a frame if it goes the short way; false if it must go to [`Sequence::frame`].
    #[inline]
    pub fn takes(&mut self, delivered: &Result<Frame, FrameFault>, applied: Applied) -> bool {
        let (Ok(frame), Applied::Nothing) = (delivered, applied) else {
            return false;
        };
        // The last frame of a window goes the long way.
        if !self.is_calm || self.accumulator.lacks_one() {
            return false;
        }
        // 64 bits of frames are 146 million years.
        self.frames = self.frames.wrapping_add(1);
        self.waited = self.waited.saturating_add(1);
        self.accumulator.push(frame);
        true
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
