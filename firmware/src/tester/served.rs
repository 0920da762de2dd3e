//! What the side bus asks of the tester: the time to set, the time it has, and what to show.

use embedded_storage::nor_flash::MultiwriteNorFlash;
use slotwise_core::link::{ClockChip, Phase};
use slotwise_core::units::{Millis, UnixSeconds};
use slotwise_core::verdict::{Outcome, Verdict};

use super::Tester;
use crate::display::Scene;
use crate::side_bus::Served;

/// The tester's own clock is set by the chip's if they are so far apart, seconds: the chip counts
/// whole seconds, and times of records must not go to and fro with its ticks.
const APART: u64 = 2;

impl<F, S, L, H, B> Served for Tester<F, S, L, H, B>
where
    F: MultiwriteNorFlash,
{
    fn clock_to_set(&mut self) -> Option<UnixSeconds> {
        if self.workshop.take_sets_chip() {
            self.keeper.clock(self.sequence.at())
        } else {
            None
        }
    }

    /// A chip that has lost the time takes none from the tester: what it has counted since it
    /// last knew still holds.
    fn clock_is(&mut self, found: Result<UnixSeconds, ClockChip>) {
        let at = self.sequence.at();
        match found {
            Ok(clock) => {
                self.workshop.chip_is(ClockChip::Running);
                let own = self.keeper.clock(at);
                if own.is_none_or(|own| own.get().abs_diff(clock.get()) >= APART) {
                    self.keeper.set_clock(clock, at);
                }
            }
            Err(chip) => self.workshop.chip_is(chip),
        }
    }

    fn scene(&self, _now: Millis) -> Scene<'_> {
        let is_fault = |verdict: &Verdict| verdict.outcome == Outcome::TesterFault;
        let is_measuring_raw = self.workshop.is_measuring();
        let verdict = self.shown.as_ref();
        Scene {
            phase: if verdict.is_some_and(is_fault) {
                Phase::TesterFault
            } else {
                self.sequence.phase()
            },
            is_measuring_raw,
            verdict,
            evidence: self.seen.as_ref(),
            watch: if self.failure.is_some() {
                None
            } else {
                self.sequence.cycle()
            },
            journal: self.keeper.state,
            clock: self.keeper.clock(self.sequence.at()),
            chip: self.workshop.chip(),
        }
    }
}
