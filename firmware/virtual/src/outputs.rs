//! The six pins of the tester's own currents, and the relays that they move.
//!
//! [`Outputs`] stands between the firmware's pins and the front end: the pins say when they
//! change, the front end asks which paths were closed while a frame was converted.
//!
//! Model, in steps of one frame (250 us): a change of a pin at a frame's end holds from the next
//! conversion on, one in the middle from the one after. Relay A's lamp is lit while its pin had
//! an edge within the last millisecond (the charge pump), the others' while their pin is high. A
//! contact closes when its lamp was lit for three frames and opens one frame after it went dark:
//! photo-MOS relays take 0.2 to 1 ms to close and less to open (from memory). Tone and level have no
//! contact. A stuck relay stays as it is whatever its lamp does, a stuck pin whatever the firmware
//! drives it to.
//!
//! The locks of the relay logic (`hardware/`, sheet 5): B is dark while the pin of the drive to the
//! clip is high, the drive to ground while B's is, the drive to the clip while the one to ground is.
//!
//! What was asked once never changes afterwards, so codes repeat exactly.

use crate::clock::{FRAME_NANOS, SimClock};
use crate::tester::Paths;
use core::convert::Infallible;
use embedded_hal::digital::{ErrorType, OutputPin};
use slotwise_firmware::stimulator::Pins;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

/// Frames for which the charge pump holds after an edge: 1 ms.
const PUMP_HOLDS: u64 = 4;
/// Frames from a lamp lit to its contact closed.
const CLOSES_AFTER: u8 = 3;
/// Frames from a lamp dark to its contact open.
const OPENS_AFTER: u8 = 1;

/// Frames of its past that a frame's codes depend on: three of the converter's filter, and two
/// in which the strings' filter forgets what came before, to 1e-5.
pub const PAST: usize = 6;

/// One of the six pins.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Output {
    /// Relay A of the probe, through the charge pump.
    ProbePump,
    /// Relay B of the probe.
    ProbeHold,
    /// Relay of the drive to ground.
    DriveGround,
    /// Relay of the drive to the clip.
    DriveClip,
    /// Sign of the drive.
    Tone,
    /// Level of the drive.
    DriveRaise,
}

impl Output {
    /// All six, in order.
    pub const ALL: [Self; 6] = [
        Self::ProbePump,
        Self::ProbeHold,
        Self::DriveGround,
        Self::DriveClip,
        Self::Tone,
        Self::DriveRaise,
    ];
}

/// Levels of all pins, in the order of [`Output`].
pub type Levels = [bool; Output::ALL.len()];

/// One of the four relays.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Relay {
    /// Relay A of the probe.
    ProbeA,
    /// Relay B of the probe.
    ProbeB,
    /// The drive's to ground.
    DriveGround,
    /// The drive's to the clip.
    DriveClip,
}

/// What the tester did to the receptacle during one conversion.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Driven {
    /// The paths that were closed.
    pub paths: Paths,
    /// Whether the drive stood high. Says nothing while its path is open.
    pub high: bool,
    /// Whether its level was raised. Says nothing while its path is open.
    pub raised: bool,
}

/// In how many conversions each path was closed.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Closings {
    /// P1.
    pub probe: u64,
    /// P2 to ground.
    pub drive_to_ground: u64,
    /// P2 to the clip.
    pub drive_to_clip: u64,
}

/// A contact and how long its lamp has been as it is.
#[derive(Clone, Copy, Debug, Default)]
struct Contact {
    lit: bool,
    frames: u8,
    closed: bool,
    stuck: Option<bool>,
}

impl Contact {
    fn step(&mut self, lit: bool) -> bool {
        if lit == self.lit {
            self.frames = self.frames.saturating_add(1);
        } else {
            self.lit = lit;
            self.frames = 1;
        }
        let takes = if lit { CLOSES_AFTER } else { OPENS_AFTER };
        if self.frames > takes {
            self.closed = lit;
        }
        self.stuck.unwrap_or(self.closed)
    }
}

#[derive(Debug)]
struct State {
    levels: Levels,
    /// Pins that do not follow.
    jammed: [Option<bool>; Output::ALL.len()],
    /// The conversion that the pump's last edge began.
    pumped: Option<u64>,
    contacts: [Contact; 4],
    /// The first conversion that is not known yet.
    next: u64,
    /// From which conversion on which state holds.
    history: Vec<(u64, Driven)>,
    closings: Closings,
}

