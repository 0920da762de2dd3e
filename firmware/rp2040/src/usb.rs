//! The USB serial port (CDC-ACM) as the tester's link to the host.
//!
//! The bus is served in its interrupt, so that the line is busy while the loop reads the flash,
//! takes frames or judges: the interrupt moves packets between the endpoints and two queues, the
//! loop moves bytes between the queues and the link. It has the lowest priority: the
//! converter's interrupt never waits for it, save for the few accesses that the USB crate makes
//! with interrupts off.
//!
//! The port belongs to whoever has taken it out of [`PORT`]. The loop masks the interrupt first,
//! so the interrupt always finds it there. A packet that finds no room stays in the endpoint, which holds
//! the host off; its interrupt would come again at once and is masked until the loop has read.
//!
//! The class is used packet by packet, because the queue must be dropped when a program opens
//! the port: what an earlier program did not fetch belongs to nobody. One packet of at most 64
//! bytes may already stand in the endpoint; a frame of the link carries a check word, so the
//! first reply that it spoils is asked for again.

use core::cell::Cell;

use critical_section::Mutex;
use rp2040_hal::pac::{self, interrupt};
use slotwise_firmware::board::SerialLink;
use slotwise_firmware::byte_queue::ByteQueue;
use usb_device::bus::UsbBusAllocator;
use usb_device::device::{
    StringDescriptors, UsbDevice, UsbDeviceBuilder, UsbDeviceState, UsbVidPid,
};
use usbd_serial::{CdcAcmClass, USB_CLASS_CDC};

use crate::panic::restart;
use crate::usb_bus::UsbBus;

/// Test identity of pid.codes: right for boards that are built one at a time, not for sale.
const IDENTITY: UsbVidPid = UsbVidPid(0x1209, 0x0001);

/// Bytes of a full-speed bulk packet.
const PACKET: usize = 64;

/// Bytes that wait for the endpoint: the line takes a millisecond and a half for them, longer than
/// the loop needs for the next record.
const OUT_QUEUE: usize = 2048;

/// Bytes that wait for the link.
const IN_QUEUE: usize = 256;

/// Lowest of the four priorities of the core.
const LOWEST: u8 = 0xC0;

/// The device and what waits at its endpoints.
pub(crate) struct Port {
    device: UsbDevice<'static, UsbBus>,
    class: CdcAcmClass<'static, UsbBus>,
    out: ByteQueue<OUT_QUEUE>,
    received: ByteQueue<IN_QUEUE>,
    was_open: bool,
    /// The last packet was full: the host waits for its end.
    owes_end: bool,
    /// A packet waits in the endpoint for room.
    is_held_off: bool,
    /// Something for the loop to see to.
    news: bool,
}

/// Empty while somebody is at it.
static PORT: Mutex<Cell<Option<&'static mut Port>>> = Mutex::new(Cell::new(None));

impl Port {
    fn is_open(&self) -> bool {
        self.device.state() == UsbDeviceState::Configured && self.class.dtr()
    }

    /// Moves what can be moved.
    fn serve(&mut self) {
        self.device.poll(&mut [&mut self.class]);
        let open = self.is_open();
        if open != self.was_open {
            self.was_open = open;
            self.out.clear();
            self.owes_end = false;
            self.received.clear();
            self.news = true;
        }
        self.receive();
        if open {
            self.send();
        }
    }

    /// Takes one packet: the endpoint has no more.
    fn receive(&mut self) {
        self.is_held_off = self.received.room() < PACKET;
        if self.is_held_off {
            return;
        }
        let mut packet = [0; PACKET];
        if let Ok(length) = self.class.read_packet(&mut packet)
            && length > 0
        {
            let packet = packet.get(..length).unwrap_or_default();
            self.received.push(packet);
            self.news = true;
        }
    }

    /// Hands a packet to the endpoint, if it takes one.
    fn send(&mut self) {
        if self.out.is_empty() && !self.owes_end {
            return;
        }
        let mut packet = [0; PACKET];
        let length = self.out.peek(&mut packet);
        let packet = packet.get(..length).unwrap_or_default();
        if self.class.write_packet(packet).is_ok() {
            self.out.drop_first(length);
            self.owes_end = length == PACKET;
            // The loop is called when half of it is gone, not for every packet.
            self.news |= self.out.room() >= OUT_QUEUE / 2;
        }
    }
}

