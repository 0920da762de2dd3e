//! The USB controller of the RP2040 as a device's bus for the crate `usb-device`.
//!
//! Derived from `rp2040-hal` 0.12.0, `src/usb.rs` (the rp-rs developers; MIT or Apache-2.0), with
//! its registers written in the same order, and without its panics: every register of an endpoint is
//! taken by a number below 16, every copy is of lengths that were compared, and a bus that is in
//! use already answers with an error. Isochronous endpoints, waking the host and giving the bus
//! back are left out, and the workaround for the first two revisions of the chip, as before.
//!
//! RP2040 data sheet: 4.1.2.5 buffers (64 bytes each, control at 100, the others from 180 on),
//! 4.1.2.5.1 "available" at least one period of the 48 MHz clock after the rest: 12 cycles are more
//! at any clock of the core, 4.1.2.7 packets alternate between DATA0 and DATA1.
//!
//! Control packets have 64 bytes here. With fewer than 18 Windows ends the first request in a way
//! that leaves a packet behind; `poll` takes it away when the next request comes.

use core::cell::RefCell;
use core::slice;

use critical_section::Mutex;
use rp2040_hal::clocks::UsbClock;
use rp2040_hal::pac::usbctrl_dpram::EP_BUFFER_CONTROL;
use rp2040_hal::pac::usbctrl_dpram::ep_control::ENDPOINT_TYPE_A;
use rp2040_hal::pac::{RESETS, USBCTRL_DPRAM, USBCTRL_REGS};
use usb_device::bus::{self, PollResult};
use usb_device::endpoint::{EndpointAddress, EndpointType};
use usb_device::{Result, UsbDirection, UsbError};

/// Endpoints of each direction.
const ENDPOINTS: usize = 16;

/// Bytes of a buffer, and most bytes of a packet.
const BUFFER: u16 = 64;

/// Where the buffers begin that are not of the control endpoint.
const BUFFERS: u16 = 0x180;
const CONTROL_BUFFER: u16 = 0x100;
const MEMORY: u16 = 4096;

/// An endpoint in use.
#[derive(Clone, Copy, Debug)]
struct Endpoint {
    kind: EndpointType,
    max_packet: u16,
    /// Where its buffer begins: a multiple of [`BUFFER`] below [`MEMORY`].
    buffer: u16,
}

/// The controller.
struct Controller {
    registers: USBCTRL_REGS,
    memory: USBCTRL_DPRAM,
    inward: [Option<Endpoint>; ENDPOINTS],
    outward: [Option<Endpoint>; ENDPOINTS],
    next_buffer: u16,
    /// A request of the control endpoint waits to be read.
    has_setup: bool,
    _clock: UsbClock,
}

/// Number of an endpoint, below 16 as everything of it.
fn number(address: EndpointAddress) -> usize {
    address.index() % ENDPOINTS
}

impl Controller {
    /// The buffer of `endpoint`.
    fn buffer(&self, endpoint: Endpoint) -> (*mut u8, usize) {
        let base = USBCTRL_DPRAM::ptr().cast_mut().cast::<u8>();
        let at = usize::from(endpoint.buffer % MEMORY);
        (base.wrapping_add(at), usize::from(endpoint.max_packet))
    }

    fn control(&self, number: usize, is_in: bool) -> &EP_BUFFER_CONTROL {
        let index = number % ENDPOINTS * 2 + usize::from(!is_in);
        self.memory.ep_buffer_control(index)
    }

    fn allocate(
        &mut self,
        address: Option<EndpointAddress>,
        direction: UsbDirection,
        kind: EndpointType,
        max_packet: u16,
    ) -> Result<EndpointAddress> {
        let is_control = kind == EndpointType::Control;
        let endpoints = match direction {
            UsbDirection::In => &mut self.inward,
            UsbDirection::Out => &mut self.outward,
        };
        let address = match address {
            Some(address) => address,
            None => {
                let first = usize::from(!is_control);
                let mut free = endpoints.iter().enumerate().skip(first);
                let (index, _) = free
                    .find(|(_, endpoint)| endpoint.is_none())
                    .ok_or(UsbError::EndpointOverflow)?;
                EndpointAddress::from_parts(index, direction)
            }
        };
        let place = endpoints
            .get_mut(address.index())
            .ok_or(UsbError::EndpointOverflow)?;
        if place.is_some() {
            return Err(UsbError::InvalidEndpoint);
        }
        let is_isochronous = matches!(kind, EndpointType::Isochronous { .. });
        if (address.index() == 0) != is_control || is_isochronous || max_packet > BUFFER {
            return Err(UsbError::Unsupported);
        }
        let buffer = if is_control {
            CONTROL_BUFFER
        } else {
            let buffer = self.next_buffer;
            if buffer + BUFFER > MEMORY {
                return Err(UsbError::EndpointMemoryOverflow);
            }
            self.next_buffer += BUFFER;
            buffer
        };
        *place = Some(Endpoint {
            kind,
            max_packet,
            buffer,
        });
        Ok(address)
    }