impl State {
    /// Works out every conversion before `until`, with the pins as they are.
    fn reach(&mut self, until: u64) {
        while self.next < until {
            let [_, hold, ground, clip, high, raised] = self.levels;
            let pumped = self
                .pumped
                .is_some_and(|edge| self.next < edge + PUMP_HOLDS);
            let [a, b, ground, clip] = {
                let locked = [pumped, hold && !clip, ground && !hold, clip && !ground];
                let mut lit = locked.into_iter();
                self.contacts
                    .each_mut()
                    .map(|contact| contact.step(lit.next().unwrap_or(false)))
            };
            let paths = Paths {
                probe: a && b,
                drive_to_ground: ground,
                drive_to_clip: clip,
            };
            let driven = Driven {
                paths,
                high,
                raised,
            };
            self.closings.probe += u64::from(paths.probe);
            self.closings.drive_to_ground += u64::from(ground);
            self.closings.drive_to_clip += u64::from(clip);
            if self.history.last().map(|(_, last)| *last) != Some(driven) {
                self.history.push((self.next, driven));
            }
            self.next += 1;
        }
    }

    fn set(&mut self, output: usize, high: bool, from: u64) {
        let high = self.jammed[output].unwrap_or(high);
        if self.levels[output] == high {
            return;
        }
        self.reach(from);
        self.levels[output] = high;
        if output == Output::ProbePump as usize {
            self.pumped = Some(self.next);
        }
    }

    fn at(&self, number: u64) -> Driven {
        let after = self.history.partition_point(|(from, _)| *from <= number);
        after
            .checked_sub(1)
            .map_or_else(Driven::default, |index| self.history[index].1)
    }
}

/// The pins and their relays; clones are the same.
#[derive(Clone, Debug)]
pub struct Outputs(Arc<Mutex<State>>);

impl Default for Outputs {
    fn default() -> Self {
        Self::new()
    }
}

impl Outputs {
    /// Every pin low, every contact open.
    #[must_use]
    pub fn new() -> Self {
        Self(Arc::new(Mutex::new(State {
            levels: [false; Output::ALL.len()],
            jammed: [None; Output::ALL.len()],
            pumped: None,
            contacts: [Contact::default(); 4],
            next: 0,
            history: Vec::new(),
            closings: Closings::default(),
        })))
    }

    /// The pins for the firmware; `clock` stamps their changes.
    #[must_use]
    pub fn pins(&self, clock: &SimClock) -> Pins<OutputLine> {
        let line = |output| OutputLine {
            outputs: self.clone(),
            clock: clock.clone(),
            output,
        };
        Pins {
            probe_pump: line(Output::ProbePump),
            probe_hold: line(Output::ProbeHold),
            drive_ground: line(Output::DriveGround),
            drive_clip: line(Output::DriveClip),
            tone: line(Output::Tone),
            drive_raise: line(Output::DriveRaise),
        }
    }

    /// Says at which levels the pins stand during conversion `number`: for a board that is looked
    /// at once a frame.
    pub fn set_during(&self, number: u64, levels: Levels) {
        let mut state = self.state();
        for (output, high) in levels.into_iter().enumerate() {
            state.set(output, high, number);
        }
    }

    /// What was driven during the conversions `number`, the one before it, and so on back.
    #[must_use]
    pub fn during(&self, number: u64) -> [Driven; PAST] {
        let mut state = self.state();
        state.reach(number + 1);
        core::array::from_fn(|back| {
            number
                .checked_sub(back as u64)
                .map_or_else(Driven::default, |number| state.at(number))
        })
    }

    /// Level of a pin now.
    #[must_use]
    pub fn is_high(&self, output: Output) -> bool {
        self.state().levels[output as usize]
    }

    /// Whether every pin is low, the tone's too.
    #[must_use]
    pub fn all_low(&self) -> bool {
        self.state().levels == [false; Output::ALL.len()]
    }

    /// Conversions with closed paths, as far as somebody asked.
    #[must_use]
    pub fn closings(&self) -> Closings {
        self.state().closings
    }

    /// Welds a contact closed (`Some(true)`), breaks it (`Some(false)`), or mends it.
    pub fn stick(&self, relay: Relay, stuck: Option<bool>) {
        self.state().contacts[relay as usize].stuck = stuck;
    }

    /// A pin that stands at this level from now on, whatever it is driven to.
    pub fn jam(&self, output: Output, level: bool) {
        let mut state = self.state();
        let output = output as usize;
        state.jammed[output] = Some(level);
        let next = state.next;
        state.set(output, level, next);
    }

