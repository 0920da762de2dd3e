//! The virtual board: the real firmware, drivers and all, on the chip models.
//!
//! As on the real board, frames are read when the converter says so, also while the main loop
//! waits for the flash, and queue up until the loop takes them; the tester's own currents are
//! set and watched right there. One [`VirtualBoard::step`] is one turn of that loop, 0.25 ms of
//! simulated time at least.
//!
//! A frame is read when the data-ready pin has fallen. After a pause the converter's store is
//! emptied and the frames that are missing are told as lost, as on the real board.
//!
//! This file alone of the crate knows what a calibration is: somebody must play the workshop
//! that calibrates a tester before it is used.

use crate::chips::adc::{AdcSpi, DataReady, VirtualAdc};
use crate::chips::nor::{NorSpi, SizeError, VirtualNor};
use crate::chips::side_bus::{SideParts, VirtualSideBus};
use crate::clock::{FRAME_NANOS, SimClock, SimDelay};
use crate::computer::Computer;
use crate::front_end::FrameSource;
use crate::outputs::{OutputLine, Outputs};
use crate::pins::{DrivenInput, RecordedOutput};
use crate::serial::BoardEnd;
use crate::tester::Specimen;
use embedded_hal::digital::InputPin as _;
use slotwise_core::calibration::{self, Calibration, CalibrationError, ChannelCalibration};
use slotwise_core::drive::DriveCalibration;
use slotwise_core::front_end::NOMINAL_VOLTS_PER_CODE;
use slotwise_core::lamps::LAMPS;
use slotwise_core::record::{BootCause, TesterId, Version};
use slotwise_core::sample::{Frame, FrameFault};
use slotwise_core::slots::Lead;
use slotwise_core::start::Start;
use slotwise_core::stimulus::Applied;
use slotwise_core::units::{Celsius, Millis, Ratio, UnixSeconds};
use slotwise_firmware::adc::{AdcError, Converter, Misread};
use slotwise_firmware::calibration_store::{CalibrationStore, CalibrationStoreError};
use slotwise_firmware::nor::{NorError, SpiNor};
use slotwise_firmware::self_test::{self, Guard, Hardware, Pace, Stage};
use slotwise_firmware::side_bus::{Served as _, SideBus};
use slotwise_firmware::stimulator::{SILENCE_MS, Stimulator};
use slotwise_firmware::tester::{Identity, Parts, Tester};
use std::collections::VecDeque;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

/// Size of the NOR part: 8 MiB.
pub const NOR_BYTES: usize = 8 << 20;

/// Frames that can wait for the main loop, as on the real board: 128 ms.
const QUEUE: usize = 512;

/// A longer pause is not counted here but by the tester, by its own clock, as on the real board:
/// 500 ms.
const SILENCE_FRAMES: u64 = 2000;

/// Hertz low enough that filter and converter take nothing off: 3e-12 at most.
const NEARLY_DC: f64 = 0.01;

/// The tester of the virtual board.
pub type BoardTester =
    Tester<SpiNor<NorSpi, SimDelay>, BoardEnd, RecordedOutput, RecordedOutput, DrivenInput>;

/// What the converter delivered, and what the tester's own outputs did meanwhile.
type Delivered = (Result<Frame, FrameFault>, Applied);

/// What interrupt and main loop share.
struct Shared {
    waiting: VecDeque<Delivered>,
    lost: u32,
    /// Number of the first frame read.
    first: Option<u64>,
    /// Number of the newest conversion when the interrupt last ran.
    last: Option<u64>,
    /// Where the clocks stood at the last frame, and whether the loop has seen it.
    pace: Option<Pace>,
    is_new: bool,
    converter: Converter<AdcSpi>,
    stimulator: Stimulator<OutputLine>,
}

/// What the firmware's tests of itself see of the board.
struct Tested<'b> {
    shared: &'b Mutex<Shared>,
    computer: &'b Computer,
}

impl Hardware for Tested<'_> {
    fn pace(&mut self) -> Option<Pace> {
        lock(self.shared).pace
    }

    fn guard(&mut self) -> Guard {
        self.computer.guard()
    }

    fn begin_read_back(&mut self) {
        lock(self.shared).converter.begin_read_back();
    }

    fn read_back(&mut self) -> Option<Result<(), Misread>> {
        lock(self.shared).converter.take_read_back()
    }
}

