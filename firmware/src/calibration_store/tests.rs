//! The two copies: which is read, what a power cut or a worn bit leaves.

use super::*;
use crate::strict_nor::{StrictError, StrictNor, Torn};

const SECTOR: usize = 128;

type Nor = StrictNor<SECTOR>;

const OLD: &[u8] = b"gains of the old calibration";
const NEW: &[u8] = b"other gains, \xFF\x00 and a longer text";

fn written(content: &[u8]) -> Nor {
    let mut flash = Nor::blank(3);
    write(&mut flash, content).expect("stored");
    flash
}

fn write(flash: &mut Nor, content: &[u8]) -> Result<(), CalibrationStoreError<StrictError>> {
    CalibrationStore::new(flash).write(content)
}

fn read(flash: &mut Nor) -> (Option<Vec<u8>>, Stored) {
    let mut buffer = [0; SECTOR];
    let stored = CalibrationStore::new(flash)
        .read(&mut buffer)
        .expect("reads");
    (
        stored.length.map(|length| buffer[..length].to_vec()),
        stored,
    )
}

#[test]
fn a_blank_flash_has_no_calibration() {
    let (content, stored) = read(&mut Nor::blank(3));
    assert_eq!(content, None);
    assert_eq!(stored.copies, [CopyState::Blank; 2]);
    assert!(!stored.is_sound());
}

#[test]
fn what_was_written_is_read_and_both_copies_are_good() {
    let mut flash = written(OLD);
    let (content, stored) = read(&mut flash);
    assert_eq!(content.as_deref(), Some(OLD));
    assert_eq!(stored.copies, [CopyState::Good { generation: 1 }; 2]);
    assert!(stored.is_sound());
    write(&mut flash, NEW).expect("stored");
    let (content, stored) = read(&mut flash);
    assert_eq!(content.as_deref(), Some(NEW));
    assert_eq!(stored.copies, [CopyState::Good { generation: 2 }; 2]);
    assert!(flash.bytes[2 * SECTOR..].iter().all(|b| *b == 0xFF));
}

#[test]
fn the_bytes_in_the_flash_are_these() {
    let flash = written(b"ab");
    let mut wanted = b"SWCA\x01\0\0\0\x02\0ab".to_vec();
    wanted.extend(CHECK.checksum(&wanted).to_le_bytes());
    assert_eq!(flash.bytes[..16], wanted);
    assert_eq!(flash.bytes[SECTOR..SECTOR + 16], wanted);
}

#[test]
fn an_empty_and_a_full_size_content_are_stored() {
    assert_eq!(read(&mut written(b"")).0.as_deref(), Some(&b""[..]));
    let most = CalibrationStore::<Nor>::MOST;
    let full = vec![0x5A; most];
    assert_eq!(read(&mut written(&full)).0, Some(full));
    let mut flash = written(OLD);
    assert_eq!(
        write(&mut flash, &vec![0; most + 1]),
        Err(CalibrationStoreError::TooLong {
            length: most + 1,
            most
        })
    );
    assert_eq!(
        read(&mut flash).0.as_deref(),
        Some(OLD),
        "nothing was touched"
    );
}

#[test]
fn a_buffer_that_is_too_small_is_told_the_length() {
    let mut flash = written(OLD);
    let outcome = CalibrationStore::new(&mut flash).read(&mut [0; 5]);
    assert_eq!(
        outcome,
        Err(CalibrationStoreError::BufferTooSmall { length: OLD.len() })
    );
}

#[test]
fn any_bit_of_one_copy_may_be_wrong() {
    let whole = written(OLD);
    let used = HEADER_BYTES + OLD.len() + CRC_BYTES;
    for copy in 0..CALIBRATION_SECTORS {
        for bit in 0..used * 8 {
            let mut flash = whole.clone();
            flash.bytes[copy * SECTOR + bit / 8] ^= 1 << (bit % 8);
            let (content, stored) = read(&mut flash);
            assert_eq!(content.as_deref(), Some(OLD), "copy {copy} bit {bit}");
            assert_eq!(stored.copies[copy], CopyState::Damaged);
            assert!(!stored.is_sound());
            // Writing again makes both good.
            write(&mut flash, OLD).expect("stored");
            assert!(read(&mut flash).1.is_sound());
        }
    }
}

