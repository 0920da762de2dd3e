//! Reads a frame of the converter by DMA, while the core sleeps or works.
//!
//! Two channels: one feeds the bus with what goes out, the other empties it into a buffer and
//! says when all 18 bytes are there. Everything that is the same in every frame is set up once;
//! a frame costs four register writes to begin, and two and a reading to end.
//!
//! The DMA's sniffer works the check word out while the bytes come in (RP2040 data sheet, 2.5.5.2):
//! CRC-16-CCITT from FFFF over all 18. Over data and the CRC behind it that is 0, and the zero that
//! fills up the last word leaves it. A sniffer that does not run leaves FFFF, which is no good frame.
//!
//! The bus is that of the converter's driver, which uses it by itself while the converter is
//! being set up. Both never at once: whoever calls [`FrameReader::start`] owns the driver, and
//! leaves it alone until [`FrameReader::finish`] or [`FrameReader::stop`].
//!
//! Limits: a byte that the bus drops would leave the receiving channel waiting for ever; the
//! frames then stop, and the loop starts the converter anew.

use core::cell::UnsafeCell;
use core::sync::atomic::{Ordering, compiler_fence};

use rp2040_hal::dma::{CH0, CH1, Channel};
use rp2040_hal::pac;
use slotwise_firmware::adc::frame::{FRAME_BYTES, NULL_FRAME, RawFrame};

/// GPIO 17, the converter's chip select, as a bit of SIO's registers.
const SELECT: u32 = 1 << 17;

/// Channels as numbers.
const RECEIVE: usize = 0;
const SEND: usize = 1;

/// Data requests of SPI0 (RP2040 data sheet, 2.5.3.1).
const SPI0_TX: u8 = 16;
const SPI0_RX: u8 = 17;

/// Sniffer: enabled, on the receiving channel, CRC-16-CCITT (RP2040 data sheet, SNIFF_CTRL).
const SNIFF: u32 = 1 | (RECEIVE as u32) << 1 | 2 << 5;

/// Start value of the check word.
const SEED: u32 = 0xFFFF;

/// What the channels read and write. In RAM, so that neither waits for the flash chip.
struct Buffers {
    incoming: UnsafeCell<RawFrame>,
    null: UnsafeCell<RawFrame>,
    /// A command in the place of NULL.
    command: UnsafeCell<RawFrame>,
}

// SAFETY: the DMA and the one `FrameReader` touch it, which takes turns with the DMA.
unsafe impl Sync for Buffers {}

static BUFFERS: Buffers = Buffers {
    incoming: UnsafeCell::new(RawFrame::EMPTY),
    null: UnsafeCell::new(RawFrame(NULL_FRAME)),
    command: UnsafeCell::new(RawFrame::EMPTY),
};

fn dma() -> &'static pac::dma::RegisterBlock {
    // SAFETY: the registers of the DMA. Those used here belong to the two channels, or take one
    // bit at a time.
    unsafe { &*pac::DMA::PTR }
}

/// The two channels of the converter.
pub(crate) struct FrameReader {
    _channels: (Channel<CH0>, Channel<CH1>),
    is_reading: bool,
}

impl FrameReader {
    /// Sets the channels up. There is one reader: it takes the channels.
    pub(crate) fn new(channels: (Channel<CH0>, Channel<CH1>)) -> Self {
        // SAFETY: the bus's DMA requests; they do nothing until a channel is started.
        let bus = unsafe { &*pac::SPI0::PTR };
        bus.sspdmacr()
            .modify(|_, w| w.txdmae().set_bit().rxdmae().set_bit());
        let data = bus.sspdr().as_ptr() as u32;
        let length = FRAME_BYTES as u32;
        let receive = dma().ch(RECEIVE);
        let send = dma().ch(SEND);
        // SAFETY: of each write below: addresses of the bus's data register and of the buffers
        // above, and no channel is started: the registers without a trigger are written.
        unsafe {
            receive.ch_read_addr().write(|w| w.bits(data));
            receive.ch_trans_count().write(|w| w.bits(length));
            receive.ch_al1_ctrl().write(|w| {
                w.bits(control(
                    RECEIVE,
                    SPI0_RX,
                    Step {
                        read: false,
                        write: true,
                        quiet: false,
                        sniffed: true,
                    },
                ))
            });
            send.ch_write_addr().write(|w| w.bits(data));
            send.ch_trans_count().write(|w| w.bits(length));
            send.ch_al1_ctrl().write(|w| {
                w.bits(control(
                    SEND,
                    SPI0_TX,
                    Step {
                        read: true,
                        write: false,
                        quiet: true,
                        sniffed: false,
                    },
                ))
            });
            dma().sniff_ctrl().write(|w| w.bits(SNIFF));
            dma().inte0().write(|w| w.bits(1 << RECEIVE));
        }
        Self {
            _channels: channels,
            is_reading: false,
        }
    }

