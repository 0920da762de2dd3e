//! The sampling path as the super-loop sees it: a queue that fills, and the care for the converter.
//!
//! The converter pulls DRDY low every 250 us. Two interrupts (`sampler`) read the frame, let the
//! stimulator look at it and set the tester's own outputs for the next conversion, and put the
//! frame with the mark of what was on into a block that the super-loop takes when it is full. The
//! loop may be away for a sector erase of the journal (45 ms, at most 400 ms); the blocks hold 510
//! frames = 127 ms, so a slow erase does lose frames, and then the loss is counted and told, never
//! silent:
//!
//! - no free block: the count of frames dropped goes before the next frame that fits;
//! - interrupt late by more than half a frame period: the converter's own two-deep FIFO is
//!   emptied and the count of periods missed is told.
//!
//! A pause of [`SILENCE`] or more is not counted here but by the tester, which watches for a
//! silent converter by its own clock. The outputs do not wait that long: without an interrupt
//! for [`SILENCE_MS`] the loop opens them, and takes what the block in hand holds; while the converter
//! is being started they are off.

use embedded_hal::delay::DelayNs as _;
use embedded_hal::digital::{InputPin as _, OutputPin as _};
use rp2040_hal::Timer;
use rp2040_hal::fugit::{MicrosDurationU32, MillisDurationU64};
use rp2040_hal::gpio::Interrupt::EdgeLow;
use rp2040_hal::pac::{self, Interrupt};
use slotwise_core::self_test::SelfTestFailure;
use slotwise_core::stimulus::Order;
use slotwise_firmware::adc::{AdcError, Converter, Identity, Misread};
use slotwise_firmware::block::{Block, Blocks, Unpacker};
use slotwise_firmware::self_test::{self, Flow, Guard, Hardware, Pace, Stage};
use slotwise_firmware::stimulator::{self, SILENCE_MS, Stimulator};

use crate::board::{AdcBus, DataReady, OutputPin, SyncPin};
use crate::computer;
use crate::frame_reader::FrameReader;
use crate::sampler::{self, PERIOD_US, Sampler, with_sampler};

/// Without a frame for this long the converter is started anew.
pub(crate) const SILENCE: MillisDurationU64 = MillisDurationU64::millis(500);

/// Length of the reset pulse on SYNC/RESET: at least 2048 clocks of 8.192 MHz = 250 us.
const RESET_PULSE_US: u32 = 500;

/// The super-loop's end of the queue, and the care for the converter.
pub(crate) struct Acquisition {
    blocks: Unpacker,
    sync: SyncPin,
    clock: Timer,
    /// Low word of the clock when the converter last showed life, or was last tried.
    alive: u32,
    must_start: bool,
    /// What the stimulator was last told.
    order: Order,
    /// Whether the converter's channels have passed their test, and what failed if they did not.
    tested: bool,
    failure: Option<SelfTestFailure>,
    /// Frames that the interrupt had counted when it was last looked at.
    seen: u32,
}

impl Acquisition {
    /// Takes converter and pins and starts sampling.
    pub(crate) fn start(
        blocks: &'static mut Blocks,
        bus: AdcBus,
        reader: FrameReader,
        data_ready: DataReady,
        sync: SyncPin,
        outputs: stimulator::Pins<OutputPin>,
        clock: Timer,
    ) -> Self {
        let (packer, unpacker) = blocks.split();
        sampler::put(Sampler {
            converter: Converter::new(bus),
            data_ready,
            reader,
            packer,
            stimulator: Stimulator::new(outputs),
            clock,
            last: None,
            starts: 0,
            counted: 0,
            owes: false,
        });
        let mut acquisition = Self {
            blocks: unpacker,
            sync,
            clock,
            alive: clock.get_counter_low(),
            must_start: true,
            order: Order::Rest,
            tested: false,
            failure: None,
            seen: 0,
        };
        acquisition.start_converter();
        acquisition
    }

