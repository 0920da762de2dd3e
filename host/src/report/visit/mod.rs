//! The report of one visit, for a homeowner, an inspector and an electrician: what was said,
//! what to do, what it rests on.
//!
//! It is put together once ([`document`]) and shown as a page or on paper by
//! [`crate::document`]. Nothing in it is judged here: the verdicts are the tester's or, judged
//! again under a named band, the core's.

mod course;
mod drawing;
mod limits;
mod sections;
mod slots;
mod trace;

use slotwise_core::judge::judge;
use slotwise_core::limits::{BandSet, Limits};
use slotwise_core::record::{Body, Record, Test};
use slotwise_core::verdict::{Outcome, Verdict};

use crate::document::{Block, Document, Tone};
use crate::texts::{Language, codes};
use crate::visits::{Dossier, Kept, worst};

pub use slots::On;

/// What a report is made of.
#[derive(Clone, Copy, Debug)]
pub struct VisitReport<'v> {
    /// The visit.
    pub dossier: &'v Dossier,
    /// The band that its tests and notes are judged under.
    pub band: BandSet,
    /// Name of the office, may be empty.
    pub prepared_by: &'v str,
    /// Whether the receptacles are computed ones.
    pub is_invented: bool,
    /// The language.
    pub language: &'static dyn Language,
}

/// A test of the visit, judged again.
#[derive(Clone, Debug)]
struct Judged<'v> {
    kept: &'v Kept,
    record: &'v Record,
    test: &'v Test,
    verdict: Verdict,
}

impl<'v> VisitReport<'v> {
    fn limits(&self) -> Limits {
        Limits::with_band(self.band)
    }

    fn tests(&self) -> Vec<Judged<'v>> {
        let limits = self.limits();
        self.dossier
            .records
            .iter()
            .filter_map(|kept| {
                let record = kept.record.as_ref().ok()?;
                let Body::Test(test) = &record.body else {
                    return None;
                };
                Some(Judged {
                    kept,
                    record,
                    test,
                    verdict: judge(&test.evidence, &limits),
                })
            })
            .collect()
    }
}

/// Puts the report together.
#[must_use]
pub fn document(report: &VisitReport<'_>) -> Document {
    let language = report.language;
    let texts = language.visit_report();
    let tests = report.tests();
    let mut blocks = Vec::new();
    if report.is_invented {
        blocks.push(callout(Tone::Caution, language.cautions().invented));
    }
    blocks.push(callout(Tone::Caution, language.cautions().first));
    blocks.push(sections::meta(report, &tests));
    if report.dossier.is_damaged() {
        blocks.push(callout(Tone::Danger, texts.damaged));
    }
    // Of several of one weight the last: it is nearest to how the place was left.
    let gravest = tests
        .iter()
        .max_by_key(|judged| worst(codes::outcome(judged.verdict.outcome)));
    if let Some(gravest) = gravest {
        sections::answer(&mut blocks, report, gravest);
        sections::overview(&mut blocks, report, &tests);
        sections::findings(&mut blocks, report, gravest);
        sections::receptacle(&mut blocks, report, gravest);
        sections::not_proven(&mut blocks, report, gravest);
    }
    sections::notes(&mut blocks, report, &tests);
    sections::watch(&mut blocks, report);
    for judged in &tests {
        sections::test(&mut blocks, report, judged);
    }
    blocks.push(limits::table(report));
    trace::section(&mut blocks, report);
    sections::closing(&mut blocks, report);
    let place = report.dossier.visit.place.as_ref();
    let place = place.map_or(language.visits().no_place, |place| place.site.as_str());
    Document {
        title: format!("{}: {place}", texts.title),
        language: language.tag(),
        foot: texts.foot.to_owned(),
        blocks,
    }
}

fn callout(tone: Tone, text: &str) -> Block {
    Block::Callout {
        tone,
        lead: String::new(),
        text: text.to_owned(),
    }
}

/// How an outcome is shown. A doubt is never shown as good.
const fn tone(outcome: Outcome) -> Tone {
    match outcome {
        Outcome::Proven => Tone::Good,
        Outcome::Danger => Tone::Danger,
        Outcome::Fault => Tone::Wrong,
        Outcome::NoFaultFound | Outcome::CannotTell | Outcome::TesterFault => Tone::Caution,
    }
}