    /// Whether a frame is on its way.
    #[inline]
    pub(crate) const fn is_reading(&self) -> bool {
        self.is_reading
    }

    /// Selects the converter and lets a frame come in, NULL or `command` going out.
    #[inline]
    pub(crate) fn start(&mut self, command: Option<[u8; FRAME_BYTES]>) {
        let out = match command {
            None => BUFFERS.null.get(),
            Some(bytes) => {
                let out = BUFFERS.command.get();
                // SAFETY: no transfer runs, so the DMA does not read it now.
                unsafe { (*out).0 = bytes };
                out
            }
        };
        self.is_reading = true;
        select(true);
        // What was written to the buffers stands there before the DMA looks.
        compiler_fence(Ordering::SeqCst);
        // SAFETY: both buffers hold a whole frame; receiving first, so that no byte is missed.
        unsafe {
            dma().sniff_data().write(|w| w.bits(SEED));
            dma()
                .ch(RECEIVE)
                .ch_al2_write_addr_trig()
                .write(|w| w.bits(BUFFERS.incoming.get() as u32));
            dma()
                .ch(SEND)
                .ch_al3_read_addr_trig()
                .write(|w| w.bits(out as u32));
        }
    }

    /// Ends a frame that is there, in the interrupt that says so; gives its bytes, and whether their
    /// check word is right.
    #[inline]
    pub(crate) fn finish(&mut self) -> (&RawFrame, bool) {
        acknowledge();
        select(false);
        self.is_reading = false;
        // The low half is the CRC.
        let is_whole = dma().sniff_data().read().bits() << 16 == 0;
        // Nothing of the buffer was read before the DMA had written it.
        compiler_fence(Ordering::SeqCst);
        // SAFETY: no transfer runs, and none can be started while this is looked at.
        (unsafe { &*BUFFERS.incoming.get() }, is_whole)
    }

    /// Gives up a frame that is on its way; nothing if there is none. Interrupts of the DMA must
    /// be masked.
    #[cold]
    pub(crate) fn stop(&mut self) {
        if !self.is_reading {
            return;
        }
        let channels = 1 << RECEIVE | 1 << SEND;
        // SAFETY: these two channels alone.
        unsafe { dma().chan_abort().write(|w| w.bits(channels)) };
        while dma().chan_abort().read().bits() & channels != 0 {}
        acknowledge();
        select(false);
        // SAFETY: reads the bus's data register until it is empty, at most the depth of its FIFO
        // and what is still on the way; the driver begins with an empty one.
        let bus = unsafe { &*pac::SPI0::PTR };
        for _ in 0..2 * FRAME_BYTES {
            if bus.sspsr().read().bsy().bit_is_clear() && bus.sspsr().read().rne().bit_is_clear() {
                break;
            }
            let _ = bus.sspdr().read();
        }
        self.is_reading = false;
    }
}

/// What a channel counts up, whether it is silent at its end, and whether the sniffer listens.
struct Step {
    read: bool,
    write: bool,
    quiet: bool,
    sniffed: bool,
}

/// Control word of a channel: enabled, ahead of other masters' turns, a byte at a time, chained to
/// itself, which means to none (RP2040 data sheet, CH0_CTRL_TRIG).
const fn control(channel: usize, request: u8, step: Step) -> u32 {
    const ENABLE: u32 = 1 << 0;
    const HIGH_PRIORITY: u32 = 1 << 1;
    ENABLE
        | HIGH_PRIORITY
        | (step.read as u32) << 4
        | (step.write as u32) << 5
        | (channel as u32) << 11
        | (request as u32) << 15
        | (step.quiet as u32) << 21
        | (step.sniffed as u32) << 23
}

/// Takes the receiving channel's interrupt back.
#[inline]
fn acknowledge() {
    // SAFETY: a bit written as one clears that channel's interrupt and no other.
    unsafe { dma().ints0().write(|w| w.bits(1 << RECEIVE)) };
}

/// Drives the converter's chip select.
#[inline]
fn select(selected: bool) {
    // SAFETY: SIO's set and clear registers change the named pin only, in one write.
    unsafe {
        let sio = &*pac::SIO::PTR;
        if selected {
            sio.gpio_out_clr().write(|w| w.bits(SELECT));
        } else {
            sio.gpio_out_set().write(|w| w.bits(SELECT));
        }
    }
}