/// Why a virtual board does not start.
#[derive(Debug, thiserror::Error)]
pub enum BoardError {
    /// The converter's model refused the driver.
    #[error("the virtual converter does not start: {0}")]
    Converter(AdcError),
    /// The flash contents do not fit a part.
    #[error(transparent)]
    Contents(#[from] SizeError),
    /// The flash's model refused the driver.
    #[error("the virtual flash does not answer: {0}")]
    Flash(NorError),
    /// The calibration is one that no working tester has.
    #[error("the specimen cannot be calibrated: {0}")]
    Calibration(CalibrationError),
    /// The calibration could not be stored.
    #[error("the calibration cannot be stored: {0}")]
    Store(CalibrationStoreError<NorError>),
}

/// The invented serial number of every virtual tester.
pub const VIRTUAL_TESTER: TesterId = TesterId(0x5107_0000_0000_0001);

/// An identity for demonstrations: an invented serial number, this version, no clock chip.
#[must_use]
pub const fn demo_identity(clock: Option<UnixSeconds>) -> Identity {
    Identity {
        tester: VIRTUAL_TESTER,
        firmware: Version {
            major: 0,
            minor: 1,
            patch: 0,
        },
        start: Start {
            cause: BootCause::PowerOn,
            build: None,
            stopped: None,
        },
        clock,
    }
}

/// A calibration of `specimen` without error, as if done against a perfect reference. Its
/// stated uncertainty is that of a 0.1 % reference all the same: 0.22 % at k = 2.
#[must_use]
pub fn calibrate(specimen: &Specimen) -> Calibration {
    Calibration {
        channels: Lead::ALL.map(|lead| ChannelCalibration {
            offset: specimen.offset_code(lead).round() as i32,
            gain: specimen.true_gain_at(lead, NEARLY_DC) / NOMINAL_VOLTS_PER_CODE,
        }),
        u_gain: Ratio::new(0.0011),
        reference: specimen.currents.reference,
        done: UnixSeconds::new(1_790_000_000),
        temperature: Celsius::new(23.0),
        drive: DriveCalibration {
            level: specimen.currents.drive_level,
            source: specimen.currents.drive_source,
            lead_zero: specimen.currents.clip_reference,
            ..DriveCalibration::NOMINAL
        },
    }
}

/// Contents of the flash of a tester that left the workshop: calibrated, no records.
///
/// # Errors
/// [`BoardError`] where the specimen is no working tester.
pub fn workshop_flash(specimen: &Specimen) -> Result<Vec<u8>, BoardError> {
    let clock = SimClock::new();
    let nor = VirtualNor::erased(&clock, NOR_BYTES)?;
    let mut flash = SpiNor::new(nor.spi(), clock.delay()).map_err(BoardError::Flash)?;
    let mut buffer = [0; calibration::MAX_BYTES];
    let calibration = calibrate(specimen);
    calibration.check().map_err(BoardError::Calibration)?;
    let bytes = calibration
        .encode(&mut buffer)
        .map_err(BoardError::Calibration)?;
    CalibrationStore::new(&mut flash)
        .write(bytes)
        .map_err(BoardError::Store)?;
    Ok(nor.contents())
}

/// A running board.
pub struct VirtualBoard {
    /// Simulated time.
    pub clock: SimClock,
    /// The converter, for faults and counts.
    pub adc: VirtualAdc,
    /// The flash, for faults and contents.
    pub nor: VirtualNor,
    /// The lamps' pins, top to bottom.
    pub lamps: [RecordedOutput; LAMPS],
    /// The board's own small lamp.
    pub heartbeat: RecordedOutput,
    /// The button.
    pub button: DrivenInput,
    /// The pins and relays of the tester's own currents.
    pub outputs: Outputs,
    /// The microcontroller, for faults.
    pub computer: Computer,
    /// Clock chip and display, where the board has them.
    pub side: VirtualSideBus,
    side_bus: SideBus<VirtualSideBus>,
    tester: BoardTester,
    shared: Arc<Mutex<Shared>>,
    /// When the watchdog was last fed, and the longest that it ever waited.
    fed: Millis,
    hungriest: u64,
}

impl VirtualBoard {
    /// Powers a board whose converter is fed by `source` and whose flash holds `contents`.
    ///
    /// # Errors
    /// [`BoardError`] where a driver finds its chip wanting.
    pub fn start(
        source: impl FrameSource + 'static,
        contents: Vec<u8>,
        serial: BoardEnd,
        identity: Identity,
    ) -> Result<Self, BoardError> {
        Self::start_broken(source, contents, serial, identity, |_, _| {})
    }

