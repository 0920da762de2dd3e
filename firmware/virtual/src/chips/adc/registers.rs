//! The converter's register map: defaults, what can be written, and what the fields mean.
//!
//! Names, addresses and defaults are those of the ADS131M04 datasheet (SBAS890D), section
//! 8.6.

use crate::front_end::TestInput;
use slotwise_core::sample::AdcCode;
use slotwise_core::slots::LEADS;

/// Registers that an address of six bits reaches.
const REGISTERS: usize = 64;

/// Addresses that the model gives a meaning to.
pub(super) mod address {
    /// Identity.
    pub(crate) const ID: u8 = 0x00;
    /// Status.
    pub(crate) const STATUS: u8 = 0x01;
    /// Word length, checks, reset flag.
    pub(crate) const MODE: u8 = 0x02;
    /// Channel enables, oversampling, power.
    pub(crate) const CLOCK: u8 = 0x03;
    /// Gains of the four channels.
    pub(crate) const GAIN: u8 = 0x04;
    /// Chopping and current detection.
    pub(crate) const CFG: u8 = 0x06;
    /// First register of channel 0; each channel has five.
    pub(crate) const CHANNEL: u8 = 0x09;
    /// Check of the register map, read only.
    pub(crate) const REGMAP_CRC: u8 = 0x3E;
}

/// MODE and STATUS bit 10: a reset has happened since the bit was written 0.
pub(super) const RESET: u16 = 1 << 10;
/// MODE and STATUS bit 11: the check polynomial, 0 CCITT, 1 ANSI.
pub(super) const CRC_TYPE: u16 = 1 << 11;
/// MODE bit 12: check what the controller sends.
pub(super) const RX_CRC_EN: u16 = 1 << 12;
/// MODE and STATUS bits 9:8, 01 for words of 24 bits.
const WORD_LENGTH: u16 = 0b11 << 8;
const WORD_24: u16 = 0b01 << 8;
/// CLOCK bits 4:2, 011 for OSR 1024.
const OVERSAMPLING: u16 = 0b111 << 2;
const OSR_1024: u16 = 0b011 << 2;

/// Identity of a four-channel part; the low byte is its revision.
pub(super) const IDENTITY: u16 = 0x2401;

/// The contents of the registers.
#[derive(Clone)]
pub(super) struct Registers([u16; REGISTERS]);

impl Registers {
    /// As after power-on or a reset.
    pub(super) fn defaults() -> Self {
        let mut map = [0; REGISTERS];
        map[usize::from(address::ID)] = IDENTITY;
        map[usize::from(address::STATUS)] = 0x0500;
        map[usize::from(address::MODE)] = 0x0510;
        map[usize::from(address::CLOCK)] = 0x0F0E;
        map[usize::from(address::CFG)] = 0x0600;
        for channel in 0..LEADS {
            // CHn_CFG, OCAL_MSB, OCAL_LSB, GCAL_MSB, GCAL_LSB.
            map[Self::channel(channel) + 3] = 0x8000;
        }
        Self(map)
    }

    pub(super) fn get(&self, address: u8) -> u16 {
        self.0[usize::from(address) % REGISTERS]
    }

    /// Writes a register; read-only ones keep what they hold. Returns whether the model
    /// knows the setting: only words of 24 bits at OSR 1024 are modelled.
    pub(super) fn set(&mut self, address: u8, value: u16) -> bool {
        match address {
            address::ID | address::STATUS | address::REGMAP_CRC => true,
            address::MODE => {
                // Only writing 0 to the reset flag does something.
                let reset = self.get(address) & value & RESET;
                let length = value & WORD_LENGTH == WORD_24;
                let kept = value & !(RESET | WORD_LENGTH) | reset | WORD_24;
                self.0[usize::from(address)] = kept;
                length
            }
            address::CLOCK => {
                self.0[usize::from(address)] = value;
                value & OVERSAMPLING == OSR_1024
            }
            _ => {
                self.0[usize::from(address) % REGISTERS] = value;
                true
            }
        }
    }

