//! The optional display: 128 by 64 points, an SSD1306 on I2C, and what stands on it.
//!
//! | file | holds |
//! |---|---|
//! | `texts` | every word, in which language |
//! | `line` | a line of text, numbers in it |
//! | `screen` | a scene of the tester put into lines |
//! | `draw` | a screen drawn by `embedded-graphics` on any target |
//! | `canvas` | the picture in memory |
//! | `wire` | messages to the chip |
//! | this file | when to draw, and what of the picture goes to the chip |
//!
//! A turn draws one element or sends one slice of 32 columns of a page, if the chip has not the
//! same already: 46 bytes, a millisecond at 400 kHz. A picture is sent only when it is whole. In
//! the corner of the top line a mark moves twice a second: a screen whose mark stands still is
//! old, because the tester or the cable to the display has stopped.
//!
//! The chip keeps its memory over a reset of the tester, and shows it. So the first thing at a
//! start is to put it out, and it is lit again only when the first new picture is all there. Without
//! a display everything else goes on; it is looked for once a second.

pub mod canvas;
pub mod draw;
pub mod line;
pub mod screen;
pub mod texts;
mod wire;

use embedded_hal::i2c::I2c;
use slotwise_core::units::Millis;
use ssd1306::Ssd1306;
use ssd1306::command::{AddrMode, Command, Page};
use ssd1306::prelude::{DisplayRotation, DisplaySize128x64};

use canvas::{BYTES, Canvas, WIDTH};
pub use screen::{Scene, Screen};
use texts::{ENGLISH, Words};
use wire::Wire;

/// Columns of a slice.
const SLICE: usize = 32;
const SLICES: usize = BYTES / SLICE;
const SLICES_A_PAGE: usize = WIDTH / SLICE;

/// All slices, a bit each.
const ALL: u32 = u32::MAX;
const _: () = assert!(SLICES == u32::BITS as usize);

/// A new screen is thought of this often.
const LOOK_EVERY_MS: u64 = 100;
/// A display that did not answer is looked for again after this time.
const RETRY_MS: u64 = 1_000;
/// The whole picture is sent again this often: a disturbed memory heals.
const REFRESH_MS: u64 = 10_000;
/// Half of the moving mark's period.
const MARK_MS: u64 = 500;

const PAGES: [Page; 8] = [
    Page::Page0,
    Page::Page1,
    Page::Page2,
    Page::Page3,
    Page::Page4,
    Page::Page5,
    Page::Page6,
    Page::Page7,
];

/// Whether there is a display.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum State {
    /// Not found; looked for again from this time on.
    Away(Millis),
    /// Set up and dark: its memory is not ours yet.
    Dark,
    /// Lit.
    Lit,
}

/// The display.
#[derive(Debug)]
pub struct Display {
    words: &'static Words,
    state: State,
    screen: Screen,
    /// Elements of `screen` that are on the canvas.
    drawn: usize,
    canvas: Canvas,
    /// What the chip was sent, and which slices of it count.
    sent: [u8; BYTES],
    known: u32,
    looked: Option<Millis>,
    refreshed: Millis,
}

impl Default for Display {
    fn default() -> Self {
        Self::new()
    }
}

impl Display {
    /// A display that has not been looked for.
    #[must_use]
    pub fn new() -> Self {
        Self {
            words: &ENGLISH,
            state: State::Away(Millis::new(0)),
            screen: Screen::default(),
            drawn: 0,
            canvas: Canvas::new(),
            sent: [0; BYTES],
            known: 0,
            looked: None,
            refreshed: Millis::new(0),
        }
    }

    /// Puts out what an earlier start left on the chip. Without one nothing happens.
    pub fn put_out(&mut self, bus: &mut impl I2c) {
        let _ = Command::DisplayOn(false).send(&mut Wire(bus));
    }

    /// What it shows, drawn whole.
    #[must_use]
    pub const fn canvas(&self) -> &Canvas {
        &self.canvas
    }

    /// The screen that is drawn or being drawn.
    #[must_use]
    pub const fn screen(&self) -> &Screen {
        &self.screen
    }

