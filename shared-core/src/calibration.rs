//! From codes to volts at the slot, per channel, and the bytes in which a calibration is kept.
//!
//! Model: `volts = (code - offset) * volts_per_code / response(f)`. A tester without a valid
//! calibration measures nothing: there is no default that a verdict could rest on.

pub mod event;
pub mod fit;
pub mod limiters;
pub mod raw;
pub mod step;
mod turns;
pub mod validity;

use core::fmt;

use crc::{CRC_32_ISO_HDLC, Crc};
use serde::{Deserialize, Serialize};

use crate::drive::DriveCalibration;
use crate::front_end::NOMINAL_VOLTS_PER_CODE;
use crate::slots::LEADS;
use crate::units::{Celsius, Ohms, Ratio, UnixSeconds};

/// Version of the stored form.
pub const VERSION: u16 = 1;

/// Most bytes that a stored calibration takes.
pub const MAX_BYTES: usize = 128;

/// A gain may differ from the nominal by this share: resistors 1 % in a string's worst case
/// and the converter's 0.1 % make 1.2 %; beyond 5 % something is broken, not tolerated.
const GAIN_WITHIN: f64 = 0.05;

/// Converter offset +-175 uV (SBAS890D 6.5) is 1223 codes; ten times that is broken.
const OFFSET_WITHIN: i32 = 12_230;

/// Offset and gain of one channel.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct ChannelCalibration {
    /// Code at zero volts.
    pub offset: i32,
    /// Volts at the slot for one code, referred to 0 Hz, against the nominal: 1.0 is nominal.
    pub gain: f64,
}

impl ChannelCalibration {
    /// Volts at the slot for one code at 0 Hz.
    #[must_use]
    pub fn volts_per_code(&self) -> f64 {
        self.gain * NOMINAL_VOLTS_PER_CODE
    }
}

/// What a tester must know of itself before it may answer.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Calibration {
    /// Channels, in channel order.
    pub channels: [ChannelCalibration; LEADS],
    /// Standard uncertainty of the gains, common to all channels, as a share.
    pub u_gain: Ratio,
    /// The reference resistor between ground pin and inner ground node.
    pub reference: Ohms,
    /// When it was done.
    pub done: UnixSeconds,
    /// Board temperature then.
    pub temperature: Celsius,
    /// The drive P2.
    pub drive: DriveCalibration,
}

/// Why stored bytes are not a calibration.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum CalibrationError {
    /// Fewer bytes than version and check word take.
    TooShort,
    /// The check word does not match.
    Checksum,
    /// Written by another version.
    Version(u16),
    /// The bytes do not decode.
    Malformed,
    /// Gain or offset of this channel is beyond what a working tester can have.
    Implausible {
        /// The channel, `0..4`.
        channel: u8,
    },
    /// The calibration of the drive is beyond what a working tester can have.
    ImplausibleDrive,
    /// The buffer for the bytes is too small.
    NoRoom,
}

impl fmt::Display for CalibrationError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::TooShort => f.write_str("stored calibration is too short"),
            Self::Checksum => f.write_str("stored calibration fails its check word"),
            Self::Version(found) => write!(
                f,
                "stored calibration has version {found}, this firmware reads {VERSION}; calibrate again"
            ),
            Self::Malformed => f.write_str("stored calibration does not decode"),
            Self::Implausible { channel } => write!(
                f,
                "calibration of channel {channel} is beyond what a working tester has; check its string"
            ),
            Self::ImplausibleDrive => f.write_str(
                "calibration of the drive is beyond what a working tester has; check its source \
                 resistance and the clip lead",
            ),
            Self::NoRoom => f.write_str("no room for the calibration"),
        }
    }
}

impl core::error::Error for CalibrationError {}

const CRC: Crc<u32> = Crc::<u32>::new(&CRC_32_ISO_HDLC);

impl Calibration {
    /// Checks that a working tester can have this calibration.
    ///
    /// # Errors
    /// [`CalibrationError::Implausible`] names the first channel out of range, then
    /// [`CalibrationError::ImplausibleDrive`].
    pub fn check(&self) -> Result<(), CalibrationError> {
        for (channel, calibration) in (0_u8..).zip(&self.channels) {
            let gain_off = (calibration.gain - 1.0).abs();
            // Written so that a NaN fails.
            let plausible = gain_off <= GAIN_WITHIN
                && calibration.offset.unsigned_abs() <= OFFSET_WITHIN as u32;
            if !plausible {
                return Err(CalibrationError::Implausible { channel });
            }
        }
        if self.drive.is_plausible() {
            Ok(())
        } else {
            Err(CalibrationError::ImplausibleDrive)
        }
    }

