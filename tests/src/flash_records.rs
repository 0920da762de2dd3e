//! What an emulated board has left in its flash, read as the firmware itself would.

use std::fs;
use std::path::Path;

use slotwise_core::record::{MAX_BYTES, Record, decode};
use slotwise_firmware::journal::Journal;
use slotwise_firmware::nor::SpiNor;
use slotwise_virtual::chips::nor::VirtualNor;
use slotwise_virtual::clock::SimClock;

/// Every record of the flash's contents in this file.
///
/// # Panics
/// If it holds no journal, or a record that does not decode.
#[must_use]
pub fn records_of(nor: &Path) -> Vec<Record> {
    let clock = SimClock::new();
    let contents = fs::read(nor).expect("it was written back");
    let chip = VirtualNor::with_contents(&clock, contents).expect("a part of this size");
    let flash = SpiNor::new(chip.spi(), clock.delay()).expect("it answers");
    let mut journal = Journal::open(flash).expect("the journal opens");
    let mut buffer = [0; MAX_BYTES];
    let mut records = Vec::new();
    let mut next = 1;
    while let Some((number, length)) = journal.read_from(next, &mut buffer).expect("readable") {
        records.push(decode(&buffer[..length]).expect("records decode"));
        next = number + 1;
    }
    records
}
