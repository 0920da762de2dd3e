//! A flash whose journal is full of real records, without the hours that a tester takes to write
//! them: the last record of a journal that a tester wrote is written again and again, with its own
//! number and its own place in the chain.
//!
//! Items, heads and sectors are the journal's own work, on a flash in memory.

use embedded_storage::nor_flash::{
    ErrorType, MultiwriteNorFlash, NorFlash, NorFlashError, NorFlashErrorKind, ReadNorFlash,
};
use slotwise::chain::digest;
use slotwise_core::record::{Body, BootCause, MAX_BYTES, RecordNumber, decode, encode};
use slotwise_firmware::journal::{Journal, JournalError};

/// Bytes of a sector, as on the board's part.
const SECTOR: usize = 4096;

/// A part in memory that does what it is told.
#[derive(Debug)]
struct Memory(Vec<u8>);

/// It was told to go out of its bounds.
#[derive(Debug)]
pub struct OutOfBounds;

impl std::fmt::Display for OutOfBounds {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("out of the part's bounds")
    }
}

impl std::error::Error for OutOfBounds {}

impl NorFlashError for OutOfBounds {
    fn kind(&self) -> NorFlashErrorKind {
        NorFlashErrorKind::OutOfBounds
    }
}

impl Memory {
    fn part(&mut self, from: u32, length: usize) -> Result<&mut [u8], OutOfBounds> {
        let from = from as usize;
        self.0.get_mut(from..from + length).ok_or(OutOfBounds)
    }
}

impl ErrorType for Memory {
    type Error = OutOfBounds;
}

impl ReadNorFlash for Memory {
    const READ_SIZE: usize = 1;

    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), OutOfBounds> {
        bytes.copy_from_slice(self.part(offset, bytes.len())?);
        Ok(())
    }

    fn capacity(&self) -> usize {
        self.0.len()
    }
}

impl NorFlash for Memory {
    const WRITE_SIZE: usize = 1;
    const ERASE_SIZE: usize = SECTOR;

    fn erase(&mut self, from: u32, to: u32) -> Result<(), OutOfBounds> {
        self.part(from, (to - from) as usize)?.fill(0xFF);
        Ok(())
    }

    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), OutOfBounds> {
        for (to, from) in self.part(offset, bytes.len())?.iter_mut().zip(bytes) {
            *to &= from;
        }
        Ok(())
    }
}

impl MultiwriteNorFlash for Memory {}

/// Number of the last record that [`LongJournal::at_a_sector_s_end`] has freed.
pub const FREED: u32 = 5;

/// What a flash holds.
#[derive(Debug)]
pub struct LongJournal {
    /// The flash's contents.
    pub contents: Vec<u8>,
    /// Every record, in order.
    pub records: Vec<Vec<u8>>,
}

impl LongJournal {
    /// Goes on with the journal in `contents` until it holds `count` records, or is full.
    ///
    /// # Panics
    /// If there is no record in it to go on with.
    #[must_use]
    pub fn grow(contents: Vec<u8>, count: usize) -> Self {
        let mut journal = Journal::open(Memory(contents)).expect("a journal");
        let mut records = Vec::new();
        let mut buffer = [0; MAX_BYTES];
        let mut next = 1;
        while let Some((number, length)) = journal.read_from(next, &mut buffer).expect("it reads") {
            records.push(buffer[..length].to_vec());
            next = number + 1;
        }
        let mut record = decode(records.last().expect("a record")).expect("it decodes");
        while records.len() < count {
            record.previous = records.last().map(|last| digest(last)).expect("one before");
            record.number = RecordNumber::new(record.number.get() + 1);
            let bytes = encode(&record, &mut buffer).expect("it fits");
            match journal.append(bytes) {
                Ok(number) => assert_eq!(number, record.number.get()),
                Err(JournalError::Full { .. }) => break,
                Err(error) => panic!("{error}"),
            }
            records.push(bytes.to_vec());
        }
        Self {
            contents: journal.close().0,
            records,
        }
    }

    /// The same with all but the last `keep` records freed. Where it is full, every sector that is
    /// begun from now on is erased first.
    ///
    /// # Panics
    /// If there are not so many.
    #[must_use]
    pub fn freed_but(self, keep: usize) -> Self {
        let mut journal = Journal::open(Memory(self.contents)).expect("a journal");
        let last = journal.last().expect("a record");
        journal.confirm(last).expect("it is there");
        journal.free(last - keep as u32).expect("it is confirmed");
        Self::grow(journal.close().0, 0)
    }

    /// The journal in `contents` with its first [`FREED`] records freed and so many records of a
    /// start behind it that the next one needs another sector. Room was freed, so that sector is
    /// erased first.
    ///
    /// # Panics
    /// If there are not so many records in it.
    #[must_use]
    pub fn at_a_sector_s_end(contents: Vec<u8>) -> Self {
        let mut journal = Journal::open(Memory(contents)).expect("a journal");
        journal.confirm(FREED).expect("they are there");
        journal.free(FREED).expect("they are confirmed");
        let sectors = journal.sectors_used().0;
        let mut buffer = [0; MAX_BYTES];
        let length = journal.last_payload(&mut buffer).expect("it reads");
        let last = buffer[..length.expect("a record")].to_vec();
        let mut record = decode(&last).expect("it decodes");
        record.body = Body::Boot(BootCause::PowerOn);
        let mut previous = digest(&last);
        let mut before = journal.close();
        loop {
            let mut journal = Journal::open(Memory(before.0.clone())).expect("a journal");
            record.previous = previous;
            record.number = record.number.next();
            let bytes = encode(&record, &mut buffer).expect("it fits");
            journal.append(bytes).expect("room");
            previous = digest(bytes);
            if journal.sectors_used().0 > sectors {
                return Self::grow(before.0, 0);
            }
            before = journal.close();
        }
    }
}