    fn reset_endpoints(&self) {
        let registers = &self.registers;
        registers
            .sie_ctrl()
            .modify(|_, w| w.ep0_int_1buf().set_bit());
        // The control endpoint receives on DATA first.
        let [inward, outward] = [true, false].map(|is_in| self.control(0, is_in));
        inward.write(|w| w.pid_0().set_bit());
        outward.write(|w| w.pid_0().set_bit());
        cortex_m::asm::delay(12);
        outward.write(|w| w.available_0().set_bit());

        let pairs = self.inward.iter().zip(&self.outward).enumerate().skip(1);
        for (number, (inward, outward)) in pairs {
            for (is_in, endpoint) in [(true, inward), (false, outward)] {
                if let Some(endpoint) = endpoint {
                    self.reset_endpoint(number, is_in, endpoint);
                }
            }
        }
    }

    fn reset_endpoint(&self, number: usize, is_in: bool, endpoint: &Endpoint) {
        let kind = match endpoint.kind {
            EndpointType::Bulk => ENDPOINT_TYPE_A::BULK,
            EndpointType::Isochronous { .. } => ENDPOINT_TYPE_A::ISOCHRONOUS,
            EndpointType::Control => ENDPOINT_TYPE_A::CONTROL,
            EndpointType::Interrupt => ENDPOINT_TYPE_A::INTERRUPT,
        };
        // Endpoint 0 has no such register: these begin with 1.
        let index = (number % ENDPOINTS * 2 + usize::from(!is_in)).saturating_sub(2);
        // SAFETY: the address is that of a buffer within the memory.
        self.memory.ep_control(index).modify(|_, w| unsafe {
            w.endpoint_type().variant(kind);
            w.interrupt_per_buff().set_bit();
            w.enable().set_bit();
            w.buffer_address().bits(endpoint.buffer)
        });
        let control = self.control(number, is_in);
        if is_in {
            // The first packet is DATA0, and this bit is turned before it goes.
            control.write(|w| w.pid_0().set_bit());
        } else {
            // SAFETY: a length of at most 64 fits the field.
            control.write(|w| unsafe {
                w.pid_0().clear_bit();
                w.length_0().bits(endpoint.max_packet)
            });
            cortex_m::asm::delay(12);
            control.modify(|_, w| w.available_0().set_bit());
        }
    }

    fn write(&self, address: EndpointAddress, bytes: &[u8]) -> Result<usize> {
        let number = number(address);
        let endpoint = self.inward.get(number).copied().flatten();
        let endpoint = endpoint.ok_or(UsbError::InvalidEndpoint)?;
        let control = self.control(number, true);
        if control.read().available_0().bit_is_set() {
            return Err(UsbError::WouldBlock);
        }
        let (base, room) = self.buffer(endpoint);
        // SAFETY: the buffer is this endpoint's alone, and the controller leaves it alone while it
        // is not "available".
        let buffer = unsafe { slice::from_raw_parts_mut(base, room) };
        buffer
            .get_mut(..bytes.len())
            .ok_or(UsbError::BufferOverflow)?
            .copy_from_slice(bytes);
        // SAFETY: a length of at most 64 fits the field.
        control.modify(|r, w| unsafe {
            w.length_0().bits(bytes.len() as u16);
            w.full_0().set_bit();
            w.pid_0().bit(!r.pid_0().bit())
        });
        cortex_m::asm::delay(12);
        control.modify(|_, w| w.available_0().set_bit());
        Ok(bytes.len())
    }

    fn read(&mut self, address: EndpointAddress, into: &mut [u8]) -> Result<usize> {
        let number = number(address);
        let endpoint = self.outward.get(number).copied().flatten();
        let endpoint = endpoint.ok_or(UsbError::InvalidEndpoint)?;
        if number == 0 && self.has_setup {
            return self.read_setup(endpoint, into);
        }
        let control = self.control(number, false);
        let state = control.read();
        if state.full_0().bit_is_clear() {
            return Err(UsbError::WouldBlock);
        }
        let length = usize::from(state.length_0().bits());
        let (base, room) = self.buffer(endpoint);
        // SAFETY: as in `write`: a full buffer is not written to.
        let buffer = unsafe { slice::from_raw_parts(base, room) };
        let packet = buffer.get(..length).ok_or(UsbError::BufferOverflow)?;
        into.get_mut(..length)
            .ok_or(UsbError::BufferOverflow)?
            .copy_from_slice(packet);
        // SAFETY: every bit of this register may be written: it clears the buffer's flag.
        self.registers
            .buff_status()
            .write(|w| unsafe { w.bits(1 << (number * 2 + 1)) });
        // SAFETY: a length of at most 64 fits the field.
        control.modify(|r, w| unsafe {
            w.length_0().bits(endpoint.max_packet);
            w.full_0().clear_bit();
            w.pid_0().bit(!r.pid_0().bit())
        });
        // The control endpoint has more to come only after a full packet.
        if number != 0 || length == usize::from(endpoint.max_packet) {
            cortex_m::asm::delay(12);
            control.modify(|_, w| w.available_0().set_bit());
        }
        Ok(length)
    }

