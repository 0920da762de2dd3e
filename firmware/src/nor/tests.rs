//! Exact SPI transcripts of the flash driver.

use embedded_hal_mock::eh1::delay::{CheckedDelay, NoopDelay, Transaction as Wait};
use embedded_hal_mock::eh1::spi::{Mock, Transaction};

use embedded_hal::spi::ErrorKind;
use embedded_storage::nor_flash::{NorFlashError, NorFlashErrorKind};

use super::*;

type Talk = Vec<Transaction<u8>>;

/// A command with nothing to read.
fn send(bytes: &[u8]) -> Talk {
    vec![
        Transaction::transaction_start(),
        Transaction::write_vec(bytes.to_vec()),
        Transaction::transaction_end(),
    ]
}

/// A command and what the part answers.
fn ask(bytes: &[u8], answer: &[u8]) -> Talk {
    vec![
        Transaction::transaction_start(),
        Transaction::write_vec(bytes.to_vec()),
        Transaction::read_vec(answer.to_vec()),
        Transaction::transaction_end(),
    ]
}

fn program(address: [u8; 3], data: &[u8]) -> Talk {
    let [a, b, c] = address;
    [
        send(&[0x06]),
        vec![
            Transaction::transaction_start(),
            Transaction::write_vec(vec![0x02, a, b, c]),
            Transaction::write_vec(data.to_vec()),
            Transaction::transaction_end(),
        ],
    ]
    .concat()
}

fn ready_now() -> Talk {
    ask(&[0x05], &[0x00])
}

fn start() -> Talk {
    [ready_now(), ask(&[0x9F], &[0xEF, 0x40, 0x17])].concat()
}

/// Runs `act` on a started flash and checks that exactly `talk` went over the bus after it.
fn with_flash<T>(talk: &[Talk], act: impl FnOnce(&mut SpiNor<Mock<u8>, NoopDelay>) -> T) -> T {
    let mut flash = SpiNor::new(Mock::new(&[start(), talk.concat()].concat()), NoopDelay)
        .expect("the part answers");
    let outcome = act(&mut flash);
    flash.release().0.done();
    outcome
}

#[test]
fn the_size_comes_from_the_jedec_id() {
    with_flash(&[], |flash| {
        assert_eq!(flash.capacity(), 8 * 1024 * 1024);
        assert_eq!(
            flash.id(),
            JedecId {
                maker: 0xEF,
                kind: 0x40,
                size_bits: 0x17
            }
        );
    });
}

#[test]
fn a_part_that_is_not_there_is_told_and_not_used() {
    for id in [[0xFF; 3], [0x00; 3], [0xEF, 0x40, 0x19], [0xEF, 0x40, 0x0F]] {
        // With the line stuck high the status reads busy; here only the ID is wrong.
        let mut spi = Mock::new(&[ready_now(), ask(&[0x9F], &id)].concat());
        let error = SpiNor::new(spi.clone(), NoopDelay).expect_err("no usable part");
        assert!(matches!(error, NorError::UnknownPart(_)), "{error}");
        spi.done();
    }
}

#[test]
fn a_line_stuck_high_ends_in_a_time_out() {
    let looks = START.looks as usize;
    let mut spi = Mock::new(&vec![ask(&[0x05], &[0xFF]); looks].concat());
    let mut delay = CheckedDelay::new(&vec![Wait::delay_us(START.pause_us); looks]);
    let error = SpiNor::new(spi.clone(), delay.clone()).expect_err("never ready");
    assert_eq!(
        error,
        NorError::TimedOut {
            step: NorStep::Start,
            address: 0
        }
    );
    spi.done();
    delay.done();
}

#[test]
fn a_read_is_one_transaction() {
    with_flash(&[ask(&[0x03, 0x12, 0x34, 0x56], &[1, 2, 3])], |flash| {
        let mut into = [0; 3];
        flash.read_at(0x12_3456, &mut into).expect("read");
        assert_eq!(into, [1, 2, 3]);
    });
}

#[test]
fn a_program_waits_until_the_part_is_ready_and_reads_back() {
    let talk = [
        program([0x00, 0x20, 0x01], &[0xA5, 0x00]),
        ask(&[0x05], &[0x03]),
        ask(&[0x05], &[0x03]),
        ready_now(),
        ask(&[0x03, 0x00, 0x20, 0x01], &[0xA5, 0x00]),
    ];
    with_flash(&talk, |flash| {
        flash.program_at(0x2001, &[0xA5, 0x00]).expect("programmed");
    });
}

