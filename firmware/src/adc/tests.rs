//! Exact SPI transcripts of the converter driver. The parts of a frame behind the response
//! are zero unless the test is about them.

use embedded_hal::spi::{ErrorKind, ErrorType, Operation};
use embedded_hal_mock::eh1::delay::{CheckedDelay, NoopDelay, Transaction as Wait};
use embedded_hal_mock::eh1::spi::{Mock, Transaction};

use super::frame::respond;
use super::*;

type Talk = Vec<Transaction<u8>>;

/// One frame: `command` out, response word `word` in.
fn frame(command: Command, word: u16) -> Talk {
    raw(command, respond(word, [0; 4]))
}

fn raw(command: Command, answer: [u8; FRAME_BYTES]) -> Talk {
    vec![
        Transaction::transaction_start(),
        Transaction::transfer(encode(command).to_vec(), answer.to_vec()),
        Transaction::transaction_end(),
    ]
}

/// A frame that came damaged.
fn damaged(command: Command) -> Talk {
    let mut answer = respond(0x010F, [0; 4]);
    answer[4] ^= 0x10;
    raw(command, answer)
}

fn reset() -> Talk {
    [
        frame(Command::Reset, 0x050F),
        frame(Command::Null, RESET_ACKNOWLEDGED),
    ]
    .concat()
}

fn read(register: Register, value: u16) -> Talk {
    [
        frame(Command::Read(register), 0x0500),
        frame(Command::Null, value),
    ]
    .concat()
}

fn write(register: Register, value: u16, reads: u16) -> Talk {
    [
        frame(Command::Write(register, value), 0x0500),
        frame(Command::Null, Command::write_acknowledged(register)),
        read(register, reads),
    ]
    .concat()
}

fn settings() -> Talk {
    [
        write(Register::Mode, 0x1110, 0x1110),
        write(Register::Clock, 0x0F0E, 0x0F0E),
        write(Register::Gain1, 0x0000, 0x0000),
    ]
    .concat()
}

fn fresh() -> Talk {
    times(2, frame(Command::Null, 0x010F))
}

/// The same talk `n` times.
fn times(n: usize, talk: Talk) -> Talk {
    vec![talk; n].concat()
}

fn start(talk: &[Talk]) -> Result<Identity, AdcError> {
    let mut spi = Mock::new(&talk.concat());
    let outcome = Converter::new(spi.clone()).start(&mut NoopDelay);
    spi.done();
    outcome
}

fn read_one(answer: [u8; FRAME_BYTES]) -> Result<Frame, FrameFault> {
    let mut spi = Mock::new(&raw(Command::Null, answer));
    let outcome = Converter::new(spi.clone()).read_frame();
    spi.done();
    outcome
}

#[test]
fn a_good_part_is_reset_identified_set_and_settled() {
    let mut spi = Mock::new(&[reset(), read(Register::Id, 0x2403), settings(), fresh()].concat());
    let mut delay = CheckedDelay::new(&[
        Wait::delay_us(POWER_ON_US),
        Wait::delay_us(RESET_US),
        Wait::delay_us(SETTLE_US),
    ]);
    let identity = Converter::new(spi.clone()).start(&mut delay);
    assert_eq!(identity, Ok(Identity { id: 0x2403 }));
    spi.done();
    delay.done();
}

#[test]
fn a_reset_that_is_not_acknowledged_is_tried_three_times() {
    let ignored = || [frame(Command::Reset, 0x010F), frame(Command::Null, 0x0011)].concat();
    assert_eq!(
        start(&[ignored(), ignored(), ignored()]),
        Err(AdcError::NotReset { answer: 0x0011 })
    );
    let rest = [read(Register::Id, 0x2400), settings(), fresh()].concat();
    assert!(start(&[ignored(), ignored(), reset(), rest]).is_ok());
}

#[test]
fn another_part_is_refused() {
    // 0x23xx is the three-channel part of the family.
    let outcome = start(&[reset(), times(3, read(Register::Id, 0x2300))]);
    assert_eq!(outcome, Err(AdcError::WrongPart { id: 0x2300 }));
}

