//! What the two interrupts of sampling do: data ready begins a frame, its end takes it.
//!
//! ```text
//! DRDY falls ──> IO_IRQ_BANK0: selects, starts the DMA ──18 us──> DMA_IRQ_0: check word, codes,
//! stimulator, block
//! ```
//! The stimulator sees the frame in the second one and sets the tester's own outputs for the
//! conversion that runs; then the frame goes with the mark of what was on into the block in hand,
//! ten of which go to the loop together (`slotwise_firmware::block`).
//!
//! Nothing in here divides, loops over more than a frame, or works with floating point
//! (tests/tests/image_paths.rs reads that off the image).

use core::cell::UnsafeCell;

use critical_section::CriticalSection;
use rp2040_hal::Timer;
use rp2040_hal::gpio::Interrupt::EdgeLow;
use rp2040_hal::pac::interrupt;
use slotwise_core::sample::{FRAMES_PER_SECOND, Frame, FrameFault};
use slotwise_firmware::adc::Converter;
use slotwise_firmware::block::Packer;
use slotwise_firmware::stimulator::Stimulator;

use crate::acquisition::SILENCE;
use crate::board::{AdcBus, DataReady, OutputPin};
use crate::frame_reader::FrameReader;

/// Frame period.
pub(crate) const PERIOD_US: u32 = 1_000_000 / FRAMES_PER_SECOND;

/// What the interrupts work with.
pub(crate) struct Sampler {
    pub(crate) converter: Converter<AdcBus>,
    pub(crate) data_ready: DataReady,
    pub(crate) reader: FrameReader,
    pub(crate) packer: Packer,
    pub(crate) stimulator: Stimulator<OutputPin>,
    pub(crate) clock: Timer,
    /// Low word of the clock at the frame before, if there was one since the start.
    pub(crate) last: Option<u32>,
    /// Runs of the converter without a pause, and frames in this one, those missed included.
    pub(crate) starts: u32,
    pub(crate) counted: u32,
    /// The next frame was ready before the one in hand had come in.
    pub(crate) owes: bool,
}

impl Sampler {
    /// Begins to read the frame that the converter announced.
    #[inline]
    fn on_data_ready(&mut self) {
        self.data_ready.clear_interrupt(EdgeLow);
        let now = self.clock.get_counter_low();
        let missed = match self.last.replace(now) {
            // The common case, without a division.
            Some(last) if now.wrapping_sub(last) < PERIOD_US + PERIOD_US / 2 => 0,
            last => self.after_a_gap(last, now),
        };
        self.counted = self.counted.wrapping_add(missed + 1);
        if self.reader.is_reading() {
            self.owes = true;
        } else if missed == 0 {
            self.reader.start(self.converter.outgoing());
        } else {
            self.lose(missed + 1);
        }
    }

    /// Takes the frame that has come in.
    #[inline]
    fn on_frame_read(&mut self) {
        let (bytes, is_whole) = self.reader.finish();
        let frame = self.converter.take_checked(bytes, is_whole);
        match frame {
            // The common case: nothing to drive, nothing to tell.
            Ok(frame) if self.stimulator.is_at_rest() && self.packer.takes_quiet(&frame) => {}
            frame => self.deliver(frame),
        }
        if self.owes {
            self.begin_owed();
        }
    }

    #[cold]
    #[inline(never)]
    fn begin_owed(&mut self) {
        self.owes = false;
        self.reader.start(self.converter.outgoing());
    }

    /// Frames that were due since the one before and did not come; none after a pause in which
    /// the converter did not run.
    #[cold]
    #[inline(never)]
    fn after_a_gap(&mut self, last: Option<u32>, now: u32) -> u32 {
        match last.and_then(|last| missed(last, now)) {
            Some(missed) => missed,
            None => {
                self.starts = self.starts.wrapping_add(1);
                0
            }
        }
    }

    /// What stands in the FIFO is of unknown age. The frame just announced goes with it.
    #[cold]
    #[inline(never)]
    fn lose(&mut self, frames: u32) {
        let _ = self.converter.catch_up();
        self.deliver(Err(FrameFault::Lost(frames)));
    }

    #[inline(never)]
    fn deliver(&mut self, frame: Result<Frame, FrameFault>) {
        let applied = self.stimulator.on_frame(&frame);
        self.packer.push(&frame, applied);
    }
}

/// Frames that were due between two readings of the clock and did not come; `None` after a pause
/// in which the converter did not run.
fn missed(last: u32, now: u32) -> Option<u32> {
    let gap = now.wrapping_sub(last);
    if u64::from(gap) >= SILENCE.to_micros() {
        return None;
    }
    Some(((gap + PERIOD_US / 2) / PERIOD_US).saturating_sub(1))
}

/// The sampler, where the interrupts find it. Empty while the converter is being started.
struct Shared(UnsafeCell<Option<Sampler>>);

// SAFETY: one core, and `Shared` gives a reference only inside of an interrupt of sampling, or
// while interrupts are off. Those interrupts have one priority, so neither comes into the other.
unsafe impl Sync for Shared {}

static SAMPLER: Shared = Shared(UnsafeCell::new(None));

impl Shared {
    /// # Safety
    /// Only in a handler of an interrupt of sampling, once.
    #[inline]
    #[expect(clippy::mut_from_ref, reason = "a cell: the caller has it alone")]
    unsafe fn in_interrupt(&self) -> Option<&mut Sampler> {
        // SAFETY: the other handler waits until this one has returned, and the loop stands.
        unsafe { (*self.0.get()).as_mut() }
    }

    /// Its place, while interrupts are off. `act` must not come back here: none does, they
    /// stand in this file and in `acquisition` and call nothing that could.
    fn with<T>(&self, _off: CriticalSection<'_>, act: impl FnOnce(&mut Option<Sampler>) -> T) -> T {
        // SAFETY: interrupts are off and there is one core, so nobody else looks.
        act(unsafe { &mut *self.0.get() })
    }
}

/// Lets `act` at the sampler, if the converter is not being started. Interrupts are off
/// meanwhile: be short.
pub(crate) fn with_sampler(act: impl FnOnce(&mut Sampler)) {
    critical_section::with(|off| {
        SAMPLER.with(off, |place| {
            if let Some(sampler) = place.as_mut() {
                act(sampler);
            }
        });
    });
}

/// Hands the sampler to the interrupts.
pub(crate) fn put(sampler: Sampler) {
    critical_section::with(|off| SAMPLER.with(off, |place| *place = Some(sampler)));
}

/// Takes the sampler away from the interrupts.
pub(crate) fn take() -> Option<Sampler> {
    critical_section::with(|off| SAMPLER.with(off, Option::take))
}

#[interrupt]
fn IO_IRQ_BANK0() {
    // SAFETY: a handler of sampling.
    if let Some(sampler) = unsafe { SAMPLER.in_interrupt() } {
        sampler.on_data_ready();
    }
}

#[interrupt]
fn DMA_IRQ_0() {
    // SAFETY: a handler of sampling.
    if let Some(sampler) = unsafe { SAMPLER.in_interrupt() } {
        sampler.on_frame_read();
    }
}
