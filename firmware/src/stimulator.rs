//! The tester's own currents: six pins, and the interlock that lets go of them.
//!
//! ```text
//!  pump ~~ charge pump ~~ relay A ┐
//!  hold ───────────────── relay B ┴ in series: probe P1, narrow to inner ground
//!  ground ─────────────── relay     drive P2, wide to inner ground
//!  clip ───────────────── relay     drive P2, wide to clip
//!  tone ───────────────── sign of the drive's square wave
//!  raise ──────────────── level of the drive: 10.2 V in place of 6.0
//! ```
//!
//! [`Stimulator::on_frame`] belongs into the data-ready interrupt, right after the frame was
//! read. It looks at that frame first: if the ground slot or the clip has risen against wide,
//! everything opens within the same interrupt and stays open until [`Order::Rest`] was given.
//! Then it sets the pins for the conversion that has just begun. The mark that it returns is
//! that of the frame just read: what was switched on while it was converted.
//!
//! A converter code is a mean over three frame times (sinc3) and the filter of the string adds
//! 43 us, so a frame shows about one sixth of what its own mark says and most of what the mark
//! before says. Whoever reads P1 drops the first 17 frames of a block and is far beyond that;
//! whoever reads P2 takes the lag out of the tone.
//!
//! In a pass of the test of the relays ([`Order::Relays`]) the pump moves or `hold` stands high,
//! never both, and the tone runs with both relays of the drive open. Only a pass of the test of a
//! limiter ([`Order::Limiter`]) raises the drive's level.
//!
//! Relay A is held by a charge pump: its pin toggles once a frame while the probe is closed, so
//! a pin that stands still, for whatever reason, opens the probe within a millisecond. That
//! also covers the time in which the main loop is away for a sector erase and the converter
//! falls silent. [`Stimulator::silence`] is for the main loop: everything off, when no frame
//! came for [`SILENCE_MS`].
//!
//! Limits: integers only, codes taken at the nominal gain (strings and converter are within
//! 0.4 %) and with their offsets (0.07 V at most), against thresholds of volts. The resistors
//! and the limiter bound the currents; nothing here is needed for that.

use embedded_hal::digital::OutputPin;
use slotwise_core::drive::tone_is_high;
use slotwise_core::earth_path::is_closed;
use slotwise_core::front_end::NOMINAL_VOLTS_PER_CODE;
use slotwise_core::limiter_check::pattern::is_raised;
use slotwise_core::limits::{DriveLimits, ProbeLimits};
use slotwise_core::relay_check::pattern as relay_check;
use slotwise_core::sample::{Frame, FrameFault};
use slotwise_core::slots::Lead;
use slotwise_core::stimulus::{Applied, DrivePath, Interlock, Order, ProbeRelay};
use slotwise_core::units::Volts;

/// Without a frame for this long the main loop opens everything: twenty frames.
pub const SILENCE_MS: u64 = 5;

/// So many damaged or lost frames in a row open everything.
const BAD_FRAMES: u32 = 2;

/// The six pins.
#[derive(Clone, Debug)]
pub struct Pins<P> {
    /// Relay A of the probe, through the charge pump.
    pub probe_pump: P,
    /// Relay B of the probe.
    pub probe_hold: P,
    /// Relay of the drive to the inner ground node.
    pub drive_ground: P,
    /// Relay of the drive to the clip.
    pub drive_clip: P,
    /// Sign of the drive.
    pub tone: P,
    /// Level of the drive: raised while high.
    pub drive_raise: P,
}

/// What the pins are to stand at; the pump's level apart, which alternates.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
struct Levels {
    pump: bool,
    hold: bool,
    ground: bool,
    clip: bool,
    tone: bool,
    raise: bool,
}

impl Levels {
    const OFF: Self = Self {
        pump: false,
        hold: false,
        ground: false,
        clip: false,
        tone: false,
        raise: false,
    };

