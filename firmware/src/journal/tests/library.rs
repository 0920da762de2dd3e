//! The items of a sector against the crate whose format they have, `sequential-storage` 8: what one
//! writes the other reads, whole and damaged, and both write to the same place. (Words of one byte;
//! a queue of one page, whose first and last byte are the crate's marks: 00 begun, FF not closed.)

use core::future::ready as at_once;
use core::pin::pin;
use core::task::{Context, Poll, Waker};

use embedded_storage_async::nor_flash as asynchronous;
use sequential_storage::Error;
use sequential_storage::cache::{Cache, Uncached};
use sequential_storage::queue::{QueueConfig, QueueStorage};

use super::*;

/// A page that holds as many bytes of items as a sector does.
const PAGE: usize = SECTOR - HEAD_BYTES + 2;

/// Memory that the crate may write as flash; erasing is what it must not need here.
#[derive(Clone)]
struct Page([u8; PAGE]);

#[derive(Debug)]
struct Erased;

impl asynchronous::NorFlashError for Erased {
    fn kind(&self) -> asynchronous::NorFlashErrorKind {
        asynchronous::NorFlashErrorKind::Other
    }
}

impl asynchronous::ErrorType for Page {
    type Error = Erased;
}

impl asynchronous::ReadNorFlash for Page {
    const READ_SIZE: usize = 1;

    fn read(&mut self, at: u32, into: &mut [u8]) -> impl Future<Output = Result<(), Erased>> {
        into.copy_from_slice(&self.0[at as usize..][..into.len()]);
        at_once(Ok(()))
    }

    fn capacity(&self) -> usize {
        PAGE
    }
}

impl asynchronous::NorFlash for Page {
    const WRITE_SIZE: usize = 1;
    const ERASE_SIZE: usize = PAGE;

    fn erase(&mut self, _: u32, _: u32) -> impl Future<Output = Result<(), Erased>> {
        at_once(Err(Erased))
    }

    fn write(&mut self, at: u32, from: &[u8]) -> impl Future<Output = Result<(), Erased>> {
        for (place, byte) in self.0[at as usize..].iter_mut().zip(from) {
            *place &= byte;
        }
        at_once(Ok(()))
    }
}

impl asynchronous::MultiwriteNorFlash for Page {}

fn now<T>(future: impl Future<Output = T>) -> T {
    match pin!(future).poll(&mut Context::from_waker(Waker::noop())) {
        Poll::Ready(value) => value,
        Poll::Pending => panic!("memory does not wait"),
    }
}

type Queue = QueueStorage<Page, Cache<Uncached, Uncached, Uncached>>;

fn queue(page: Page) -> Queue {
    let config = QueueConfig::try_new(0..PAGE as u32).expect("fits");
    QueueStorage::new(page, config, Cache::new_uncached())
}

/// The sector as a page of the crate.
fn page(sector: &[u8]) -> Page {
    let mut bytes = [0; PAGE];
    bytes[1..PAGE - 1].copy_from_slice(&sector[HEAD_BYTES..SECTOR]);
    bytes[PAGE - 1] = 0xFF;
    Page(bytes)
}

fn items_by_the_crate(sector: &[u8]) -> Vec<Vec<u8>> {
    let mut queue = queue(page(sector));
    let mut items = now(queue.iter()).expect("a page");
    let mut found = Vec::new();
    let mut buffer = [0; SECTOR];
    while let Some(item) = now(items.next(&mut buffer)).expect("reads") {
        found.push(item.to_vec());
    }
    found
}

fn items_by_us(sector: &[u8]) -> Vec<Vec<u8>> {
    let mut flash = blank();
    flash.bytes[TestJournal::START as usize..][..SECTOR].copy_from_slice(sector);
    let mut journal = open(flash);
    let mut place = Place::at_start(TestJournal::START);
    let mut found = Vec::new();
    while let Some((length, end)) = journal.raw_item(&mut place).expect("reads") {
        found.push(journal.scratch[..length].to_vec());
        place.byte = end;
    }
    found
}

