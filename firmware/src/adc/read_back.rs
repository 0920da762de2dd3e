//! Reading the converter's settings back while it samples, without losing a frame.
//!
//! A frame that answers a read carries conversions like any other; only its first word is the
//! register instead of the status (SBAS890D 8.5.1.7). So each register takes two frames: the
//! read goes out where a NULL would, and the next frame brings the answer. What that one
//! frame's status would have said, the frame after it says.

use embedded_hal::spi::SpiDevice;
use slotwise_core::sample::{Frame, FrameFault};

use super::frame::{FRAME_BYTES, decode, encode};
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

    /// [`Converter::read_frame`] with a step of the read-back in it: once a minute.
    #[cold]
    #[inline(never)]
    pub(super) fn step_read_back(&mut self) -> Result<Frame, FrameFault> {
        let state = self.read_back;
        let setting = match state {
            ReadBack::Ask { setting, .. } | ReadBack::Answer { setting, .. } => setting,
            ReadBack::Idle | ReadBack::Done(_) => 0,
        };
        let Some(&(register, expected)) = SETTINGS.get(usize::from(setting)) else {
            self.read_back = ReadBack::Done(Ok(()));
            return self.read_frame();
        };
        let asks = matches!(state, ReadBack::Ask { .. });
        let command = if asks {
            Command::Read(register)
        } else {
            Command::Null
        };
        let mut bytes = [0; FRAME_BYTES];
        let read = self
            .spi
            .transfer(&mut bytes, &encode(command))
            .map_err(|_| FrameFault::Bus)
            .and_then(|()| decode(&bytes).map_err(|_| FrameFault::Checksum));
        self.read_back = match (state, &read) {
            (ReadBack::Ask { setting, tries }, Ok(_)) => ReadBack::Answer { setting, tries },
            (ReadBack::Answer { setting, .. }, Ok(response)) if response.word == expected => {
                ReadBack::Ask {
                    setting: setting + 1,
                    tries: 0,
                }
            }
            // A damaged read is answered by the status: ask again.
            (ReadBack::Answer { setting, tries }, Ok(response)) => {
                if u32::from(tries) + 1 >= TRIES {
                    ReadBack::Done(Err(Misread {
                        register,
                        found: response.word,
                        expected,
                    }))
                } else {
                    ReadBack::Ask {
                        setting,
                        tries: tries + 1,
                    }
                }
            }
            // A damaged frame says nothing of the setting, and the sequence hears of it.
            (ReadBack::Answer { setting, tries }, Err(_)) => ReadBack::Ask { setting, tries },
            (ReadBack::Ask { .. } | ReadBack::Idle | ReadBack::Done(_), _) => state,
        };
        let response = read?;
        if asks {
            // This frame still answers the NULL before it.
            Status(response.word).fault().map_or(Ok(()), Err)?;
        }
        Ok(response.frame)
    }
}
