//! The calibration: arbitrary content of its two sectors, and an arbitrary blob.
//!
//! Promises: no panic; what the store hands out is what one of its copies holds, whole by its
//! CRC-32; what decodes encodes again to bytes that decode to the same; a write over anything
//! reads back.

use slotwise_core::calibration::{Calibration, MAX_BYTES};
use slotwise_firmware::calibration_store::CalibrationStore;

use crate::flash::{Flash, SECTOR};

/// CRC-32/ISO-HDLC by its definition, bit by bit (polynomial 0xEDB88320, check value cbf43926).
#[must_use]
pub fn crc32(bytes: &[u8]) -> u32 {
    !bytes.iter().fold(u32::MAX, |crc, byte| {
        (0..8).fold(crc ^ u32::from(*byte), |crc, _| {
            (crc >> 1) ^ (0xEDB8_8320 & (crc & 1).wrapping_neg())
        })
    })
}

/// Runs the target.
pub fn run(bytes: &[u8]) {
    blob(bytes);
    // The check word keeps chance out; the content behind it is to be met too.
    let mut checked = bytes.to_vec();
    checked.extend(crc32(bytes).to_le_bytes());
    blob(&checked);
    let mut content = bytes.to_vec();
    content.resize(2 * SECTOR, 0xFF);
    let mut flash = Flash::new(content);
    let mut buffer = [0; SECTOR];
    let mut store = CalibrationStore::new(&mut flash);
    let stored = store.read(&mut buffer).expect("the flash answers");
    if let Some(length) = stored.length {
        let is_copy = |copy: &[u8]| {
            let end = 10 + length;
            copy[10..end] == buffer[..length]
                && crc32(&copy[..end]).to_le_bytes() == copy[end..end + 4]
        };
        assert!(
            flash.bytes.chunks(SECTOR).any(is_copy),
            "not what is stored"
        );
        blob(&buffer[..length]);
    }
    let new = &bytes[..bytes.len().min(100)];
    let mut store = CalibrationStore::new(&mut flash);
    // A generation of the last number is the one state in which nothing newer can be written.
    if store.write(new).is_ok() {
        let stored = store.read(&mut buffer).expect("the flash answers");
        assert!(stored.is_sound());
        assert_eq!(stored.length.map(|length| &buffer[..length]), Some(new));
    }
}

fn blob(bytes: &[u8]) {
    let Ok(calibration) = Calibration::decode(bytes) else {
        return;
    };
    let mut again = [0; MAX_BYTES];
    let encoded = calibration.encode(&mut again).expect("MAX_BYTES suffice");
    let twice = Calibration::decode(encoded).expect("it was taken before");
    assert_eq!(calibration, twice);
}
