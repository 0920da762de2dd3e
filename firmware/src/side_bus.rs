//! The side bus: clock chip and display on one I2C bus, and when each has its turn.
//!
//! Nothing that measures depends on it. A bus that is stuck, a part that is missing and one that
//! comes back are all the same to the tester: it measures, shows its lamps and keeps its records,
//! without the time of day if it has none.
//!
//! A turn does one small thing: one slice of the display's picture (about a millisecond of bus
//! time), one element drawn, or the clock read or set. Turns are at least `TURN_MS` apart, so
//! that the loop around has the rest. Frames are taken by the interrupt meanwhile.

use embedded_hal::i2c::I2c;
use slotwise_core::link::ClockChip;
use slotwise_core::units::{Millis, UnixSeconds};

use crate::clock_chip;
use crate::display::{Display, Scene};

/// Least time from turn to turn.
const TURN_MS: u64 = 2;

/// The clock is looked at this often: for how it stands, and to take up what the tester's own
/// clock has run off.
pub const CLOCK_EVERY_MS: u64 = 60_000;

/// What the side bus serves.
pub trait Served {
    /// The time to set the clock chip to, once for every wish.
    fn clock_to_set(&mut self) -> Option<UnixSeconds>;
    /// Takes what the clock chip says, or how it stands.
    fn clock_is(&mut self, found: Result<UnixSeconds, ClockChip>);
    /// What there is to show.
    fn scene(&self, now: Millis) -> Scene<'_>;
}

/// The bus and its two parts.
#[derive(Debug)]
pub struct SideBus<B> {
    bus: B,
    display: Display,
    clock_asked: Millis,
    turn: Millis,
}

impl<B: I2c> SideBus<B> {
    /// Takes the bus. What the display showed before the start is put out first; then the clock
    /// is read.
    pub fn start(bus: B) -> (Self, Result<UnixSeconds, ClockChip>) {
        let mut bus = bus;
        let mut display = Display::new();
        display.put_out(&mut bus);
        let clock = clock_chip::read(&mut bus);
        let started = Self {
            bus,
            display,
            clock_asked: Millis::new(0),
            turn: Millis::new(0),
        };
        (started, clock)
    }

    /// Does one small thing, if it is time. Call it in every round of the loop.
    pub fn poll(&mut self, now: Millis, served: &mut impl Served) {
        if now.since(self.turn) < TURN_MS {
            return;
        }
        self.turn = now;
        if let Some(clock) = served.clock_to_set() {
            let found = clock_chip::set(&mut self.bus, clock);
            served.clock_is(found.map(|()| clock));
        } else if now.since(self.clock_asked) >= CLOCK_EVERY_MS {
            self.clock_asked = now;
            served.clock_is(clock_chip::read(&mut self.bus));
        } else {
            self.display.poll(&mut self.bus, now, || served.scene(now));
        }
    }

    /// The display, for a test that looks at what is drawn.
    #[must_use]
    pub const fn display(&self) -> &Display {
        &self.display
    }
}
