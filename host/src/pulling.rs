//! The records of a tester straight into an archive.
//!
//! Only what the archive has not is asked for. Records are put in a few at a time, each lot whole
//! or not at all, so a line that breaks at any byte loses nothing that came and doubles nothing
//! when it is pulled again. Nothing in the tester is changed.

use slotwise_core::link::{self, Reply, ReplyEnvelope};
use slotwise_core::record::{RecordNumber, TesterId};
use slotwise_core::units::UnixSeconds;

use crate::archive::{Archive, Batch, Imported};
use crate::client::{Client, Pulled, RawFrame};
use crate::error::Error;
use crate::log_file::KeptRecord;

/// Records that are put into the archive at a time: what a broken line can cost is nothing,
/// what a power cut can cost is the pull of so many records.
const AT_A_TIME: usize = 64;

/// How far a pull has come.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Progress {
    /// Records that have come.
    pub done: u32,
    /// Records that are to come in all, as far as the tester said at its hello.
    pub of: u32,
}

/// What a pull brought.
#[derive(Debug)]
pub struct Arrived {
    /// From which tester.
    pub tester: TesterId,
    /// What of it was new.
    pub imported: Imported,
    /// Records that the tester cannot read in its own journal.
    pub unreadable: Vec<RecordNumber>,
    /// How it ended. What came before a line broke is in the archive all the same.
    pub ended: Result<(), Error>,
}

/// Pulls from record `from` on, or without it what `archive` has not. `source` names the line in
/// the archive, `now` is this computer's clock; `heard` is told of every record.
///
/// # Errors
/// The tester does not say who it is, or the archive cannot be read or written.
pub fn pull_into(
    client: &mut Client,
    archive: &mut dyn Archive,
    source: &str,
    from: Option<RecordNumber>,
    now: UnixSeconds,
    heard: &mut dyn FnMut(Progress),
) -> Result<Arrived, Error> {
    let (hello, _) = client.hello()?;
    let from = match (from, hello.records) {
        (Some(from), _) => from,
        (None, None) => RecordNumber::FIRST,
        (None, Some((oldest, newest))) => {
            let (missing, kept) = archive.missing_from(hello.tester, oldest)?;
            // A journal that ends before what is kept of it was begun anew: look at all of it.
            if kept.is_some_and(|kept| kept > newest) {
                oldest
            } else {
                missing
            }
        }
    };
    let mut progress = Progress {
        done: 0,
        of: hello.records.map_or(0, |(oldest, newest)| {
            (newest.get() + 1).saturating_sub(from.max(oldest).get())
        }),
    };
    heard(progress);
    let mut intake = Intake {
        archive,
        tester: hello.tester,
        source,
        now,
        waiting: Vec::new(),
        total: Imported::default(),
    };
    let mut unreadable = Vec::new();
    let ended = client.pull(from, |pulled| {
        match pulled {
            Pulled::Record { number, frame } => {
                intake.take(number, &frame)?;
                progress.done = progress.done.saturating_add(1);
                heard(progress);
            }
            Pulled::Unreadable(number) => unreadable.push(number),
            Pulled::Again(_) | Pulled::End { .. } => {}
        }
        Ok::<(), Error>(())
    });
    // Before anything else: what came is kept, also of a pull that broke.
    intake.flush()?;
    Ok(Arrived {
        tester: hello.tester,
        imported: intake.total,
        unreadable,
        ended,
    })
}

/// A pull on its way into the archive.
struct Intake<'a> {
    archive: &'a mut dyn Archive,
    tester: TesterId,
    source: &'a str,
    now: UnixSeconds,
    waiting: Vec<KeptRecord>,
    total: Imported,
}

impl Intake<'_> {
    fn take(&mut self, number: RecordNumber, frame: &RawFrame) -> Result<(), Error> {
        if let Some(bytes) = record_bytes(frame) {
            self.waiting.push(KeptRecord {
                number,
                bytes,
                at_byte: 0,
            });
        }
        if self.waiting.len() >= AT_A_TIME {
            self.flush()?;
        }
        Ok(())
    }

    fn flush(&mut self) -> Result<(), Error> {
        if self.waiting.is_empty() {
            return Ok(());
        }
        let imported = self.archive.import(&Batch {
            source: self.source.to_owned(),
            tester: self.tester,
            records: std::mem::take(&mut self.waiting),
            damages: 0,
            at: self.now,
        })?;
        self.total.added += imported.added;
        self.total.already += imported.already;
        self.total.conflicts.extend(imported.conflicts);
        self.total.faults.extend(imported.faults);
        Ok(())
    }
}

/// The record's bytes in a frame that the client has found whole.
fn record_bytes(frame: &RawFrame) -> Option<Vec<u8>> {
    let mut reader = link::FrameReader::new();
    frame.0.iter().find_map(|byte| match reader.push(*byte) {
        Some(Ok(message)) => match link::decode::<ReplyEnvelope<'_>>(message) {
            Ok(ReplyEnvelope {
                reply: Reply::Record { bytes, .. },
                ..
            }) => Some(bytes.to_vec()),
            _ => None,
        },
        _ => None,
    })
}