    const fn of(applied: Applied, order: Order) -> Self {
        match applied {
            Applied::Probe { closed, .. } => Self {
                pump: closed,
                hold: closed,
                ..Self::OFF
            },
            Applied::Relays { frame } => {
                let (pass, probe) = match order {
                    Order::Relays { pass, probe } => (pass, probe),
                    _ => (0, false),
                };
                let alone = if probe {
                    relay_check::closed_alone(frame, pass)
                } else {
                    None
                };
                Self {
                    pump: matches!(alone, Some(ProbeRelay::A)),
                    hold: matches!(alone, Some(ProbeRelay::B)),
                    tone: relay_check::tone(frame, pass),
                    ..Self::OFF
                }
            }
            Applied::Drive { path, high, .. } => Self {
                ground: matches!(path, DrivePath::WideToGround),
                clip: matches!(path, DrivePath::WideToClip),
                tone: high,
                ..Self::OFF
            },
            Applied::Limiter { frame, path, high } => Self {
                ground: matches!(path, DrivePath::WideToGround),
                clip: matches!(path, DrivePath::WideToClip),
                tone: high,
                raise: match order {
                    Order::Limiter { pass, .. } => is_raised(frame, pass),
                    _ => false,
                },
                ..Self::OFF
            },
            Applied::Nothing | Applied::Dropped(_) => Self::OFF,
        }
    }
}

/// The outputs of one tester.
#[derive(Debug)]
pub struct Stimulator<P> {
    pins: Pins<P>,
    levels: Levels,
    pump_is_high: bool,
    order: Order,
    dropped: Option<Interlock>,
    /// Mark of the conversion that runs now.
    running: Applied,
    /// Number of the next conversion since the order was given.
    frame: u32,
    /// Bad frames in a row.
    bad: u32,
    /// Codes at which the probe is dropped, and the drive.
    probe_most: i32,
    drive_most: i32,
}

impl<P: OutputPin> Stimulator<P> {
    /// Takes the pins and drives them all low.
    pub fn new(pins: Pins<P>) -> Self {
        let mut stimulator = Self {
            pins,
            levels: Levels::OFF,
            pump_is_high: false,
            order: Order::Rest,
            dropped: None,
            running: Applied::Nothing,
            frame: 0,
            bad: 0,
            probe_most: peak_codes(ProbeLimits::DEFAULT.rest_most),
            drive_most: peak_codes(DriveLimits::DEFAULT.path_most),
        };
        // A pin that fails here fails again, and is told, when it is to be driven high.
        let _ = stimulator.open();
        stimulator
    }

    /// What is to be done from the next frame on. The order that stands already changes
    /// nothing; any other opens everything at once, before the next frame begins its own.
    pub fn set(&mut self, order: Order) {
        if order == self.order {
            return;
        }
        self.order = order;
        self.frame = 0;
        if order == Order::Rest {
            self.dropped = None;
        }
        if self.open().is_err() {
            self.dropped = Some(Interlock::Blind);
        }
    }

    /// Whether an interlock has opened the outputs and still holds them.
    #[must_use]
    pub const fn is_dropped(&self) -> bool {
        self.dropped.is_some()
    }

    /// Everything off. For the main loop, when the converter is silent; the order in hand ends
    /// as blind.
    pub fn silence(&mut self) {
        if self.order != Order::Rest && self.dropped.is_none() {
            self.dropped = Some(Interlock::Blind);
        }
        let _ = self.open();
    }

    /// Takes the frame that was just read, or why there is none, and sets the pins for the
    /// conversion that has just begun. Returns the mark of the frame that was read; the frame
    /// that an interlock drops on has the mark of the drop.
    #[inline]
    pub fn on_frame(&mut self, delivered: &Result<Frame, FrameFault>) -> Applied {
        if delivered.is_ok() && self.is_at_rest() {
            return Applied::Nothing;
        }
        self.on_frame_at_work(delivered)
    }

    /// Nothing is driven, nothing was, and nothing is wrong: a good frame changes nothing, and its
    /// mark is [`Applied::Nothing`].
    #[inline]
    pub const fn is_at_rest(&self) -> bool {
        matches!(
            (self.order, self.running, self.dropped),
            (Order::Rest, Applied::Nothing, None)
        ) && self.bad == 0
    }

    #[inline(never)]
    fn on_frame_at_work(&mut self, delivered: &Result<Frame, FrameFault>) -> Applied {
        self.bad = match delivered {
            Ok(_) => 0,
            Err(FrameFault::Lost(count)) => self.bad.saturating_add(*count),
            Err(FrameFault::Checksum | FrameFault::Bus | FrameFault::Restarted) => {
                self.bad.saturating_add(1)
            }
        };
        let mark = self.running;
        if self.order == Order::Rest {
            self.running = self.resting();
            return mark;
        }
        if self.dropped.is_none() {
            self.dropped = self.interlock(delivered);
        }
        if self.dropped.is_none() {
            // A single lost frame is counted here as one; more than one are a drop.
            self.running = self.next();
            if self.drive(Levels::of(self.running, self.order)).is_err() {
                self.dropped = Some(Interlock::Blind);
            }
        }
        match self.dropped {
            Some(interlock) => {
                let _ = self.open();
                self.running = Applied::Dropped(interlock);
                self.running
            }
            None => mark,
        }
    }

