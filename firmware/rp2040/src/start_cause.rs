//! Why the chip started, told from what the watchdog kept over the reset.

use rp2040_hal::pac::WATCHDOG;
use slotwise_core::record::BootCause;

use crate::panic::PANIC_MARK;

/// Reads the cause and clears the mark. Call it once, before the watchdog is set up.
pub(crate) fn take(watchdog: &WATCHDOG) -> BootCause {
    let reason = watchdog.reason().read();
    let mark = watchdog.scratch0().read().bits();
    // SAFETY: a scratch register takes any value.
    watchdog.scratch0().write(|w| unsafe { w.bits(0) });
    if reason.timer().bit_is_set() {
        BootCause::Watchdog
    } else if reason.force().bit_is_set() && mark == PANIC_MARK {
        BootCause::Panic
    } else {
        // Power, the reset pin, or a forced reset by the boot loader after an update.
        BootCause::PowerOn
    }
}
