//! `pull`: copies the records of a tester into a file. Nothing is erased in the tester
//! unless that is asked for and every record is verified.

use serde::Serialize;
use slotwise_core::link::{self, Hello, JournalReport, Reply, ReplyEnvelope};
use slotwise_core::record::{RecordError, RecordNumber, SCHEMA, schema_of};

use super::clear::{self, Cleared};
use super::progress::{Of, Progress};
use super::{archive, note, out};
use crate::cli::PullArgs;
use crate::client::{Client, Pulled, RawFrame};
use crate::error::{Error, FileError, newer_records};
use crate::exit::Exit;
use crate::log_file::{self, LogWriter};
use crate::port;

/// Runs `pull`.
///
/// # Errors
/// Port, link or file; what came is kept in a part file.
pub(super) fn run(args: &PullArgs) -> Result<Exit, Error> {
    let name = match &args.port {
        Some(name) => name.clone(),
        None => port::find()?,
    };
    let file = match (&args.archive, &args.out) {
        (Some(archive), _) => {
            let line = port::open(&name)?;
            return archive::pull_into(&mut Client::new(Box::new(line)), &name, archive, args);
        }
        (None, Some(file)) => file,
        // The command line asks for one of the two.
        (None, None) => return Ok(Exit::Usage),
    };
    // The file first: a pull that cannot be kept should not begin.
    let writer = LogWriter::create(file, args.force)?;
    let line = match port::open(&name) {
        Ok(line) => line,
        Err(error) => {
            let _ = writer.abandon();
            return Err(error.into());
        }
    };
    let mut client = Client::new(Box::new(line));
    let mut pull = Pull::new(writer, args.quiet || args.json);
    let ended = pull.run(
        &mut client,
        RecordNumber::new(args.from.unwrap_or(RecordNumber::FIRST.get())),
    );
    let (hello, next) = match ended {
        Ok(done) => done,
        Err(error) => {
            if let Some(part) = pull.writer.abandon() {
                note(&format!(
                    "what came is kept in {}; `slotwise show` reads it",
                    part.display()
                ));
            }
            return Err(error);
        }
    };
    let exit = pull.complain(&name);
    let read_all = pull.unreadable.is_empty();
    let (records, unreadable, newer, again) =
        (pull.records, pull.unreadable, pull.newer, pull.again);
    pull.writer.finish()?;
    let cleared = if read_all {
        let kept = |_: &JournalReport| Ok(log_file::read(file)?);
        clear::clear(&mut client, kept, args.free, args.quiet)?
    } else {
        Cleared::default()
    };
    let exit = cleared.exit.map_or(exit, |cleared| exit.graver(cleared));
    let summary = Summary {
        format: "slotwise-pull",
        version: 1,
        file: file.display().to_string(),
        tester: hello.tester.to_string(),
        records,
        next: next.get(),
        unreadable_in_tester: unreadable.iter().map(|n| n.get()).collect(),
        newer_schema: newer.iter().map(|n| n.get()).collect(),
        asked_again: again,
        verified: cleared.verified.map(RecordNumber::get),
        freed: cleared.freed.map(RecordNumber::get),
    };
    if args.json {
        let mut text = serde_json::to_string_pretty(&summary)?;
        text.push('\n');
        out(&text)?;
    } else {
        out(&format!(
            "{} records of tester {} are in {}; next time pull with --from {}\n",
            summary.records, summary.tester, summary.file, summary.next
        ))?;
        if let Some(freed) = summary.freed.filter(|_| args.free) {
            out(&format!(
                "verified; the tester may use the room of the records up to {freed} again\n"
            ))?;
        }
    }
    Ok(exit)
}

#[derive(Serialize)]
struct Summary {
    format: &'static str,
    version: u32,
    file: String,
    tester: String,
    records: u32,
    next: u32,
    unreadable_in_tester: Vec<u32>,
    newer_schema: Vec<u32>,
    asked_again: u32,
    /// Last record that the tester knows to be verified.
    verified: Option<u32>,
    /// Last record whose room the tester may use again, as far as this pull was told.
    freed: Option<u32>,
}

/// A pull as it goes.
pub(super) struct Pull {
    /// Where the frames go.
    pub(super) writer: LogWriter,
    quiet: bool,
    /// Records kept.
    pub(super) records: u32,
    unreadable: Vec<RecordNumber>,
    newer: Vec<RecordNumber>,
    again: u32,
}

impl Pull {
    pub(super) const fn new(writer: LogWriter, quiet: bool) -> Self {
        Self {
            writer,
            quiet,
            records: 0,
            unreadable: Vec::new(),
            newer: Vec::new(),
            again: 0,
        }
    }

    /// Says hello, pulls from record `from` on; returns the tester and where to begin next time.
    pub(super) fn run(
        &mut self,
        client: &mut Client,
        from: RecordNumber,
    ) -> Result<(Hello, RecordNumber), Error> {
        let (hello, frame) = client.hello()?;
        self.writer.append(&frame)?;
        let newest = hello.records.map_or(0, |(_, newest)| newest.get());
        let total = (newest + 1).saturating_sub(from.get());
        let mut end = from;
        let bar = Progress::begin(Of::Records, total.into(), self.quiet);
        client.pull(from, |pulled| {
            if let Some(next) = self.take(pulled, &bar)? {
                end = next;
            }
            Ok::<(), Error>(())
        })?;
        Ok((hello, end))
    }

    fn take(&mut self, pulled: Pulled, bar: &Progress) -> Result<Option<RecordNumber>, FileError> {
        match pulled {
            Pulled::Record { number, frame } => {
                self.writer.append(&frame)?;
                self.records += 1;
                if is_newer(&frame) {
                    self.newer.push(number);
                }
                bar.at(self.records.into());
            }
            Pulled::Unreadable(number) => self.unreadable.push(number),
            Pulled::Again(number) => {
                self.again += 1;
                if !self.quiet {
                    let number = number.get();
                    bar.say(|| {
                        note(&format!(
                            "something was lost on the line; asking again from record {number}"
                        ));
                    });
                }
            }
            Pulled::End { next, frame } => {
                self.writer.append(&frame)?;
                return Ok(Some(next));
            }
        }
        Ok(None)
    }

    /// Says what was not as it should be, and how the run ended.
    pub(super) fn complain(&self, line: &str) -> Exit {
        let mut exit = Exit::Done;
        for number in &self.unreadable {
            note(&format!(
                "{line}: the tester cannot read record {} of its own journal; \
                 the others are pulled. Have its log memory checked",
                number.get()
            ));
            exit = Exit::Link;
        }
        if !self.newer.is_empty() {
            note(&format!("{line}: {}", newer_records(&self.newer)));
            exit = exit.graver(Exit::Newer);
        }
        exit
    }
}

/// Whether a record frame holds a record of a newer schema. Its bytes are kept all the same.
fn is_newer(frame: &RawFrame) -> bool {
    let mut reader = link::FrameReader::new();
    frame.0.iter().any(|byte| match reader.push(*byte) {
        Some(Ok(message)) => match link::decode::<ReplyEnvelope<'_>>(message) {
            Ok(ReplyEnvelope {
                reply: Reply::Record { bytes, .. },
                ..
            }) => is_newer_schema(schema_of(bytes)),
            _ => false,
        },
        _ => false,
    })
}

fn is_newer_schema(schema: Result<u16, RecordError>) -> bool {
    schema.is_ok_and(|schema| schema > SCHEMA)
}
