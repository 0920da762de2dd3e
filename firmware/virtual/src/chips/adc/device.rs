//! The converter between two edges of chip select: what it answers, what it does.
//!
//! A frame is words of 24 bits, command and answer at their top. The answer in a frame is to
//! the command of the frame before. A frame is: answer, four channels, check word; after a
//! read of several registers it is: acknowledgement, registers, check word, with no channels.

use super::Misuse;
use super::conversions::{AdcCounts, Faults, Next, Store};
use super::registers::{CRC_TYPE, RESET, RX_CRC_EN, Registers, address};
use crate::clock::SimClock;
use crate::front_end::FrameSource;
use crate::tester::CODES_PER_VOLT;
use crc::{CRC_16_CMS, CRC_16_IBM_3740, Crc};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;
use slotwise_core::sample::AdcCode;
use slotwise_core::slots::{LEADS, Lead};

/// Bytes of a word.
const WORD: usize = 3;
/// Bytes of an ordinary frame: answer, four channels, check word.
pub(super) const FRAME: usize = WORD * (2 + LEADS);
/// Nanoseconds after a reset in which the registers are not ready (tREGACQ, 5 us).
const REGISTERS_ACQUIRED: u64 = 5_000;
/// Noise of the fast filter that makes the first two conversions, volts RMS (8.3.7.1).
const FAST_FILTER_NOISE: f64 = 1.5e-3;
/// STATUS bit 15.
const LOCKED: u16 = 1 << 15;
/// STATUS bit 12.
const CRC_ERROR: u16 = 1 << 12;
/// Answer to a reset that happened: FF20h and the number of channels.
const READY: u16 = 0xFF24;

static CCITT: Crc<u16> = Crc::<u16>::new(&CRC_16_IBM_3740);
/// Polynomial 8005h from the seed FFFFh, not reflected.
static ANSI: Crc<u16> = Crc::<u16>::new(&CRC_16_CMS);

/// What the next frame answers.
enum Answer {
    /// STATUS.
    Status,
    /// One word.
    Word(u16),
    /// Several registers from this one on.
    Registers { first: u8, count: u8 },
}

pub(super) struct Device {
    clock: SimClock,
    source: Box<dyn FrameSource>,
    registers: Registers,
    store: Store,
    answer: Answer,
    locked: bool,
    /// The conversion at which it was put into standby.
    standby: Option<u64>,
    crc_error: bool,
    ready_at: u64,
    last: [AdcCode; LEADS],
    fast_filter: ChaCha8Rng,
    disquiet: ChaCha8Rng,
    /// The frame that is on the bus: what goes out, what came in, which conversion it is.
    outgoing: Vec<u8>,
    incoming: Vec<u8>,
    carried: Option<Next>,
    pub(super) faults: Faults,
    pub(super) counts: AdcCounts,
    pub(super) misuse: Vec<Misuse>,
}

impl Device {
    pub(super) fn new(clock: SimClock, source: Box<dyn FrameSource>) -> Self {
        let newest = clock.frame();
        Self {
            ready_at: clock.nanos(),
            clock,
            source,
            registers: Registers::defaults(),
            store: Store::new(newest),
            answer: Answer::Word(READY),
            locked: false,
            standby: None,
            crc_error: false,
            last: [AdcCode::default(); LEADS],
            fast_filter: ChaCha8Rng::seed_from_u64(0xADC),
            disquiet: ChaCha8Rng::seed_from_u64(0xADC + 1),
            outgoing: Vec::with_capacity(FRAME),
            incoming: Vec::with_capacity(FRAME),
            carried: None,
            faults: Faults::default(),
            counts: AdcCounts::default(),
            misuse: Vec::new(),
        }
    }

    pub(super) fn set_source(&mut self, source: Box<dyn FrameSource>) {
        self.source = source;
    }

    /// A register changes by itself.
    pub(super) fn disturb(&mut self, register: u8, value: u16) {
        self.registers.set(register, value);
    }

    /// Whether a conversion waits to be read: the data-ready pin is low.
    pub(super) fn data_ready(&mut self) -> bool {
        self.restart_if_asked();
        self.store
            .next(self.newest(), &self.faults.dropped)
            .is_some()
    }

