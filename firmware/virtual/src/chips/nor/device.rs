//! The memory chip between two edges of chip select: commands, the write-enable latch, the
//! busy time.

use super::array::{Array, PAGE, SECTOR};
use super::{NorCounts, Violation};
use crate::clock::SimClock;

/// Programming a page, in nanoseconds (typical of the class: 0.4 ms).
const PROGRAM_NANOS: u64 = 400_000;
/// Erasing a sector, in nanoseconds (typical of the class: 45 ms).
const ERASE_NANOS: u64 = 45_000_000;
/// Manufacturer and memory type.
const IDENTITY: [u8; 2] = [0xEF, 0x40];
/// What a bus shows that nobody drives.
const IDLE: u8 = 0xFF;

/// What the byte stream since chip select is about.
enum State {
    /// Before the first byte.
    Start,
    /// A command without answer, by its code; carried out when chip select rises.
    Plain(u8),
    /// The identity, by how many bytes of it were sent.
    Identity(usize),
    /// The status, again and again.
    Status,
    /// A command that takes an address, and the bytes of it so far.
    Address {
        code: u8,
        bytes: [u8; 3],
        have: usize,
    },
    /// Reading, from this address on.
    Read(usize),
    /// Programming a page: where it began, what is in the buffer by its place in the page.
    Program {
        address: usize,
        buffer: Box<[Option<u8>; PAGE]>,
        count: usize,
    },
    /// Erasing the sector of this address.
    Erase(usize),
    /// Refused; everything is ignored until chip select rises.
    Refused,
}

pub(super) struct Device {
    clock: SimClock,
    pub(super) array: Array,
    write_enabled: bool,
    busy_until: u64,
    state: State,
    pub(super) counts: NorCounts,
    pub(super) violations: Vec<Violation>,
}

impl Device {
    pub(super) fn new(clock: SimClock, cells: Vec<u8>) -> Self {
        Self {
            clock,
            array: Array::new(cells),
            write_enabled: false,
            busy_until: 0,
            state: State::Start,
            counts: NorCounts::default(),
            violations: Vec::new(),
        }
    }

    pub(super) fn restore_power(&mut self) {
        self.array.restore_power();
        self.write_enabled = false;
        self.busy_until = self.clock.nanos();
    }

    /// Chip select falls.
    pub(super) fn begin(&mut self) {
        self.state = State::Start;
    }

    /// One byte in each direction.
    pub(super) fn shift(&mut self, byte: u8) -> u8 {
        let busy = self.busy();
        match &mut self.state {
            State::Start => {
                self.state = self.first(byte, busy);
                IDLE
            }
            State::Plain(code) => {
                let code = *code;
                self.refuse(Violation::TooLong { code })
            }
            State::Identity(sent) => {
                // log2 of the bytes, which are a power of two.
                let capacity = self.array.cells().len().trailing_zeros() as u8;
                let answer = [IDENTITY[0], IDENTITY[1], capacity]
                    .get(*sent)
                    .copied()
                    .unwrap_or(IDLE);
                *sent += 1;
                answer
            }
            State::Status => u8::from(busy) | u8::from(self.write_enabled) << 1,
            State::Address { code, bytes, have } => {
                bytes[*have] = byte;
                *have += 1;
                if *have == 3 {
                    let [high, middle, low] = *bytes;
                    let address = u32::from_be_bytes([0, high, middle, low]) as usize;
                    let code = *code;
                    self.state = self.addressed(code, address);
                }
                IDLE
            }
            State::Read(address) => {
                let cells = self.array.cells();
                let value = cells[*address % cells.len()];
                *address += 1;
                if *address == cells.len() + 1 {
                    let address = *address - 1;
                    self.violations.push(Violation::OutOfRange { address });
                }
                self.counts.bytes_read += 1;
                value
            }
            State::Program {
                address,
                buffer,
                count,
            } => {
                buffer[(*address + *count) % PAGE] = Some(byte);
                *count += 1;
                IDLE
            }
            State::Erase(_) => self.refuse(Violation::TooLong { code: 0x20 }),
            State::Refused => IDLE,
        }
    }

    /// Chip select rises.
    pub(super) fn end(&mut self) {
        match core::mem::replace(&mut self.state, State::Start) {
            State::Plain(0x06) => self.write_enabled = true,
            State::Plain(_) => self.write_enabled = false,
            State::Address { code, .. } => self.violations.push(Violation::TooShort { code }),
            State::Program { count: 0, .. } => {
                self.violations.push(Violation::TooShort { code: 0x02 });
            }
            State::Program {
                address,
                buffer,
                count,
            } => self.program(address, &buffer, count),
            State::Erase(address) => {
                self.write_enabled = false;
                self.busy_until = self.clock.nanos() + ERASE_NANOS;
                if self.array.erase(address) {
                    self.counts.erases += 1;
                }
            }
            _ => {}
        }
    }

    fn busy(&self) -> bool {
        self.clock.nanos() < self.busy_until
    }

    fn first(&mut self, code: u8, busy: bool) -> State {
        if busy && code != 0x05 {
            self.violations.push(Violation::Busy { code });
            return State::Refused;
        }
        match code {
            0x05 => State::Status,
            0x9F => State::Identity(0),
            0x04 | 0x06 => State::Plain(code),
            0x02 | 0x03 | 0x20 => State::Address {
                code,
                bytes: [0; 3],
                have: 0,
            },
            _ => {
                self.violations.push(Violation::UnknownCommand { code });
                State::Refused
            }
        }
    }

    fn addressed(&mut self, code: u8, address: usize) -> State {
        if address >= self.array.cells().len() {
            self.violations.push(Violation::OutOfRange { address });
            return State::Refused;
        }
        if code == 0x03 {
            self.counts.reads += 1;
            return State::Read(address);
        }
        if !self.write_enabled {
            self.violations.push(Violation::NotEnabled { code });
            return State::Refused;
        }
        if code == 0x02 {
            return State::Program {
                address,
                buffer: Box::new([None; PAGE]),
                count: 0,
            };
        }
        if !address.is_multiple_of(SECTOR) {
            self.violations.push(Violation::InsideSector { address });
        }
        State::Erase(address)
    }

    fn program(&mut self, address: usize, buffer: &[Option<u8>; PAGE], count: usize) {
        let offset = address % PAGE;
        if offset + count > PAGE {
            self.violations
                .push(Violation::PageWrapped { address, count });
        }
        let page = address - offset;
        // In the order in which the bytes came, beginning at the address.
        let data: Vec<(usize, u8)> = (0..count.min(PAGE))
            .map(|step| (offset + step) % PAGE)
            .filter_map(|place| Some((page + place, buffer[place]?)))
            .collect();
        let finished = self.array.program(&data);
        self.write_enabled = false;
        self.busy_until = self.clock.nanos() + PROGRAM_NANOS;
        self.counts.bytes_programmed += finished as u64;
        if finished == data.len() {
            self.counts.programs += 1;
        }
    }

    fn refuse(&mut self, violation: Violation) -> u8 {
        self.violations.push(violation);
        self.state = State::Refused;
        IDLE
    }
}