    /// The same with converter and microcontroller broken by `break_it` before they are used.
    ///
    /// # Errors
    /// As [`VirtualBoard::start`].
    pub fn start_broken(
        source: impl FrameSource + 'static,
        contents: Vec<u8>,
        serial: BoardEnd,
        identity: Identity,
        break_it: impl FnOnce(&VirtualAdc, &Computer),
    ) -> Result<Self, BoardError> {
        let parts = SideParts::default();
        Self::start_with(source, contents, serial, identity, parts, break_it)
    }

    /// The same with these parts on its side bus. A clock chip that has the time counts before
    /// what `identity` says.
    ///
    /// # Errors
    /// As [`VirtualBoard::start`].
    pub fn start_with(
        mut source: impl FrameSource + 'static,
        contents: Vec<u8>,
        serial: BoardEnd,
        identity: Identity,
        parts: SideParts,
        break_it: impl FnOnce(&VirtualAdc, &Computer),
    ) -> Result<Self, BoardError> {
        let clock = SimClock::new();
        let computer = Computer::new();
        let outputs = Outputs::new();
        source.connect(&outputs);
        let adc = VirtualAdc::new(&clock, source);
        let nor = VirtualNor::with_contents(&clock, contents)?;
        break_it(&adc, &computer);
        let side = VirtualSideBus::new(&clock, parts);
        let (side_bus, time) = SideBus::start(side.clone());
        let identity = Identity {
            clock: time.ok().or(identity.clock),
            ..identity
        };
        let mut tested = computer.check_at_start();
        let mut converter = Converter::new(adc.spi());
        let mut delay = clock.delay();
        converter.start(&mut delay).map_err(BoardError::Converter)?;
        let channels =
            self_test::converter::check(&mut converter, &mut adc.data_ready(), &mut delay);
        tested = tested.and(channels);
        let shared = Arc::new(Mutex::new(Shared {
            waiting: VecDeque::new(),
            lost: 0,
            first: None,
            last: None,
            pace: None,
            is_new: false,
            converter,
            stimulator: Stimulator::new(outputs.pins(&clock)),
        }));
        read_on_data_ready(&clock, &computer, adc.data_ready(), Arc::clone(&shared));

        let lamps: [RecordedOutput; LAMPS] = core::array::from_fn(|_| RecordedOutput::new(&clock));
        let heartbeat = RecordedOutput::new(&clock);
        let button = DrivenInput::button();
        let flash = SpiNor::new(nor.spi(), clock.delay()).map_err(BoardError::Flash)?;
        let mut tester = Tester::new(
            Parts {
                flash: Some(flash),
                serial,
                lamps: lamps.clone(),
                heartbeat: heartbeat.clone(),
                button: button.clone(),
            },
            identity,
        );
        tester.clock_is(time);
        if let Err(failure) = tested {
            tester.fail(failure);
        }
        Ok(Self {
            fed: clock.millis(),
            hungriest: 0,
            clock,
            adc,
            nor,
            lamps,
            heartbeat,
            button,
            outputs,
            computer,
            side,
            side_bus,
            tester,
            shared,
        })
    }

