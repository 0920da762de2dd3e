//! Entry and the one loop: frames first, then the rest, then sleep.
//!
//! Every round takes the frames that wait, tells the interrupt what the outputs are to do, serves
//! USB and, once a millisecond or when USB had something, the rest of the tester. Then the core
//! sleeps until an interrupt; what is to be done in the loop comes every 2.5 ms with a block of
//! frames, and every millisecond with the tick.

use core::fmt::Write as _;
use core::sync::atomic::{AtomicBool, Ordering};

use cortex_m::asm::wfe;
use cortex_m::peripheral::SYST;
use cortex_m::peripheral::syst::SystClkSource;
use cortex_m_rt::exception;
use embedded_hal::spi::{Operation, SpiDevice as _};
use heapless::String;
use rp2040_hal::fugit::MicrosDurationU32;
use slotwise_core::record::{TesterId, Version};
use slotwise_core::self_test::SelfTestFailure;
use slotwise_core::units::Millis;
use slotwise_firmware::block::{Block, Blocks};
use slotwise_firmware::board::SerialLink as _;
use slotwise_firmware::nor::SpiNor;
use slotwise_firmware::side_bus::{Served as _, SideBus};
use slotwise_firmware::tester::{Identity, Parts, Tester};
use usb_device::bus::UsbBusAllocator;

use crate::acquisition::Acquisition;
use crate::board::{Board, ButtonPin, LampPin, NorBus};
use crate::frame_reader::FrameReader;
use crate::log::{self, Log};
use crate::usb::{Port, UsbLink};
use crate::usb_bus::UsbBus;
use crate::{computer, last_words};

/// The flash as the tester sees it.
type Nor = SpiNor<NorBus, rp2040_hal::Timer>;
/// The tester of this board.
pub(crate) type BoardTester = Tester<Nor, UsbLink, LampPin, LampPin, ButtonPin>;

/// While starting: the journal is read through.
const PATIENCE_AT_START: MicrosDurationU32 = MicrosDurationU32::secs(8);

/// In the loop: longer than the longest sector erase that the driver waits for (1 s).
const PATIENCE: MicrosDurationU32 = MicrosDurationU32::secs(2);

/// Blocks taken in one round, so that lamps and link are served while a backlog is worked off:
/// 60 frames are 15 ms of signal.
const BLOCKS_A_ROUND: usize = 6;

/// Core clock cycles of the tick: 1 ms at 125 MHz.
const TICK_CYCLES: u32 = 125_000;

#[rp2040_hal::entry]
fn main() -> ! {
    static mut BLOCKS: Blocks = Blocks::new();
    static mut NUMBER: String<16> = String::new();
    static mut BUS: Option<UsbBusAllocator<UsbBus>> = None;
    static mut PORT: Option<Port> = None;

    let board = Board::claim();
    // Before anything large stands on the stack.
    let tested = computer::check_at_start();
    run(
        board,
        Places {
            blocks: BLOCKS,
            number: NUMBER,
            bus: BUS,
            port: PORT,
        },
        tested,
    )
}

/// Memory that lasts, each given out once.
struct Places {
    blocks: &'static mut Blocks,
    number: &'static mut String<16>,
    bus: &'static mut Option<UsbBusAllocator<UsbBus>>,
    port: &'static mut Option<Port>,
}

