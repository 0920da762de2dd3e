//! What happens when the program cannot go on: probe and drive let go, then the chip starts anew.
//!
//! Order matters. Their relays are opened first, with plain register writes that need no
//! state of the program; then the place is left for the next start, which records it; then it is
//! logged; then the watchdog resets the chip. The hardware limits the currents whatever this code does (hardware/safety.md).
//!
//! A stack that ran over, a bad address or an unknown instruction end in `HardFault` and take
//! the same way. A program that hangs is reset by the running watchdog; until then the interrupt
//! goes on watching every frame, and if it hangs too the charge pump opens the probe within a
//! millisecond.

use core::panic::PanicInfo;
use core::slice;
use core::sync::atomic::{AtomicBool, Ordering};

use cortex_m_rt::{ExceptionFrame, exception};
use rp2040_hal::pac;
use slotwise_firmware::last_words::MARK_STOPPING;

use crate::board::OUTPUT_PINS;
use crate::last_words;

/// Set on the way out. The log may itself be what failed: a second error says nothing more.
static LEAVING: AtomicBool = AtomicBool::new(false);

#[panic_handler]
fn panic(info: &PanicInfo<'_>) -> ! {
    let (file, line) = info.location().map_or(("", 0), |at| (at.file(), at.line()));
    // SAFETY: a text of this program.
    unsafe { slotwise_panicked(file.as_ptr(), file.len(), line) }
}

/// A function of its own, with plain arguments, so that a test can make the program go this way
/// in an image that never panics by itself.
///
/// # Safety
/// `file` and `length` are those of bytes that can be read.
#[unsafe(no_mangle)]
#[inline(never)]
unsafe extern "C" fn slotwise_panicked(file: *const u8, length: usize, line: u32) -> ! {
    cortex_m::interrupt::disable();
    open_outputs();
    if is_first() {
        // SAFETY: as demanded.
        let file = unsafe { slice::from_raw_parts(file, length) };
        last_words::panicked(file, line);
        mark();
        defmt::error!("panic at {=[u8]:a}:{=u32}", file, line);
    }
    restart()
}

/// Keeps the function in an image that never panics.
#[used]
static KEPT: unsafe extern "C" fn(*const u8, usize, u32) -> ! = slotwise_panicked;

#[exception]
unsafe fn HardFault(frame: &ExceptionFrame) -> ! {
    open_outputs();
    if is_first() {
        last_words::faulted(frame.pc(), frame.lr(), frame.xpsr());
        mark();
        defmt::error!(
            "hard fault at {=u32:#010x}, from {=u32:#010x}",
            frame.pc(),
            frame.lr()
        );
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

/// Says that there are last words.
fn mark() {
    // SAFETY: a scratch register takes any value.
    unsafe {
        (*pac::WATCHDOG::PTR)
            .scratch0()
            .write(|w| w.bits(MARK_STOPPING))
    };
}

/// Triggers the watchdog. For the start too, where there is nothing to open yet.
pub(crate) fn restart() -> ! {
    // SAFETY: nothing else runs any more: interrupts are off or the core is in HardFault, and
    // this function does not return. The registers are written whole.
    unsafe {
        let watchdog = &*pac::WATCHDOG::PTR;
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