    /// One turn of the main loop: waits for a frame, takes what is queued, polls, sets the
    /// outputs.
    pub fn step(&mut self) {
        self.clock.advance_to_next_frame();
        let (waiting, lost) = {
            let mut shared = lock(&self.shared);
            (
                core::mem::take(&mut shared.waiting),
                core::mem::take(&mut shared.lost),
            )
        };
        if lost > 0 {
            self.tester
                .frame(Err(FrameFault::Lost(lost)), Applied::Nothing);
        }
        for (delivered, applied) in waiting {
            self.tester.frame(delivered, applied);
        }
        let now = self.clock.millis();
        self.tester.poll(now);
        self.tester.test_itself(&mut Tested {
            shared: &self.shared,
            computer: &self.computer,
        });
        self.side_bus.poll(now, &mut self.tester);
        let order = self.tester.order();
        let newest = self.clock.frame();
        let mut shared = lock(&self.shared);
        shared.stimulator.set(order);
        let silent = newest - shared.last.unwrap_or(newest);
        if silent * FRAME_NANOS >= SILENCE_MS * 1_000_000 {
            shared.stimulator.silence();
            self.tester.flow().mark(Stage::Frames);
            self.tester.flow().mark(Stage::Stimulator);
        }
        if core::mem::take(&mut shared.is_new) {
            self.tester.flow().mark(Stage::Stimulator);
        }
        if self.tester.flow().take_whole() {
            self.hungriest = self.hungriest.max(now.since(self.fed));
            self.fed = now;
        }
    }

    /// The longest that the watchdog had to wait to be fed, the wait in hand included.
    #[must_use]
    pub fn longest_unfed_ms(&self) -> u64 {
        self.hungriest.max(self.clock.millis().since(self.fed))
    }

    /// Steps until `millis` of simulated time have passed.
    pub fn run_for(&mut self, millis: u64) {
        let until = self.clock.millis().get() + millis;
        while self.clock.millis().get() < until {
            self.step();
        }
    }

    /// The firmware.
    pub const fn tester(&mut self) -> &mut BoardTester {
        &mut self.tester
    }

    /// The firmware's end of the side bus.
    #[must_use]
    pub const fn side_bus(&self) -> &SideBus<VirtualSideBus> {
        &self.side_bus
    }

    /// Number of the first frame that the firmware read, as the front end counts.
    #[must_use]
    pub fn first_frame(&self) -> Option<u64> {
        lock(&self.shared).first
    }
}

/// The data-ready interrupt: the frame, then the outputs for the next one.
fn read_on_data_ready(
    clock: &SimClock,
    computer: &Computer,
    mut data_ready: DataReady,
    shared: Arc<Mutex<Shared>>,
) {
    let (time, computer) = (clock.clone(), computer.clone());
    clock.every(FRAME_NANOS, move |nanos| {
        let Ok(true) = data_ready.is_low() else {
            return;
        };
        let newest = nanos / FRAME_NANOS;
        let mut shared = lock(&shared);
        let shared = &mut *shared;
        let missed = match shared.last.map(|last| newest - last - 1) {
            Some(missed) if missed < SILENCE_FRAMES => missed,
            _ => 0,
        };
        let pace = shared.pace.unwrap_or(Pace {
            starts: 0,
            frames: 0,
            micros: 0,
        });
        let goes_on = shared.last.is_some_and(|last| newest - last - 1 == missed);
        shared.pace = Some(Pace {
            starts: pace.starts + u32::from(!goes_on),
            frames: pace.frames.wrapping_add(1 + missed as u32),
            micros: computer.micros(&time),
        });
        shared.is_new = true;
        let delivered = if missed == 0 {
            shared.converter.read_frame()
        } else {
            // What stands in the store is of unknown age. The newest frame goes with it.
            let _ = shared.converter.catch_up();
            Err(FrameFault::Lost(
                u32::try_from(missed + 1).unwrap_or(u32::MAX),
            ))
        };
        shared.first.get_or_insert(newest);
        shared.last = Some(newest);
        let applied = shared.stimulator.on_frame(&delivered);
        if shared.waiting.len() < QUEUE {
            shared.waiting.push_back((delivered, applied));
        } else {
            shared.lost = shared.lost.saturating_add(1);
        }
    });
}

fn lock(shared: &Mutex<Shared>) -> MutexGuard<'_, Shared> {
    shared.lock().unwrap_or_else(PoisonError::into_inner)
}