    /// Hands the blocks that wait to `take`, `most` at most.
    #[inline]
    pub(crate) fn hand_over(&mut self, most: usize, mut take: impl FnMut(&Block)) {
        let mut any = false;
        for _ in 0..most {
            let must_start = &mut self.must_start;
            if !self.blocks.next(|block| {
                *must_start |= block.tells_restart();
                take(block);
            }) {
                break;
            }
            any = true;
        }
        if any {
            self.alive = self.clock.get_counter_low();
        }
    }

    /// Ends the next block after `count` frames, if it is the one in the interrupt's hand.
    #[cold]
    #[inline(never)]
    pub(crate) fn cut_at(&mut self, count: usize) {
        let blocks = &self.blocks;
        with_sampler(|sampler| {
            if !blocks.is_ready() {
                sampler.packer.cut_at(count);
            }
        });
    }

    /// Says what the outputs are to do from the next frame on.
    #[inline]
    pub(crate) fn order(&mut self, order: Order) {
        if order != self.order {
            self.order = order;
            with_sampler(|sampler| sampler.stimulator.set(order));
        }
    }

    /// Whether no block waits.
    #[inline]
    pub(crate) fn is_idle(&self) -> bool {
        !self.blocks.is_ready()
    }

    /// The test of the converter that failed, once.
    pub(crate) fn take_failure(&mut self) -> Option<SelfTestFailure> {
        self.failure.take()
    }

    /// Marks what the interrupt has done, or that it has nothing to do: a silent converter's
    /// outputs are open.
    pub(crate) fn mark(&mut self, flow: &mut Flow) {
        let (mut counted, mut last) = (self.seen, None);
        with_sampler(|sampler| (counted, last) = (sampler.counted, sampler.last));
        if counted != self.seen {
            self.seen = counted;
            flow.mark(Stage::Stimulator);
        }
        let now = self.clock.get_counter_low();
        let quiet = last.map(|last| now.wrapping_sub(last));
        if quiet.is_none_or(|quiet| u64::from(quiet) >= SILENCE_MS * 1000) {
            flow.mark(Stage::Stimulator);
            flow.mark(Stage::Frames);
        }
    }

    /// Once, at the first start that succeeds: what its channels make of known voltages.
    #[cold]
    #[inline(never)]
    fn test_converter(&mut self, sampler: &mut Sampler, started: &Result<Identity, AdcError>) {
        if self.tested {
            return;
        }
        let outcome = match started {
            Ok(_) => self_test::converter::check(
                &mut sampler.converter,
                &mut sampler.data_ready,
                &mut self.clock,
            ),
            Err(error @ AdcError::NotWritten { .. }) => Err(self_test::converter::of_driver(error)),
            // Silent or damaged: it is tried again, and the sequence says that frames are missing.
            Err(_) => return,
        };
        self.tested = true;
        self.failure = outcome.err();
    }

    /// Starts the converter anew if it lost its settings or fell silent. Call it in every
    /// round of the loop; it takes 5 ms when it acts, every [`SILENCE`] at most. Opens the
    /// outputs of a converter that has been silent for [`SILENCE_MS`], and sends off what it had
    /// delivered.
    pub(crate) fn keep_alive(&mut self) {
        let (clock, drives) = (self.clock, self.order != Order::Rest);
        with_sampler(|sampler| {
            // The time is read in here: a frame that came in between would lie in its future, and
            // that difference would be the longest silence of all.
            let now = clock.get_counter_low();
            let quiet = sampler.last.map(|last| now.wrapping_sub(last));
            if quiet.is_none_or(|quiet| u64::from(quiet) >= SILENCE_MS * 1000) {
                if drives {
                    sampler.stimulator.silence();
                }
                // What follows, follows after a gap.
                sampler.packer.flush();
            }
        });
        // Looked at every millisecond, so the low word does not go around meanwhile.
        let quiet = self.clock.get_counter_low().wrapping_sub(self.alive);
        let silent = u64::from(quiet) >= SILENCE.to_micros();
        if silent || self.must_start {
            self.start_converter();
        }
    }

