//! Register map, commands and status word of the converter, as far as the tester uses them.
//!
//! Section and table numbers are those of the ADS131M04 data sheet, SBAS890D (May 2021).

use core::fmt;

use slotwise_core::sample::FrameFault;
use slotwise_core::slots::LEADS;

/// High byte of a good ID register: 0x24 = this family with four channels (8.6.1).
pub const ID_FAMILY: u8 = 0x24;

/// Answer to RESET once the reset was done (8.5.1.10.2).
pub const RESET_ACKNOWLEDGED: u16 = 0xFF24;

/// A register address (8.6, Table 8-12).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[repr(u8)]
pub enum Register {
    /// Part and channel count, read only (8.6.1).
    Id = 0x00,
    /// Status word, read only; also the answer to NULL (8.6.2).
    Status = 0x01,
    /// Interface settings (8.6.3).
    Mode = 0x02,
    /// Channel enables, oversampling, power mode (8.6.4).
    Clock = 0x03,
    /// Gains of the four channels (8.6.5).
    Gain1 = 0x04,
    /// Input of channel 0 (8.6.9).
    Channel0 = 0x09,
    /// Input of channel 1.
    Channel1 = 0x0E,
    /// Input of channel 2.
    Channel2 = 0x13,
    /// Input of channel 3.
    Channel3 = 0x18,
}

impl Register {
    /// The `CHn_CFG` registers in channel order.
    pub const CHANNELS: [Self; LEADS] = [
        Self::Channel0,
        Self::Channel1,
        Self::Channel2,
        Self::Channel3,
    ];

    /// The register address.
    #[must_use]
    pub const fn address(self) -> u8 {
        self as u8
    }

    /// The name in the data sheet.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Id => "ID",
            Self::Status => "STATUS",
            Self::Mode => "MODE",
            Self::Clock => "CLOCK",
            Self::Gain1 => "GAIN1",
            Self::Channel0 => "CH0_CFG",
            Self::Channel1 => "CH1_CFG",
            Self::Channel2 => "CH2_CFG",
            Self::Channel3 => "CH3_CFG",
        }
    }
}

impl fmt::Display for Register {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} ({:02X}h)", self.name(), self.address())
    }
}

/// A command (8.5.1.10, Table 8-11). LOCK and UNLOCK are left out on purpose: the data sheet
/// contradicts itself on the UNLOCK code, and a part that was never locked needs neither.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Command {
    /// Read conversions only; answered by the status word.
    Null,
    /// Back to register defaults.
    Reset,
    /// Read one register; answered by its content.
    Read(Register),
    /// Write one register; answered by [`Command::write_acknowledged`].
    Write(Register, u16),
}

impl Command {
    /// The command word.
    #[must_use]
    pub const fn word(self) -> u16 {
        match self {
            Self::Null => 0x0000,
            Self::Reset => 0x0011,
            // 101a aaaa annn nnnn and 011a aaaa annn nnnn; n = registers - 1 = 0.
            Self::Read(register) => 0xA000 | (register.address() as u16) << 7,
            Self::Write(register, _) => 0x6000 | (register.address() as u16) << 7,
        }
    }

    /// The answer to a write of one register: 010a aaaa ammm mmmm, m = registers written - 1.
    #[must_use]
    pub const fn write_acknowledged(register: Register) -> u16 {
        0x4000 | (register.address() as u16) << 7
    }
}

impl fmt::Display for Command {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Null => f.write_str("NULL"),
            Self::Reset => f.write_str("RESET"),
            Self::Read(register) => write!(f, "read of {register}"),
            Self::Write(register, value) => write!(f, "write of {value:#06x} to {register}"),
        }
    }
}

/// MODE as the tester wants it (8.6.3): input CRC checked (bit 12), CRC type CCITT (bit 11 =
/// 0), reset flag cleared (bit 10 = 0), 24-bit words (bits 9:8 = 01), SPI time-out on (bit 4,
/// the default: 32768 clocks = 4 ms after which a half frame is forgotten), DRDY low when the
/// most lagging channel is ready (bits 3:2 = 0), driven high otherwise (bits 1:0 = 0).
pub const MODE: u16 = 1 << 12 | 0b01 << 8 | 1 << 4;

