//! The lamps' pins: from rhythms to levels.
//!
//! What a lamp means is said in [`slotwise_core::lamps`]; this module only knows how fast the
//! rhythms beat. All lamps of one rhythm beat together, because the phase comes from the time
//! since the start: two lamps that say "no" flash as one.
//!
//! On request one lamp blinks out a two-digit finding number: as many flashes as the tens
//! digit says, a pause, as many as the units digit says. The finding numbers have no digit 0
//! (`FindingCode::number`), so every digit can be counted.
//!
//! The heartbeat is the board's own small lamp: one short flash a second says the program
//! runs; for a moment after a record was written it flickers.

use embedded_hal::digital::OutputPin;
pub use slotwise_core::lamps::{LAMPS, Lamp, Panel, Rhythm};
use slotwise_core::units::Millis;

/// Slow blink: 1 Hz, half of the time lit.
pub const SLOW_BLINK_PERIOD_MS: u64 = 1000;

/// Fast blink: 4 Hz, half of the time lit. Four times the slow rate, so that nobody has to
/// see both to tell them apart.
pub const FAST_BLINK_PERIOD_MS: u64 = 250;

/// Fast pulse: 8 Hz (125 ms) ...
pub const FAST_PULSE_PERIOD_MS: u64 = 125;

/// ... lit for a quarter of it, rounded to whole milliseconds.
pub const FAST_PULSE_LIT_MS: u64 = 31;

/// Dark lead-in before a finding number, so that its first flash is not taken for the rhythm
/// the lamp had before.
pub const NUMBER_LEAD_IN_MS: u64 = 1000;

/// One flash of a digit: lit for this long ...
pub const DIGIT_LIT_MS: u64 = 250;

/// ... then dark for this long. 600 ms a flash can be counted aloud.
pub const DIGIT_DARK_MS: u64 = 350;

/// Extra dark time between tens and units.
pub const DIGIT_PAUSE_MS: u64 = 1000;

/// Dark time after the number, before the lamp takes its rhythm again.
pub const NUMBER_LEAD_OUT_MS: u64 = 1000;

/// Heartbeat: one flash in this time ...
pub const HEARTBEAT_PERIOD_MS: u64 = 1000;

/// ... of this length.
pub const HEARTBEAT_LIT_MS: u64 = 60;

/// After a record was written the heartbeat flickers for this long ...
pub const FLICKER_MS: u64 = 400;

/// ... at 16 Hz, half of the time lit.
pub const FLICKER_PERIOD_MS: u64 = 62;

/// Whether a lamp of this rhythm is lit at `now`.
#[must_use]
pub const fn level(rhythm: Rhythm, now: Millis) -> bool {
    match rhythm {
        Rhythm::Off => false,
        Rhythm::Steady => true,
        Rhythm::SlowBlink => lit(now.get(), SLOW_BLINK_PERIOD_MS, SLOW_BLINK_PERIOD_MS / 2),
        Rhythm::FastBlink => lit(now.get(), FAST_BLINK_PERIOD_MS, FAST_BLINK_PERIOD_MS / 2),
        Rhythm::FastPulse => lit(now.get(), FAST_PULSE_PERIOD_MS, FAST_PULSE_LIT_MS),
    }
}

const fn lit(elapsed: u64, period: u64, lit_for: u64) -> bool {
    elapsed % period < lit_for
}

/// Whether a lamp that began to blink out `number` `elapsed` milliseconds ago is lit; `None`
/// once it has said all. A number above 99 is told as 99.
#[must_use]
pub const fn number_level(number: u8, elapsed: u64) -> Option<bool> {
    const FLASH_MS: u64 = DIGIT_LIT_MS + DIGIT_DARK_MS;
    let number = if number > 99 { 99 } else { number };
    let tens_ms = (number / 10) as u64 * FLASH_MS;
    let units_ms = (number % 10) as u64 * FLASH_MS;

    let Some(elapsed) = elapsed.checked_sub(NUMBER_LEAD_IN_MS) else {
        return Some(false);
    };
    if elapsed < tens_ms {
        return Some(lit(elapsed, FLASH_MS, DIGIT_LIT_MS));
    }
    let Some(elapsed) = (elapsed - tens_ms).checked_sub(DIGIT_PAUSE_MS) else {
        return Some(false);
    };
    if elapsed < units_ms {
        return Some(lit(elapsed, FLASH_MS, DIGIT_LIT_MS));
    }
    if elapsed - units_ms < NUMBER_LEAD_OUT_MS {
        Some(false)
    } else {
        None
    }
}

