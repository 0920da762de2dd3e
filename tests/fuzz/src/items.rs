//! Heads and items of the journal as they stand in the flash, by the definition of their format.

/// A sector's head, twice: sequence, number of the first record, CRC-32 over "SWJH" and both.
#[must_use]
pub fn head(sequence: u32, first: u32) -> Vec<u8> {
    let content = [sequence.to_le_bytes(), first.to_le_bytes()].concat();
    let check = crate::calibration::crc32(&[&b"SWJH"[..], &content].concat());
    let copy = [content, check.to_le_bytes().to_vec()].concat();
    [copy.clone(), copy].concat()
}

/// An item with a record: CRC, length, CRC of the length, number, record.
#[must_use]
pub fn whole_item(number: u32, payload: &[u8]) -> Vec<u8> {
    let item = [&number.to_le_bytes(), payload].concat();
    let length = (item.len() as u16).to_le_bytes();
    let mut whole = item_crc(&item).to_le_bytes().to_vec();
    whole.extend(length);
    whole.extend(length_crc(length).to_le_bytes());
    whole.extend(item);
    whole
}

/// CRC-32C with another start and no 00 or FF in its first byte, as the items carry it.
fn item_crc(bytes: &[u8]) -> u32 {
    let crc = !bytes.iter().fold(0xEEEE_EEEE_u32, |crc, byte| {
        (0..8).fold(crc ^ u32::from(*byte), |crc, _| {
            (crc >> 1) ^ (0x82F6_3B78 & (crc & 1).wrapping_neg())
        })
    });
    match crc {
        0 => 1,
        _ if matches!(crc & 0xFF, 0x00 | 0xFF) => crc ^ 1,
        _ => crc,
    }
}

/// The CRC-16 of the length.
fn length_crc(length: [u8; 2]) -> u16 {
    let crc = !length.iter().fold(0xFFFF_u16, |crc, byte| {
        (0..8).fold(crc ^ u16::from(*byte), |crc, _| {
            (crc >> 1) ^ (0x1A2E & (crc & 1).wrapping_neg())
        })
    });
    if crc == 0xFFFF { 0xFFFE } else { crc }
}
