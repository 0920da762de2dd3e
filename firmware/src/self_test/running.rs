//! The tests that go on while the tester runs: clocks at every poll, the stack's guard every
//! second, the converter's settings every minute between tests.

use slotwise_core::limits::SelfTestLimits;
use slotwise_core::self_test::SelfTestFailure;
use slotwise_core::units::Millis;

use super::clocks::{Clocks, Pace};
use super::stack::Guard;
use crate::adc::Misread;

/// From one look at the stack's guard to the next.
const STACK_EVERY_MS: u64 = 1_000;

/// From one read-back of the converter's settings to the next.
const SETTINGS_EVERY_MS: u64 = 60_000;

/// What a board offers to these tests.
pub trait Hardware {
    /// Where the two clocks stand, both read at one moment; `None` while the converter is not
    /// running.
    fn pace(&mut self) -> Option<Pace>;

    /// The stack's guard as it is now.
    fn guard(&mut self) -> Guard;

    /// Asks the converter for its settings, beside the frames that it sends.
    fn begin_read_back(&mut self);

    /// What came of it, once.
    fn read_back(&mut self) -> Option<Result<(), Misread>>;
}

/// When what was last looked at.
#[derive(Clone, Copy, Debug)]
pub struct Running {
    limits: SelfTestLimits,
    clocks: Clocks,
    stack: Millis,
    settings: Millis,
}

impl Running {
    /// Nothing was looked at yet.
    #[must_use]
    pub const fn new(limits: SelfTestLimits) -> Self {
        Self {
            limits,
            clocks: Clocks::new(),
            stack: Millis::new(0),
            settings: Millis::new(0),
        }
    }

    /// Does what is due. `idle`: no test is running, so that a frame whose status word gives
    /// place to a setting is no loss.
    ///
    /// # Errors
    /// The test that failed.
    pub fn poll(
        &mut self,
        now: Millis,
        idle: bool,
        hardware: &mut impl Hardware,
    ) -> Result<(), SelfTestFailure> {
        self.clocks.take(hardware.pace(), &self.limits)?;
        if now.since(self.stack) >= STACK_EVERY_MS {
            self.stack = now;
            hardware.guard().check()?;
        }
        if let Some(Err(wrong)) = hardware.read_back() {
            return Err(SelfTestFailure::Register {
                register: wrong.register.address(),
                found: wrong.found,
                expected: wrong.expected,
            });
        }
        if idle && now.since(self.settings) >= SETTINGS_EVERY_MS {
            self.settings = now;
            hardware.begin_read_back();
        }
        Ok(())
    }
}