    /// Reads a request: 8 bytes at the start of the controller's memory.
    fn read_setup(&mut self, endpoint: Endpoint, into: &mut [u8]) -> Result<usize> {
        let [low, high] = [
            self.memory.setup_packet_low().read().bits().to_le_bytes(),
            self.memory.setup_packet_high().read().bits().to_le_bytes(),
        ];
        let into = into.first_chunk_mut().ok_or(UsbError::BufferOverflow)?;
        let [kind, b1, b2, b3] = low;
        let [b4, b5, l0, l1] = high;
        *into = [kind, b1, b2, b3, b4, b5, l0, l1];
        // The next packet is DATA1: this bit is turned before it goes.
        self.control(0, true).modify(|_, w| w.pid_0().clear_bit());
        let registers = &self.registers;
        registers
            .sie_status()
            .write(|w| w.setup_rec().clear_bit_by_one());
        // An empty packet that nobody read: its flag goes, too.
        // SAFETY: every bit of this register may be written.
        registers.buff_status().write(|w| unsafe { w.bits(2) });
        let is_inward = kind & 0x80 != 0;
        let expects_more = is_inward || (l0, l1) != (0, 0);
        let control = self.control(0, false);
        // SAFETY: a length of at most 64 fits the field.
        control.modify(|_, w| unsafe {
            w.length_0().bits(endpoint.max_packet);
            w.full_0().clear_bit();
            w.pid_0().set_bit()
        });
        cortex_m::asm::delay(12);
        control.modify(|_, w| w.available_0().bit(expects_more));
        self.has_setup = false;
        Ok(8)
    }

    fn poll(&mut self) -> PollResult {
        let registers = &self.registers;
        let events = registers.ints().read();
        let buffers = registers.buff_status().read().bits();
        if events.bus_reset().bit_is_set() {
            return PollResult::Reset;
        }
        if buffers == 0 && events.setup_req().bit_is_clear() {
            if events.dev_suspend().bit_is_set() {
                registers
                    .sie_status()
                    .write(|w| w.suspended().clear_bit_by_one());
                return PollResult::Suspend;
            }
            if events.dev_resume_from_host().bit_is_set() {
                registers
                    .sie_status()
                    .write(|w| w.resume().clear_bit_by_one());
                return PollResult::Resume;
            }
            return PollResult::None;
        }
        // What was sent is told once: the even bits.
        // SAFETY: every bit of this register may be written.
        registers
            .buff_status()
            .write(|w| unsafe { w.bits(0x5555_5555) });
        let (mut sent, mut received) = (0, 0);
        for number in 0..ENDPOINTS as u16 {
            let pair = buffers >> (2 * number);
            sent |= ((pair & 1) as u16) << number;
            received |= ((pair >> 1 & 1) as u16) << number;
        }
        let has_setup = events.setup_req().bit_is_set();
        if has_setup {
            // A packet of the request before this one that still waits is of no use any more.
            self.control(0, true)
                .modify(|_, w| w.available_0().clear_bit());
            self.has_setup = true;
        }
        PollResult::Data {
            ep_out: received,
            ep_in_complete: sent,
            ep_setup: u16::from(has_setup),
        }
    }
}

/// The bus.
pub(crate) struct UsbBus(Mutex<RefCell<Controller>>);

