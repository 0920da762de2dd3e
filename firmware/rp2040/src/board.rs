//! The board: which pin is what, and how fast things are clocked.
//!
//! The pin table is the one of hardware/pins.csv. Everything is claimed once, in
//! [`Board::claim`], and handed out with its final type.

use core::convert::Infallible;

use embedded_hal::digital::{self, PinState};
use embedded_hal::spi::{MODE_0, MODE_1};
use embedded_hal_bus::spi::ExclusiveDevice;
use rp2040_hal::clocks::init_clocks_and_plls;
use rp2040_hal::dma::{CH0, CH1, Channel, DMAExt as _};
use rp2040_hal::fugit::HertzU32;
use rp2040_hal::gpio::bank0::{
    Gpio10, Gpio11, Gpio12, Gpio13, Gpio15, Gpio16, Gpio17, Gpio18, Gpio19, Gpio20, Gpio21,
};
use rp2040_hal::gpio::{
    DynPinId, FunctionI2C, FunctionNull, FunctionSio, FunctionSpi, Pin, PinId, Pins, PullDown,
    PullNone, PullUp, SioInput, SioOutput, ValidFunction,
};
use rp2040_hal::spi::{Enabled, Spi};
use rp2040_hal::{Clock as _, Sio, Timer, Watchdog, pac};
use slotwise_core::start::Start;
use slotwise_firmware::stimulator;
use usb_device::bus::UsbBusAllocator;

use crate::full_bus::FullBus;
use crate::panic::restart;
use crate::side_bus::SideBusPort;
use crate::usb_bus::UsbBus;
use crate::{computer, last_words};

/// The second-stage loader, which sets up the flash chip for execution in place.
#[unsafe(link_section = ".boot2")]
#[used]
static BOOT2_FIRMWARE: [u8; 256] = rp2040_boot2::BOOT_LOADER_W25Q080;

/// Crystal of the board, hertz.
const CRYSTAL_HZ: u32 = 12_000_000;

/// Clock of the converter's SPI bus: 18 bytes take 18 us of the 250 us between two frames.
/// The part takes 25 MHz; 8 MHz leaves room for the delay of the isolator.
const ADC_BUS: HertzU32 = HertzU32::MHz(8);

/// Clock of the NOR flash's SPI bus.
const NOR_BUS: HertzU32 = HertzU32::MHz(16);

/// The pins of the tester's own currents, as bits of SIO's registers: relays of probe P1 (GPIO 8
/// through the charge pump, and 9), relays of drive P2 to ground (14) and to the clip (22),
/// its tone (26) and its level (27).
pub(crate) const OUTPUT_PINS: u32 = 1 << 8 | 1 << 9 | 1 << 14 | 1 << 22 | 1 << 26 | 1 << 27;

/// An SPI pin.
type SpiPin<I> = Pin<I, FunctionSpi, PullNone>;
/// An output pin.
type Output<I> = Pin<I, FunctionSio<SioOutput>, PullDown>;

/// SPI device of the converter.
pub(crate) type AdcBus = ExclusiveDevice<
    Spi<Enabled, pac::SPI0, (SpiPin<Gpio19>, SpiPin<Gpio16>, SpiPin<Gpio18>)>,
    Output<Gpio17>,
    Timer,
>;
/// SPI device of the NOR flash.
pub(crate) type NorBus = ExclusiveDevice<
    FullBus<Spi<Enabled, pac::SPI1, (SpiPin<Gpio11>, SpiPin<Gpio12>, SpiPin<Gpio10>)>>,
    Output<Gpio13>,
    Timer,
>;
/// DRDY of the converter: falls when a frame is ready.
pub(crate) type DataReady = Pin<Gpio20, FunctionSio<SioInput>, PullUp>;
/// A lamp or the heartbeat.
pub(crate) type LampPin = Output<DynPinId>;
/// A relay or the tone.
pub(crate) type OutputPin = Output<DynPinId>;
/// The button: low while pressed.
pub(crate) type ButtonPin = Pin<Gpio15, FunctionSio<SioInput>, PullUp>;
/// SYNC/RESET of the converter, held high.
pub(crate) type SyncPin = Output<Gpio21>;

/// A pin of the side bus, of clock chip and display. The resistors on the board are stronger than
/// the chip's pull-ups, which keep the lines high on a board without these parts.
pub(crate) type SideBusPin<I> = Pin<I, FunctionI2C, PullUp>;

/// All of the board, ready to use.
pub(crate) struct Board {
    pub(crate) adc: AdcBus,
    /// DMA channels for the converter's frames.
    pub(crate) adc_channels: (Channel<CH0>, Channel<CH1>),
    pub(crate) data_ready: DataReady,
    pub(crate) sync: SyncPin,
    pub(crate) nor: NorBus,
    /// In the order of the panel: live-metal, wired-right, earth-path, supply, steady, proven.
    pub(crate) lamps: [LampPin; 6],
    pub(crate) heartbeat: LampPin,
    pub(crate) button: ButtonPin,
    /// The tester's own currents.
    pub(crate) outputs: stimulator::Pins<OutputPin>,
    pub(crate) side_bus: SideBusPort,
    pub(crate) usb: UsbBusAllocator<UsbBus>,
    pub(crate) watchdog: Watchdog,
    pub(crate) clock: Timer,
    pub(crate) tick: pac::SYST,
    /// Why the chip started.
    pub(crate) start: Start,
}

