//! Reading the converter's settings back while it samples, without losing a frame.
//!
//! A frame that answers a read carries conversions like any other; only its first word is the
//! register instead of the status (SBAS890D 8.5.1.7). So each register takes two frames: the
//! read goes out where a NULL would, and the next frame brings the answer. What that one
//! frame's status would have said, the frame after it says.

use embedded_hal::spi::SpiDevice;
use slotwise_core::sample::{Frame, FrameFault};

use super::frame::{FRAME_BYTES, Response, encode};
use super::registers::{CLOCK, Command, GAIN1, MODE, Mux, Register, Status};
use super::{Converter, TRIES};

/// Every setting that a conversion rests on, and what it must read.
const SETTINGS: [(Register, u16); 7] = [
    (Register::Mode, MODE),
    (Register::Clock, CLOCK),
    (Register::Gain1, GAIN1),
    (Register::Channel0, Mux::Input as u16),
    (Register::Channel1, Mux::Input as u16),
    (Register::Channel2, Mux::Input as u16),
    (Register::Channel3, Mux::Input as u16),
];

/// A setting that reads wrong, [`TRIES`] times.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Misread {
    /// The register.
    pub register: Register,
    /// What it held last.
    pub found: u16,
    /// What it must hold.
    pub expected: u16,
}

/// How far a read-back has come.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum ReadBack {
    Idle,
    /// The next frame asks for this setting.
    Ask {
        setting: u8,
        tries: u8,
    },
    /// The next frame brings it.
    Answer {
        setting: u8,
        tries: u8,
    },
    Done(Result<(), Misread>),
}

impl ReadBack {
    #[inline]
    pub(super) const fn is_running(self) -> bool {
        matches!(self, Self::Ask { .. } | Self::Answer { .. })
    }
}

impl<SPI: SpiDevice<u8>> Converter<SPI> {
    /// Begins to read all settings back, two frames each. [`Converter::start`] ends it without
    /// an outcome.
    pub const fn begin_read_back(&mut self) {
        self.read_back = ReadBack::Ask {
            setting: 0,
            tries: 0,
        };
    }

    /// What came of it, once.
    pub const fn take_read_back(&mut self) -> Option<Result<(), Misread>> {
        let ReadBack::Done(outcome) = self.read_back else {
            return None;
        };
        self.read_back = ReadBack::Idle;
        Some(outcome)
    }

    /// The command of the read-back that goes out with the next frame, if it asks for one.
    #[cold]
    #[inline(never)]
    pub(super) fn read_back_command(&self) -> Option<[u8; FRAME_BYTES]> {
        let ReadBack::Ask { setting, .. } = self.read_back else {
            return None;
        };
        let (register, _) = SETTINGS.get(usize::from(setting))?;
        Some(encode(Command::Read(*register)))
    }

    /// A frame that came while the read-back runs, once a minute: a step of it, and what the
    /// frame is worth.
    #[cold]
    #[inline(never)]
    pub(super) fn step_read_back(
        &mut self,
        response: Result<Response, FrameFault>,
    ) -> Result<Frame, FrameFault> {
        let state = self.read_back;
        let asked = match state {
            ReadBack::Ask { setting, .. } | ReadBack::Answer { setting, .. } => {
                SETTINGS.get(usize::from(setting))
            }
            ReadBack::Idle | ReadBack::Done(_) => None,
        };
        self.read_back = match (state, asked, &response) {
            (ReadBack::Ask { setting, tries }, Some(_), Ok(_)) => {
                ReadBack::Answer { setting, tries }
            }
            (ReadBack::Answer { setting, tries }, Some(&(register, expected)), Ok(response)) => {
                answered(setting, tries, register, expected, response.word)
            }
            // A damaged frame says nothing of the setting, and the sequence hears of it.
            (ReadBack::Answer { setting, tries }, Some(_), Err(_)) => {
                ReadBack::Ask { setting, tries }
            }
            // Past the last one. This frame asked for nothing.
            (ReadBack::Ask { .. } | ReadBack::Answer { .. }, None, _) => ReadBack::Done(Ok(())),
            (ReadBack::Ask { .. } | ReadBack::Idle | ReadBack::Done(_), _, _) => state,
        };
        let response = response?;
        if !matches!(state, ReadBack::Answer { .. }) {
            // This frame still answers a NULL.
            Status(response.word).fault().map_or(Ok(()), Err)?;
        }
        Ok(response.frame)
    }

    /// The bus failed under a frame: the setting in hand is asked for again.
    #[cold]
    #[inline(never)]
    pub(super) const fn bus_failed(&mut self) -> FrameFault {
        if let ReadBack::Answer { setting, tries } = self.read_back {
            self.read_back = ReadBack::Ask { setting, tries };
        }
        FrameFault::Bus
    }
}

/// What follows an answer.
const fn answered(
    setting: u8,
    tries: u8,
    register: Register,
    expected: u16,
    found: u16,
) -> ReadBack {
    if found == expected {
        return ReadBack::Ask {
            setting: setting + 1,
            tries: 0,
        };
    }
    // A damaged read is answered by the status: ask again.
    if tries as u32 + 1 < TRIES {
        return ReadBack::Ask {
            setting,
            tries: tries + 1,
        };
    }
    ReadBack::Done(Err(Misread {
        register,
        found,
        expected,
    }))
}
