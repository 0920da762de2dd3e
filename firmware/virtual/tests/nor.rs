//! The memory model: what a right driver gets, what a wrong one is caught at, what a loss of
//! power leaves.

use embedded_hal::spi::{Operation, SpiDevice};
use slotwise_virtual::chips::BusError;
use slotwise_virtual::chips::nor::{NorSpi, PAGE, PowerCut, SECTOR, Violation, VirtualNor};
use slotwise_virtual::clock::SimClock;

fn board() -> (SimClock, VirtualNor, NorSpi) {
    let clock = SimClock::new();
    let nor = VirtualNor::erased(&clock, 64 * 1024).unwrap();
    let spi = nor.spi();
    (clock, nor, spi)
}

fn command(code: u8, address: u32) -> [u8; 4] {
    let [_, high, middle, low] = address.to_be_bytes();
    [code, high, middle, low]
}

fn read(spi: &mut NorSpi, address: u32, into: &mut [u8]) {
    spi.transaction(&mut [
        Operation::Write(&command(0x03, address)),
        Operation::Read(into),
    ])
    .unwrap();
}

fn status(spi: &mut NorSpi) -> u8 {
    let mut bytes = [0x05, 0];
    spi.transfer_in_place(&mut bytes).unwrap();
    bytes[1]
}

fn program(spi: &mut NorSpi, address: u32, data: &[u8]) -> Result<(), BusError> {
    spi.write(&[0x06])?;
    spi.transaction(&mut [
        Operation::Write(&command(0x02, address)),
        Operation::Write(data),
    ])
}

fn erase(spi: &mut NorSpi, address: u32) -> Result<(), BusError> {
    spi.write(&[0x06])?;
    spi.write(&command(0x20, address))
}

#[test]
fn the_identity_is_that_of_the_board() {
    let clock = SimClock::new();
    let nor = VirtualNor::erased(&clock, VirtualNor::BOARD_BYTES).unwrap();
    let mut bytes = [0x9F, 0, 0, 0];
    nor.spi().transfer_in_place(&mut bytes).unwrap();
    assert_eq!(bytes[1..], [0xEF, 0x40, 0x17]);
}

#[test]
fn a_page_is_programmed_and_read_back() {
    let (clock, nor, mut spi) = board();
    program(&mut spi, 0x120, b"Larkfield").unwrap();
    clock.advance(400_000);
    let mut bytes = [0; 11];
    read(&mut spi, 0x11F, &mut bytes);
    assert_eq!(&bytes, b"\xFFLarkfield\xFF");
    assert_eq!(nor.counts().programs, 1);
    assert_eq!(nor.counts().bytes_programmed, 9);
    assert_eq!(nor.violations(), []);
    // A program disables writing again.
    spi.write(&command(0x02, 0x300)).unwrap();
    assert_eq!(nor.violations(), [Violation::NotEnabled { code: 0x02 }]);
    // Again over it: bits only go down.
    program(&mut spi, 0x120, &[0x0F]).unwrap();
    clock.advance(400_000);
    read(&mut spi, 0x120, &mut bytes[..1]);
    assert_eq!(bytes[0], b'L' & 0x0F);
}

#[test]
fn the_status_tells_busy_and_write_enable() {
    let (clock, nor, mut spi) = board();
    assert_eq!(status(&mut spi), 0);
    spi.write(&[0x06]).unwrap();
    assert_eq!(status(&mut spi), 0b10);
    spi.write(&[0x04]).unwrap();
    assert_eq!(status(&mut spi), 0);

    erase(&mut spi, 0x1000).unwrap();
    assert_eq!(status(&mut spi), 0b01);
    // 45 ms less the microsecond that the status took.
    clock.advance(44_900_000);
    assert_eq!(status(&mut spi), 0b01);
    clock.advance(100_000);
    assert_eq!(status(&mut spi), 0);
    assert_eq!(nor.counts().erases, 1);
}

#[test]
fn polling_the_status_alone_ends_in_time() {
    let (_clock, _nor, mut spi) = board();
    program(&mut spi, 0, &[0]).unwrap();
    let polls = (0..10_000)
        .take_while(|_| status(&mut spi) & 1 == 1)
        .count();
    // 0.4 ms at 1 us a poll.
    assert!((390..=400).contains(&polls), "{polls}");
}

#[test]
fn a_page_wraps_to_its_own_start_and_that_is_recorded() {
    let (clock, nor, mut spi) = board();
    program(&mut spi, 0x2FE, &[1, 2, 3, 4]).unwrap();
    clock.advance(400_000);
    let contents = nor.contents();
    assert_eq!(contents[0x2FE..0x300], [1, 2]);
    assert_eq!(contents[0x200..0x202], [3, 4]);
    assert_eq!(contents[0x300], 0xFF);
    let wrapped = Violation::PageWrapped {
        address: 0x2FE,
        count: 4,
    };
    assert_eq!(nor.violations(), [wrapped]);
}

#[test]
fn of_more_than_a_page_the_last_bytes_stay() {
    let (_clock, nor, mut spi) = board();
    let data: Vec<u8> = (0..PAGE + 3).map(|index| (index % 251) as u8).collect();
    program(&mut spi, 0, &data).unwrap();
    let contents = nor.contents();
    assert_eq!(contents[..3], data[PAGE..]);
    assert_eq!(contents[3..PAGE], data[3..PAGE]);
}

