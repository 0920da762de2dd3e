//! Pins of the virtual board: outputs that remember what they did, inputs that a test sets.

use crate::clock::SimClock;
use core::convert::Infallible;
use embedded_hal::digital::{ErrorType, InputPin, OutputPin, PinState, StatefulOutputPin};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

/// One change of an output.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Edge {
    /// When, in nanoseconds of simulated time.
    pub nanos: u64,
    /// Whether the pin is high from then on.
    pub high: bool,
}

#[derive(Default)]
struct Record {
    high: bool,
    edges: Vec<Edge>,
}

/// An output pin, low at first. Clones are the same pin: one for the firmware, one for the
/// test.
#[derive(Clone)]
pub struct RecordedOutput {
    clock: SimClock,
    record: Arc<Mutex<Record>>,
}

impl RecordedOutput {
    /// A pin whose changes are stamped by `clock`.
    #[must_use]
    pub fn new(clock: &SimClock) -> Self {
        Self {
            clock: clock.clone(),
            record: Arc::default(),
        }
    }

    /// Whether it is high now.
    #[must_use]
    pub fn is_high(&self) -> bool {
        self.record().high
    }

    /// Every change so far, oldest first; writing the level it has is no change.
    #[must_use]
    pub fn edges(&self) -> Vec<Edge> {
        self.record().edges.clone()
    }

    /// As [`Self::edges`], and forgets them.
    #[must_use]
    pub fn take_edges(&self) -> Vec<Edge> {
        core::mem::take(&mut self.record().edges)
    }

    /// How long it was high between two instants, in nanoseconds, by what is remembered.
    #[must_use]
    pub fn high_nanos(&self, from: u64, until: u64) -> u64 {
        let record = self.record();
        let first = record.edges.first().map_or(record.high, |edge| !edge.high);
        let mut since = first.then_some(from);
        let mut sum = 0;
        for edge in &record.edges {
            let at = edge.nanos.clamp(from, until);
            match (edge.high, since) {
                (true, _) => since = Some(at),
                (false, Some(start)) => {
                    sum += at - start;
                    since = None;
                }
                (false, None) => {}
            }
        }
        sum + since.map_or(0, |start| until.saturating_sub(start))
    }

    fn record(&self) -> MutexGuard<'_, Record> {
        self.record.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn set(&self, high: bool) {
        let nanos = self.clock.nanos();
        let mut record = self.record();
        if record.high != high {
            record.high = high;
            record.edges.push(Edge { nanos, high });
        }
    }
}

impl ErrorType for RecordedOutput {
    type Error = Infallible;
}

impl OutputPin for RecordedOutput {
    fn set_low(&mut self) -> Result<(), Infallible> {
        self.set(false);
        Ok(())
    }

    fn set_high(&mut self) -> Result<(), Infallible> {
        self.set(true);
        Ok(())
    }
}

impl StatefulOutputPin for RecordedOutput {
    fn is_set_high(&mut self) -> Result<bool, Infallible> {
        Ok(self.record().high)
    }

    fn is_set_low(&mut self) -> Result<bool, Infallible> {
        Ok(!self.record().high)
    }
}

/// An input pin that a test drives. Clones are the same pin.
#[derive(Clone)]
pub struct DrivenInput(Arc<AtomicBool>);

impl DrivenInput {
    /// A pin at this level.
    #[must_use]
    pub fn new(state: PinState) -> Self {
        Self(Arc::new(AtomicBool::new(state == PinState::High)))
    }

    /// The tester's button, not pressed: pulled up, low when pressed.
    #[must_use]
    pub fn button() -> Self {
        Self::new(PinState::High)
    }

    /// Drives the pin to this level.
    pub fn drive(&self, state: PinState) {
        self.0.store(state == PinState::High, Ordering::Release);
    }

    /// Presses a button: drives it low.
    pub fn press(&self) {
        self.drive(PinState::Low);
    }

    /// Lets a button go: the pull-up takes it high.
    pub fn release(&self) {
        self.drive(PinState::High);
    }
}

impl ErrorType for DrivenInput {
    type Error = Infallible;
}

impl InputPin for DrivenInput {
    fn is_high(&mut self) -> Result<bool, Infallible> {
        Ok(self.0.load(Ordering::Acquire))
    }

    fn is_low(&mut self) -> Result<bool, Infallible> {
        Ok(!self.0.load(Ordering::Acquire))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_lamp_remembers_when_it_changed() {
        let clock = SimClock::new();
        let mut lamp = RecordedOutput::new(&clock);
        let watcher = lamp.clone();
        lamp.set_low().unwrap();
        clock.advance(100);
        lamp.set_high().unwrap();
        lamp.set_high().unwrap();
        clock.advance(50);
        lamp.set_low().unwrap();
        let edges = [(100, true), (150, false)].map(|(nanos, high)| Edge { nanos, high });
        assert_eq!(watcher.edges(), edges);
        assert!(!watcher.is_high());
        clock.advance(10);
        lamp.set_high().unwrap();
        clock.advance(40);
        assert_eq!(watcher.high_nanos(0, 200), 50 + 40);
        assert_eq!(watcher.high_nanos(120, 170), 30 + 10);
        assert_eq!(watcher.high_nanos(0, 90), 0);
        assert_eq!(watcher.take_edges().len(), 3);
        assert_eq!(watcher.high_nanos(0, 200), 200);
    }

    #[test]
    fn a_button_is_low_while_pressed() {
        let hand = DrivenInput::button();
        let mut pin = hand.clone();
        assert!(pin.is_high().unwrap());
        hand.press();
        assert!(pin.is_low().unwrap());
        hand.release();
        assert!(pin.is_high().unwrap());
    }

    #[test]
    fn pins_can_go_to_another_thread() {
        fn sendable<T: Send + 'static>() {}
        sendable::<RecordedOutput>();
        sendable::<DrivenInput>();
        sendable::<SimClock>();
    }
}