impl Board {
    /// Takes the chip and sets up all of it. Call it once, first.
    pub(crate) fn claim() -> Self {
        // SAFETY: this runs once, first of all: nobody else has them.
        let (mut chip, core) =
            unsafe { (pac::Peripherals::steal(), pac::CorePeripherals::steal()) };
        let sio = Sio::new(chip.SIO);
        let pins = Pins::new(
            chip.IO_BANK0,
            chip.PADS_BANK0,
            sio.gpio_bank0,
            &mut chip.RESETS,
        );
        // The relays first: a pin comes out of reset as an input with a pull-down.
        let outputs = stimulator::Pins {
            probe_pump: off(pins.gpio8),
            probe_hold: off(pins.gpio9),
            drive_ground: off(pins.gpio14),
            drive_clip: off(pins.gpio22),
            tone: off(pins.gpio26),
            drive_raise: off(pins.gpio27),
        };

        let (cause, stopped) = last_words::take(&chip.WATCHDOG, &chip.VREG_AND_CHIP_RESET);
        let start = Start {
            cause,
            build: computer::build(),
            stopped,
        };
        let mut watchdog = Watchdog::new(chip.WATCHDOG);
        let clocks = init_clocks_and_plls(
            CRYSTAL_HZ,
            chip.XOSC,
            chip.CLOCKS,
            chip.PLL_SYS,
            chip.PLL_USB,
            &mut chip.RESETS,
            &mut watchdog,
        );
        let Ok(clocks) = clocks else {
            // Frequencies that the chip cannot make; these it can.
            restart()
        };
        let clock = Timer::new(chip.TIMER, &mut chip.RESETS, &clocks);
        let peripheral = clocks.peripheral_clock.freq();

        let adc = Spi::<_, _, _, 8>::new(
            chip.SPI0,
            (
                pins.gpio19.reconfigure(),
                pins.gpio16.reconfigure(),
                pins.gpio18.reconfigure(),
            ),
        )
        .init(&mut chip.RESETS, peripheral, ADC_BUS, MODE_1);
        let nor = Spi::<_, _, _, 8>::new(
            chip.SPI1,
            (
                pins.gpio11.reconfigure(),
                pins.gpio12.reconfigure(),
                pins.gpio10.reconfigure(),
            ),
        )
        .init(&mut chip.RESETS, peripheral, NOR_BUS, MODE_0);

        let side_bus = SideBusPort::new(
            chip.I2C0,
            pins.gpio0.reconfigure(),
            pins.gpio1.reconfigure(),
            &mut chip.RESETS,
            clock,
        );

        let usb = UsbBusAllocator::new(UsbBus::new(
            chip.USBCTRL_REGS,
            chip.USBCTRL_DPRAM,
            clocks.usb_clock,
            &mut chip.RESETS,
        ));

        let channels = chip.DMA.split(&mut chip.RESETS);

        Self {
            adc_channels: (channels.ch0, channels.ch1),
            adc: device(adc, unselected(pins.gpio17), clock),
            data_ready: pins.gpio20.into_pull_up_input(),
            sync: pins.gpio21.into_push_pull_output_in_state(PinState::High),
            nor: device(FullBus(nor), unselected(pins.gpio13), clock),
            lamps: [
                off(pins.gpio2),
                off(pins.gpio3),
                off(pins.gpio4),
                off(pins.gpio5),
                off(pins.gpio6),
                off(pins.gpio7),
            ],
            heartbeat: off(pins.gpio25),
            button: pins.gpio15.into_pull_up_input(),
            outputs,
            side_bus,
            usb,
            watchdog,
            clock,
            tick: core.SYST,
            start,
        }
    }
}

/// A bus with one device on it.
fn device<BUS, CS: digital::OutputPin<Error = Infallible>>(
    bus: BUS,
    select: CS,
    clock: Timer,
) -> ExclusiveDevice<BUS, CS, Timer> {
    match ExclusiveDevice::new(bus, select, clock) {
        Ok(device) => device,
        Err(never) => match never {},
    }
}

/// A chip select, high from the first moment: a pulse at start would be taken for a command.
fn unselected<I: PinId + ValidFunction<FunctionSio<SioOutput>>>(
    pin: Pin<I, FunctionNull, PullDown>,
) -> Output<I> {
    pin.into_push_pull_output_in_state(PinState::High)
}

/// A lamp or a relay, off.
fn off<I: PinId + ValidFunction<FunctionSio<SioOutput>>>(
    pin: Pin<I, FunctionNull, PullDown>,
) -> LampPin {
    pin.into_push_pull_output_in_state(PinState::Low)
        .into_dyn_pin()
}