/// CLOCK as the tester wants it (8.6.4): all four channels (bits 11:8), turbo off (bit 5 = 0),
/// OSR 1024 (bits 4:2 = 011: 8.192 MHz / 2 / 1024 = 4000 conversions a second),
/// high-resolution power mode (bits 1:0 = 10).
pub const CLOCK: u16 = 0b1111 << 8 | 0b011 << 2 | 0b10;

/// GAIN1 as the tester wants it (8.6.5): gain 1 on every channel, full scale +-1.2 V.
pub const GAIN1: u16 = 0;

/// What a channel converts: bits 1:0 of `CHn_CFG` (8.3.9, Table 8-23). The other bits of the
/// register (phase, DC block off) stay 0.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[repr(u16)]
pub enum Mux {
    /// The input pins.
    Input = 0b00,
    /// Both inputs shorted inside the part: shows the offset.
    Shorted = 0b01,
    /// Plus 2/15 of full scale: +160 mV at gain 1.
    PlusTest = 0b10,
    /// Minus 2/15 of full scale: -160 mV at gain 1.
    MinusTest = 0b11,
}

/// The status word (8.6.2, Table 8-15), which is the first word of every frame that answers
/// a NULL.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Status(pub u16);

impl Status {
    /// Bits 15, 14, 13, 10, 9:8. LOCK, F_RESYNC, REG_MAP, RESET, WLENGTH.
    const CONFIGURATION: u16 = 1 << 15 | 1 << 14 | 1 << 13 | 1 << 10 | 0b11 << 8;
    /// 24-bit words and no flag: what these bits read after [`super::Converter::start`].
    const UNTOUCHED: u16 = 0b01 << 8;

    /// A reset happened since the flag was cleared, the register map changed, the part was
    /// locked or resynchronised: its settings are not those that were written, or its filters
    /// have started over.
    #[must_use]
    pub const fn has_restarted(self) -> bool {
        self.0 & Self::CONFIGURATION != Self::UNTOUCHED
    }

    /// The part found a wrong CRC on the last command (bit 12).
    #[must_use]
    pub const fn command_was_damaged(self) -> bool {
        self.0 & 1 << 12 != 0
    }

    /// What it says of the frame that it stands in.
    #[inline]
    #[must_use]
    pub const fn fault(self) -> Option<FrameFault> {
        if self.has_restarted() {
            Some(FrameFault::Restarted)
        } else if self.command_was_damaged() {
            // The part saw a damaged command. This frame is whole, but what the part made of
            // the command is unknown; if it took it for a write, the next status word says so.
            Some(FrameFault::Checksum)
        } else {
            None
        }
    }

    /// Every channel has a conversion that was not read yet (bits 3:0).
    #[must_use]
    pub const fn all_ready(self) -> bool {
        self.0 & 0b1111 == 0b1111
    }
}

impl fmt::Display for Status {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:#06x}", self.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn command_words_follow_table_8_11() {
        assert_eq!(Command::Null.word(), 0x0000);
        assert_eq!(Command::Reset.word(), 0x0011);
        assert_eq!(Command::Read(Register::Id).word(), 0xA000);
        assert_eq!(Command::Read(Register::Clock).word(), 0xA180);
        assert_eq!(Command::Write(Register::Mode, 0).word(), 0x6100);
        assert_eq!(Command::Write(Register::Channel3, 0).word(), 0x6C00);
        assert_eq!(Command::write_acknowledged(Register::Mode), 0x4100);
    }

    #[test]
    fn the_wanted_settings_differ_from_the_defaults_only_where_meant() {
        // Defaults: MODE 0510h, CLOCK 0F0Eh, GAIN1 0000h (8.6).
        assert_eq!(MODE ^ 0x0510, 1 << 12 | 1 << 10);
        assert_eq!(CLOCK, 0x0F0E);
        assert_eq!(GAIN1, 0);
    }

    #[test]
    fn status_flags_are_told_apart() {
        assert!(!Status(0x010F).has_restarted());
        assert!(Status(0x010F).all_ready());
        assert!(!Status(0x010E).all_ready());
        // The default after a reset, a register-map fault, a resync, a lock, 16-bit words.
        for word in [0x0500, 0x210F, 0x410F, 0x810F, 0x000F] {
            assert!(Status(word).has_restarted(), "{word:04x}");
        }
        let damaged = Status(0x110F);
        assert!(damaged.command_was_damaged() && !damaged.has_restarted());
    }
}