/// The tester. A function of its own, so that its large stack is not there yet while memory is
/// tested.
#[inline(never)]
fn run(board: Board, places: Places, tested: Result<(), SelfTestFailure>) -> ! {
    let Board {
        adc,
        adc_channels,
        data_ready,
        sync,
        mut nor,
        lamps,
        heartbeat,
        button,
        outputs,
        side_bus,
        usb,
        mut watchdog,
        clock,
        tick,
        start,
    } = board;
    watchdog.start(PATIENCE_AT_START);
    log::start(&version(), &start);

    // First of all, so that nothing of before the start stays on the display.
    let (mut side_bus, time) = SideBus::start(side_bus);
    if let Err(state) = time {
        defmt::warn!("clock chip: {}", state);
    }

    let tester_id = flash_number(&mut nor);
    let Places {
        blocks,
        number,
        bus,
        port,
    } = places;
    // Sixteen digits always fit.
    let _ = write!(number, "{tester_id}");

    let flash = SpiNor::new(nor, clock)
        .inspect_err(|error| defmt::error!("{}", defmt::Display2Format(error)))
        .ok();
    let mut tester = BoardTester::new(
        Parts {
            flash,
            serial: UsbLink::new(bus.insert(usb), port, number.as_str()),
            lamps,
            heartbeat,
            button,
        },
        Identity {
            tester: tester_id,
            firmware: version(),
            start,
            clock: time.ok(),
        },
    );
    tester.clock_is(time);
    if let Err(failure) = tested {
        tester.fail(failure);
    }
    last_words::begin(tester.boot());
    tester.flow().keep_by(last_words::note_flow);
    let mut log = Log::new(tester.boot());

    start_tick(tick);
    watchdog.start(PATIENCE);
    let reader = FrameReader::new(adc_channels);
    let mut acquisition = Acquisition::start(blocks, adc, reader, data_ready, sync, outputs, clock);
    let mut polled = None;
    loop {
        if !acquisition.is_idle() {
            slotwise_take_frames(&mut acquisition, &mut tester);
        }
        acquisition.order(tester.order());
        let usb_active = tester.serial().pump();
        let usb_open = tester.serial().is_open();
        let now = Millis::new(clock.get_counter().ticks() / 1000);
        if usb_active || polled != Some(now) {
            polled = Some(now);
            last_words::note_time(now);
            let was_kept = tester.start_is_kept();
            tester.poll(now);
            if tester.start_is_kept() != was_kept {
                last_words::forget();
            }
            log.look(&tester);
            tester.test_itself(&mut acquisition);
            if let Some(failure) = acquisition.take_failure() {
                defmt::error!("self-test failed: {}", failure);
                tester.fail(failure);
            }
            acquisition.order(tester.order());
            acquisition.keep_alive();
        }
        side_bus.poll(now, &mut tester);
        acquisition.mark(tester.flow());
        if tester.flow().take_whole() {
            watchdog.feed();
        }
        // Every interrupt since the last look leaves an event behind, so the core does not sleep
        // over a frame that came in between. With the port open every event is a round, so that
        // the host does not wait for packets; else only a frame or the tick is.
        while acquisition.is_idle() {
            wfe();
            if usb_open || take_tick() {
                break;
            }
        }
    }
}

/// The frames that wait, block by block into the tester. A function of its own, as the next one, so
/// that the emulator can count its cycles.
#[unsafe(no_mangle)]
#[inline(never)]
fn slotwise_take_frames(acquisition: &mut Acquisition, tester: &mut BoardTester) {
    acquisition.hand_over(BLOCKS_A_ROUND, |block| slotwise_accumulate(tester, block));
    let count = tester.to_a_batch();
    if count != 0 {
        acquisition.cut_at(count);
    }
}

/// One block into the tester.
#[unsafe(no_mangle)]
#[inline(never)]
fn slotwise_accumulate(tester: &mut BoardTester, block: &Block) {
    tester.block(block);
}

fn start_tick(mut tick: SYST) {
    tick.set_clock_source(SystClkSource::Core);
    tick.set_reload(TICK_CYCLES - 1);
    tick.clear_current();
    tick.enable_interrupt();
    tick.enable_counter();
}

/// The tick has come since it was last asked for.
static TICKED: AtomicBool = AtomicBool::new(false);

/// Wakes the core and says so.
#[exception]
fn SysTick() {
    TICKED.store(true, Ordering::Relaxed);
}

fn take_tick() -> bool {
    let ticked = TICKED.load(Ordering::Relaxed);
    if ticked {
        TICKED.store(false, Ordering::Relaxed);
    }
    ticked
}

/// Number that the maker burnt into the flash chip: command 4B, four dummy bytes, eight bytes.
/// All zeros or ones if nothing answers.
fn flash_number(nor: &mut NorBus) -> TesterId {
    let mut number = [0; 8];
    let _ = nor.transaction(&mut [
        Operation::Write(&[0x4B, 0, 0, 0, 0]),
        Operation::Read(&mut number),
    ]);
    TesterId(u64::from_be_bytes(number))
}

/// Version of this package.
fn version() -> Version {
    let part = |text: &str| text.parse().unwrap_or(0);
    Version {
        major: part(env!("CARGO_PKG_VERSION_MAJOR")),
        minor: part(env!("CARGO_PKG_VERSION_MINOR")),
        patch: part(env!("CARGO_PKG_VERSION_PATCH")),
    }
}
