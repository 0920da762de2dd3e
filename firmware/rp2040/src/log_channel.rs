//! Where the log's bytes go: a ring in memory that a debug probe, or the emulator, reads while the
//! tester runs (SEGGER's Real Time Transfer), and the way of `defmt` into it.
//!
//! The control block and its order of writing are those of the crate `defmt-rtt` 1.3.1 (MIT or
//! Apache-2.0), which cannot be used here: it panics where a message begins inside of another one.
//! Here such a message is left out. Nothing ever waits for a reader, whatever one asks for: the oldest
//! bytes are written over.
//!
//! The ring keeps its bytes over a restart of the processor, but begins anew: what stood in it is
//! no longer whole messages.

use core::cell::{Cell, UnsafeCell};
use core::sync::atomic::{AtomicU32, Ordering};

use critical_section::RestoreState;

/// Bytes of the ring; a power of two.
const SIZE: usize = 1024;

/// What a probe looks for in memory: a block of three parts, one of them the only channel.
#[repr(C)]
struct ControlBlock {
    id: [u8; 16],
    up_channels: u32,
    down_channels: u32,
    up: UpChannel,
}

#[repr(C)]
struct UpChannel {
    name: *const u8,
    ring: *const UnsafeCell<[u8; SIZE]>,
    size: u32,
    /// Where the next byte goes: ours.
    write: AtomicU32,
    /// Where the reader is: the probe's.
    read: AtomicU32,
    /// How to behave when the ring is full; the probe may set it, nobody looks at it.
    mode: AtomicU32,
}

/// "Leave out what does not fit", the nearest to what is done here.
const MODE: u32 = 1;

// SAFETY: the pointers are those of statics, and the rest of it is atomic.
unsafe impl Sync for ControlBlock {}

#[unsafe(no_mangle)]
static _SEGGER_RTT: ControlBlock = ControlBlock {
    id: *b"SEGGER RTT\0\0\0\0\0\0",
    up_channels: 1,
    down_channels: 0,
    up: UpChannel {
        name: NAME.as_ptr(),
        ring: &raw const RING.0,
        size: SIZE as u32,
        write: AtomicU32::new(0),
        read: AtomicU32::new(0),
        mode: AtomicU32::new(MODE),
    },
};

/// In memory, not in flash: a probe reads it together with the block.
#[unsafe(link_section = ".data.log_channel")]
static NAME: [u8; 6] = *b"defmt\0";

struct Ring(UnsafeCell<[u8; SIZE]>);

// SAFETY: written only between `acquire` and `release`, with interrupts off.
unsafe impl Sync for Ring {}

#[unsafe(link_section = ".uninit.log_channel")]
static RING: Ring = Ring(UnsafeCell::new([0; SIZE]));

/// Appends to the ring. Only with interrupts off, by whoever has the message.
fn append(bytes: &[u8]) {
    let up = &_SEGGER_RTT.up;
    let mut at = up.write.load(Ordering::Acquire);
    for byte in bytes {
        let place = at as usize % SIZE;
        // SAFETY: within the ring, which nobody else writes; a probe reads it from outside.
        unsafe {
            let ring = RING.0.get().cast::<u8>();
            ring.add(place).write_volatile(*byte);
        }
        at = (place as u32 + 1) % SIZE as u32;
    }
    // Behind the bytes, so that a probe never reads what is not there yet.
    up.write.store(at, Ordering::Release);
}

/// The message in hand.
struct Message {
    /// Messages begun inside of one another: only the outermost is written.
    depth: Cell<u32>,
    restore: Cell<RestoreState>,
    encoder: UnsafeCell<defmt::Encoder>,
}

// SAFETY: used only with interrupts off: `acquire` turns them off before it looks at anything.
unsafe impl Sync for Message {}

static MESSAGE: Message = Message {
    depth: Cell::new(0),
    restore: Cell::new(RestoreState::invalid()),
    encoder: UnsafeCell::new(defmt::Encoder::new()),
};

impl Message {
    /// Lets `act` have the encoder if the message in hand is the outermost.
    ///
    /// # Safety
    /// Only between `acquire` and `release`.
    unsafe fn with_encoder(&self, act: impl FnOnce(&mut defmt::Encoder)) {
        if self.depth.get() == 1 {
            // SAFETY: interrupts are off, and `append` calls no logger, so there is no other use.
            act(unsafe { &mut *self.encoder.get() });
        }
    }
}

#[defmt::global_logger]
struct Logger;

// SAFETY: `acquire` turns interrupts off and the outermost `release` turns them on again; one core
// runs, so nobody else writes in between.
unsafe impl defmt::Logger for Logger {
    fn acquire() {
        // SAFETY: `release` gives back what is kept here.
        let restore = unsafe { critical_section::acquire() };
        let depth = MESSAGE.depth.get();
        MESSAGE.depth.set(depth.saturating_add(1));
        if depth == 0 {
            MESSAGE.restore.set(restore);
        }
        // SAFETY: a message was begun right here.
        unsafe { MESSAGE.with_encoder(|encoder| encoder.start_frame(append)) };
    }

    unsafe fn flush() {
        // Nobody waits for a reader.
    }

    unsafe fn release() {
        // SAFETY: the caller has a message, as `defmt` promises.
        unsafe { MESSAGE.with_encoder(|encoder| encoder.end_frame(append)) };
        let depth = MESSAGE.depth.get().saturating_sub(1);
        MESSAGE.depth.set(depth);
        if depth == 0 {
            // SAFETY: of the `acquire` that this message began with.
            unsafe { critical_section::release(MESSAGE.restore.get()) };
        }
    }

    unsafe fn write(bytes: &[u8]) {
        // SAFETY: the caller has a message, as `defmt` promises.
        unsafe { MESSAGE.with_encoder(|encoder| encoder.write(bytes, append)) };
    }
}
