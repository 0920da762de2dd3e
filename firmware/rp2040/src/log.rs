//! The log: for a debug probe, or the emulator. Nothing of the tester depends on it.
//!
//! It never blocks: when nobody reads, the oldest bytes are written over (`log_channel`). It is written by the main loop and on the way into
//! a restart, never by the sampling interrupt, whose time is counted. What is logged as it happens
//! stands where it happens; here is what the loop sees of the tester.

use rp2040_hal::pac;
use slotwise_core::record::{RecordNumber, Version};
use slotwise_core::start::{Start, Stop};
use slotwise_core::verdict::Outcome;

use crate::super_loop::BoardTester;

// Microseconds since start; 0 while the timer is not running yet, when it must not be asked.
defmt::timestamp!("{=u64:us}", micros());

fn micros() -> u64 {
    // SAFETY: registers that are only read, whole; reading them changes nothing.
    let (resets, timer) = unsafe { (&*pac::RESETS::PTR, &*pac::TIMER::PTR) };
    if resets.reset_done().read().timer().bit_is_clear() {
        return 0;
    }
    loop {
        let high = timer.timerawh().read().bits();
        let low = timer.timerawl().read().bits();
        if timer.timerawh().read().bits() == high {
            return u64::from(high) << 32 | u64::from(low);
        }
    }
}

/// Says who started, and why.
pub(crate) fn start(version: &Version, start: &Start) {
    defmt::info!(
        "firmware {=u8}.{=u8}.{=u8}, build {}",
        version.major,
        version.minor,
        version.patch,
        start.build
    );
    defmt::info!("start: {}", start.cause);
    let Some(stopped) = start.stopped else { return };
    let (boot, at) = (stopped.boot, stopped.at.get());
    match stopped.how {
        Stop::Panic { file, line } => {
            defmt::warn!(
                "start {=u32} ended after {=u64} ms by a panic at {}:{=u32}",
                boot,
                at,
                file,
                line
            );
        }
        Stop::Fault { pc, lr, .. } => {
            defmt::warn!(
                "start {=u32} ended after {=u64} ms by a fault at {=u32:#010x}, from {=u32:#010x}",
                boot,
                at,
                pc,
                lr
            );
        }
        Stop::Watchdog { missing } => {
            defmt::warn!(
                "start {=u32} ended after {=u64} ms by the watchdog, missing stages {=u8:05b}",
                boot,
                at,
                missing.bits()
            );
        }
    }
}

/// What was logged last.
pub(crate) struct Log {
    outcome: Option<Outcome>,
    newest: Option<RecordNumber>,
}

impl Log {
    /// Says that the tester is ready.
    pub(crate) fn new(boot: u32) -> Self {
        defmt::info!("start {=u32} of this tester is ready", boot);
        Self {
            outcome: None,
            newest: None,
        }
    }

    /// Says what is new since the last look.
    pub(crate) fn look(&mut self, tester: &BoardTester) {
        let outcome = tester.verdict().map(|verdict| verdict.outcome);
        if outcome != self.outcome {
            self.outcome = outcome;
            match outcome {
                Some(outcome) => defmt::info!("answer: {}", outcome),
                None => defmt::info!("no answer stands"),
            }
        }
        let newest = tester.newest_record();
        if newest != self.newest {
            self.newest = newest;
            if let Some(number) = newest {
                defmt::info!("record {=u32} is kept", number.get());
            }
        }
    }
}
