//! Two clocks against each other: the converter's 8.192 MHz oscillator, by the frames that it
//! makes, and the microcontroller's 12 MHz crystal, by its microseconds.
//!
//! Nothing of a measurement in volts depends on either, but hertz, the windows' length in line
//! cycles and every timing of the outputs do. Each clock is of +-100 ppm; one that is off by
//! more than both together has failed, whichever it is.
//!
//! The board counts frames in the interrupt and takes the time there. An interrupt that was
//! late stretches one span and shortens the next, so it takes two spans in a row on the same
//! side to fail: one second. Until then answers may be shown; a test takes longer, so none is
//! kept.

use slotwise_core::limits::SelfTestLimits;
use slotwise_core::sample::FRAMES_PER_SECOND;
use slotwise_core::self_test::SelfTestFailure;

/// Frames and time at the frame that came last. Both wrap.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Pace {
    /// How often the converter was started: a span does not reach over a start.
    pub starts: u32,
    /// Frames since then, those missed included.
    pub frames: u32,
    /// Microseconds by the microcontroller's clock, at the last of them.
    pub micros: u32,
}

/// Frames of a span: half a second.
const SPAN: u32 = FRAMES_PER_SECOND / 2;

/// Spans in a row that must be off to the same side.
const IN_A_ROW: i8 = 2;

/// Nominal time of a frame.
const FRAME_MICROS: i64 = 1_000_000 / FRAMES_PER_SECOND as i64;

/// The comparison going on.
#[derive(Clone, Copy, Debug, Default)]
pub struct Clocks {
    /// Where the span in hand began.
    from: Option<Pace>,
    /// Spans in a row that were off: above zero if frames came too fast.
    off: i8,
}

impl Clocks {
    /// Nothing is compared yet.
    #[must_use]
    pub const fn new() -> Self {
        Self { from: None, off: 0 }
    }

    /// Takes where the two clocks stand; `None` while the converter does not run. Call it at
    /// least once in 1000 s.
    ///
    /// # Errors
    /// [`SelfTestFailure::Clock`].
    pub fn take(
        &mut self,
        pace: Option<Pace>,
        limits: &SelfTestLimits,
    ) -> Result<(), SelfTestFailure> {
        let (Some(pace), Some(from)) = (pace, self.from) else {
            // The span begins; one that was interrupted says nothing.
            self.from = pace;
            return Ok(());
        };
        if pace.starts != from.starts {
            self.from = Some(pace);
            return Ok(());
        }
        let frames = pace.frames.wrapping_sub(from.frames);
        if frames < SPAN {
            return Ok(());
        }
        self.from = Some(pace);
        let due = i64::from(frames) * FRAME_MICROS;
        let taken = i64::from(pace.micros.wrapping_sub(from.micros));
        let apart = (due - taken) * 1_000_000 / taken.max(1);
        let apart_ppm = apart.clamp(i64::from(i32::MIN), i64::from(i32::MAX)) as i32;
        let most_ppm = (limits.clock_apart.get() * 1e6 + 0.5) as i32;
        self.off = match () {
            () if apart_ppm > most_ppm => self.off.max(0) + 1,
            () if apart_ppm < -most_ppm => self.off.min(0) - 1,
            () => 0,
        };
        if self.off.abs() >= IN_A_ROW {
            self.off = 0;
            return Err(SelfTestFailure::Clock {
                apart_ppm,
                most_ppm,
            });
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::{Clocks, Pace};
    use slotwise_core::limits::SelfTestLimits;
    use slotwise_core::self_test::SelfTestFailure;

    /// Runs both clocks for `seconds`, the converter's fast by `ppm`; interrupts late by
    /// `late(frame)` microseconds.
    fn run(ppm: f64, seconds: u32, late: impl Fn(u32) -> u32) -> Result<(), SelfTestFailure> {
        let mut clocks = Clocks::new();
        // Both counters wrap on the way.
        let start = Pace {
            starts: 1,
            frames: u32::MAX - 1_000,
            micros: u32::MAX - 300_000,
        };
        for frame in 0..4000 * seconds {
            let micros = f64::from(frame) * 250.0 / (1.0 + ppm * 1e-6);
            let pace = Pace {
                starts: 1,
                frames: start.frames.wrapping_add(frame),
                micros: start.micros.wrapping_add(micros as u32 + late(frame)),
            };
            clocks.take(Some(pace), &SelfTestLimits::DEFAULT)?;
        }
        Ok(())
    }

    #[test]
    fn two_clocks_at_the_ends_of_their_tolerance_pass() {
        for ppm in [-200.0, 0.0, 200.0] {
            assert_eq!(run(ppm, 20, |_| 0), Ok(()));
            // Interrupts late by up to 40 us, now and then by 370 us.
            let late =
                |frame: u32| frame * 7919 % 41 + if frame.is_multiple_of(2000) { 330 } else { 0 };
            assert_eq!(run(ppm, 20, late), Ok(()));
        }
    }

    #[test]
    fn a_clock_that_is_off_fails_within_a_second_and_by_how_much_is_told() {
        for ppm in [-10_000.0, -600.0, 600.0, 10_000.0] {
            let Err(SelfTestFailure::Clock { apart_ppm, .. }) = run(ppm, 2, |_| 0) else {
                panic!("{ppm} passes");
            };
            assert!((f64::from(apart_ppm) - ppm).abs() < 5.0, "{apart_ppm}");
        }
    }

    #[test]
    fn a_span_reaches_over_no_start_and_no_stop_of_the_converter() {
        let mut clocks = Clocks::new();
        let limits = SelfTestLimits::DEFAULT;
        for start in 0..20_u32 {
            for frame in 0..1500 {
                let pace = Pace {
                    starts: start,
                    frames: frame,
                    micros: start * 5_000_000 + frame * 250,
                };
                assert_eq!(clocks.take(Some(pace), &limits), Ok(()));
            }
            if start % 2 == 0 {
                assert_eq!(clocks.take(None, &limits), Ok(()));
            }
        }
    }
}
