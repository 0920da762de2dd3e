//! The virtual tester: the real firmware on computed chips, fed by a computed receptacle,
//! behind a line that the rest of the program cannot tell from a tester's.
//!
//! Only this room knows the firmware and the virtual board. The board runs in a thread of its
//! own; its time is simulated and runs with the wall clock or a number of times faster
//! ([`Pace`]).

pub mod atlas;
mod far_line;
pub mod recorded;
pub mod scenario;
pub mod terrace;
pub mod trials;

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant};

use slotwise_core::record::TesterId;
use slotwise_core::units::UnixSeconds;
use slotwise_virtual::board::{VIRTUAL_TESTER, VirtualBoard, demo_identity, workshop_flash};
use slotwise_virtual::chips::side_bus::{SideParts, VirtualRtc};
use slotwise_virtual::front_end::{FrontEnd, Hand};
use slotwise_virtual::house::{Jig, Receptacle};
use slotwise_virtual::serial::{FarEnd, line};
use slotwise_virtual::tester::{Specimen, Tolerance};

use crate::error::Error;
use crate::port;
use crate::transport::Transport;
use far_line::{FarLine, Served};

/// Whether records of this tester are invented ones.
#[must_use]
pub fn is_virtual(tester: TesterId) -> bool {
    tester == VIRTUAL_TESTER
}

/// The specimen of every virtual tester: its parts are drawn by this number.
const SPECIMEN: u64 = 12;

/// When the invented tests were made: 2 March 2026, 14:00 UTC.
pub(crate) const INVENTED_CLOCK: UnixSeconds = UnixSeconds::new(1_772_460_000);

/// Turns of the board's loop between two looks at the line: 2.5 ms of its time.
const TURNS: usize = 10;

/// How many times faster than the wall clock the board's time runs, at most.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Pace(pub u32);

impl Pace {
    /// With the wall clock.
    pub const REAL: Self = Self(1);

    /// Fast, but slow enough that a program on the line sees a test of two seconds while it
    /// runs.
    pub const TOUR: Self = Self(20);
}

/// Which line the tester is to sit behind.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LineWish {
    /// A pseudo-terminal where the system has them, else memory.
    Best,
    /// Memory.
    Memory,
}

/// A running virtual tester.
pub struct VirtualTester {
    hand: Hand,
    stop: Arc<AtomicBool>,
    thread: Option<JoinHandle<()>>,
    line: Served,
}

impl VirtualTester {
    /// Starts a tester that is plugged into `receptacle`.
    ///
    /// # Errors
    /// [`Error::Bench`] where a computed part does not start.
    pub fn start(receptacle: &Receptacle, pace: Pace, wish: LineWish) -> Result<Self, Error> {
        let specimen = Specimen::draw(SPECIMEN, &Tolerance::USUAL);
        let contents = workshop_flash(&specimen).map_err(bench)?;
        let tester = Self::power(specimen, contents, Some(INVENTED_CLOCK), pace, wish)?;
        tester.plug(receptacle)?;
        Ok(tester)
    }

    /// Powers a tester with these parts and these contents of its flash, in the hand.
    ///
    /// # Errors
    /// [`Error::Bench`] where a computed part does not start.
    pub fn power(
        specimen: Specimen,
        contents: Vec<u8>,
        clock: Option<UnixSeconds>,
        pace: Pace,
        wish: LineWish,
    ) -> Result<Self, Error> {
        let (hand, source) = Hand::new(specimen.clone()).map_err(bench)?;
        let front_end = FrontEnd::new(specimen, Box::new(source));
        let (near, far) = line();
        let identity = demo_identity(clock);
        let rtc = clock.map_or_else(VirtualRtc::never_set, |clock| {
            VirtualRtc::running(clock.get())
        });
        let parts = SideParts {
            rtc: Some(rtc),
            display: None,
        };
        let board = VirtualBoard::start_with(front_end, contents, near, identity, parts, |_, _| {})
            .map_err(bench)?;
        let (far_line, served) = far_line::open(wish);
        let stop = Arc::new(AtomicBool::new(false));
        let seen = Arc::clone(&stop);
        let thread = thread::Builder::new()
            .name("virtual tester".to_owned())
            .spawn(move || run(board, far, far_line, pace, &seen))
            .map_err(bench)?;
        Ok(Self {
            hand,
            stop,
            thread: Some(thread),
            line: served,
        })
    }

    /// The pseudo-terminal's name, if the tester sits behind one.
    #[must_use]
    pub fn port(&self) -> Option<&str> {
        match &self.line {
            Served::Port(name) => Some(name),
            Served::Memory(_) => None,
        }
    }

    /// The host's end of the line: the port, opened like any other, or the line in memory.
    ///
    /// # Errors
    /// A port that cannot be opened; [`Error::Bench`] when asked twice for memory.
    pub fn connect(&mut self) -> Result<Box<dyn Transport>, Error> {
        match &mut self.line {
            Served::Port(name) => Ok(Box::new(port::open(name)?)),
            Served::Memory(end) => match end.take() {
                Some(end) => Ok(Box::new(end)),
                None => Err(bench("its line in memory is in use")),
            },
        }
    }

    /// Plugs the tester in.
    ///
    /// # Errors
    /// [`Error::Bench`] where the receptacle has no solution.
    pub fn plug(&self, receptacle: &Receptacle) -> Result<(), Error> {
        self.hand.plug(receptacle).map_err(bench)
    }

    /// Puts the tester on the fixture of a workshop.
    ///
    /// # Errors
    /// [`Error::Bench`] where the fixture has no solution.
    pub fn put_on(&self, jig: &Jig) -> Result<(), Error> {
        self.hand.put_on(jig).map_err(bench)
    }

    /// Pulls the tester out.
    ///
    /// # Errors
    /// [`Error::Bench`] where the network has no solution.
    pub fn unplug(&self) -> Result<(), Error> {
        self.hand.unplug().map_err(bench)
    }

    /// Ends the tester.
    ///
    /// # Errors
    /// [`Error::Bench`] if it came to grief before.
    pub fn stop(mut self) -> Result<(), Error> {
        self.stop.store(true, Ordering::Relaxed);
        match self.thread.take().map(JoinHandle::join) {
            Some(Err(_)) => Err(bench("its thread panicked")),
            _ => Ok(()),
        }
    }

    /// Whether the tester still runs.
    #[must_use]
    pub fn is_running(&self) -> bool {
        self.thread.as_ref().is_some_and(|t| !t.is_finished())
    }
}

impl Drop for VirtualTester {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::Relaxed);
    }
}

fn bench(error: impl ToString) -> Error {
    Error::Bench(error.to_string())
}

fn run(
    mut board: VirtualBoard,
    far: FarEnd,
    mut line: Box<dyn FarLine>,
    pace: Pace,
    stop: &AtomicBool,
) {
    let began = Instant::now();
    let mut waiting = Vec::new();
    while !stop.load(Ordering::Relaxed) {
        let is_open = line.is_open();
        far.set_open(is_open);
        if is_open {
            waiting.extend(far.read());
            line.send(&mut waiting);
            line.receive(&far);
        } else {
            waiting.clear();
        }
        for _ in 0..TURNS {
            board.step();
        }
        let due = Duration::from_nanos(board.clock.nanos()) / pace.0.max(1);
        thread::sleep(due.saturating_sub(began.elapsed()));
    }
}
