//! The memory that a reset leaves alone, and what stands in it.
//!
//! `.uninit` is not cleared by the start-up code and not marched over, since the linker gave it
//! away. The chip's memory keeps its contents over a watchdog's reset and over the reset pin
//! (RP2040 datasheet 2.13: only what is selected in the power-on state machine starts anew, and
//! memory has no reset of its own; from memory, not tried on a board). What is believed of it is
//! decided in `slotwise_firmware::last_words`.

use core::mem::MaybeUninit;

use rp2040_hal::pac::{VREG_AND_CHIP_RESET, WATCHDOG};
use slotwise_core::record::BootCause;
use slotwise_core::start::{FileName, Stages, Stop, Stopped};
use slotwise_core::units::Millis;
use slotwise_firmware::last_words::{
    LAST_WORDS, MARK_RUNNING, RUNNING_WORDS, Running, Signs, decode, encode, flow_word, tell,
};

#[unsafe(link_section = ".uninit.slotwise_last_words")]
static mut SLOTWISE_LAST_WORDS: MaybeUninit<[u32; LAST_WORDS]> = MaybeUninit::uninit();

#[unsafe(link_section = ".uninit.slotwise_running")]
static mut SLOTWISE_RUNNING: MaybeUninit<[u32; RUNNING_WORDS]> = MaybeUninit::uninit();

/// Places in the running facts, as [`Running::encode`] has them.
const AT: usize = 2;
const FLOW: usize = 4;

fn last_words() -> *mut [u32; LAST_WORDS] {
    (&raw mut SLOTWISE_LAST_WORDS).cast()
}

fn running() -> *mut [u32; RUNNING_WORDS] {
    (&raw mut SLOTWISE_RUNNING).cast()
}

/// Why the chip started, and how the run before ended. Call it once, first: from here on memory
/// and mark tell of this run.
pub(crate) fn take(
    watchdog: &WATCHDOG,
    chip: &VREG_AND_CHIP_RESET,
) -> (BootCause, Option<Stopped>) {
    let reason = watchdog.reason().read();
    let reset = chip.chip_reset().read();
    let signs = Signs {
        timer: reason.timer().bit_is_set(),
        forced: reason.force().bit_is_set(),
        mark: watchdog.scratch0().read().bits(),
        power: reset.had_por().bit_is_set(),
        pin: reset.had_run().bit_is_set(),
        probe: reset.had_psm_restart().bit_is_set(),
    };
    // SAFETY: memory of this program that only this file touches, read as words, which may hold
    // anything; volatile, because the compiler has seen nobody write it. No interrupt uses it.
    let (last, ran) = unsafe { (last_words().read_volatile(), running().read_volatile()) };
    let told = tell(signs, decode(&last), Running::decode(&ran));
    begin(0);
    // SAFETY: a scratch register takes any value.
    watchdog
        .scratch0()
        .write(|w| unsafe { w.bits(MARK_RUNNING) });
    told
}

/// Notes which start this is.
pub(crate) fn begin(boot: u32) {
    let facts = Running {
        boot,
        at: 0,
        done: Stages::NONE,
    };
    // SAFETY: as in `take`; written by the main loop alone.
    unsafe { running().write_volatile(facts.encode()) };
}

/// Notes how long the program has run.
pub(crate) fn note_time(now: Millis) {
    let at = now.get() as u32;
    let words = running().cast::<u32>();
    // SAFETY: as in `begin`, inside of the words.
    unsafe {
        words.add(AT).write_volatile(at);
        words.add(AT + 1).write_volatile(!at);
    }
}

/// Notes which stages have run since the watchdog was last fed.
pub(crate) fn note_flow(done: Stages) {
    // SAFETY: as in `begin`, inside of the words.
    unsafe {
        running()
            .cast::<u32>()
            .add(FLOW)
            .write_volatile(flow_word(done));
    }
}

/// How the run before ended is told: it is forgotten.
pub(crate) fn forget() {
    // SAFETY: as in `begin`.
    unsafe { last_words().write_volatile([0; LAST_WORDS]) };
}

/// Leaves word of a panic.
pub(crate) fn panicked(file: &[u8], line: u32) {
    let file = FileName::of_bytes(file);
    leave(Stop::Panic { file, line });
}

/// Leaves word of a fault.
pub(crate) fn faulted(pc: u32, lr: u32, psr: u32) {
    leave(Stop::Fault { pc, lr, psr });
}

fn leave(how: Stop) {
    // SAFETY: as in `take`. The main loop does not go on from here.
    let ran = unsafe { running().read_volatile() };
    let ran = Running::decode(&ran);
    let words = encode(&Stopped {
        boot: ran.map_or(0, |ran| ran.boot),
        at: Millis::new(ran.map_or(0, |ran| u64::from(ran.at))),
        how,
    });
    if let Some(words) = words {
        // SAFETY: as in `begin`.
        unsafe { last_words().write_volatile(words) };
    }
}
