//! A thousand pulls, each cut at a random byte of the answer: what came before the cut is in the
//! archive, and pulling again brings the rest. No record is lost and none is there twice.
//!
//! The line is one in memory that ends in one of four ways: gone, mute, noise, or bytes missing in
//! the middle and then going on.

mod support;

use std::collections::VecDeque;
use std::io::{self, Read, Write};
use std::time::Duration;

use rand::{Rng as _, SeedableRng as _};
use rand_chacha::ChaCha8Rng;
use slotwise::archive::{Archive as _, SqliteArchive};
use slotwise::client::Client;
use slotwise::pulling::pull_into;
use slotwise::transport::Transport;
use slotwise_core::link::{FrameReader, Refusal, Reply, Request, RequestEnvelope, decode};
use slotwise_core::record::{Body, Record, RecordNumber, TesterId};
use slotwise_core::units::UnixSeconds;
use support::{DEAD, OPEN_GROUND, REVERSED, SOUND, bytes_of, frame, hello};

const CUTS: u64 = 1000;
const RECORDS: usize = 12;
const NOW: UnixSeconds = UnixSeconds::new(1_772_500_000);

/// How a line ends.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Cut {
    Gone,
    Mute,
    Noise,
    Hole(usize),
}

/// A tester that holds these records, behind a line that is cut after so many bytes.
struct Line {
    tester: TesterId,
    records: Vec<Vec<u8>>,
    reader: FrameReader,
    answers: VecDeque<u8>,
    left: usize,
    cut: Option<Cut>,
}

impl Line {
    fn answer(&mut self, request: RequestEnvelope) {
        let sequence = request.sequence;
        let mut reply = |reply: Reply<'_>| self.answers.extend(frame(sequence, reply));
        match request.request {
            Request::Hello { .. } => {
                let mut hello = hello(&self.records);
                hello.tester = self.tester;
                reply(Reply::Hello(hello));
            }
            Request::Pull { from, .. } => {
                let mut number = from;
                for bytes in self.records.iter().skip(from.get() as usize - 1) {
                    reply(Reply::Record { number, bytes });
                    number = number.next();
                }
                reply(Reply::PullEnd { next: number });
            }
            _ => reply(Reply::Refused(Refusal::NotUnderstood)),
        }
    }
}

impl Read for Line {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        if self.left == 0 {
            match self.cut {
                Some(Cut::Gone) => return Err(io::ErrorKind::BrokenPipe.into()),
                Some(Cut::Mute) => self.answers.clear(),
                Some(Cut::Noise) => self.answers.iter_mut().for_each(|byte| *byte ^= 0x55),
                Some(Cut::Hole(bytes)) => {
                    self.answers.drain(..bytes.min(self.answers.len()));
                    self.cut = None;
                }
                None => {}
            }
        }
        let mut most = into.len().min(self.answers.len());
        if self.cut.is_some() && self.left > 0 {
            most = most.min(self.left);
            self.left -= most;
        }
        if most == 0 {
            return Err(io::ErrorKind::TimedOut.into());
        }
        for (place, byte) in into.iter_mut().zip(self.answers.drain(..most)) {
            *place = byte;
        }
        Ok(most)
    }
}