/// Whether the heartbeat lamp is lit at `now`, if the last record was written at `written`.
#[must_use]
pub const fn heartbeat_level(now: Millis, written: Option<Millis>) -> bool {
    if let Some(written) = written {
        let elapsed = now.since(written);
        if elapsed < FLICKER_MS {
            return lit(elapsed, FLICKER_PERIOD_MS, FLICKER_PERIOD_MS / 2);
        }
    }
    lit(now.get(), HEARTBEAT_PERIOD_MS, HEARTBEAT_LIT_MS)
}

#[derive(Clone, Copy, Debug)]
struct Telling {
    lamp: Lamp,
    number: u8,
    since: Millis,
}

/// Drives the six lamps and the heartbeat. High = lit.
#[derive(Debug)]
pub struct LampDriver<P, H> {
    pins: [P; LAMPS],
    heartbeat: H,
    panel: Panel,
    telling: Option<Telling>,
    written: Option<Millis>,
}

impl<P: OutputPin, H: OutputPin<Error = P::Error>> LampDriver<P, H> {
    /// Takes the pins, in the order of [`Lamp::ALL`], and the heartbeat pin. The pins keep
    /// their levels until the first [`LampDriver::poll`].
    #[must_use]
    pub const fn new(pins: [P; LAMPS], heartbeat: H) -> Self {
        Self {
            pins,
            heartbeat,
            panel: Panel::DARK,
            telling: None,
            written: None,
        }
    }

    /// What the lamps say from the next poll on. A danger cuts off a number being told: the
    /// red lamp must stand alone at once.
    pub fn show(&mut self, panel: Panel) {
        if panel.rhythm(Lamp::LiveMetal) != Rhythm::Off
            && self.panel.rhythm(Lamp::LiveMetal) == Rhythm::Off
        {
            self.telling = None;
        }
        self.panel = panel;
    }

    /// What the lamps say now.
    #[must_use]
    pub const fn panel(&self) -> &Panel {
        &self.panel
    }

    /// Blinks out a finding number on `lamp` while the others stay dark, then goes back to
    /// the panel. Asking again starts over.
    pub const fn tell(&mut self, lamp: Lamp, number: u8, now: Millis) {
        self.telling = Some(Telling {
            lamp,
            number,
            since: now,
        });
    }

    /// Whether a number is being told.
    #[must_use]
    pub const fn is_telling(&self) -> bool {
        self.telling.is_some()
    }

    /// Notes that a record was written: the heartbeat flickers for [`FLICKER_MS`].
    pub const fn record_written(&mut self, now: Millis) {
        self.written = Some(now);
    }

    /// Sets every pin to its level at `now`.
    ///
    /// # Errors
    /// The error of a pin. The other pins are set nevertheless; the first error is returned.
    pub fn poll(&mut self, now: Millis) -> Result<(), P::Error> {
        let told = self.telling.and_then(|telling| {
            number_level(telling.number, now.since(telling.since)).map(|lit| (telling.lamp, lit))
        });
        if told.is_none() {
            self.telling = None;
        }
        let mut outcome = Ok(());
        for (pin, lamp) in self.pins.iter_mut().zip(Lamp::ALL) {
            let is_lit = match told {
                Some((teller, lit)) => lamp == teller && lit,
                None => level(self.panel.rhythm(lamp), now),
            };
            outcome = outcome.and(pin.set_state(is_lit.into()));
        }
        outcome.and(
            self.heartbeat
                .set_state(heartbeat_level(now, self.written).into()),
        )
    }
}

#[cfg(test)]
mod tests;