    fn state(&self) -> MutexGuard<'_, State> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// One pin as the firmware holds it.
#[derive(Clone)]
pub struct OutputLine {
    outputs: Outputs,
    clock: SimClock,
    output: Output,
}

impl OutputLine {
    fn set(&self, high: bool) {
        // The conversion that begins at this instant, or after it.
        let from = self.clock.nanos().div_ceil(FRAME_NANOS) + 1;
        self.outputs.state().set(self.output as usize, high, from);
    }
}

impl ErrorType for OutputLine {
    type Error = Infallible;
}

impl OutputPin for OutputLine {
    fn set_low(&mut self) -> Result<(), Infallible> {
        self.set(false);
        Ok(())
    }

    fn set_high(&mut self) -> Result<(), Infallible> {
        self.set(true);
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn probe(outputs: &Outputs, number: u64) -> bool {
        outputs.during(number)[0].paths.probe
    }

    #[test]
    fn the_probe_is_held_by_a_pin_that_moves_and_by_none_that_stands() {
        let outputs = Outputs::new();
        let mut pump = false;
        for number in 10..30 {
            pump = !pump;
            outputs.set_during(number, [pump, true, false, false, false, false]);
            assert_eq!(probe(&outputs, number), number >= 13, "{number}");
        }
        // The pin stops, high or low: four frames of pump from its last edge at 29, one to open.
        for number in 30..40 {
            outputs.set_during(number, [pump, true, false, false, false, false]);
            assert_eq!(probe(&outputs, number), number <= 33, "{number}");
        }
        assert_eq!(outputs.closings().probe, 21);
    }

    #[test]
    fn either_relay_opens_the_probe() {
        let outputs = Outputs::new();
        for number in 0..20 {
            let pump = number % 2 == 0;
            outputs.set_during(number, [pump, number < 10, false, false, false, false]);
        }
        // The lamp of B is dark from conversion 10 on, its contact open one later.
        assert!(probe(&outputs, 10) && !probe(&outputs, 11));
    }

    #[test]
    fn pins_change_from_the_next_conversion_on() {
        let clock = SimClock::new();
        let outputs = Outputs::new();
        let mut pins = outputs.pins(&clock);
        clock.advance(7 * FRAME_NANOS);
        // At the end of conversion 7: holds during 8. Tone without a contact.
        pins.tone.set_high().unwrap();
        let high = |number| outputs.during(number)[0].high;
        assert!(!high(7) && high(8));
        clock.advance(FRAME_NANOS / 2);
        // In the middle of 8, which it leaves as it was.
        pins.tone.set_low().unwrap();
        assert_eq!(
            outputs.during(10).map(|driven| driven.high),
            [false, false, true, false, false, false]
        );
    }

    #[test]
    fn what_was_asked_does_not_change_afterwards() {
        let outputs = Outputs::new();
        let before = outputs.during(50);
        outputs.set_during(20, [false, false, true, false, true, false]);
        assert_eq!(outputs.during(50), before);
        assert!(outputs.during(60)[0].paths.drive_to_ground);
        assert_eq!(outputs.during(50), before);
        assert!(!outputs.all_low() && outputs.is_high(Output::Tone));
    }

    #[test]
    fn a_jammed_pin_does_not_follow_and_no_jammed_pin_closes_the_probe() {
        for output in Output::ALL {
            for level in [false, true] {
                let outputs = Outputs::new();
                outputs.jam(output, level);
                for number in 0..40 {
                    assert!(!probe(&outputs, number), "{output:?} {level}");
                    outputs.set_during(number + 1, [false; 6]);
                }
                assert_eq!(outputs.is_high(output), level);
            }
        }
    }

    #[test]
    fn the_logic_keeps_the_relays_apart() {
        for (levels, paths) in [
            ([false, true, true, false, false, false], [false, false]),
            ([false, false, true, true, false, false], [true, false]),
            ([false, false, false, true, false, false], [false, true]),
        ] {
            let outputs = Outputs::new();
            for number in 0..20 {
                outputs.set_during(number, levels);
            }
            let driven = outputs.during(19)[0].paths;
            assert_eq!([driven.drive_to_ground, driven.drive_to_clip], paths);
        }
    }

    #[test]
    fn a_stuck_contact_does_not_listen() {
        let outputs = Outputs::new();
        outputs.stick(Relay::ProbeB, Some(true));
        for number in 0..20 {
            outputs.set_during(number, [number % 2 == 0, false, true, false, false, false]);
        }
        assert!(probe(&outputs, 19), "B is welded, A still pumped");
        outputs.set_during(20, [false, false, true, false, false, false]);
        assert!(!probe(&outputs, 30), "A alone opens it");
        outputs.stick(Relay::DriveGround, Some(false));
        assert!(outputs.during(30)[0].paths.drive_to_ground);
        assert!(!outputs.during(31)[0].paths.drive_to_ground);
        outputs.stick(Relay::DriveGround, None);
        assert!(outputs.during(32)[0].paths.drive_to_ground);
    }
}
