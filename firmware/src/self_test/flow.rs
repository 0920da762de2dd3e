//! Program flow: which stages have run since the watchdog was last fed.
//!
//! A loop that goes round while one of its parts no longer does its work would keep a watchdog
//! quiet for ever. So every stage marks its end, and the watchdog is fed only when all of them
//! have. What starves it restarts the chip, and the next start records why.

/// A stage of the program.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(u8)]
pub enum Stage {
    /// A frame was taken into the sequence; or the converter is silent and was seen to.
    Frames,
    /// Silence, records and the button were seen to.
    Poll,
    /// The lamps were set.
    Lamps,
    /// The link was served.
    Link,
    /// The stimulator has looked at a frame and set the outputs; or opened them for a silent
    /// converter.
    Stimulator,
}

impl Stage {
    /// All stages.
    pub const ALL: [Self; 5] = [
        Self::Frames,
        Self::Poll,
        Self::Lamps,
        Self::Link,
        Self::Stimulator,
    ];

    const fn bit(self) -> u8 {
        1 << self as u8
    }
}

/// The stages that have run since the last feed.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Flow(u8);

impl Flow {
    const WHOLE: u8 = (1 << Stage::ALL.len()) - 1;

    /// Nothing has run.
    #[must_use]
    pub const fn new() -> Self {
        Self(0)
    }

    /// `stage` has run.
    #[inline]
    pub const fn mark(&mut self, stage: Stage) {
        self.0 |= stage.bit();
    }

    /// Whether every stage has run. If so all have to run anew: the watchdog may be fed once.
    #[must_use]
    pub const fn take_whole(&mut self) -> bool {
        let whole = self.0 == Self::WHOLE;
        if whole {
            self.0 = 0;
        }
        whole
    }
}

#[cfg(test)]
mod tests {
    use super::{Flow, Stage};

    #[test]
    fn it_is_whole_once_after_every_stage_and_never_without_one() {
        for missing in Stage::ALL {
            let mut flow = Flow::new();
            for _ in 0..3 {
                for stage in Stage::ALL {
                    if stage != missing {
                        flow.mark(stage);
                    }
                }
                assert!(!flow.take_whole(), "{missing:?}");
            }
            flow.mark(missing);
            assert!(flow.take_whole());
            assert!(!flow.take_whole(), "fed once");
        }
    }
}