#[test]
fn a_register_that_does_not_take_is_told_with_both_values() {
    let outcome = start(&[
        reset(),
        read(Register::Id, 0x2400),
        write(Register::Mode, 0x1110, 0x1110),
        times(3, write(Register::Clock, 0x0F0E, 0x0F0C)),
    ]);
    let error = outcome.expect_err("CLOCK reads otherwise");
    assert_eq!(
        error.to_string(),
        "converter: CLOCK (03h) reads 0x0f0c after 0x0f0e was written; check MOSI and the \
         isolator"
    );
}

#[test]
fn a_write_with_a_damaged_answer_is_written_again() {
    // The part may have executed it; writing the same again does no harm.
    let outcome = start(&[
        reset(),
        read(Register::Id, 0x2400),
        frame(Command::Write(Register::Mode, 0x1110), 0x0500),
        damaged(Command::Null),
        settings(),
        fresh(),
    ]);
    assert!(outcome.is_ok());
}

#[test]
fn a_line_that_stays_damaged_ends_after_three_tries() {
    let error = start(&[times(3, damaged(Command::Reset))]).expect_err("no answer is whole");
    assert!(matches!(
        error,
        AdcError::Checksum {
            step: Command::Reset,
            ..
        }
    ));
}

#[test]
fn a_part_that_restarts_while_it_settles_is_not_running() {
    let outcome = start(&[
        reset(),
        read(Register::Id, 0x2400),
        settings(),
        times(6, frame(Command::Null, 0x050F)),
    ]);
    assert_eq!(outcome, Err(AdcError::NotRunning(FrameFault::Restarted)));
}

#[test]
fn a_frame_gives_the_four_codes() {
    let codes = [-5, 8_388_607, -8_388_608, 42];
    let frame = read_one(respond(0x010F, codes)).expect("whole");
    assert_eq!(frame.codes.map(|code| code.get()), codes);
}

#[test]
fn frame_faults_are_told_apart() {
    let mut torn = respond(0x010F, [1, 2, 3, 4]);
    torn[5] ^= 1;
    assert_eq!(read_one(torn), Err(FrameFault::Checksum));
    // The part saw a damaged command.
    assert_eq!(read_one(respond(0x110F, [0; 4])), Err(FrameFault::Checksum));
    // Reset flag; register map changed; both with a damaged command.
    for word in [0x050F, 0x210F, 0x150F] {
        assert_eq!(
            read_one(respond(word, [0; 4])),
            Err(FrameFault::Restarted),
            "{word:04x}"
        );
    }
}

#[test]
fn catching_up_reads_exactly_two_frames() {
    let mut spi = Mock::new(&fresh());
    Converter::new(spi.clone()).catch_up().expect("fresh");
    spi.done();
}

#[test]
fn catching_up_forgives_a_stale_first_frame() {
    let mut spi = Mock::new(&[damaged(Command::Null), frame(Command::Null, 0x010F)].concat());
    Converter::new(spi.clone())
        .catch_up()
        .expect("the second is whole");
    spi.done();
}

#[test]
fn the_self_test_inputs_are_selected_on_all_channels_and_read_back() {
    let talk = [
        write(Register::Channel0, 0b10, 0b10),
        write(Register::Channel1, 0b10, 0b10),
        write(Register::Channel2, 0b10, 0b10),
        write(Register::Channel3, 0b10, 0b10),
        fresh(),
    ];
    let mut spi = Mock::new(&talk.concat());
    Converter::new(spi.clone())
        .select_input(Mux::PlusTest, &mut NoopDelay)
        .expect("selected");
    spi.done();
}

/// A bus that always fails.
struct Broken;

impl ErrorType for Broken {
    type Error = ErrorKind;
}

impl SpiDevice<u8> for Broken {
    fn transaction(&mut self, _: &mut [Operation<'_, u8>]) -> Result<(), ErrorKind> {
        Err(ErrorKind::Overrun)
    }
}

#[test]
fn a_failing_bus_is_no_checksum_error() {
    let mut converter = Converter::new(Broken);
    assert_eq!(converter.read_frame(), Err(FrameFault::Bus));
    assert_eq!(
        converter.start(&mut NoopDelay),
        Err(AdcError::Bus {
            step: Command::Reset,
            kind: ErrorKind::Overrun
        })
    );
}
