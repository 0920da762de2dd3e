//! Notices voltage on an idle tester within 50 ms, by integers only.

use slotwise_core::sample::Frame;
use slotwise_core::slots::Lead;
use slotwise_core::window::WINDOW;

/// Frames over which a voltage must stand to count as "plugged in": 25 ms, twice.
const ONSET_FRAMES: u16 = 100;

/// Spread of the slots' codes, peak, that counts as voltage: 3 V at 60 uV a code. The dead
/// limit of the judgement is 1 V; contact noise and pickup stay below 3 V on an idle tester.
const ONSET_CODES: i32 = 50_000;

/// The watch for voltage.
#[derive(Clone, Copy, Debug)]
pub(super) struct Onset {
    frames: u16,
    peak: i32,
    segments: u8,
}

impl Onset {
    pub(super) const NEW: Self = Self {
        frames: 0,
        peak: 0,
        segments: 0,
    };

    /// Takes a frame; true when voltage stood over two segments.
    pub(super) fn take(&mut self, frame: &Frame) -> bool {
        let codes = [Lead::Narrow, Lead::Wide, Lead::Ground].map(|lead| frame.code(lead).get());
        let highest = codes.into_iter().fold(i32::MIN, i32::max);
        let lowest = codes.into_iter().fold(i32::MAX, i32::min);
        self.peak = self.peak.max(highest.saturating_sub(lowest));
        self.frames += 1;
        if self.frames < ONSET_FRAMES {
            return false;
        }
        self.segments = if self.peak >= ONSET_CODES {
            self.segments.saturating_add(1)
        } else {
            0
        };
        self.frames = 0;
        self.peak = 0;
        self.segments >= 2
    }
}

// A window must be longer than the onset takes to notice, or a test could begin twice.
const _: () = assert!(WINDOW > 2 * ONSET_FRAMES as usize);