    /// Whether `channel` converts.
    pub(super) fn enabled(&self, channel: usize) -> bool {
        self.get(address::CLOCK) & (1 << (8 + channel)) != 0
    }

    /// What the input switch of `channel` is set to: its pins if none.
    pub(super) fn test_input(&self, channel: usize) -> Option<TestInput> {
        match self.0[Self::channel(channel)] & 0b11 {
            0b00 => None,
            0b01 => Some(TestInput::Shorted),
            0b10 => Some(TestInput::PositiveTest),
            _ => Some(TestInput::NegativeTest),
        }
    }

    /// What the digital side makes of a code: the gain of the channel's amplifier, then
    /// offset and gain calibration (section 8.3.10: subtract, then multiply by GCAL / 2^23).
    pub(super) fn apply(&self, channel: usize, code: AdcCode, amplified: bool) -> AdcCode {
        let base = Self::channel(channel);
        let word = |at: usize| i64::from(self.0[base + at]);
        // 24 bits: 16 in the first register, 8 at the top of the second.
        let offset = AdcCode::from_be_bytes([
            (self.0[base + 1] >> 8) as u8,
            self.0[base + 1] as u8,
            (self.0[base + 2] >> 8) as u8,
        ]);
        let gain = word(3) << 8 | word(4) >> 8;
        let exponent = (self.get(address::GAIN) >> (4 * channel)) & 0b111;
        let code = i64::from(code.get()) << if amplified { exponent } else { 0 };
        let corrected = (limited(code) - i64::from(offset.get())) * gain / (1 << 23);
        AdcCode::saturating(limited(corrected) as i32)
    }

    const fn channel(channel: usize) -> usize {
        address::CHANNEL as usize + 5 * channel
    }
}

fn limited(code: i64) -> i64 {
    code.clamp(i64::from(AdcCode::MIN.get()), i64::from(AdcCode::MAX.get()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn defaults_leave_a_code_alone() {
        let registers = Registers::defaults();
        for code in [0, 1, -1, 12_345, -8_388_608, 8_388_607] {
            let code = AdcCode::saturating(code);
            for channel in 0..LEADS {
                assert_eq!(registers.apply(channel, code, true), code);
                assert!(registers.enabled(channel));
                assert_eq!(registers.test_input(channel), None);
            }
        }
    }

    #[test]
    fn gain_and_calibration_change_one_channel() {
        let mut registers = Registers::defaults();
        // Channel 1: amplifier 4, offset +256 (OCAL 0x000100), gain 0.5 (GCAL 0x400000).
        registers.set(address::GAIN, 0x0020);
        registers.set(0x0F, 0x0001);
        registers.set(0x11, 0x4000);
        let code = AdcCode::saturating(1000);
        assert_eq!(registers.apply(0, code, true), code);
        assert_eq!(registers.apply(1, code, true).get(), (4000 - 256) / 2);
        assert_eq!(registers.apply(1, code, false).get(), (1000 - 256) / 2);
        assert_eq!(
            registers.apply(1, AdcCode::MAX, true).get(),
            (8_388_607 - 256) / 2
        );
    }

    #[test]
    fn the_reset_flag_is_only_cleared() {
        let mut registers = Registers::defaults();
        assert!(registers.set(address::MODE, 0x0110));
        assert_eq!(registers.get(address::MODE), 0x0110);
        assert!(registers.set(address::MODE, 0x0510));
        assert_eq!(registers.get(address::MODE), 0x0110);
    }

    #[test]
    fn settings_that_are_not_modelled_are_said_to_be() {
        let mut registers = Registers::defaults();
        assert!(!registers.set(address::MODE, 0x0210));
        assert_eq!(registers.get(address::MODE) & WORD_LENGTH, WORD_24);
        assert!(!registers.set(address::CLOCK, 0x0F0A));
        assert!(registers.set(address::ID, 0));
        assert_eq!(registers.get(address::ID), IDENTITY);
    }
}