#[test]
fn two_damaged_copies_are_no_calibration() {
    let mut flash = written(OLD);
    flash.bytes[12] ^= 1;
    flash.bytes[SECTOR + 13] ^= 1;
    let (content, stored) = read(&mut flash);
    assert_eq!(content, None);
    assert_eq!(stored.copies, [CopyState::Damaged; 2]);
}

/// From each of the three states that a first cut can leave, a second one is cut at every
/// byte: at every moment there is a whole calibration, the old or the new one.
#[test]
fn a_power_cut_at_any_byte_leaves_a_whole_calibration() {
    let sound = written(OLD);
    let mut first_bad = sound.clone();
    first_bad.bytes[12] ^= 1;
    let mut second_bad = sound.clone();
    second_bad.bytes[SECTOR + 12] ^= 1;
    let mut cuts = 0;
    for start in [sound, first_bad, second_bad] {
        for after in 0.. {
            let mut was_cut = false;
            for torn in Torn::ALL {
                let mut flash = start.clone().cut_after(after, torn);
                was_cut |= write(&mut flash, NEW).is_err();
                let mut flash = flash.power_up();
                let content = read(&mut flash).0.expect("one copy is whole");
                assert!(content == OLD || content == NEW, "cut after {after}");
                if !was_cut {
                    break;
                }
                cuts += 1;
                // And the next write makes both good again.
                write(&mut flash, NEW).expect("stored");
                let (content, stored) = read(&mut flash);
                assert_eq!(content.as_deref(), Some(NEW));
                assert!(stored.is_sound());
            }
            if !was_cut {
                break;
            }
        }
    }
    println!("{cuts} cut points");
    // Two sectors erased and two copies written, five ways, from three states.
    assert!(cuts > 3 * 5 * 2 * (SECTOR + NEW.len()));
}

/// The first calibration of a tester: until a copy is whole there is none, and what stands there
/// half-written is never handed out.
#[test]
fn a_power_cut_in_the_first_writing_leaves_none_or_the_whole() {
    let (mut none, mut whole) = (0, 0);
    for after in 0.. {
        let mut was_cut = false;
        for torn in Torn::ALL {
            let mut flash = Nor::blank(3).cut_after(after, torn);
            was_cut |= write(&mut flash, NEW).is_err();
            let mut flash = flash.power_up();
            let (content, stored) = read(&mut flash);
            match content {
                None => none += 1,
                Some(content) => {
                    assert_eq!(content, NEW, "cut after {after}");
                    whole += 1;
                }
            }
            assert!(!was_cut || !stored.is_sound() || content_is_new(&mut flash));
            write(&mut flash, NEW).expect("stored");
            assert!(read(&mut flash).1.is_sound());
        }
        if !was_cut {
            break;
        }
    }
    println!("{none} times none, {whole} times whole");
    // Erase and first copy five ways; then the second.
    let first = SECTOR + HEADER_BYTES + NEW.len() + CRC_BYTES;
    assert!(none >= 4 * first, "{none} of {first}");
    assert!(whole >= 4 * first, "{whole} of {first}");
}

fn content_is_new(flash: &mut Nor) -> bool {
    read(flash).0.as_deref() == Some(NEW)
}

#[test]
fn the_newer_copy_wins_once_it_is_whole() {
    // Cut right after one copy was written: erase, header, content, CRC.
    let one_copy = SECTOR + HEADER_BYTES + NEW.len() + CRC_BYTES;
    let mut second_bad = written(OLD);
    second_bad.bytes[SECTOR + 12] ^= 1;
    // The worse copy is written first: copy 0 of two equal ones, else the damaged one.
    for (start, newer) in [(written(OLD), 0), (second_bad, 1)] {
        let mut flash = start.cut_after(one_copy, Torn::Untouched);
        write(&mut flash, NEW).expect_err("the power fails");
        let (content, stored) = read(&mut flash.power_up());
        assert_eq!(content.as_deref(), Some(NEW));
        assert_eq!(stored.copies[newer], CopyState::Good { generation: 2 });
        assert_eq!(stored.copies[1 - newer], CopyState::Good { generation: 1 });
        assert!(!stored.is_sound(), "two ages are not sound");
    }
}
