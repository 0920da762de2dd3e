//! What happens when the program cannot go on: the probe lets go, then the chip starts anew.
//!
//! Order matters. The probe relays are opened first, with plain register writes that need no
//! state of the program; then the place of the panic is logged; then the watchdog resets the
//! chip. The hardware limits the probe current whatever this code does (hardware/safety.md).
//!
//! A stack that ran over, a bad address or an unknown instruction end in `HardFault` and take
//! the same way. A program that hangs is reset by the running watchdog.

use core::panic::PanicInfo;
use core::sync::atomic::{AtomicBool, Ordering};

use cortex_m_rt::{ExceptionFrame, exception};
use defmt_rtt as _;
use rp2040_hal::pac;

use crate::board::PROBE_PINS;

/// Left in a scratch register that survives the reset, so that the next start knows.
pub(crate) const PANIC_MARK: u32 = 0x536c_5057;

/// Set on the way out. The log may itself be what failed: a second error says nothing more.
static LEAVING: AtomicBool = AtomicBool::new(false);

#[panic_handler]
fn panic(info: &PanicInfo<'_>) -> ! {
    cortex_m::interrupt::disable();
    open_probe();
    if is_first() {
        match info.location() {
            Some(at) => defmt::error!("panic at {=str}:{=u32}", at.file(), at.line()),
            None => defmt::error!("panic"),
        }
    }
    restart()
}

#[exception]
unsafe fn HardFault(frame: &ExceptionFrame) -> ! {
    open_probe();
    if is_first() {
        defmt::error!("hard fault at {=u32:#010x}", frame.pc());
    }
    restart()
}

/// Whether this is the first error. Nothing else runs any more, so two steps do.
fn is_first() -> bool {
    let first = !LEAVING.load(Ordering::Relaxed);
    LEAVING.store(true, Ordering::Relaxed);
    first
}

/// Drives all probe relays low.
fn open_probe() {
    // SAFETY: SIO's clear register changes the named pins only, in one write, whoever else
    // uses SIO; this function is on the way to a reset.
    unsafe {
        (*pac::SIO::PTR)
            .gpio_out_clr()
            .write(|w| w.bits(PROBE_PINS))
    };
}

/// Marks the restart as ours and triggers the watchdog.
fn restart() -> ! {
    // SAFETY: nothing else runs any more: interrupts are off or the core is in HardFault, and
    // this function does not return. The registers are written whole.
    unsafe {
        let watchdog = &*pac::WATCHDOG::PTR;
        watchdog.scratch0().write(|w| w.bits(PANIC_MARK));
        // All domains but the two oscillators, as the HAL's watchdog does.
        let power = &*pac::PSM::PTR;
        power
            .wdsel()
            .write(|w| w.bits(0x0001_ffff).xosc().clear_bit().rosc().clear_bit());
        loop {
            watchdog.ctrl().write(|w| w.trigger().set_bit());
        }
    }
}