#[test]
fn misuse_changes_nothing_and_is_recorded() {
    let (clock, nor, mut spi) = board();
    let before = nor.contents();
    // Without write enable.
    spi.write(&[0x02, 0, 0, 0, 0x55]).unwrap();
    spi.write(&command(0x20, 0)).unwrap();
    // Out of range: the part has 64 KiB.
    program(&mut spi, 0x01_0000, &[1]).unwrap();
    spi.write(&[0x04]).unwrap();
    // Too short, too long, unknown.
    spi.write(&[0x03, 0, 0]).unwrap();
    spi.write(&[0x06, 0x00]).unwrap();
    assert_eq!(status(&mut spi), 0);
    spi.write(&[0xC7]).unwrap();
    assert_eq!(nor.contents(), before);
    assert_eq!(
        nor.violations(),
        [
            Violation::NotEnabled { code: 0x02 },
            Violation::NotEnabled { code: 0x20 },
            Violation::OutOfRange { address: 0x01_0000 },
            Violation::TooShort { code: 0x03 },
            Violation::TooLong { code: 0x06 },
            Violation::UnknownCommand { code: 0xC7 },
        ]
    );
    // While busy.
    erase(&mut spi, 0).unwrap();
    let mut bytes = [0; 4];
    read(&mut spi, 0, &mut bytes);
    spi.write(&[0x06]).unwrap();
    assert_eq!(
        nor.violations()[6..],
        [
            Violation::Busy { code: 0x03 },
            Violation::Busy { code: 0x06 }
        ]
    );
    clock.advance(45_000_000);
    assert_eq!(status(&mut spi), 0);
}

#[test]
fn a_read_over_the_end_is_recorded() {
    let (_clock, nor, mut spi) = board();
    let mut bytes = [0; 4];
    read(&mut spi, 0xFFFC, &mut bytes);
    assert_eq!(nor.violations(), []);
    read(&mut spi, 0xFFFD, &mut bytes);
    assert_eq!(
        nor.violations(),
        [Violation::OutOfRange { address: 0x1_0000 }]
    );
}

#[test]
fn a_cut_at_every_byte_of_a_page_keeps_what_was_before_and_after_it() {
    let data: Vec<u8> = (0..40).map(|index| 0x80 | index).collect();
    for cut in 0..40 {
        let (clock, nor, mut spi) = board();
        program(&mut spi, 0x1000, b"before").unwrap();
        clock.advance(400_000);
        nor.cut_power(PowerCut::AfterBytes(cut));
        assert_eq!(program(&mut spi, 0x1100, &data), Err(BusError::NoPower));
        assert!(!nor.is_powered());
        assert_eq!(spi.write(&[0x06]), Err(BusError::NoPower));
        nor.restore_power();
        assert_eq!(status(&mut spi), 0, "write enable and busy are lost");
        let contents = nor.contents();
        let cut = cut as usize;
        assert_eq!(contents[0x1000..0x1006], *b"before");
        assert_eq!(contents[0x1100..0x1100 + cut], data[..cut]);
        // The byte at the cut may be anything between erased and programmed.
        assert_eq!(contents[0x1100 + cut] & data[cut], data[cut]);
        assert!(
            contents[0x1101 + cut..0x1200]
                .iter()
                .all(|byte| *byte == 0xFF)
        );
        assert_eq!(nor.violations(), []);
    }
}

#[test]
fn a_cut_erase_leaves_its_neighbours_alone() {
    let (clock, nor, mut spi) = board();
    for sector in 0..3 {
        program(&mut spi, sector * SECTOR as u32, &[0; PAGE]).unwrap();
        clock.advance(400_000);
    }
    nor.cut_power(PowerCut::AfterBytes(1000));
    assert_eq!(erase(&mut spi, SECTOR as u32), Err(BusError::NoPower));
    let contents = nor.contents();
    assert_eq!(contents[..PAGE], [0; PAGE]);
    assert_eq!(contents[2 * SECTOR..2 * SECTOR + PAGE], [0; PAGE]);
    let torn = &contents[SECTOR..SECTOR + PAGE];
    let ones: u32 = torn.iter().map(|byte| byte.count_ones()).sum();
    // 1000 of 4096 of 2048 bits, within five standard deviations.
    assert!((400..=600).contains(&ones), "{ones}");
    assert_eq!(nor.counts().erases, 0);
}

#[test]
fn a_cut_after_operations_counts_programs_and_erases() {
    let (clock, nor, mut spi) = board();
    nor.cut_power(PowerCut::AfterOperations(2));
    erase(&mut spi, 0).unwrap();
    clock.advance(45_000_000);
    program(&mut spi, 0, &[1]).unwrap();
    clock.advance(400_000);
    assert_eq!(program(&mut spi, 1, &[2]), Err(BusError::NoPower));
    assert_eq!(nor.contents()[..2], [1, 0xFF]);
}

#[test]
fn contents_survive_a_new_board() {
    let (clock, nor, mut spi) = board();
    program(&mut spi, 7, &[0x42]).unwrap();
    clock.advance(400_000);
    let again = VirtualNor::with_contents(&SimClock::new(), nor.contents()).unwrap();
    assert_eq!(again.contents(), nor.contents());
    let error = VirtualNor::erased(&clock, 5000).err().unwrap();
    assert!(error.to_string().contains("5000"), "{error}");
}

#[test]
fn an_erase_of_one_sector_wears_one_sector() {
    let (clock, nor, mut spi) = board();
    for _ in 0..3 {
        erase(&mut spi, 0x3000).unwrap();
        clock.advance(45_000_000);
    }
    erase(&mut spi, 0x4000).unwrap();
    assert_eq!(nor.most_erased(), 3);
    assert_eq!(nor.counts().erases, 4);
}
