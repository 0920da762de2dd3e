//! What happens when the program cannot go on: probe and drive let go, then the chip starts anew.
//!
//! Order matters. Their relays are opened first, with plain register writes that need no
//! state of the program; then the place of the panic is logged; then the watchdog resets the
//! chip. The hardware limits the currents whatever this code does (hardware/safety.md).
//!
//! A stack that ran over, a bad address or an unknown instruction end in `HardFault` and take
//! the same way. A program that hangs is reset by the running watchdog; until then the interrupt
//! goes on watching every frame, and if it hangs too the charge pump opens the probe within a
//! millisecond.

use core::panic::PanicInfo;
use core::sync::atomic::{AtomicBool, Ordering};

use cortex_m_rt::{ExceptionFrame, exception};
use defmt_rtt as _;
use rp2040_hal::pac;

use crate::board::OUTPUT_PINS;

/// Left in a scratch register that survives the reset, so that the next start knows.
pub(crate) const PANIC_MARK: u32 = 0x536c_5057;

/// Set on the way out. The log may itself be what failed: a second error says nothing more.
static LEAVING: AtomicBool = AtomicBool::new(false);

#[panic_handler]
fn panic(info: &PanicInfo<'_>) -> ! {
    cortex_m::interrupt::disable();
    open_outputs();
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
    open_outputs();
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

/// Drives all relays and the tone low.
fn open_outputs() {
    // SAFETY: SIO's clear register changes the named pins only, in one write, whoever else
    // uses SIO; this function is on the way to a reset.
    unsafe {
        (*pac::SIO::PTR)
            .gpio_out_clr()
            .write(|w| w.bits(OUTPUT_PINS))
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
