//! The display at the level of its commands: an SSD1306 with 128 by 64 points (data sheet rev. 1.1,
//! command table, from memory).
//!
//! A transfer begins with a control byte: commands follow, or data for its memory. What a driver
//! must not send is kept in a list. The picture is what a person sees: nothing while it is off or
//! has no charge pump, turned where rows or columns are scanned the other way.

use super::Part;

pub(super) const ADDRESS: u8 = 0x3C;
/// Columns.
pub const WIDTH: usize = 128;
/// Rows.
pub const HEIGHT: usize = 64;
const PAGES: usize = HEIGHT / 8;
const BYTES: usize = WIDTH * PAGES;

/// What a person sees, row by row; `true` is lit.
pub type Picture = [[bool; WIDTH]; HEIGHT];

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Follows {
    /// The control byte.
    Control,
    Commands,
    Data,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Addressing {
    Horizontal,
    Vertical,
    Page,
}

/// A display.
#[derive(Clone, Debug)]
pub struct VirtualDisplay {
    memory: [u8; BYTES],
    is_on: bool,
    is_inverted: bool,
    all_lit: bool,
    has_pump: bool,
    columns_turned: bool,
    rows_turned: bool,
    multiplex: u8,
    addressing: Addressing,
    columns: [usize; 2],
    pages: [usize; 2],
    column: usize,
    page: usize,
    follows: Follows,
    /// A command and its arguments so far.
    command: Vec<u8>,
    refused: Vec<Vec<u8>>,
    data_bytes: u64,
}

impl Default for VirtualDisplay {
    fn default() -> Self {
        Self::new()
    }
}

impl VirtualDisplay {
    /// A display that was just powered: dark, its memory full of anything.
    #[must_use]
    pub fn new() -> Self {
        let mut memory = [0; BYTES];
        for (index, byte) in memory.iter_mut().enumerate() {
            *byte = (index * 37 % 251) as u8;
        }
        Self {
            memory,
            is_on: false,
            is_inverted: false,
            all_lit: false,
            has_pump: false,
            columns_turned: false,
            rows_turned: false,
            multiplex: 63,
            addressing: Addressing::Page,
            columns: [0, WIDTH - 1],
            pages: [0, PAGES - 1],
            column: 0,
            page: 0,
            follows: Follows::Control,
            command: Vec::new(),
            refused: Vec::new(),
            data_bytes: 0,
        }
    }

    /// Whether it is lit.
    #[must_use]
    pub const fn is_on(&self) -> bool {
        self.is_on && self.has_pump
    }

    /// Commands that it does not have, or that came without their arguments.
    #[must_use]
    pub fn refused(&self) -> &[Vec<u8>] {
        &self.refused
    }

    /// Bytes written into its memory.
    #[must_use]
    pub const fn data_bytes(&self) -> u64 {
        self.data_bytes
    }

    /// Its memory: byte `128 * page + column`, top point in bit 0.
    #[must_use]
    pub const fn memory(&self) -> &[u8; BYTES] {
        &self.memory
    }

    /// What a person sees.
    #[must_use]
    pub fn picture(&self) -> Picture {
        let mut picture = [[false; WIDTH]; HEIGHT];
        if !self.is_on() {
            return picture;
        }
        for (row, points) in picture.iter_mut().enumerate() {
            for (column, point) in points.iter_mut().enumerate() {
                // The module is mounted so that both scans turned give an upright picture.
                let column = if self.columns_turned {
                    column
                } else {
                    WIDTH - 1 - column
                };
                let row = if self.rows_turned {
                    row
                } else {
                    HEIGHT - 1 - row
                };
                let is_driven = row <= usize::from(self.multiplex);
                let lit = self.memory[row / 8 * WIDTH + column] >> (row % 8) & 1 == 1;
                *point = is_driven && (self.all_lit || lit != self.is_inverted);
            }
        }
        picture
    }

    fn data(&mut self, byte: u8) {
        self.memory[self.page * WIDTH + self.column] = byte;
        self.data_bytes += 1;
        let next = |at: usize, [from, to]: [usize; 2]| {
            if at == to {
                (from, true)
            } else {
                (at + 1, false)
            }
        };
        match self.addressing {
            Addressing::Horizontal => {
                let (column, wrapped) = next(self.column, self.columns);
                self.column = column;
                if wrapped {
                    self.page = next(self.page, self.pages).0;
                }
            }
            Addressing::Vertical => {
                let (page, wrapped) = next(self.page, self.pages);
                self.page = page;
                if wrapped {
                    self.column = next(self.column, self.columns).0;
                }
            }
            Addressing::Page => self.column = (self.column + 1) % WIDTH,
        }
        self.column %= WIDTH;
        self.page %= PAGES;
    }

    fn command(&mut self, byte: u8) {
        self.command.push(byte);
        let done = match self.command[..] {
            [0x00..=0x0F] => {
                self.column = self.column & 0x70 | usize::from(byte & 0x0F);
                true
            }
            [0x10..=0x17] => {
                self.column = self.column & 0x0F | usize::from(byte & 7) << 4;
                true
            }
            [0xB0..=0xB7] => {
                self.page = usize::from(byte & 7);
                true
            }
            [0xA0 | 0xA1] => {
                self.columns_turned = byte & 1 == 1;
                true
            }
            [0xC0 | 0xC8] => {
                self.rows_turned = byte & 8 != 0;
                true
            }
            [0xA4 | 0xA5] => {
                self.all_lit = byte & 1 == 1;
                true
            }
            [0xA6 | 0xA7] => {
                self.is_inverted = byte & 1 == 1;
                true
            }
            [0xAE | 0xAF] => {
                self.is_on = byte & 1 == 1;
                true
            }
            // Start line 0, no scrolling, nothing.
            [0x40 | 0x2E | 0xE3] => true,
            [0x8D, setting] => {
                self.has_pump = setting & 4 != 0;
                true
            }
            [0xA8, ratio] => {
                self.multiplex = ratio & 0x3F;
                true
            }
            [0x20, mode] => {
                self.addressing = match mode & 3 {
                    0 => Addressing::Horizontal,
                    1 => Addressing::Vertical,
                    _ => Addressing::Page,
                };
                true
            }
            [0x21, from, to] if from <= to && to < 128 => {
                self.columns = [from, to].map(usize::from);
                self.column = usize::from(from);
                true
            }
            [0x22, from, to] if from <= to && to < 8 => {
                self.pages = [from, to].map(usize::from);
                self.page = usize::from(from);
                true
            }
            // Contrast, clock, offset 0, pins, precharge, level.
            [0x81 | 0xD5 | 0xDA | 0xD9 | 0xDB, _] | [0xD3, 0] => true,
            [0x81 | 0xD5 | 0xDA | 0xD9 | 0xDB | 0xD3 | 0x8D | 0xA8 | 0x20 | 0x21 | 0x22]
            | [0x21 | 0x22, _] => false,
            _ => {
                self.refused.push(self.command.clone());
                true
            }
        };
        if done {
            self.command.clear();
        }
    }
}

impl Part for VirtualDisplay {
    fn start(&mut self, _now: u64) {
        self.follows = Follows::Control;
    }

    fn write(&mut self, byte: u8) {
        match self.follows {
            Follows::Control => {
                self.follows = match byte {
                    0x00 => Follows::Commands,
                    0x40 => Follows::Data,
                    _ => {
                        self.refused.push(vec![byte]);
                        Follows::Commands
                    }
                }
            }
            Follows::Commands => self.command(byte),
            Follows::Data => self.data(byte),
        }
    }

    fn read(&mut self) -> u8 {
        // The only thing it says: bit 6 is up while it is off.
        if self.is_on { 0x00 } else { 0x40 }
    }

    fn stop(&mut self, _now: u64) {
        if !self.command.is_empty() {
            let cut = core::mem::take(&mut self.command);
            self.refused.push(cut);
        }
    }
}
