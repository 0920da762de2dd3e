//! Results for people and programs: a terminal table, a full sheet in text, a self-contained
//! page with waveforms, and JSON. All of them print the same [`Report`].

pub mod atlas;
pub mod html;
pub mod json;
mod lamps_drawing;
mod list;
pub mod numbers;
pub mod sheet;
pub(crate) mod start;
mod style;
pub mod table;
pub mod trend;
pub mod trials;
pub mod visit;
mod watch;
pub mod waveform;

use slotwise_core::evidence::Evidence;
use slotwise_core::judge::judge;
use slotwise_core::lamps::Panel;
use slotwise_core::limits::{BandSet, Limits};
use slotwise_core::link::Hello;
use slotwise_core::record::{Body, Record, RecordError, RecordNumber, Snapshot};
use slotwise_core::verdict::Verdict;

pub(crate) use html::{finding_title, outcome_badge};
pub(crate) use style::STYLE;
pub use visit::On;

use crate::chain::{ChainLink, Checked, Unreadable, check};
use crate::exit::Exit;
use crate::log_file::{Damage, LogFile};
use crate::texts::{English, Language};

/// Where a test was made, if that is known.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Place {
    /// Name of the receptacle.
    pub name: String,
    /// How it is wired, where it is a computed one.
    pub wired: String,
}

/// One record of a report.
#[derive(Clone, Debug)]
pub struct Item {
    /// Its number.
    pub number: RecordNumber,
    /// Where the test was made.
    pub place: Option<Place>,
    /// The record, or why it cannot be read.
    pub record: Result<Box<Record>, Unreadable>,
    /// How it hangs on the record before.
    pub link: ChainLink,
    /// The verdict of this program, if the record was judged again.
    pub again: Option<Verdict>,
}

/// A test as it is shown.
#[derive(Clone, Copy, Debug)]
pub struct TestView<'r> {
    /// What was measured.
    pub evidence: &'r Evidence,
    /// The verdict that is shown: the one judged again, else the tester's.
    pub verdict: &'r Verdict,
    /// The tester's own verdict.
    pub said: &'r Verdict,
    /// What the lamps show for the verdict that is shown.
    pub panel: Panel,
    /// Two cycles.
    pub snapshot: &'r Snapshot,
}

impl Item {
    /// The test of this record, if it is one.
    #[must_use]
    pub fn test(&self) -> Option<TestView<'_>> {
        let Body::Test(test) = &self.record.as_ref().ok()?.body else {
            return None;
        };
        let verdict = self.again.as_ref().unwrap_or(&test.verdict);
        Some(TestView {
            evidence: &test.evidence,
            verdict,
            said: &test.verdict,
            panel: Panel::for_verdict(verdict, &test.evidence),
            snapshot: &test.snapshot,
        })
    }
}

/// What stands behind a report.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Origin {
    /// The log of a tester.
    Log,
    /// The log of the virtual tester at computed receptacles.
    Invented,
    /// A recorded waveform, played through the tester's front end.
    Recording,
}

/// Everything that is printed of one log.
#[derive(Clone, Debug)]
pub struct Report {
    /// File or port that the records are from.
    pub source: String,
    /// What stands behind them.
    pub origin: Origin,
    /// The tester.
    pub hello: Option<Hello>,
    /// The band under which the records were judged again, if they were.
    pub band: Option<BandSet>,
    /// The records.
    pub items: Vec<Item>,
    /// What of the file is not whole.
    pub damages: Vec<Damage>,
    /// The language that it is printed in.
    pub language: &'static dyn Language,
}

impl Report {
    /// The report of a log file.
    #[must_use]
    pub fn of_log(source: String, log: &LogFile) -> Self {
        let items = check(&log.records).into_iter().map(Item::from).collect();
        Self {
            source,
            origin: Origin::Log,
            hello: log.hello,
            band: None,
            items,
            damages: log.damages.clone(),
            language: &English,
        }
    }

    /// Judges every test again.
    pub fn judge_again(&mut self, band: BandSet) {
        let limits = Limits::with_band(band);
        for item in &mut self.items {
            item.again = item.test().map(|test| judge(test.evidence, &limits));
        }
        self.band = Some(band);
    }

    /// The tests, with their items.
    pub fn tests(&self) -> impl Iterator<Item = (&Item, TestView<'_>)> {
        self.items
            .iter()
            .filter_map(|item| item.test().map(|test| (item, test)))
    }

    /// The records that only a newer version reads.
    #[must_use]
    pub fn newer(&self) -> Vec<RecordNumber> {
        self.items
            .iter()
            .filter(|item| {
                matches!(
                    item.record,
                    Err(Unreadable::Record(RecordError::NewerSchema { .. }))
                )
            })
            .map(|item| item.number)
            .collect()
    }

    /// Whether a record of this version cannot be read, or the chain is wrong.
    #[must_use]
    pub fn is_damaged(&self) -> bool {
        let newer = self.newer();
        !self.damages.is_empty()
            || self.items.iter().any(|item| {
                item.link.is_wrong() || (item.record.is_err() && !newer.contains(&item.number))
            })
    }

    /// The ending of a run that only shows this report.
    #[must_use]
    pub fn wholeness(&self) -> Exit {
        let newer = if self.newer().is_empty() {
            Exit::Done
        } else {
            Exit::Newer
        };
        if self.is_damaged() {
            newer.graver(Exit::File)
        } else {
            newer
        }
    }

    /// The ending of a run that judges: the gravest verdict of all tests.
    #[must_use]
    pub fn judgement(&self) -> Exit {
        self.tests()
            .map(|(_, test)| Exit::of(test.verdict.outcome))
            .fold(Exit::Done, Exit::graver)
    }
}

impl From<Checked> for Item {
    fn from(checked: Checked) -> Self {
        Self {
            number: checked.number,
            place: None,
            record: checked.record,
            link: checked.link,
            again: None,
        }
    }
}