    /// Writes the stored form: version (u16 LE), postcard, CRC-32/ISO-HDLC (LE).
    ///
    /// # Errors
    /// [`CalibrationError::NoRoom`]; [`MAX_BYTES`] always suffice.
    pub fn encode<'b>(&self, buffer: &'b mut [u8]) -> Result<&'b [u8], CalibrationError> {
        let no_room = CalibrationError::NoRoom;
        let (version, body) = buffer.split_at_mut_checked(2).ok_or(no_room)?;
        version.copy_from_slice(&VERSION.to_le_bytes());
        let used = 2 + postcard::to_slice(self, body).map_err(|_| no_room)?.len();
        let check = CRC.checksum(buffer.get(..used).ok_or(no_room)?);
        buffer
            .get_mut(used..used + 4)
            .ok_or(no_room)?
            .copy_from_slice(&check.to_le_bytes());
        buffer.get(..used + 4).ok_or(no_room)
    }

    /// Reads the stored form and checks it.
    ///
    /// # Errors
    /// Any [`CalibrationError`] but `NoRoom`.
    pub fn decode(bytes: &[u8]) -> Result<Self, CalibrationError> {
        let (content, check) = bytes
            .split_last_chunk::<4>()
            .ok_or(CalibrationError::TooShort)?;
        if CRC.checksum(content) != u32::from_le_bytes(*check) {
            return Err(CalibrationError::Checksum);
        }
        let (version, body) = content
            .split_first_chunk::<2>()
            .ok_or(CalibrationError::TooShort)?;
        let version = u16::from_le_bytes(*version);
        if version != VERSION {
            return Err(CalibrationError::Version(version));
        }
        let calibration: Self =
            postcard::from_bytes(body).map_err(|_| CalibrationError::Malformed)?;
        calibration.check()?;
        Ok(calibration)
    }
}

/// Whether a check fails. A comparison with a NaN is false, so it fails.
const fn fails(holds: bool) -> bool {
    !holds
}

#[cfg(test)]
mod tests {
    use super::*;

    fn example() -> Calibration {
        Calibration {
            channels: [ChannelCalibration {
                offset: -321,
                gain: 1.0031,
            }; LEADS],
            u_gain: Ratio::new(0.0011),
            reference: Ohms::new(10.0),
            done: UnixSeconds::new(1_790_000_000),
            temperature: Celsius::new(23.5),
            drive: DriveCalibration::NOMINAL,
        }
    }

    #[test]
    fn stored_form_gives_back_the_calibration() {
        let mut buffer = [0; MAX_BYTES];
        let bytes = example().encode(&mut buffer).unwrap();
        assert_eq!(Calibration::decode(bytes), Ok(example()));
    }

    #[test]
    fn every_flipped_bit_is_noticed() {
        let mut buffer = [0; MAX_BYTES];
        let length = example().encode(&mut buffer).unwrap().len();
        for bit in 0..length * 8 {
            let mut damaged = buffer;
            damaged[bit / 8] ^= 1 << (bit % 8);
            assert_eq!(
                Calibration::decode(&damaged[..length]),
                Err(CalibrationError::Checksum),
                "bit {bit}"
            );
        }
    }

    #[test]
    fn a_gain_that_no_working_tester_has_is_refused() {
        for gain in [0.0, 0.94, 1.06, f64::NAN, f64::INFINITY] {
            let mut calibration = example();
            calibration.channels[2].gain = gain;
            assert_eq!(
                calibration.check(),
                Err(CalibrationError::Implausible { channel: 2 })
            );
        }
    }

    #[test]
    fn a_drive_that_no_working_tester_has_is_refused() {
        let mut calibration = example();
        calibration.drive.source = Ohms::new(f32::NAN);
        assert_eq!(calibration.check(), Err(CalibrationError::ImplausibleDrive));
    }

    #[test]
    fn erased_flash_is_no_calibration() {
        assert!(Calibration::decode(&[0xFF; MAX_BYTES]).is_err());
        assert_eq!(Calibration::decode(&[]), Err(CalibrationError::TooShort));
    }
}
