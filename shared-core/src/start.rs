//! A start of the tester, and what ended the run before it: the record's form.
//!
//! What a program leaves behind when it stops stands in memory that survives a restart
//! (`slotwise-firmware`'s `last_words`); the next start reads it, tells it in its record and over
//! the link, and forgets it. So a stop is told once. A power cut forgets it too: then the record
//! says that power came on and no more.

use serde::{Deserialize, Serialize};

use crate::record::BootCause;
use crate::units::Millis;

/// Which build of the firmware: the first eight bytes of the SHA-256 over the image in flash,
/// counted without the place of this number and of the check word.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct BuildId(pub [u8; 8]);

impl BuildId {
    /// An image that was never finished has zeros there.
    #[must_use]
    pub fn of_image(bytes: [u8; 8]) -> Option<Self> {
        (bytes != [0; 8]).then_some(Self(bytes))
    }
}

impl core::fmt::Display for BuildId {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        self.0.iter().try_for_each(|byte| write!(f, "{byte:02x}"))
    }
}

/// A start of the tester.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Start {
    /// What made it start.
    pub cause: BootCause,
    /// Which build of the firmware started. `None`: it is no finished image.
    pub build: Option<BuildId>,
    /// How the run before ended, if the program stopped by itself and memory still knows.
    pub stopped: Option<Stopped>,
}

/// How a run of the program ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Stopped {
    /// The start that was running, as its records count it; 0 if it ended before it knew.
    pub boot: u32,
    /// How long it had run; to the millisecond, or zero if it ended before the first one.
    pub at: Millis,
    /// What ended it.
    pub how: Stop,
}

/// What ended a run. The order is part of the record format: only append.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Stop {
    /// The program found itself in a state that cannot be, and stopped.
    Panic {
        /// Source file, its last 32 bytes.
        file: FileName,
        /// Line; 0 if the place is not known.
        line: u32,
    },
    /// The processor refused an instruction or an address.
    Fault {
        /// Where: the program counter that was saved.
        pc: u32,
        /// Where from: the link register that was saved.
        lr: u32,
        /// The processor's state; its low nine bits say which interrupt was running, 0 for none.
        psr: u32,
    },
    /// The watchdog was not fed in time.
    Watchdog {
        /// Stages that had not run since it was last fed.
        missing: Stages,
    },
}

/// A file's name, cut to its end: zeros after it.
#[derive(Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct FileName([u8; Self::BYTES]);

impl FileName {
    /// Most bytes that are kept.
    pub const BYTES: usize = 32;

    /// The end of `name`.
    #[must_use]
    pub fn new(name: &str) -> Self {
        Self::of_bytes(name.as_bytes())
    }

    /// The end of `name`, which need not be text.
    #[must_use]
    pub fn of_bytes(name: &[u8]) -> Self {
        let mut kept = [0; Self::BYTES];
        let from = name.len().saturating_sub(Self::BYTES);
        for (place, byte) in kept.iter_mut().zip(name.iter().skip(from)) {
            *place = *byte;
        }
        Self(kept)
    }

    /// The bytes.
    #[must_use]
    pub const fn bytes(&self) -> &[u8; Self::BYTES] {
        &self.0
    }
}

/// Whatever the bytes are, what is shown is printable: others are question marks.
impl core::fmt::Display for FileName {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        let end = self.0.iter().rposition(|byte| *byte != 0);
        let shown = self.0.iter().take(end.map_or(0, |end| end + 1));
        for byte in shown {
            let byte = if byte.is_ascii_graphic() || *byte == b' ' {
                *byte
            } else {
                b'?'
            };
            write!(f, "{}", char::from(byte))?;
        }
        Ok(())
    }
}

impl core::fmt::Debug for FileName {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        write!(f, "\"{self}\"")
    }
}

