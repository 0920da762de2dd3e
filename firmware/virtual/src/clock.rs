//! Simulated time, shared by everything on the virtual board.
//!
//! Time stands still until somebody advances it: the main loop of the harness, a driver's
//! delay, or a bus transfer that takes time. Work that a board does in a timer or pin
//! interrupt is registered with [`SimClock::every`] and runs while time passes, also in the
//! middle of a driver's delay, as an interrupt does.
//!
//! One thread advances the clock; others may read it.

use embedded_hal::delay::DelayNs;
use slotwise_core::sample::FRAMES_PER_SECOND;
use slotwise_core::units::Millis;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, PoisonError};

/// Nanoseconds from one conversion to the next: 1 s / 4000.
pub const FRAME_NANOS: u64 = 1_000_000_000 / FRAMES_PER_SECOND as u64;

struct Interrupt {
    period: u64,
    next: u64,
    handler: Box<dyn FnMut(u64) + Send>,
}

#[derive(Default)]
struct Shared {
    now: AtomicU64,
    /// `None` while the interrupts run, so that time that passes inside a handler does not
    /// interrupt it again.
    interrupts: Mutex<Option<Vec<Interrupt>>>,
}

/// A handle on the simulated time; clones share it.
#[derive(Clone)]
pub struct SimClock(Arc<Shared>);

impl Default for SimClock {
    fn default() -> Self {
        Self::new()
    }
}

impl SimClock {
    /// A clock that starts at zero.
    #[must_use]
    pub fn new() -> Self {
        Self(Arc::new(Shared {
            now: AtomicU64::new(0),
            interrupts: Mutex::new(Some(Vec::new())),
        }))
    }

    /// Nanoseconds since the start.
    #[must_use]
    pub fn nanos(&self) -> u64 {
        self.0.now.load(Ordering::Acquire)
    }

    /// Milliseconds since the start.
    #[must_use]
    pub fn millis(&self) -> Millis {
        Millis::new(self.nanos() / 1_000_000)
    }

    /// Number of the newest conversion: conversion `n` is complete at `n` x 250 us.
    #[must_use]
    pub fn frame(&self) -> u64 {
        self.nanos() / FRAME_NANOS
    }

    /// Lets `nanos` pass and runs the interrupts that fall due, in their order.
    pub fn advance(&self, nanos: u64) {
        let until = self.nanos().saturating_add(nanos);
        let Some(mut interrupts) = self.take() else {
            self.reach(until);
            return;
        };
        while let Some(due) = interrupts
            .iter_mut()
            .filter(|interrupt| interrupt.next <= until)
            .min_by_key(|interrupt| interrupt.next)
        {
            self.reach(due.next);
            due.next += due.period;
            (due.handler)(self.nanos());
        }
        self.reach(until);
        self.give_back(interrupts);
    }

    /// Lets time pass until the next conversion is complete.
    pub fn advance_to_next_frame(&self) {
        let now = self.nanos();
        self.advance((now / FRAME_NANOS + 1) * FRAME_NANOS - now);
    }

    /// Runs `handler` at every multiple of `period` nanoseconds from now on, with the time.
    /// The handler may use drivers and advance the clock; it is not interrupted.
    ///
    /// # Panics
    /// If `period` is zero.
    pub fn every(&self, period: u64, handler: impl FnMut(u64) + Send + 'static) {
        assert!(period > 0, "an interrupt needs a period above zero");
        let mut interrupts = self.take().unwrap_or_default();
        interrupts.push(Interrupt {
            period,
            next: (self.nanos() / period + 1) * period,
            handler: Box::new(handler),
        });
        self.give_back(interrupts);
    }

    /// A delay that lets simulated time pass.
    #[must_use]
    pub fn delay(&self) -> SimDelay {
        SimDelay(self.clone())
    }

    fn reach(&self, nanos: u64) {
        self.0.now.fetch_max(nanos, Ordering::AcqRel);
    }

    fn take(&self) -> Option<Vec<Interrupt>> {
        self.0
            .interrupts
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .take()
    }

    /// Puts the interrupts back, before any that were registered meanwhile.
    fn give_back(&self, mut interrupts: Vec<Interrupt>) {
        let mut held = self
            .0
            .interrupts
            .lock()
            .unwrap_or_else(PoisonError::into_inner);
        interrupts.extend(held.take().into_iter().flatten());
        *held = Some(interrupts);
    }
}

/// A driver's delay in simulated time.
#[derive(Clone)]
pub struct SimDelay(SimClock);

impl DelayNs for SimDelay {
    fn delay_ns(&mut self, ns: u32) {
        self.0.advance(u64::from(ns));
    }

    // The default bodies go through u32 nanoseconds in slices; whole spans are simpler.
    fn delay_us(&mut self, us: u32) {
        self.0.advance(u64::from(us) * 1_000);
    }

    fn delay_ms(&mut self, ms: u32) {
        self.0.advance(u64::from(ms) * 1_000_000);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_delay_advances_the_shared_time() {
        let clock = SimClock::new();
        let mut delay = clock.delay();
        delay.delay_ns(5);
        delay.delay_us(7);
        delay.delay_ms(2);
        assert_eq!(clock.nanos(), 2_007_005);
        assert_eq!(clock.millis(), Millis::new(2));
        assert_eq!(clock.frame(), 8);
        clock.advance_to_next_frame();
        assert_eq!(clock.nanos(), 9 * FRAME_NANOS);
        clock.advance_to_next_frame();
        assert_eq!(clock.frame(), 10);
    }

    #[test]
    fn interrupts_run_in_the_middle_of_a_delay_at_their_own_times() {
        let clock = SimClock::new();
        let seen = Arc::new(Mutex::new(Vec::new()));
        for (name, period) in [("slow", 300), ("fast", 100)] {
            let seen = Arc::clone(&seen);
            clock.every(period, move |now| seen.lock().unwrap().push((name, now)));
        }
        clock.advance(350);
        let mut expected = vec![("fast", 100), ("fast", 200), ("slow", 300), ("fast", 300)];
        assert_eq!(*seen.lock().unwrap(), expected);
        clock.advance(49);
        assert_eq!(seen.lock().unwrap().len(), 4);
        clock.advance(1);
        expected.push(("fast", 400));
        assert_eq!(*seen.lock().unwrap(), expected);
    }

    #[test]
    fn time_inside_a_handler_does_not_interrupt_it_but_catches_up() {
        let clock = SimClock::new();
        let count = Arc::new(AtomicU64::new(0));
        let (inner, counter) = (clock.clone(), Arc::clone(&count));
        clock.every(100, move |_| {
            inner.advance(150);
            counter.fetch_add(1, Ordering::Relaxed);
        });
        clock.advance(200);
        // Due at 100 and 200; each takes 150, the second starts late at 250.
        assert_eq!(count.load(Ordering::Relaxed), 2);
        assert_eq!(clock.nanos(), 400);
    }
}