#[test]
fn a_program_is_split_at_page_ends() {
    // 3 bytes to the end of a page, one whole page, 2 bytes of the next.
    let data: Vec<u8> = (0..261_u32).map(|i| i as u8).collect();
    let talk = [
        program([0, 0, 0xFD], &data[..3]),
        ready_now(),
        program([0, 1, 0x00], &data[3..259]),
        ready_now(),
        program([0, 2, 0x00], &data[259..]),
        ready_now(),
    ];
    let mut spi = Mock::new(&[start(), talk.concat()].concat());
    let mut flash = SpiNor::new(spi.clone(), NoopDelay)
        .expect("the part answers")
        .without_read_back();
    flash.program_at(0xFD, &data).expect("programmed");
    spi.done();
}

#[test]
fn bits_that_were_zero_before_are_no_fault_but_bits_left_one_are() {
    // Programming 0F over F0 leaves 00: right. Reading 1F would be a bit that did not clear.
    let talk = |read| {
        [
            program([0, 0, 0], &[0x0F]),
            ready_now(),
            ask(&[0x03, 0, 0, 0], &[read]),
        ]
    };
    with_flash(&talk(0x00), |flash| flash.program_at(0, &[0x0F])).expect("bits only cleared");
    let error = with_flash(&talk(0x1F), |flash| flash.program_at(0, &[0x0F]));
    assert_eq!(
        error,
        Err(NorError::NotWritten {
            step: NorStep::Program,
            address: 0,
            wanted: 0x0F,
            read: 0x1F
        })
    );
}

fn blank_chunk(address: u32, last: u8) -> Talk {
    let [_, a, b, c] = address.to_be_bytes();
    let mut bytes = [0xFF; CHUNK];
    bytes[CHUNK - 1] = last;
    ask(&[0x03, a, b, c], &bytes)
}

#[test]
fn an_erase_goes_sector_by_sector_and_is_read_back() {
    let mut talk = Vec::new();
    for sector in [0x1000, 0x2000] {
        let [_, a, b, c] = u32::to_be_bytes(sector);
        talk.extend([
            send(&[0x06]),
            send(&[0x20, a, b, c]),
            ask(&[0x05], &[0x01]),
            ready_now(),
        ]);
        talk.extend((0..4096 / CHUNK as u32).map(|i| blank_chunk(sector + i * 64, 0xFF)));
    }
    with_flash(&talk, |flash| flash.erase_range(0x1000, 0x3000)).expect("erased");
}

#[test]
fn a_bit_that_does_not_erase_is_told_with_its_address() {
    let talk = [
        send(&[0x06]),
        send(&[0x20, 0, 0x10, 0]),
        ready_now(),
        blank_chunk(0x1000, 0xFF),
        blank_chunk(0x1040, 0xFB),
    ];
    let error = with_flash(&talk, |flash| flash.erase_range(0x1000, 0x2000));
    assert_eq!(
        error,
        Err(NorError::NotWritten {
            step: NorStep::Erase,
            address: 0x107F,
            wanted: 0xFF,
            read: 0xFB
        })
    );
}

#[test]
fn a_program_that_never_ends_times_out_within_its_bound() {
    let mut talk = vec![program([0, 0, 0], &[0])];
    talk.extend(vec![ask(&[0x05], &[0x01]); PROGRAM.looks as usize]);
    let error = with_flash(&talk, |flash| flash.program_at(0, &[0]));
    assert_eq!(
        error,
        Err(NorError::TimedOut {
            step: NorStep::Program,
            address: 0
        })
    );
}

#[test]
fn nothing_beyond_the_part_is_touched() {
    with_flash(&[], |flash| {
        let end = 8 * 1024 * 1024;
        for error in [
            flash.read_at(end, &mut [0]),
            flash.read_at(u32::MAX, &mut [0; 2]),
            flash.program_at(end - 1, &[0, 0]),
            flash.erase_range(end, end + 4096),
        ] {
            let error = error.expect_err("out of bounds");
            assert_eq!(error.kind(), NorFlashErrorKind::OutOfBounds, "{error}");
        }
        for (from, to) in [(1, 4096), (0, 100), (8192, 4096)] {
            let error = flash.erase_range(from, to).expect_err("not aligned");
            assert_eq!(error.kind(), NorFlashErrorKind::NotAligned, "{error}");
        }
        flash.read_at(end, &mut []).expect("nothing is in bounds");
        flash.program_at(end, &[]).expect("nothing is in bounds");
        flash.erase_range(4096, 4096).expect("nothing is in bounds");
    });
}

/// A bus that always fails.
struct Broken;

impl embedded_hal::spi::ErrorType for Broken {
    type Error = ErrorKind;
}

impl SpiDevice<u8> for Broken {
    fn transaction(&mut self, _: &mut [Operation<'_, u8>]) -> Result<(), ErrorKind> {
        Err(ErrorKind::ModeFault)
    }
}

#[test]
fn a_bus_error_says_where() {
    let error = SpiNor::new(Broken, NoopDelay).expect_err("the bus fails");
    let wanted = format!(
        "flash: the SPI bus failed during start at 0x000000 ({}); check the bus set-up",
        ErrorKind::ModeFault
    );
    assert_eq!(error.to_string(), wanted);
}
