//! The serial port of the two bare programs: the image's clocks, USB crates and packet size, and
//! nothing else on the core. They poll without a pause, so nothing they do waits for a loop.
#![no_std]

use core::panic::PanicInfo;

use cortex_m::singleton;
use rp2040_hal::clocks::init_clocks_and_plls;
use rp2040_hal::pac;
use rp2040_hal::usb::UsbBus;
use rp2040_hal::watchdog::Watchdog;
use usb_device::bus::UsbBusAllocator;
use usb_device::device::{UsbDevice, UsbDeviceBuilder, UsbVidPid};
use usbd_serial::{CdcAcmClass, USB_CLASS_CDC};

/// Bytes of a full-speed bulk packet.
pub const PACKET: usize = 64;

const CRYSTAL_HZ: u32 = 12_000_000;

/// The port, and the device that it is a class of.
pub struct Port {
    /// Poll it with the class.
    pub device: UsbDevice<'static, UsbBus>,
    /// Moves packets.
    pub class: CdcAcmClass<'static, UsbBus>,
}

impl Port {
    /// Starts clocks and USB. Call it once.
    ///
    /// # Panics
    /// If it is called again, or a clock does not start.
    #[must_use]
    pub fn start() -> Self {
        let mut chip = pac::Peripherals::take().unwrap();
        let mut watchdog = Watchdog::new(chip.WATCHDOG);
        let clocks = init_clocks_and_plls(
            CRYSTAL_HZ,
            chip.XOSC,
            chip.CLOCKS,
            chip.PLL_SYS,
            chip.PLL_USB,
            &mut chip.RESETS,
            &mut watchdog,
        )
        .ok()
        .unwrap();
        let bus = UsbBusAllocator::new(UsbBus::new(
            chip.USBCTRL_REGS,
            chip.USBCTRL_DPRAM,
            clocks.usb_clock,
            true,
            &mut chip.RESETS,
        ));
        let bus: &'static UsbBusAllocator<UsbBus> =
            singleton!(: UsbBusAllocator<UsbBus> = bus).unwrap();
        let class = CdcAcmClass::new(bus, PACKET as u16);
        let device = UsbDeviceBuilder::new(bus, UsbVidPid(0x1209, 0x0001))
            .max_packet_size_0(PACKET as u8)
            .unwrap()
            .device_class(USB_CLASS_CDC)
            .build();
        Self { device, class }
    }

    /// Serves the bus.
    pub fn poll(&mut self) {
        self.device.poll(&mut [&mut self.class]);
    }
}

#[panic_handler]
fn panic(_: &PanicInfo<'_>) -> ! {
    loop {
        cortex_m::asm::udf();
    }
}
