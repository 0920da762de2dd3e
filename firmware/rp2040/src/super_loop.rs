//! Entry and the one loop: frames first, then the rest, then sleep.
//!
//! Every round takes the frames that wait, tells the interrupt what the outputs are to do, serves
//! USB and, once a millisecond or when USB had
//! something, the rest of the tester. Then the core sleeps until an interrupt: data ready
//! every 250 us, or the tick every millisecond if the converter is silent.

use core::fmt::Write as _;

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
use slotwise_firmware::nor::SpiNor;
use slotwise_firmware::side_bus::{Served as _, SideBus};
use slotwise_firmware::tester::{Identity, Parts, Tester};

use crate::acquisition::{Acquisition, Delivered};
use crate::board::{Board, ButtonPin, LampPin, NorBus};
use crate::computer;
use crate::usb::UsbLink;

/// The flash as the tester sees it.
type Nor = SpiNor<NorBus, rp2040_hal::Timer>;
/// The tester of this board.
type BoardTester = Tester<Nor, UsbLink, LampPin, LampPin, ButtonPin>;

/// While starting: the journal is read through.
const PATIENCE_AT_START: MicrosDurationU32 = MicrosDurationU32::secs(8);

/// In the loop: longer than the longest sector erase that the driver waits for (1 s).
const PATIENCE: MicrosDurationU32 = MicrosDurationU32::secs(2);

/// Frames taken in one round, so that lamps and link are served while a backlog is worked off:
/// 64 frames are 16 ms of signal.
const FRAMES_A_ROUND: usize = 64;

/// Core clock cycles of the tick: 1 ms at 125 MHz.
const TICK_CYCLES: u32 = 125_000;

#[rp2040_hal::entry]
fn main() -> ! {
    let board = Board::claim();
    // Before anything large stands on the stack.
    let tested = computer::check_at_start();
    run(board, tested)
}

/// The tester. A function of its own, so that its large stack is not there yet while memory is
/// tested.
#[inline(never)]
fn run(board: Board, tested: Result<(), SelfTestFailure>) -> ! {
    let Board {
        adc,
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
        cause,
    } = board;
    watchdog.start(PATIENCE_AT_START);
    defmt::info!("start: {}", cause);

    // First of all, so that nothing of before the start stays on the display.
    let (mut side_bus, time) = SideBus::start(side_bus);
    if let Err(state) = time {
        defmt::warn!("clock chip: {}", state);
    }

    let tester_id = flash_number(&mut nor);
    let number: &'static mut String<16> =
        defmt::unwrap!(cortex_m::singleton!(: String<16> = String::new()));
    // Sixteen digits always fit.
    let _ = write!(number, "{tester_id}");

    let flash = SpiNor::new(nor, clock)
        .inspect_err(|error| defmt::error!("{}", defmt::Display2Format(error)))
        .ok();
    let mut tester = BoardTester::new(
        Parts {
            flash,
            serial: UsbLink::new(usb, number.as_str()),
            lamps,
            heartbeat,
            button,
        },
        Identity {
            tester: tester_id,
            firmware: version(),
            cause,
            clock: time.ok(),
        },
    );
    tester.clock_is(time);
    if let Err(failure) = tested {
        tester.fail(failure);
    }
    defmt::info!("tester ready after {=u64} us", clock.get_counter().ticks());

    start_tick(tick);
    watchdog.start(PATIENCE);
    let mut acquisition = Acquisition::start(adc, data_ready, sync, outputs, clock);
    let mut polled = None;
    loop {
        for _ in 0..FRAMES_A_ROUND {
            let Some(delivered) = acquisition.next() else {
                break;
            };
            slotwise_accumulate(&mut tester, delivered);
        }
        acquisition.order(tester.order());
        let usb_active = tester.serial().pump();
        let now = Millis::new(clock.get_counter().ticks() / 1000);
        if usb_active || polled != Some(now) {
            polled = Some(now);
            tester.poll(now);
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
        if acquisition.is_idle() {
            // Every interrupt since the last look leaves an event behind, so this returns at
            // once if a frame came in between.
            wfe();
        }
    }
}

/// One frame into the tester. A function of its own so that the emulator can count its cycles.
#[unsafe(no_mangle)]
#[inline(never)]
fn slotwise_accumulate(tester: &mut BoardTester, (frame, applied): Delivered) {
    tester.frame(frame, applied);
}

/// The tick only has to wake the core.
fn start_tick(mut tick: SYST) {
    tick.set_clock_source(SystClkSource::Core);
    tick.set_reload(TICK_CYCLES - 1);
    tick.clear_current();
    tick.enable_interrupt();
    tick.enable_counter();
}

#[exception]
fn SysTick() {}

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