    /// The reset pin, or the RESET command.
    pub(super) fn reset(&mut self) {
        self.registers = Registers::defaults();
        self.store = Store::new(self.clock.frame());
        self.answer = Answer::Word(READY);
        self.locked = false;
        self.standby = None;
        self.crc_error = false;
        self.ready_at = self.clock.nanos() + REGISTERS_ACQUIRED;
        self.counts.resets += 1;
    }

    /// Chip select falls.
    pub(super) fn begin(&mut self) {
        self.restart_if_asked();
        self.incoming.clear();
        if self.clock.nanos() < self.ready_at {
            self.misuse.push(Misuse::TooSoonAfterReset);
        }
        let next = self.store.next(self.newest(), &self.faults.dropped);
        let status = self.status(next.is_some());
        let mut words = Vec::with_capacity(FRAME / WORD);
        self.carried = None;
        match core::mem::replace(&mut self.answer, Answer::Status) {
            Answer::Registers { first, count } => {
                // 111a aaaa annn nnnn
                words.push(0xE000 | u16::from(first) << 7 | u16::from(count - 1));
                words.extend((0..count).map(|step| self.register(first + step, status)));
            }
            Answer::Status => words.push(status),
            Answer::Word(word) => words.push(word),
        }
        let with_channels = words.len() == 1;
        self.outgoing = words
            .iter()
            .flat_map(|word| [word.to_be_bytes()[0], word.to_be_bytes()[1], 0])
            .collect();
        if with_channels {
            if let Some(next) = next {
                self.last = self.convert(next);
            }
            self.carried = next;
            for code in self.last {
                self.outgoing.extend(code.to_be_bytes());
            }
        }
        let [high, low] = self.checksum(&self.outgoing).to_be_bytes();
        self.outgoing.extend([high, low, 0]);
        if let Some(next) = self.carried
            && self.faults.corrupted.contains(&next.number)
        {
            // One bit of the wide channel's middle byte.
            self.outgoing[2 * WORD + 1] ^= 0x10;
        }
    }

    /// One byte in each direction.
    pub(super) fn shift(&mut self, byte: u8) -> u8 {
        let answer = self.outgoing.get(self.incoming.len()).copied();
        self.incoming.push(byte);
        answer.unwrap_or(0)
    }

    /// Chip select rises.
    pub(super) fn end(&mut self) {
        let incoming = core::mem::take(&mut self.incoming);
        if !incoming.len().is_multiple_of(WORD) || incoming.is_empty() {
            self.misuse.push(Misuse::NotWholeWords(incoming.len()));
        }
        if incoming.len() >= WORD {
            self.command(&incoming);
        }
        if incoming.len() >= FRAME - WORD {
            match self.carried {
                Some(next) if self.store.is_current(next.number) => {
                    self.store.read(next);
                    self.counts.delivered += 1;
                    self.counts.overwritten += next.overwritten;
                }
                Some(_) => {}
                None => self.counts.repeated += 1,
            }
        }
        self.incoming = incoming;
    }

    /// Whether the frame that now begins was made to fail on the bus.
    pub(super) fn bus_error(&mut self) -> bool {
        let newest = self.newest();
        self.faults.bus_errors.remove(&newest)
    }

    fn command(&mut self, incoming: &[u8]) {
        let word = |index: usize| {
            let at = index * WORD;
            Some(u16::from_be_bytes([
                *incoming.get(at)?,
                *incoming.get(at + 1)?,
            ]))
        };
        let command = word(0).unwrap_or(0);
        let count = (command & 0x7F) as usize + 1;
        let is_write = command & 0xE000 == 0x6000;
        self.crc_error = false;
        if self.registers.get(address::MODE) & RX_CRC_EN != 0 {
            let checked = if is_write { 1 + count } else { 1 };
            let expected = incoming
                .get(..checked * WORD)
                .map(|bytes| self.checksum(bytes));
            if expected.is_none() || word(checked) != expected {
                self.crc_error = true;
                // A write of registers executes even when its check is wrong (8.3.12).
                if !is_write {
                    return;
                }
            }
        }
        let first = (command >> 7 & 0x3F) as u8;
        match command {
            0x0655 => {
                self.locked = false;
                self.answer = Answer::Word(command);
            }
            0x0000 => {}
            _ if command & 0xE000 == 0xA000 && count == 1 => {
                let new_data = self.data_ready();
                let status = self.status(new_data);
                self.answer = Answer::Word(self.register(first, status));
            }
            _ if command & 0xE000 == 0xA000 => {
                let count = (count as u8).min(64 - first);
                self.answer = Answer::Registers { first, count };
            }
            _ if self.locked => self.misuse.push(Misuse::Locked(command)),
            _ if is_write => self.write_registers(first, &mut (1..=count).map_while(word)),
            0x0011 if incoming.len() >= FRAME => self.reset(),
            // Only a whole frame resets; the answer is then the command itself.
            0x0011 => self.answer = Answer::Word(command),
            0x0022 => {
                self.standby = self.standby.or(Some(self.clock.frame()));
                self.answer = Answer::Word(command);
            }
            0x0033 => {
                if self.standby.take().is_some() {
                    self.store = Store::new(self.clock.frame());
                }
                self.answer = Answer::Word(command);
            }
            0x0555 => {
                self.locked = true;
                self.answer = Answer::Word(command);
            }
            _ => self.misuse.push(Misuse::UnknownCommand(command)),
        }
    }