    /// Does one small thing. `scene` is asked when it is time to look.
    pub fn poll<'t>(&mut self, bus: &mut impl I2c, now: Millis, scene: impl FnOnce() -> Scene<'t>) {
        if let State::Away(until) = self.state {
            if now >= until {
                self.set_up(bus, now);
            }
            return;
        }
        if self.drawn < draw::ELEMENTS {
            let Ok(()) = draw::element(&self.screen, self.drawn, &mut self.canvas);
            self.drawn += 1;
            return;
        }
        let is_due = |last: Millis| now.since(last) >= LOOK_EVERY_MS;
        if self.looked.is_none_or(is_due) {
            self.looked = Some(now);
            let screen = Screen::of(&scene(), self.words);
            if screen != self.screen {
                self.screen = screen;
                self.drawn = 0;
                return;
            }
        }
        if now.since(self.refreshed) >= REFRESH_MS {
            self.refreshed = now;
            self.known = 0;
        }
        let sent = self.send_slice(bus, now);
        match sent {
            Ok(true) => {}
            Ok(false) if self.state == State::Dark => {
                let lit = Command::DisplayOn(true).send(&mut Wire(bus));
                self.state = if lit.is_ok() {
                    State::Lit
                } else {
                    State::Away(after(now))
                };
            }
            Ok(false) => {}
            Err(_) => self.state = State::Away(after(now)),
        }
    }

    /// Sets the chip up and leaves it dark.
    #[cold]
    fn set_up(&mut self, bus: &mut impl I2c, now: Millis) {
        self.known = 0;
        let mut chip = Ssd1306::new(Wire(bus), DisplaySize128x64, DisplayRotation::Rotate0);
        // Asked first: setting up lights what stands in its memory for one command's time.
        let done = chip
            .set_display_on(false)
            .and_then(|()| chip.init_with_addr_mode(AddrMode::Horizontal))
            .and_then(|()| chip.set_display_on(false));
        self.state = if done.is_ok() {
            self.refreshed = now;
            State::Dark
        } else {
            State::Away(after(now))
        };
    }

    /// Sends the first slice that the chip does not have; false if it has them all.
    fn send_slice<B: I2c>(&mut self, bus: &mut B, now: Millis) -> Result<bool, SliceError> {
        for slice in 0..SLICES {
            let mut bytes = [0; SLICE];
            let canvas = self.canvas.bytes().iter().skip(slice * SLICE);
            for (place, &byte) in bytes.iter_mut().zip(canvas) {
                *place = byte;
            }
            if slice == SLICES_A_PAGE - 1 {
                mark(&mut bytes, now);
            }
            let bit = 1 << slice;
            let has = self.sent.iter().skip(slice * SLICE).zip(&bytes);
            if self.known & bit != 0 && has.clone().all(|(sent, byte)| sent == byte) {
                continue;
            }
            let page = *PAGES.get(slice / SLICES_A_PAGE).ok_or(SliceError)?;
            let column = (slice % SLICES_A_PAGE * SLICE) as u8;
            send(bus, page, column, &bytes)?;
            for (place, byte) in self.sent.iter_mut().skip(slice * SLICE).zip(bytes) {
                *place = byte;
            }
            self.known |= bit;
            return Ok(true);
        }
        debug_assert!(self.known == ALL);
        Ok(false)
    }
}

/// A slice did not reach the chip.
#[derive(Debug)]
struct SliceError;

fn send(bus: &mut impl I2c, page: Page, column: u8, bytes: &[u8]) -> Result<(), SliceError> {
    let mut interface = Wire(bus);
    let last = column.saturating_add(SLICE as u8 - 1);
    let placed = Command::ColumnAddress(column, last)
        .send(&mut interface)
        .and_then(|()| Command::PageAddress(page, page).send(&mut interface));
    let mut chip = Ssd1306::new(interface, DisplaySize128x64, DisplayRotation::Rotate0);
    placed
        .and_then(|()| chip.draw(bytes))
        .map_err(|_| SliceError)
}

/// Turns the moving mark over into the last column of the top line.
const fn mark(slice: &mut [u8; SLICE], now: Millis) {
    let [.., last] = slice;
    *last ^= if (now.get() / MARK_MS).is_multiple_of(2) {
        0x0F
    } else {
        0xF0
    };
}

const fn after(now: Millis) -> Millis {
    Millis::new(now.get().saturating_add(RETRY_MS))
}

#[cfg(test)]
mod tests;
