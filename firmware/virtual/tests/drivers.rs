//! The firmware's own drivers, unmodified, on the chip models.

use slotwise_core::sample::FrameFault;
use slotwise_core::slots::Lead;
use slotwise_firmware::adc::{Converter, Mux};
use slotwise_firmware::journal::Journal;
use slotwise_firmware::nor::SpiNor;
use slotwise_virtual::chips::adc::VirtualAdc;
use slotwise_virtual::chips::nor::{NorSpi, PowerCut, SECTOR, VirtualNor};
use slotwise_virtual::clock::{SimClock, SimDelay};
use slotwise_virtual::front_end::{FrameSource, FrontEnd, PhasorSource};
use slotwise_virtual::house::find;
use slotwise_virtual::tester::{Specimen, Tolerance};

fn front() -> FrontEnd {
    let specimen = Specimen::draw(77, &Tolerance::USUAL);
    let receptacle = &find("sound").unwrap().receptacle;
    let source = PhasorSource::plugged(&specimen, receptacle).unwrap();
    FrontEnd::new(specimen, Box::new(source))
}

#[test]
fn the_converter_driver_reads_every_code_of_the_front_end() {
    let clock = SimClock::new();
    let adc = VirtualAdc::new(&clock, front());
    let mut converter = Converter::new(adc.spi());
    let identity = converter.start(&mut clock.delay()).unwrap();
    assert_eq!(identity.id & 0xFF00, 0x2400);
    let mut expected = front();
    let before = adc.counts();
    for _ in 0..8000 {
        clock.advance_to_next_frame();
        let frame = converter.read_frame().unwrap();
        assert_eq!(frame, expected.frame(clock.frame()));
    }
    assert_eq!(adc.misuse(), []);
    let counts = adc.counts();
    assert_eq!(counts.delivered - before.delivered, 8000);
    assert_eq!(counts.repeated, before.repeated);
    assert_eq!(counts.overwritten, before.overwritten);
}

#[test]
fn faults_on_the_bus_are_the_drivers_faults() {
    let clock = SimClock::new();
    let adc = VirtualAdc::new(&clock, front());
    let mut converter = Converter::new(adc.spi());
    converter.start(&mut clock.delay()).unwrap();
    let now = clock.frame();
    adc.corrupt(now + 1);
    adc.fail_bus(now + 2);
    adc.restart_at(now + 4);
    let mut next = || {
        clock.advance_to_next_frame();
        converter.read_frame().err()
    };
    assert_eq!(next(), Some(FrameFault::Checksum));
    assert_eq!(next(), Some(FrameFault::Bus));
    assert_eq!(next(), None);
    assert_eq!(next(), Some(FrameFault::Restarted));
    assert_eq!(next(), Some(FrameFault::Restarted));
    converter.start(&mut clock.delay()).unwrap();
    clock.advance_to_next_frame();
    assert_eq!(converter.read_frame().err(), None);
    assert_eq!(adc.misuse(), []);
}

#[test]
fn the_self_test_inputs_read_a_fifteenth_twice() {
    let clock = SimClock::new();
    let adc = VirtualAdc::new(&clock, front());
    let specimen = front().specimen().clone();
    let mut converter = Converter::new(adc.spi());
    converter.start(&mut clock.delay()).unwrap();
    for (mux, volts) in [
        (Mux::Shorted, 0.0),
        (Mux::PlusTest, 0.16),
        (Mux::MinusTest, -0.16),
    ] {
        converter.select_input(mux, &mut clock.delay()).unwrap();
        clock.advance_to_next_frame();
        let frame = converter.read_frame().unwrap();
        for lead in Lead::ALL {
            let channel = specimen.converter[lead.channel()];
            let expected = (volts * channel.gain + channel.offset_volts) * 8_388_608.0 / 1.2;
            let error = f64::from(frame.code(lead).get()) - expected;
            // Six sigma of 5.35 uV, 37 codes.
            assert!(error.abs() < 225.0, "{lead:?} {error}");
        }
    }
    assert_eq!(adc.misuse(), []);
}

fn flash(nor: &VirtualNor, clock: &SimClock) -> SpiNor<NorSpi, SimDelay> {
    SpiNor::new(nor.spi(), clock.delay()).unwrap()
}

#[test]
fn the_memory_driver_commits_no_violation() {
    let clock = SimClock::new();
    let nor = VirtualNor::erased(&clock, 64 * 1024).unwrap();
    let mut driver = flash(&nor, &clock);
    let data: Vec<u8> = (0..1000u32).map(|index| (index * 7 % 253) as u8).collect();
    for (address, length) in [(0, 1), (255, 2), (0x0FF0, 300), (0x2001, 1000), (0xFFFF, 1)] {
        driver.program_at(address, &data[..length]).unwrap();
        let mut back = vec![0; length];
        driver.read_at(address, &mut back).unwrap();
        assert_eq!(back, data[..length], "{address:x}");
    }
    driver.erase_range(0x2000, 0x4000).unwrap();
    assert!(
        nor.contents()[0x2000..0x4000]
            .iter()
            .all(|byte| *byte == 0xFF)
    );
    assert_eq!(nor.violations(), []);
    assert_eq!(nor.counts().erases, 2);
}

/// Sixteen sectors, the smallest part with room for calibrations and a few sectors of journal.
const JOURNAL_BYTES: usize = 16 * SECTOR;

fn record(number: u32) -> Vec<u8> {
    (0..70 + number % 5)
        .map(|index| (number * 31 + index * 3) as u8)
        .collect()
}

/// Appends until the power fails; returns the last number that was acknowledged.
fn append_until_cut(journal: &mut Journal<SpiNor<NorSpi, SimDelay>>, most: u32) -> u32 {
    let mut acknowledged = 0;
    for number in 1..=most {
        match journal.append(&record(number)) {
            Ok(given) => {
                assert_eq!(given, number);
                acknowledged = number;
            }
            Err(_) => break,
        }
    }
    acknowledged
}

#[test]
fn a_cut_at_every_seventh_byte_leaves_what_was_acknowledged_and_a_journal_that_goes_on() {
    // 60 records of some 80 bytes cross a sector's end; every 7th byte of them.
    let mut finished = false;
    let mut cut = 0;
    while !finished {
        let clock = SimClock::new();
        let nor = VirtualNor::erased(&clock, JOURNAL_BYTES).unwrap();
        let mut journal = Journal::open(flash(&nor, &clock)).ok().unwrap();
        nor.cut_power(PowerCut::AfterBytes(cut));
        let acknowledged = append_until_cut(&mut journal, 60);
        finished = nor.is_powered();
        drop(journal);
        nor.restore_power();

        let mut journal = Journal::open(flash(&nor, &clock)).unwrap_or_else(|failed| {
            panic!("cut {cut}: the journal does not open: {}", failed.error)
        });
        let mut buffer = [0; 256];
        for number in 1..=acknowledged {
            let (found, length) = journal.read_from(number, &mut buffer).unwrap().unwrap();
            assert_eq!(found, number, "cut {cut}");
            assert_eq!(
                buffer[..length],
                record(number),
                "cut {cut}, record {number}"
            );
        }
        let next = journal.next_number().unwrap();
        // What was not acknowledged may be whole all the same, but only the next one.
        assert!(
            next == acknowledged + 1 || next == acknowledged + 2,
            "cut {cut}"
        );
        assert_eq!(journal.append(&record(next)).unwrap(), next, "cut {cut}");
        assert_eq!(nor.violations(), [], "cut {cut}");
        cut += 7;
    }
    assert!(cut > 4800, "the sweep ended at byte {cut}");
}