impl Write for Line {
    fn write(&mut self, from: &[u8]) -> io::Result<usize> {
        for byte in from {
            if let Some(Ok(message)) = self.reader.push(*byte)
                && let Ok(request) = decode::<RequestEnvelope>(message)
            {
                self.answer(request);
            }
        }
        Ok(from.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

impl Transport for Line {
    fn set_wait(&mut self, _: Duration) -> io::Result<()> {
        Ok(())
    }

    fn name(&self) -> String {
        "cut".to_owned()
    }
}

/// Records of different length, chained.
fn records_of(tester: TesterId) -> Vec<Vec<u8>> {
    let kinds = [SOUND, REVERSED, OPEN_GROUND, DEAD];
    let mut previous = slotwise_core::record::Digest::default();
    let mut records = Vec::new();
    for (number, kind) in (1..=RECORDS as u32).zip(kinds.iter().cycle()) {
        let bytes = bytes_of(&Record {
            number: RecordNumber::new(number),
            previous,
            tester,
            firmware: support::FIRMWARE,
            boot: 1,
            at: slotwise_core::units::Millis::new(u64::from(number) * 5000),
            clock: None,
            body: Body::Test(kind.test()),
        });
        previous = slotwise::chain::digest(&bytes);
        records.push(bytes);
    }
    records
}

fn held(archive: &SqliteArchive, tester: TesterId, records: &[Vec<u8>]) -> Vec<bool> {
    (1..)
        .zip(records)
        .map(|(number, bytes)| {
            let there = archive.bytes(tester, RecordNumber::new(number)).unwrap();
            if let Some(there) = &there {
                assert_eq!(there, bytes, "tester {tester}, record {number}");
            }
            there.is_some()
        })
        .collect()
}

#[test]
fn a_thousand_pulls_cut_at_random_bytes_lose_and_double_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let mut archive = SqliteArchive::open_or_make(&folder.path().join("a.db")).unwrap();
    let mut random = ChaCha8Rng::seed_from_u64(20_261_125);
    let (mut broken, mut came_before) = (0, 0);
    for place in 0..CUTS {
        // A tester of its own for every cut; all in one archive.
        let tester = TesterId(place + 1);
        let records = records_of(tester);
        let line = |left, cut| Line {
            tester,
            records: records.clone(),
            reader: FrameReader::new(),
            answers: VecDeque::new(),
            left,
            cut,
        };
        let whole: usize = records.iter().map(|bytes| bytes.len() + 24).sum();
        let cut = match place % 4 {
            0 => Cut::Gone,
            1 => Cut::Mute,
            2 => Cut::Noise,
            _ => Cut::Hole(random.random_range(1..2000)),
        };
        let client = Client::new(Box::new(line(random.random_range(1..whole), Some(cut))));
        // Nothing more comes on this line than is there at once.
        let mut client = client.with_patience(Duration::from_millis(5));
        let pulled = pull_into(&mut client, &mut archive, "cut", None, NOW, &mut |_| {});
        let before = held(&archive, tester, &records);
        let came = before.iter().filter(|held| **held).count();
        // What is there is a row from the first on: nothing is passed over.
        assert!(
            before[..came].iter().all(|held| *held),
            "{cut:?} {before:?}"
        );
        match pulled {
            Ok(arrived) => {
                assert_eq!(arrived.imported.added, came as u64);
                if arrived.ended.is_err() {
                    broken += 1;
                } else {
                    assert_eq!(came, RECORDS, "{cut:?} is said to be whole");
                }
            }
            // Cut in its hello.
            Err(_) => {
                assert_eq!(came, 0);
                broken += 1;
            }
        }
        came_before += came;

        let mut client = Client::new(Box::new(line(usize::MAX, None)));
        let arrived =
            pull_into(&mut client, &mut archive, "again", None, NOW, &mut |_| {}).unwrap();
        arrived.ended.unwrap();
        assert_eq!(arrived.imported.added as usize, RECORDS - came, "{cut:?}");
        assert_eq!(arrived.imported.already, 0, "{cut:?}");
        assert_eq!(held(&archive, tester, &records), [true; RECORDS]);
    }
    assert_eq!(archive.counts().unwrap().records, CUTS * RECORDS as u64);
    assert_eq!(archive.counts().unwrap().conflicts, 0);
    let mut faults = 0;
    archive.verify(&mut |_| faults += 1).unwrap();
    assert_eq!(faults, 0);
    println!(
        "{CUTS} pulls cut: {broken} ended broken, {came_before} records came before the cuts, \
         {} after them, none lost, none doubled",
        CUTS * RECORDS as u64 - came_before as u64
    );
    // Three of four kinds of cut cannot be mended by asking again.
    assert!(broken > CUTS / 2, "{broken}");
    assert!(came_before > 0);
}
