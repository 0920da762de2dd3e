//! The program in flash: is it what was built?
//!
//! CRC-32/ISO-HDLC over every byte of the image but the check word itself. The check word is
//! written into the linked file by the build (`firmware/rp2040/build.sh`), so an image that was
//! not finished by it fails, as one with a changed bit does: any error of up to 32 bits in a row
//! is found for sure, any other with all but 2^-32 (property of a CRC of 32 bits).

use crc::{CRC_32_ISO_HDLC, Crc};
use slotwise_core::self_test::SelfTestFailure;

static CHECK: Crc<u32> = Crc::<u32>::new(&CRC_32_ISO_HDLC);

/// Check word of `parts`, one behind the other.
#[must_use]
pub fn check_word<'p>(parts: impl IntoIterator<Item = &'p [u8]>) -> u32 {
    let mut digest = CHECK.digest();
    for part in parts {
        digest.update(part);
    }
    digest.finalize()
}

/// Compares the image with the check word of its build.
///
/// # Errors
/// [`SelfTestFailure::Image`].
pub fn check<'p>(
    parts: impl IntoIterator<Item = &'p [u8]>,
    expected: u32,
) -> Result<(), SelfTestFailure> {
    let found = check_word(parts);
    if found == expected {
        Ok(())
    } else {
        Err(SelfTestFailure::Image { found, expected })
    }
}

#[cfg(test)]
mod tests {
    use super::{check, check_word};

    /// Check value of the RevEng catalogue.
    #[test]
    fn it_is_the_catalogued_check() {
        assert_eq!(check_word([&b"1234"[..], b"56789"]), 0xCBF4_3926);
    }

    #[test]
    fn every_changed_bit_is_found() {
        let image: Vec<u8> = (0..512_u32).map(|at| (at * 31) as u8).collect();
        let expected = check_word([&image[..]]);
        assert!(check([&image[..100], &image[100..]], expected).is_ok());
        for bit in 0..image.len() * 8 {
            let mut changed = image.clone();
            changed[bit / 8] ^= 1 << (bit % 8);
            assert!(check([&changed[..]], expected).is_err(), "bit {bit}");
        }
    }
}
