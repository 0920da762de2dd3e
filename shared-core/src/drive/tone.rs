//! The tone: the sign of a numerically controlled oscillator counted in frames.
//!
//! 85 Hz at 4000 frames/s is 17 turns in 800 frames, so the sequence repeats every 800 frames,
//! half of them high. All its lines stand on multiples of 5 Hz, none nearer to 85 Hz than 10 Hz
//! (an odd sequence has odd lines), where a window of 1600 frames has its nulls.

use super::calibration::TONE;
use crate::sample::FRAMES_PER_SECOND;

/// Phase step a frame; 2^32 is one turn. 17/800 of it, to 1e-9.
pub(super) const STEP: u32 =
    (TONE.get() as f64 / FRAMES_PER_SECOND as f64 * 4_294_967_296.0 + 0.5) as u32;

/// Phase at frame 0: half of the smallest difference between two phases of the sequence, which
/// are multiples of 1/800 turn. So no frame stands on an edge, where the rounding of the step
/// would decide.
const START: u32 = (4_294_967_296.0 / 1_600.0) as u32;

/// Phase of the tone at a frame.
#[inline]
pub(super) const fn phase(frame: u32) -> u32 {
    // The product is wanted modulo one turn.
    frame.wrapping_mul(STEP).wrapping_add(START)
}

/// Whether the drive stands high while `frame` is converted; frames are counted since the drive
/// was closed.
#[must_use]
#[inline]
pub const fn tone_is_high(frame: u32) -> bool {
    phase(frame) < 1 << 31
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_turns_17_times_in_800_frames_and_is_high_half_of_them() {
        let high = (0..800).filter(|&frame| tone_is_high(frame)).count();
        assert_eq!(high, 400);
        let rises = (0..800)
            .filter(|&frame| tone_is_high(frame + 1) && !tone_is_high(frame))
            .count();
        assert_eq!(rises, 17);
    }

    #[test]
    fn it_keeps_its_frequency_for_an_hour() {
        // The step is rounded by at most half a unit: 14.4e6 frames turn the phase by less
        // than 14.4e6 / 2^33 = 0.0017 turn.
        let hour = 14_400_000;
        let turns = f64::from(phase(hour).wrapping_sub(START)) / 4_294_967_296.0;
        let off = (turns + 0.5).fract() - 0.5;
        assert!(off.abs() < 0.0018, "{off}");
    }
}
