//! The converter model against the vectors of the hardware notes and its own datasheet rules.

use embedded_hal::digital::InputPin;
use embedded_hal::spi::{Operation, SpiDevice};
use slotwise_core::sample::{AdcCode, Frame};
use slotwise_core::slots::Lead;
use slotwise_virtual::chips::adc::{AdcSpi, Misuse, VirtualAdc};
use slotwise_virtual::clock::SimClock;

/// A converter whose conversion `n` reads n, 2 n, -n, 7.
fn counting() -> (SimClock, VirtualAdc, AdcSpi) {
    let clock = SimClock::new();
    let adc = VirtualAdc::new(&clock, |number: u64| {
        let n = number as i32;
        Frame {
            codes: [n, 2 * n, -n, 7].map(AdcCode::saturating),
        }
    });
    let spi = adc.spi();
    (clock, adc, spi)
}

fn transfer(spi: &mut AdcSpi, command: &[u8]) -> [u8; 18] {
    let mut bytes = [0; 18];
    bytes[..command.len()].copy_from_slice(command);
    spi.transfer_in_place(&mut bytes).unwrap();
    bytes
}

fn null(spi: &mut AdcSpi) -> [u8; 18] {
    transfer(spi, &[])
}

fn word(frame: &[u8; 18], index: usize) -> u16 {
    u16::from_be_bytes([frame[3 * index], frame[3 * index + 1]])
}

fn codes(frame: &[u8; 18]) -> [i32; 4] {
    core::array::from_fn(|channel| {
        let at = 3 + 3 * channel;
        AdcCode::from_be_bytes([frame[at], frame[at + 1], frame[at + 2]]).get()
    })
}

/// CRC-16/IBM-3740, bit by bit, independent of the model's table.
fn crc(bytes: &[u8]) -> u16 {
    bytes.iter().fold(0xFFFF, |mut crc, byte| {
        crc ^= u16::from(*byte) << 8;
        for _ in 0..8 {
            crc = if crc & 0x8000 == 0 {
                crc << 1
            } else {
                crc << 1 ^ 0x1021
            };
        }
        crc
    })
}

/// Past the two noisy conversions, reset flag cleared.
fn settle(clock: &SimClock, spi: &mut AdcSpi) {
    transfer(spi, &[0x61, 0x00, 0x00, 0x01, 0x10, 0x00]);
    for _ in 0..4 {
        clock.advance_to_next_frame();
        null(spi);
    }
}

#[test]
fn the_bitwise_check_meets_the_vectors_of_the_hardware_notes() {
    assert_eq!(crc(b"123456789"), 0x29B1);
    assert_eq!(crc(&[0x00, 0x00, 0x00]), 0xCC9C);
    assert_eq!(crc(&[0x00, 0x11, 0x00]), 0xFCDE);
    assert_eq!(crc(&[0xA0, 0x00, 0x00]), 0x7100);
    assert_eq!(crc(&[0x61, 0x00, 0x00, 0x01, 0x10, 0x00]), 0x20EB);
}

#[test]
fn a_status_answer_with_four_zero_channels_ends_in_e0e0() {
    let clock = SimClock::new();
    let adc = VirtualAdc::new(&clock, |_| Frame::default());
    let mut spi = adc.spi();
    null(&mut spi);
    // Past the noisy conversions.
    for _ in 0..3 {
        clock.advance_to_next_frame();
        null(&mut spi);
    }
    clock.advance_to_next_frame();
    let frame = null(&mut spi);
    assert_eq!(frame[..3], [0x05, 0x0F, 0x00]);
    assert_eq!(codes(&frame), [0; 4]);
    assert_eq!(frame[15..], [0xE0, 0xE0, 0x00]);
}

#[test]
fn reset_is_acknowledged_in_the_next_frame() {
    let (clock, adc, mut spi) = counting();
    clock.advance_to_next_frame();
    transfer(&mut spi, &[0x00, 0x11, 0x00]);
    clock.advance(10_000);
    let answer = null(&mut spi);
    assert_eq!(word(&answer, 0), 0xFF24);
    assert_eq!(crc(&answer[..15]), word(&answer, 5));
    assert_eq!(adc.counts().resets, 1);
    assert!(adc.misuse().is_empty());
    // A reset command in a frame that is not whole does not reset.
    spi.write(&[0x00, 0x11, 0x00]).unwrap();
    assert_eq!(word(&null(&mut spi), 0), 0x0011);
    assert_eq!(adc.counts().resets, 1);
}

#[test]
fn a_frame_within_five_microseconds_of_a_reset_is_misuse() {
    let (clock, adc, mut spi) = counting();
    transfer(&mut spi, &[0x00, 0x11, 0x00]);
    clock.advance(4_999);
    null(&mut spi);
    assert_eq!(adc.misuse(), [Misuse::TooSoonAfterReset]);
}