/// A stage of the program; in the order in which they run. Part of the record format: only
/// append.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(u8)]
pub enum Stage {
    /// A frame was taken into the sequence; or the converter is silent and was seen to.
    Frames,
    /// Silence, records and the button were seen to.
    Poll,
    /// The lamps were set.
    Lamps,
    /// The link was served.
    Link,
    /// The stimulator has looked at a frame and set the outputs; or opened them for a silent
    /// converter.
    Stimulator,
}

impl Stage {
    /// All stages.
    pub const ALL: [Self; 5] = [
        Self::Frames,
        Self::Poll,
        Self::Lamps,
        Self::Link,
        Self::Stimulator,
    ];

    const fn bit(self) -> u8 {
        1 << self as u8
    }
}

/// Some of the stages.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Stages(u8);

impl Stages {
    /// None.
    pub const NONE: Self = Self(0);

    /// All.
    pub const ALL: Self = Self((1 << Stage::ALL.len()) - 1);

    /// The stages of these bits, bit 0 for the first; `None` if there is a bit without a stage.
    #[must_use]
    pub const fn of_bits(bits: u8) -> Option<Self> {
        if bits & !Self::ALL.0 == 0 {
            Some(Self(bits))
        } else {
            None
        }
    }

    /// One bit a stage.
    #[must_use]
    pub const fn bits(self) -> u8 {
        self.0
    }

    /// Adds `stage`.
    #[inline]
    pub const fn add(&mut self, stage: Stage) {
        self.0 |= stage.bit();
    }

    /// Whether `stage` is one of them.
    #[must_use]
    pub const fn contains(self, stage: Stage) -> bool {
        self.0 & stage.bit() != 0
    }

    /// The others.
    #[must_use]
    pub const fn others(self) -> Self {
        Self(Self::ALL.0 & !self.0)
    }

    /// Each of them, in order. A stage of a newer firmware is passed over.
    pub fn iter(self) -> impl Iterator<Item = Stage> {
        Stage::ALL
            .into_iter()
            .filter(move |stage| self.contains(*stage))
    }
}

#[cfg(feature = "defmt")]
impl defmt::Format for FileName {
    fn format(&self, f: defmt::Formatter<'_>) {
        defmt::write!(f, "{}", defmt::Display2Format(self));
    }
}

#[cfg(feature = "defmt")]
impl defmt::Format for BuildId {
    fn format(&self, f: defmt::Formatter<'_>) {
        defmt::write!(f, "{=u64:016x}", u64::from_be_bytes(self.0));
    }
}

#[cfg(test)]
mod tests {
    use super::{BuildId, FileName, Stage, Stages};

    #[test]
    fn the_end_of_a_long_name_is_kept_and_hostile_bytes_are_not_shown() {
        assert_eq!(FileName::new("a/b.rs").to_string(), "a/b.rs");
        let long = "registry/some-crate-1.2.3/src/some/module.rs";
        assert_eq!(FileName::new(long).to_string(), &long[long.len() - 32..]);
        let hostile = FileName::of_bytes(b"\x1b[2J<b>\r\n\xff\0x");
        assert_eq!(hostile.to_string(), "?[2J<b>????x");
        assert_eq!(FileName::new("").to_string(), "");
    }

    #[test]
    fn bits_without_a_stage_are_no_stages() {
        for bits in 0..=u8::MAX {
            let stages = Stages::of_bits(bits);
            assert_eq!(stages.is_some(), bits < 32, "{bits}");
            if let Some(stages) = stages {
                assert_eq!(stages.others().bits(), 31 - bits);
                assert_eq!(stages.iter().count(), bits.count_ones() as usize);
            }
        }
        let mut stages = Stages::NONE;
        Stage::ALL.into_iter().for_each(|stage| stages.add(stage));
        assert_eq!(stages, Stages::ALL);
    }

    #[test]
    fn an_unfinished_image_has_no_build() {
        assert_eq!(BuildId::of_image([0; 8]), None);
        let build = BuildId::of_image([0, 1, 0x2a, 0, 0, 0, 0, 0xff]);
        assert_eq!(build.expect("one").to_string(), "00012a00000000ff");
    }
}
