//! What the converter delivers: one signed code for each lead, 4000 times a second.
//!
//! The part is a 4-channel simultaneous 24-bit delta-sigma converter at 4 kSPS
//! (8.192 MHz / 2 / 1024) with a full scale of +-1.2 V at its pins.

use crate::slots::{LEADS, Lead};

/// Frames a second. 8.192 MHz / 2 / OSR 1024.
pub const FRAMES_PER_SECOND: u32 = 4000;

/// One conversion result, a 24-bit two's complement code: -8388608 ..= 8388607.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct AdcCode(i32);

impl AdcCode {
    /// Largest code.
    pub const MAX: Self = Self(0x7F_FFFF);
    /// Smallest code.
    pub const MIN: Self = Self(-0x80_0000);

    /// Limits `code` to the 24-bit range.
    #[must_use]
    pub const fn saturating(code: i32) -> Self {
        if code > Self::MAX.0 {
            Self::MAX
        } else if code < Self::MIN.0 {
            Self::MIN
        } else {
            Self(code)
        }
    }

    /// Reads three bytes, most significant first, as they come from the converter.
    #[must_use]
    pub const fn from_be_bytes(bytes: [u8; 3]) -> Self {
        let [high, middle, low] = bytes;
        // Sign extension: place the 24 bits at the top, shift down arithmetically.
        Self::from_high_bits(u32::from_be_bytes([high, middle, low, 0]))
    }

    /// Reads a word whose upper 24 bits are the code.
    #[inline]
    #[must_use]
    pub const fn from_high_bits(word: u32) -> Self {
        Self(word as i32 >> 8)
    }

    /// The three bytes, most significant first.
    #[must_use]
    pub const fn to_be_bytes(self) -> [u8; 3] {
        let [_, high, middle, low] = self.0.to_be_bytes();
        [high, middle, low]
    }

    /// The code as a number.
    #[must_use]
    pub const fn get(self) -> i32 {
        self.0
    }

    /// Whether the code stands at either end of the range: the input was beyond full scale.
    #[must_use]
    pub const fn is_clipped(self) -> bool {
        self.0 == Self::MAX.0 || self.0 == Self::MIN.0
    }
}

/// One simultaneous conversion of the four leads against the star.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Frame {
    /// Codes in channel order: narrow, wide, ground, clip.
    pub codes: [AdcCode; LEADS],
}

impl Frame {
    /// The code of `lead`.
    #[must_use]
    pub const fn code(&self, lead: Lead) -> AdcCode {
        self.codes[lead.channel()]
    }
}

/// Why a frame that was due did not arrive whole.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum FrameFault {
    /// The check word of the frame did not match its content.
    Checksum,
    /// The bus reported an error.
    Bus,
    /// The converter reported a reset or a changed register.
    Restarted,
    /// This many frames were dropped between the converter and the accumulator.
    Lost(u32),
}