#[test]
fn registers_have_their_defaults() {
    let (_clock, _adc, mut spi) = counting();
    for (address, expected) in [
        (0x00u16, 0x2401),
        (0x02, 0x0510),
        (0x03, 0x0F0E),
        (0x04, 0x0000),
        (0x06, 0x0600),
        (0x0C, 0x8000),
    ] {
        let command = (0xA000 | address << 7).to_be_bytes();
        transfer(&mut spi, &[command[0], command[1], 0]);
        assert_eq!(word(&null(&mut spi), 0), expected, "register {address:02x}");
    }
}

#[test]
fn several_registers_are_read_in_one_frame_without_channels() {
    let (_clock, _adc, mut spi) = counting();
    // Three from MODE on.
    transfer(&mut spi, &[0xA1, 0x02, 0x00]);
    let answer = null(&mut spi);
    assert_eq!(word(&answer, 0), 0xE102);
    assert_eq!(
        [1, 2, 3].map(|index| word(&answer, index)),
        [0x0510, 0x0F0E, 0]
    );
    assert_eq!(word(&answer, 4), crc(&answer[..12]));
}

#[test]
fn a_write_is_acknowledged_and_clears_the_reset_flag() {
    let (_clock, _adc, mut spi) = counting();
    null(&mut spi);
    assert_eq!(word(&null(&mut spi), 0), 0x0500);
    transfer(&mut spi, &[0x61, 0x00, 0x00, 0x01, 0x10, 0x00]);
    // 010a aaaa ammm mmmm: MODE, one register.
    assert_eq!(word(&null(&mut spi), 0), 0x4100);
    assert_eq!(word(&null(&mut spi), 0), 0x0100);
    transfer(&mut spi, &[0xA1, 0x00, 0x00]);
    assert_eq!(word(&null(&mut spi), 0), 0x0110);
}

#[test]
fn a_write_executes_even_when_its_check_is_wrong() {
    let (_clock, _adc, mut spi) = counting();
    // Turn the input check on: MODE = 1110, then GAIN = 1111 with a wrong check word.
    transfer(&mut spi, &[0x61, 0x00, 0x00, 0x11, 0x10, 0x00]);
    transfer(
        &mut spi,
        &[0x62, 0x00, 0x00, 0x11, 0x11, 0x00, 0xBA, 0xAD, 0x00],
    );
    assert_eq!(word(&null(&mut spi), 0), 0x4200);
    let check = crc(&[0xA2, 0x00, 0x00]).to_be_bytes();
    transfer(&mut spi, &[0xA2, 0x00, 0x00, check[0], check[1], 0x00]);
    let check = crc(&[0x00; 3]).to_be_bytes();
    let null_checked = [0x00, 0x00, 0x00, check[0], check[1], 0x00];
    assert_eq!(word(&transfer(&mut spi, &null_checked), 0), 0x1111);
    // A read with a wrong check word is not carried out and says so.
    transfer(&mut spi, &[0xA2, 0x00, 0x00, 0xBA, 0xAD, 0x00]);
    assert_eq!(word(&transfer(&mut spi, &null_checked), 0), 0x1100);
}

#[test]
fn conversions_come_one_a_frame_and_repeat_when_none_is_new() {
    let (clock, adc, mut spi) = counting();
    settle(&clock, &mut spi);
    let mut ready = adc.data_ready();
    for _ in 0..100 {
        assert!(ready.is_high().unwrap());
        clock.advance_to_next_frame();
        assert!(ready.is_low().unwrap());
        let n = clock.frame() as i32;
        let frame = null(&mut spi);
        assert_eq!(codes(&frame), [n, 2 * n, -n, 7]);
        assert_eq!(word(&frame, 0), 0x010F);
        assert_eq!(word(&frame, 5), crc(&frame[..15]));
    }
    let again = null(&mut spi);
    assert_eq!(word(&again, 0), 0x0100);
    assert_eq!(codes(&again)[0], clock.frame() as i32);
    assert_eq!(adc.counts().overwritten, 0);
    assert_eq!(adc.counts().repeated, 2);
    assert!(adc.misuse().is_empty());
}

#[test]
fn after_a_pause_two_reads_catch_up() {
    let (clock, adc, mut spi) = counting();
    settle(&clock, &mut spi);
    clock.advance(10 * 250_000);
    let newest = clock.frame() as i32;
    assert_eq!(codes(&null(&mut spi))[0], newest - 1);
    assert_eq!(codes(&null(&mut spi))[0], newest);
    assert_eq!(adc.counts().overwritten, 8);
}