impl UsbBus {
    /// Makes the controller a device's; the host does not see it yet. The board has no wire that
    /// tells whether there is a host's supply, so there is taken to be one.
    pub(crate) fn new(
        registers: USBCTRL_REGS,
        memory: USBCTRL_DPRAM,
        clock: UsbClock,
        resets: &mut RESETS,
    ) -> Self {
        resets.reset().modify(|_, w| w.usbctrl().set_bit());
        resets.reset().modify(|_, w| w.usbctrl().clear_bit());
        while resets.reset_done().read().usbctrl().bit_is_clear() {}
        // SAFETY: the registers up to the last one (98) and the memory up to the last control word of a
        // buffer (FC); the controller is off and both are ours.
        unsafe {
            let words = USBCTRL_REGS::ptr().cast_mut().cast::<u32>();
            slice::from_raw_parts_mut(words, 1 + 0x98 / 4).fill(0);
            let words = USBCTRL_DPRAM::ptr().cast_mut().cast::<u32>();
            slice::from_raw_parts_mut(words, 1 + 0xFC / 4).fill(0);
        }
        registers
            .usb_muxing()
            .modify(|_, w| w.to_phy().set_bit().softcon().set_bit());
        registers.usb_pwr().modify(|_, w| {
            w.vbus_detect()
                .set_bit()
                .vbus_detect_override_en()
                .set_bit()
        });
        registers.main_ctrl().modify(|_, w| {
            w.sim_timing().clear_bit();
            w.host_ndevice().clear_bit();
            w.controller_en().set_bit()
        });
        Self(Mutex::new(RefCell::new(Controller {
            registers,
            memory,
            inward: [None; ENDPOINTS],
            outward: [None; ENDPOINTS],
            next_buffer: BUFFERS,
            has_setup: false,
            _clock: clock,
        })))
    }

    /// The controller with interrupts off; `None` if it is in use already, which it never is: nothing in
    /// here calls the bus.
    fn with<T>(&self, act: impl FnOnce(&mut Controller) -> T) -> Option<T> {
        critical_section::with(|section| {
            let mut controller = self.0.borrow(section).try_borrow_mut().ok()?;
            Some(act(&mut controller))
        })
    }
}

impl bus::UsbBus for UsbBus {
    fn alloc_ep(
        &mut self,
        direction: UsbDirection,
        address: Option<EndpointAddress>,
        kind: EndpointType,
        max_packet: u16,
        _interval: u8,
    ) -> Result<EndpointAddress> {
        self.with(|controller| controller.allocate(address, direction, kind, max_packet))
            .unwrap_or(Err(UsbError::InvalidState))
    }

    fn enable(&mut self) {
        self.with(|controller| {
            let registers = &controller.registers;
            registers.inte().modify(|_, w| {
                w.buff_status().set_bit();
                w.bus_reset().set_bit();
                w.dev_resume_from_host().set_bit();
                w.dev_suspend().set_bit();
                w.setup_req().set_bit()
            });
            // The pull-up tells the host that somebody is there.
            registers.sie_ctrl().modify(|_, w| w.pullup_en().set_bit());
        });
    }

    fn reset(&self) {
        self.with(|controller| {
            let registers = &controller.registers;
            registers
                .sie_status()
                .write(|w| w.bus_reset().clear_bit_by_one());
            // SAFETY: every bit of this register may be written.
            registers
                .buff_status()
                .write(|w| unsafe { w.bits(0xFFFF_FFFF) });
            controller.reset_endpoints();
            controller.registers.addr_endp().reset();
        });
    }

    fn set_device_address(&self, address: u8) {
        self.with(|controller| {
            // SAFETY: seven bits are the field.
            controller
                .registers
                .addr_endp()
                .modify(|_, w| unsafe { w.address().bits(address & 0x7F) });
            for is_in in [true, false] {
                let control = controller.control(0, is_in);
                control.modify(|_, w| w.pid_0().set_bit());
            }
        });
    }

    fn write(&self, address: EndpointAddress, bytes: &[u8]) -> Result<usize> {
        self.with(|controller| controller.write(address, bytes))
            .unwrap_or(Err(UsbError::InvalidState))
    }

    fn read(&self, address: EndpointAddress, into: &mut [u8]) -> Result<usize> {
        self.with(|controller| controller.read(address, into))
            .unwrap_or(Err(UsbError::InvalidState))
    }

    fn set_stalled(&self, address: EndpointAddress, stalled: bool) {
        self.with(|controller| {
            if number(address) == 0 {
                controller.registers.ep_stall_arm().modify(|_, w| {
                    if address.is_in() {
                        w.ep0_in().bit(stalled)
                    } else {
                        w.ep0_out().bit(stalled)
                    }
                });
            }
            let control = controller.control(number(address), address.is_in());
            control.modify(|_, w| w.stall().bit(stalled));
        });
    }

    fn is_stalled(&self, address: EndpointAddress) -> bool {
        self.with(|controller| {
            let control = controller.control(number(address), address.is_in());
            control.read().stall().bit_is_set()
        })
        .unwrap_or(true)
    }

    fn suspend(&self) {}

    fn resume(&self) {}

    fn poll(&self) -> PollResult {
        self.with(Controller::poll).unwrap_or(PollResult::None)
    }
}