    fn start_converter(&mut self) {
        pac::NVIC::mask(Interrupt::IO_IRQ_BANK0);
        pac::NVIC::mask(Interrupt::DMA_IRQ_0);
        let Some(mut sampler) = sampler::take() else {
            return;
        };
        sampler.reader.stop();
        sampler.packer.flush();
        sampler.owes = false;
        sampler.stimulator.silence();
        let mut delay = self.clock;
        if !self.must_start {
            // Silent although it was set up: only the reset line is left to try.
            pulse(&mut self.sync, &mut delay);
        }
        let started = sampler.converter.start(&mut delay);
        self.test_converter(&mut sampler, &started);
        // Whatever came of it, the next try is SILENCE away.
        self.must_start = false;
        self.alive = self.clock.get_counter_low();
        sampler.last = None;
        match &started {
            Ok(identity) => {
                defmt::info!("converter started: {}", identity);
                align(&mut sampler, &mut delay);
                // An edge latched while nobody listened would deliver a frame read already.
                sampler.data_ready.clear_interrupt(EdgeLow);
                listen_for_data_ready();
            }
            Err(error) => defmt::error!("{}", defmt::Display2Format(error)),
        }
        sampler::put(sampler);
        if started.is_ok() {
            // A part whose settings are not certain is not read: its codes would mean nothing.
            pac::NVIC::unpend(Interrupt::DMA_IRQ_0);
            // SAFETY: what the interrupts work with is in its place again; no critical section
            // is open here that unmasking could break.
            unsafe {
                pac::NVIC::unmask(Interrupt::DMA_IRQ_0);
                pac::NVIC::unmask(Interrupt::IO_IRQ_BANK0);
            }
        }
    }
}

impl Hardware for Acquisition {
    fn pace(&mut self) -> Option<Pace> {
        let mut pace = None;
        with_sampler(|sampler| {
            pace = sampler.last.map(|micros| Pace {
                starts: sampler.starts,
                frames: sampler.counted,
                micros,
            });
        });
        pace
    }

    fn guard(&mut self) -> Guard {
        computer::guard()
    }

    fn begin_read_back(&mut self) {
        with_sampler(|sampler| sampler.converter.begin_read_back());
    }

    fn read_back(&mut self) -> Option<Result<(), Misread>> {
        let mut outcome = None;
        with_sampler(|sampler| outcome = sampler.converter.take_read_back());
        outcome
    }
}

/// Lets the falling edge of the data-ready line interrupt core 0. By hand: the crate asks which core
/// it is on and panics on a third.
fn listen_for_data_ready() {
    // GPIO 20 is the fifth pin of the third register of eight (data sheet 2.19.6.1).
    // SAFETY: nobody else writes this register; the crate's pins do only when asked to.
    let bank = unsafe { &*pac::IO_BANK0::PTR };
    bank.proc0_inte(2)
        .modify(|_, w| w.gpio4_edge_low().set_bit());
}

/// Waits for the next conversion, at most two periods, and throws it away, so that the
/// interrupt is enabled early in a period: a conversion that came in between would stay in the
/// FIFO, and every later frame would be one period old.
fn align(sampler: &mut Sampler, delay: &mut Timer) {
    for _ in 0..2 * PERIOD_US {
        let Ok(ready) = sampler.data_ready.is_low();
        if ready {
            break;
        }
        delay.delay_us(1);
    }
    let _ = sampler.converter.catch_up();
}

fn pulse(sync: &mut SyncPin, delay: &mut Timer) {
    let Ok(()) = sync.set_low();
    delay.delay_us(RESET_PULSE_US);
    let Ok(()) = sync.set_high();
}

const _: () = assert!(MicrosDurationU32::micros(PERIOD_US).to_micros() == 250);
