//! Program flow: which stages have run since the watchdog was last fed.
//!
//! A loop that goes round while one of its parts no longer does its work would keep a watchdog
//! quiet for ever. So every stage marks its end, and the watchdog is fed only when all of them
//! have. What starves it restarts the chip, and the next start records which stages were missing:
//! for that a board is told, once a stage of [`crate::tester::Tester::poll`], which have run.

use slotwise_core::start::Stages;

pub use slotwise_core::start::Stage;

/// The stages that have run since the last feed.
#[derive(Clone, Copy, Debug, Default)]
pub struct Flow {
    done: Stages,
    /// Where a board keeps it over a restart.
    keep: Option<fn(Stages)>,
}

impl Flow {
    /// Nothing has run.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            done: Stages::NONE,
            keep: None,
        }
    }

    /// From now on `keep` is told which stages have run.
    pub fn keep_by(&mut self, keep: fn(Stages)) {
        self.keep = Some(keep);
        self.tell();
    }

    /// `stage` has run.
    #[inline]
    pub const fn mark(&mut self, stage: Stage) {
        self.done.add(stage);
    }

    /// Tells the board which stages have run.
    pub fn tell(&self) {
        if let Some(keep) = self.keep {
            keep(self.done);
        }
    }

    /// Whether every stage has run. If so all have to run anew: the watchdog may be fed once.
    #[must_use]
    pub fn take_whole(&mut self) -> bool {
        let whole = self.done == Stages::ALL;
        if whole {
            self.done = Stages::NONE;
            self.tell();
        }
        whole
    }
}

#[cfg(test)]
mod tests {
    use std::cell::Cell;

    use slotwise_core::start::Stages;

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

    #[test]
    fn a_board_is_told_what_has_run_since_the_last_feed() {
        thread_local!(static TOLD: Cell<Option<Stages>> = const { Cell::new(None) });
        let mut flow = Flow::new();
        flow.keep_by(|stages| TOLD.set(Some(stages)));
        assert_eq!(TOLD.get(), Some(Stages::NONE));
        for stage in Stage::ALL {
            assert_eq!(TOLD.get().map(|told| told.contains(stage)), Some(false));
            flow.mark(stage);
            flow.tell();
            assert_eq!(TOLD.get().map(|told| told.contains(stage)), Some(true));
        }
        assert!(flow.take_whole());
        assert_eq!(TOLD.get(), Some(Stages::NONE));
    }
}