/// Pushed by the crate, as it stands in a sector; `None` if there is no room.
fn pushed_by_the_crate(sector: &[u8], item: &[u8]) -> Option<Vec<u8>> {
    let mut queue = queue(page(sector));
    match now(queue.push(item, false)) {
        Ok(()) => {}
        // It would begin the page anew.
        Err(Error::FullStorage | Error::Storage { value: Erased, .. } | Error::ItemTooBig) => {
            return None;
        }
        Err(error) => panic!("{error:?}"),
    }
    let page = queue.destroy().0.0;
    let mut sector = sector.to_vec();
    sector[HEAD_BYTES..].copy_from_slice(&page[1..PAGE - 1]);
    Some(sector)
}

fn pushed_by_us(sector: &[u8], item: &[u8]) -> Option<Vec<u8>> {
    let mut flash = Nor::blank(1);
    flash.bytes.copy_from_slice(sector);
    match TestJournal::push_item(&mut flash, 0, item).expect("writes") {
        Pushed::NoRoom => None,
        Pushed::Tried(written) => {
            written.expect("written");
            Some(flash.bytes)
        }
    }
}

/// Sectors filled with items of many lengths; bytes FF and 00 are among theirs.
fn sectors() -> Vec<Vec<u8>> {
    let mut sectors = Vec::new();
    for start in 0..40 {
        let mut sector = vec![0xFF; SECTOR];
        for number in start.. {
            let item = payload(number);
            let next = pushed_by_us(&sector, &item);
            assert_eq!(next, pushed_by_the_crate(&sector, &item), "item {number}");
            match next {
                Some(next) => sector = next,
                None => break,
            }
        }
        sectors.push(sector);
    }
    sectors
}

#[test]
fn both_write_the_same_bytes_and_read_the_same_items() {
    let mut count = 0;
    for sector in sectors() {
        let items = items_by_us(&sector);
        assert_eq!(items, items_by_the_crate(&sector));
        count += items.len();
    }
    assert!(count > 200, "{count} items");
}

/// Every bit turned, every place cut off, and bytes that no journal wrote.
#[test]
fn both_see_the_same_in_damaged_sectors() {
    let mut tried = 0;
    let mut compare = |sector: &[u8]| {
        assert_eq!(items_by_us(sector), items_by_the_crate(sector));
        tried += 1;
    };
    for (index, whole) in sectors().into_iter().enumerate() {
        let places = HEAD_BYTES..SECTOR;
        for place in places {
            let mut sector = whole.clone();
            sector[place] ^= 1 << (index % 8);
            compare(&sector);
            sector[place..].fill(if index % 3 == 0 { 0x00 } else { 0xFF });
            compare(&sector);
        }
    }
    // Numbers of Knuth's linear congruence (MMIX), so that every run sees the same.
    let mut state = 1_u64;
    for _ in 0..2000 {
        let mut sector = vec![0xFF; SECTOR];
        for byte in &mut sector[HEAD_BYTES..] {
            state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            // Headers that check are rare among any bytes, so many of them are few values.
            *byte = [0x00, 0xFF, (state >> 40) as u8][(state >> 60) as usize % 3];
        }
        compare(&sector);
    }
    assert!(tried > 15_000, "{tried}");
}

/// What is pushed behind damage stands where the crate would put it.
#[test]
fn both_write_behind_damage_at_the_same_place() {
    let whole = sectors().remove(3);
    // The last item is dropped, so that there is room for another.
    let last = items_by_us(&whole).pop().map_or(0, |item| item.len());
    let mut sector = whole;
    let end = SECTOR
        - sector
            .iter()
            .rev()
            .take_while(|byte| **byte == 0xFF)
            .count();
    let end = end - last - ITEM_HEADER;
    sector[end..].fill(0xFF);
    let mut written = 0;
    // Behind the end the strict flash would refuse what the crate's memory takes.
    for bit in HEAD_BYTES * 8..end * 8 {
        let mut sector = sector.clone();
        sector[bit / 8] ^= 1 << (bit % 8);
        let ours = pushed_by_us(&sector, &[0x5A; 3]);
        assert_eq!(ours, pushed_by_the_crate(&sector, &[0x5A; 3]), "bit {bit}");
        written += usize::from(ours.is_some());
    }
    assert!(written > 500, "{written}");
}
