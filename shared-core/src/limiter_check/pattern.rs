//! At which level the drive stands, frame by frame.
//!
//! After the leg has closed and settled come three windows of the drive's filter, 1600 frames
//! each. The weight of a window is zero at both ends, so nothing has to settle between them. The
//! tone runs through.

use crate::drive::{SETTLE, tone_is_high};

/// Frames of a window.
pub(super) const WINDOW: u32 = crate::drive::lock_in::WINDOW;

/// Frames of a pass: 1.205 s.
pub const FRAMES: u32 = SETTLE + 3 * WINDOW;

/// How the level stands in a window.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Level {
    /// As in every measurement.
    Plain,
    /// Raised while the tone is high.
    HighRaised,
    /// Raised while the tone is low.
    LowRaised,
}

impl Level {
    /// In the order of the first pass.
    pub const ALL: [Self; 3] = [Self::Plain, Self::HighRaised, Self::LowRaised];
}

/// The level in window `window` of pass `pass`: each pass begins one later.
pub(super) const fn level_of_window(window: u32, pass: u8) -> Level {
    match (window + pass as u32) % 3 {
        0 => Level::Plain,
        1 => Level::HighRaised,
        _ => Level::LowRaised,
    }
}

/// Whether the level is raised during `frame` of pass `pass`.
#[must_use]
pub const fn is_raised(frame: u32, pass: u8) -> bool {
    if frame < SETTLE || frame >= FRAMES {
        return false;
    }
    match level_of_window((frame - SETTLE) / WINDOW, pass) {
        Level::Plain => false,
        Level::HighRaised => tone_is_high(frame),
        Level::LowRaised => !tone_is_high(frame),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_pass_has_each_level_once() {
        for pass in 0..5 {
            let levels = [0, 1, 2].map(|window| level_of_window(window, pass));
            for level in Level::ALL {
                assert!(levels.contains(&level), "{pass}: {levels:?}");
            }
        }
    }

    #[test]
    fn the_level_is_raised_in_one_half_of_the_tone_at_a_time_and_not_while_the_leg_settles() {
        for pass in 0..5 {
            assert!((0..SETTLE).all(|frame| !is_raised(frame, pass)));
            let raised = (0..FRAMES).filter(|&frame| is_raised(frame, pass));
            // Two windows, half of each: a window is 34 whole turns of the tone.
            assert_eq!(raised.count() as u32, WINDOW);
            for window in 0..3 {
                let from = SETTLE + window * WINDOW;
                let halves: Vec<bool> = (from..from + WINDOW)
                    .filter(|&frame| is_raised(frame, pass))
                    .map(tone_is_high)
                    .collect();
                assert!(halves.windows(2).all(|pair| pair[0] == pair[1]));
            }
        }
        assert!(!is_raised(FRAMES, 0));
    }
}