    /// The mark of a conversion without an order.
    const fn resting(&self) -> Applied {
        match self.dropped {
            Some(interlock) => Applied::Dropped(interlock),
            None => Applied::Nothing,
        }
    }

    /// The mark of the conversion that begins, and counts it.
    #[inline]
    fn next(&mut self) -> Applied {
        let frame = self.frame;
        self.frame = frame.wrapping_add(1);
        match self.order {
            Order::Rest => Applied::Nothing,
            Order::Probe => Applied::Probe {
                frame,
                closed: is_closed(frame),
            },
            Order::Drive(path) => Applied::Drive {
                frame,
                path,
                high: tone_is_high(frame),
            },
            Order::Relays { .. } => Applied::Relays { frame },
            Order::Limiter { path, .. } => Applied::Limiter {
                frame,
                path,
                high: tone_is_high(frame),
            },
        }
    }

    /// Looks at the frame just read, for the order in hand. Before the first closing too.
    #[inline]
    fn interlock(&self, delivered: &Result<Frame, FrameFault>) -> Option<Interlock> {
        if self.bad >= BAD_FRAMES {
            return Some(Interlock::Blind);
        }
        let Ok(frame) = delivered else { return None };
        let (lead, most) = match self.order {
            Order::Rest => return None,
            // The drive's own 6 V on an open ground stay below the 7.07 V of this.
            Order::Probe | Order::Relays { .. } => (Lead::Ground, self.probe_most),
            Order::Drive(path) | Order::Limiter { path, .. } => match path {
                DrivePath::WideToGround => (Lead::Ground, self.drive_most),
                DrivePath::WideToClip => (Lead::Clip, self.drive_most),
            },
        };
        let [code, wide] = [frame.code(lead), frame.code(Lead::Wide)];
        // Two codes of 24 bits: the difference has 25.
        let apart = (code.get() - wide.get()).abs();
        // A code at the end of the range says nothing of the voltage but that it is large.
        let beyond = code.is_clipped() || wide.is_clipped();
        (apart > most || beyond).then_some(Interlock::Voltage)
    }

    /// Drives the pins to `levels`; those that stand there are left alone.
    #[inline]
    fn drive(&mut self, levels: Levels) -> Result<(), P::Error> {
        if levels.pump {
            self.pump_is_high = !self.pump_is_high;
            write(&mut self.pins.probe_pump, self.pump_is_high)?;
        } else if self.pump_is_high {
            self.pins.probe_pump.set_low()?;
            self.pump_is_high = false;
        }
        if levels != self.levels {
            write(&mut self.pins.probe_hold, levels.hold)?;
            write(&mut self.pins.tone, levels.tone)?;
            write(&mut self.pins.drive_raise, levels.raise)?;
            write(&mut self.pins.drive_ground, levels.ground)?;
            write(&mut self.pins.drive_clip, levels.clip)?;
            self.levels = levels;
        }
        Ok(())
    }

    /// Drives every pin low, whatever it is thought to stand at and whichever of them fails.
    #[cold]
    fn open(&mut self) -> Result<(), P::Error> {
        self.levels = Levels::OFF;
        self.pump_is_high = false;
        let results = [
            self.pins.probe_hold.set_low(),
            self.pins.probe_pump.set_low(),
            self.pins.drive_ground.set_low(),
            self.pins.drive_clip.set_low(),
            self.pins.tone.set_low(),
            self.pins.drive_raise.set_low(),
        ];
        results.into_iter().collect()
    }
}

#[inline]
fn write<P: OutputPin>(pin: &mut P, high: bool) -> Result<(), P::Error> {
    if high { pin.set_high() } else { pin.set_low() }
}

/// Codes at the peak of a sine of `rms`, at the nominal gain.
fn peak_codes(rms: Volts) -> i32 {
    let peak = f64::from(rms.get()) * core::f64::consts::SQRT_2;
    (peak / NOMINAL_VOLTS_PER_CODE) as i32
}

#[cfg(test)]
mod tests;
