//! The USB serial port (CDC-ACM) as the tester's link to the host.
//!
//! A queue stands before the endpoint, and the class is used packet by packet, because the
//! queue must be dropped when a program opens the port: what an earlier program did not fetch
//! belongs to nobody. One packet of at most 64 bytes may already stand in the endpoint; a
//! frame of the link carries a check word, so the first reply that it spoils is asked for
//! again.

use defmt::unwrap;
use heapless::Deque;
use rp2040_hal::usb::UsbBus;
use slotwise_firmware::board::SerialLink;
use usb_device::bus::UsbBusAllocator;
use usb_device::device::{
    StringDescriptors, UsbDevice, UsbDeviceBuilder, UsbDeviceState, UsbVidPid,
};
use usbd_serial::{CdcAcmClass, USB_CLASS_CDC};

/// Test identity of pid.codes: right for boards that are built one at a time, not for sale.
const IDENTITY: UsbVidPid = UsbVidPid(0x1209, 0x0001);

/// Bytes of a full-speed bulk packet.
const PACKET: usize = 64;

/// Bytes that wait for the endpoint: a few packets, so that one round of the loop keeps the
/// line busy for a millisecond.
const OUT_QUEUE: usize = 512;

/// The serial port.
pub(crate) struct UsbLink {
    device: UsbDevice<'static, UsbBus>,
    class: CdcAcmClass<'static, UsbBus>,
    out: Deque<u8, OUT_QUEUE>,
    received: [u8; PACKET],
    received_from: usize,
    received_to: usize,
    was_open: bool,
    /// The last packet was full: the host waits for its end.
    owes_end: bool,
}

impl UsbLink {
    /// Shows the port to the host. `serial_number` is what the host tells testers apart by.
    pub(crate) fn new(bus: UsbBusAllocator<UsbBus>, serial_number: &'static str) -> Self {
        let bus: &'static UsbBusAllocator<UsbBus> =
            unwrap!(cortex_m::singleton!(: UsbBusAllocator<UsbBus> = bus));
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
        Self {
            device: unwrap!(device),
            class,
            out: Deque::new(),
            received: [0; PACKET],
            received_from: 0,
            received_to: 0,
            was_open: false,
            owes_end: false,
        }
    }

    /// Serves the bus. Call it in every round of the loop. True if there was anything to do.
    pub(crate) fn pump(&mut self) -> bool {
        let active = self.device.poll(&mut [&mut self.class]);
        let open = self.is_open();
        if open && !self.was_open {
            self.out.clear();
            self.owes_end = false;
            self.received_from = 0;
            self.received_to = 0;
        }
        self.was_open = open;
        if open {
            self.send();
        }
        active
    }

    /// Hands as much to the endpoint as it takes: one packet until the host has fetched it.
    fn send(&mut self) {
        let mut packet = [0; PACKET];
        let mut length = 0;
        for (place, &byte) in packet.iter_mut().zip(self.out.iter()) {
            *place = byte;
            length += 1;
        }
        if length == 0 && !self.owes_end {
            return;
        }
        if self
            .class
            .write_packet(packet.get(..length).unwrap_or_default())
            .is_ok()
        {
            for _ in 0..length {
                self.out.pop_front();
            }
            self.owes_end = length == PACKET;
        }
    }
}

impl SerialLink for UsbLink {
    fn read(&mut self, into: &mut [u8]) -> usize {
        if self.received_from == self.received_to {
            self.received_from = 0;
            self.received_to = self.class.read_packet(&mut self.received).unwrap_or(0);
        }
        let waiting = self
            .received
            .get(self.received_from..self.received_to)
            .unwrap_or_default();
        let taken = waiting.len().min(into.len());
        for (place, &byte) in into.iter_mut().zip(waiting) {
            *place = byte;
        }
        self.received_from += taken;
        taken
    }

    fn write(&mut self, from: &[u8]) -> usize {
        if !self.is_open() {
            return 0;
        }
        let taken = from
            .iter()
            .take_while(|&&byte| self.out.push_back(byte).is_ok())
            .count();
        self.send();
        taken
    }

    fn is_open(&self) -> bool {
        self.device.state() == UsbDeviceState::Configured && self.class.dtr()
    }
}