#[interrupt]
fn USBCTRL_IRQ() {
    let held_off = with_port(|port| {
        port.serve();
        port.is_held_off
    });
    if held_off != Some(false) {
        pac::NVIC::mask(pac::Interrupt::USBCTRL_IRQ);
    }
}

/// Takes the port, lets `act` have it with the other interrupts on, and puts it back.
fn with_port<T>(act: impl FnOnce(&mut Port) -> T) -> Option<T> {
    let taken = critical_section::with(|section| PORT.borrow(section).take());
    let port = taken?;
    let answer = act(port);
    critical_section::with(|section| PORT.borrow(section).set(Some(port)));
    Some(answer)
}

/// The loop's end of the serial port.
pub(crate) struct UsbLink {
    /// There is no other: it is made once, and the port may be used by the loop alone.
    _one: (),
}

impl UsbLink {
    /// Shows the port to the host; it lives in `place`. `serial_number` is what the host tells
    /// testers apart by.
    pub(crate) fn new(
        bus: &'static UsbBusAllocator<UsbBus>,
        place: &'static mut Option<Port>,
        serial_number: &'static str,
    ) -> Self {
        let class = CdcAcmClass::new(bus, PACKET as u16);
        let strings = StringDescriptors::default()
            .manufacturer("Slotwise")
            .product("Slotwise")
            .serial_number(serial_number);
        let device = UsbDeviceBuilder::new(bus, IDENTITY)
            .strings(&[strings])
            .ok()
            .and_then(|builder| builder.max_packet_size_0(PACKET as u8).ok())
            .map(|builder| builder.device_class(USB_CLASS_CDC).build());
        let Some(device) = device else {
            // Never: one set of strings, and a packet size that the standard allows.
            restart()
        };
        let port = place.insert(Port {
            device,
            class,
            out: ByteQueue::new(),
            received: ByteQueue::new(),
            was_open: false,
            owes_end: false,
            is_held_off: false,
            news: false,
        });
        critical_section::with(|section| PORT.borrow(section).set(Some(port)));
        // SAFETY: only the priority of one interrupt is set, which is still masked.
        let mut nvic = unsafe { cortex_m::Peripherals::steal() }.NVIC;
        // SAFETY: no critical section here rests on priorities: they all turn every interrupt off.
        unsafe { nvic.set_priority(pac::Interrupt::USBCTRL_IRQ, LOWEST) };
        let link = Self { _one: () };
        link.with(Port::serve);
        link
    }

    /// The port for the loop: the interrupt stays away meanwhile.
    fn with<T: Default>(&self, act: impl FnOnce(&mut Port) -> T) -> T {
        pac::NVIC::mask(pac::Interrupt::USBCTRL_IRQ);
        let answer = with_port(|port| (act(port), port.is_held_off));
        let (answer, held_off) = answer.unwrap_or_default();
        if !held_off {
            // SAFETY: the port is back in its place and behind a mutex; no critical section is open
            // here that unmasking could break.
            unsafe { pac::NVIC::unmask(pac::Interrupt::USBCTRL_IRQ) };
        }
        answer
    }

    /// Whether there is something new for the link: bytes, room, or another who opened the port.
    pub(crate) fn pump(&mut self) -> bool {
        self.with(|port| core::mem::take(&mut port.news))
    }
}

impl SerialLink for UsbLink {
    fn read(&mut self, into: &mut [u8]) -> usize {
        self.with(|port| {
            let taken = port.received.take(into);
            if port.is_held_off {
                port.serve();
            }
            taken
        })
    }

    fn write(&mut self, from: &[u8]) -> usize {
        self.with(|port| {
            if !port.is_open() {
                return 0;
            }
            let taken = port.out.push(from);
            port.send();
            taken
        })
    }

    fn is_open(&self) -> bool {
        self.with(|port| port.is_open())
    }
}