    fn write_registers(&mut self, first: u8, values: &mut dyn Iterator<Item = u16>) {
        let mut written: u16 = 0;
        for (address, value) in (first..64).zip(values) {
            if !self.registers.set(address, value) {
                self.misuse.push(Misuse::NotModelled { address, value });
            }
            written += 1;
        }
        if written == 0 {
            self.misuse.push(Misuse::WriteWithoutData(first));
            return;
        }
        // 010a aaaa ammm mmmm
        self.answer = Answer::Word(0x4000 | u16::from(first) << 7 | (written - 1));
    }

    fn register(&self, address: u8, status: u16) -> u16 {
        if address == address::STATUS {
            status
        } else {
            self.registers.get(address)
        }
    }

    fn status(&self, new_data: bool) -> u16 {
        let mode = self.registers.get(address::MODE);
        let enabled = (0..LEADS).filter(|&channel| self.registers.enabled(channel));
        let ready: u16 = enabled.map(|channel| 1 << channel).sum();
        (mode & (RESET | CRC_TYPE)) // the same places in both registers
            | 0b01 << 8
            | if self.locked { LOCKED } else { 0 }
            | if self.crc_error { CRC_ERROR } else { 0 }
            | if new_data { ready } else { 0 }
    }

    fn convert(&mut self, next: Next) -> [AdcCode; LEADS] {
        let frame = self.source.frame(next.number);
        let fast = next.since_reset <= 2;
        Lead::ALL.map(|lead| {
            let channel = lead.channel();
            if let Some(stuck) = self.faults.stuck[channel] {
                return stuck;
            }
            if !self.registers.enabled(channel) {
                return AdcCode::default();
            }
            let input = self.registers.test_input(channel);
            let mut code = match input {
                None => frame.code(lead),
                Some(input) => self.source.test_code(lead, input, next.number),
            };
            if fast {
                let normal: f64 = self.fast_filter.sample(StandardNormal);
                let noise = (normal * FAST_FILTER_NOISE * CODES_PER_VOLT).round();
                code = AdcCode::saturating(code.get().saturating_add(noise as i32));
            }
            let noisy = self.faults.noisy[channel];
            if noisy > 0.0 {
                let normal: f64 = self.disquiet.sample(StandardNormal);
                let noise = (normal * noisy * CODES_PER_VOLT).round();
                code = AdcCode::saturating(code.get().saturating_add(noise as i32));
            }
            // The test voltage scales with the gain, so its code does not.
            let code = self.registers.apply(channel, code, input.is_none());
            AdcCode::saturating(code.get().saturating_add(self.faults.skewed[channel]))
        })
    }

    fn checksum(&self, bytes: &[u8]) -> u16 {
        if self.registers.get(address::MODE) & CRC_TYPE == 0 {
            CCITT.checksum(bytes)
        } else {
            ANSI.checksum(bytes)
        }
    }

    fn newest(&self) -> u64 {
        self.standby.unwrap_or_else(|| self.clock.frame())
    }

    /// Carries out a spontaneous reset whose time has come.
    fn restart_if_asked(&mut self) {
        let now = self.clock.frame();
        let later = self.faults.restarts.split_off(&(now + 1));
        let due = core::mem::replace(&mut self.faults.restarts, later);
        if !due.is_empty() {
            self.reset();
            self.ready_at = self.clock.nanos();
            self.answer = Answer::Status;
        }
    }
}