#[test]
fn the_first_two_conversions_after_a_reset_are_noisy() {
    let clock = SimClock::new();
    let adc = VirtualAdc::new(&clock, |_| Frame::default());
    let mut spi = adc.spi();
    let mut sizes = Vec::new();
    for _ in 0..200 {
        adc.reset();
        for conversion in 0..4 {
            clock.advance_to_next_frame();
            let frame = null(&mut spi);
            if conversion < 2 {
                sizes.push(f64::from(codes(&frame)[0]));
            } else {
                assert_eq!(codes(&frame), [0; 4]);
            }
        }
    }
    // 1.5 mV RMS at 6.99 million codes a volt.
    let rms = (sizes.iter().map(|code| code * code).sum::<f64>() / sizes.len() as f64).sqrt();
    assert!((rms / 10_486.0 - 1.0).abs() < 0.12, "{rms}");
}

#[test]
fn test_inputs_replace_the_pins() {
    let (clock, _adc, mut spi) = counting();
    settle(&clock, &mut spi);
    // CH0_CFG shorted, CH1_CFG positive, CH2_CFG negative; ANSI check off as before.
    for (command, mux) in [([0x64, 0x80], 1), ([0x67, 0x00], 2), ([0x69, 0x80], 3)] {
        transfer(&mut spi, &[command[0], command[1], 0, 0, mux, 0]);
    }
    clock.advance_to_next_frame();
    // 2/15 of 2^23 is 1118481.07.
    assert_eq!(codes(&null(&mut spi)), [0, 1_118_481, -1_118_481, 7]);
}

#[test]
fn injected_faults_are_seen_on_the_bus() {
    let (clock, adc, mut spi) = counting();
    settle(&clock, &mut spi);
    let now = clock.frame();
    adc.corrupt(now + 1);
    adc.drop_conversion(now + 2);
    adc.fail_bus(now + 3);
    adc.restart_at(now + 5);
    let mut ready = adc.data_ready();

    clock.advance_to_next_frame();
    let corrupted = null(&mut spi);
    assert_ne!(word(&corrupted, 5), crc(&corrupted[..15]));

    clock.advance_to_next_frame();
    assert!(ready.is_high().unwrap());

    clock.advance_to_next_frame();
    assert!(spi.transfer_in_place(&mut [0; 18]).is_err());

    clock.advance_to_next_frame();
    adc.stick(Lead::Ground, Some(AdcCode::saturating(1234)));
    assert_eq!(codes(&null(&mut spi))[2], 1234);
    adc.stick(Lead::Ground, None);

    clock.advance_to_next_frame();
    assert_eq!(word(&null(&mut spi), 0) & 0x0400, 0x0400);
    assert_eq!(adc.counts().resets, 1);
}

#[test]
fn standby_stops_and_wakeup_starts_the_conversions() {
    let (clock, adc, mut spi) = counting();
    settle(&clock, &mut spi);
    transfer(&mut spi, &[0x00, 0x22, 0x00]);
    assert_eq!(word(&null(&mut spi), 0), 0x0022);
    clock.advance(2_000_000);
    assert!(adc.data_ready().is_high().unwrap());
    transfer(&mut spi, &[0x00, 0x33, 0x00]);
    assert_eq!(word(&null(&mut spi), 0), 0x0033);
    clock.advance_to_next_frame();
    assert!(adc.data_ready().is_low().unwrap());
}

#[test]
fn misuse_is_recorded() {
    let (_clock, adc, mut spi) = counting();
    spi.write(&[0x00, 0x00]).unwrap();
    spi.write(&[0x12, 0x34, 0x00]).unwrap();
    spi.write(&[0x61, 0x00, 0x00]).unwrap();
    transfer(&mut spi, &[0x61, 0x80, 0x00, 0x0F, 0x0A, 0x00]);
    assert_eq!(
        adc.misuse(),
        [
            Misuse::NotWholeWords(2),
            Misuse::UnknownCommand(0x1234),
            Misuse::WriteWithoutData(2),
            Misuse::NotModelled {
                address: 3,
                value: 0x0F0A
            },
        ]
    );
}

#[test]
fn one_transaction_of_several_operations_is_one_frame() {
    let (clock, _adc, mut spi) = counting();
    settle(&clock, &mut spi);
    clock.advance_to_next_frame();
    let n = clock.frame() as i32;
    let (mut status, mut rest) = ([0; 3], [0; 15]);
    spi.transaction(&mut [
        Operation::Transfer(&mut status, &[0, 0, 0]),
        Operation::DelayNs(100),
        Operation::Read(&mut rest),
    ])
    .unwrap();
    assert_eq!(status, [0x01, 0x0F, 0x00]);
    assert_eq!(AdcCode::from_be_bytes([rest[0], rest[1], rest[2]]).get(), n);
}

#[test]
fn the_converter_can_go_to_another_thread() {
    fn sendable<T: Send + 'static>() {}
    sendable::<VirtualAdc>();
    sendable::<AdcSpi>();
}
