//! Every sentence that the program says about a receptacle, in plain words of the trade, and
//! in which [`Language`].
//!
//! A second language is one more implementation of [`Language`]. It does not compile until it
//! has every method, and the matches in it are exhaustive: a new finding, wiring or check of
//! the core does not compile either until every language has its words. Names for programs do
//! not depend on the language; they are in [`codes`]. The command line and its errors are English
//! in every language.

pub mod codes;
mod english;
mod labels;
pub mod live;
mod office;
mod report;
mod severity;
mod visits;
pub mod workshop;

use core::fmt::Debug;

use slotwise_core::calibration::event::CalibrationEvent;
use slotwise_core::calibration::limiters::Limiters;
use slotwise_core::evidence::{FrameHealth, Missing, Watch};
use slotwise_core::finding::{FindingCode, NextCheck};
use slotwise_core::lamps::{Lamp, Panel, Rhythm};
use slotwise_core::record::{BootCause, RecordNumber};
use slotwise_core::self_test::SelfTestFailure;
use slotwise_core::slots::ClipTarget;
use slotwise_core::start::Start;
use slotwise_core::topology::{Topology, TopologySet};
use slotwise_core::units::{Millis, Volts};
use slotwise_core::verdict::{Outcome, Unproven};

use crate::chain::ChainLink;
use crate::report::On;
use crate::visits::{NoteFinding, Question};

pub use english::English;
pub use labels::Labels;
pub use live::LiveTexts;
pub use office::OfficeTexts;
pub use report::VisitReportTexts;
pub use severity::Severity;
pub use visits::{NoteText, VisitTexts};

/// The words of one finding, whatever it is judged together with.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct FindingText {
    /// Its name in the trade.
    pub title: &'static str,
    /// What it means.
    pub meaning: &'static str,
    /// What can hurt, if anything can; [`Language::severity`] says how much.
    pub danger: Option<&'static str>,
    /// What it does to the appliance's flame sensing and control board.
    pub appliance: &'static str,
    /// What to leave to a licensed electrician.
    pub electrician: &'static str,
}

/// The place of a check.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum End {
    /// Here, from outside, with the tester.
    Receptacle,
    /// Inside the receptacle box.
    Box,
    /// At the panel.
    Panel,
    /// At the service: meter, utility.
    Service,
    /// At the appliance.
    Appliance,
    /// At the tester itself.
    Tester,
}

/// The words of one check.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct CheckText {
    /// A few words for a table.
    pub short: &'static str,
    /// What to do.
    pub what: &'static str,
    /// Where. `None` if nothing is left to do.
    pub end: Option<End>,
}

/// What is said of every receptacle.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Cautions {
    /// Above every report, in one sentence.
    pub first: &'static str,
    /// For the person who acts on a report.
    pub list: &'static [&'static str],
    /// What no plug-in test at this receptacle can see.
    pub cannot_see: &'static [&'static str],
    /// Said where the values come from a computed receptacle.
    pub invented: &'static str,
}

/// A slot voltage, its values already rounded and with their uncertainty.
#[derive(Clone, Debug, PartialEq)]
pub struct PairValue {
    /// True RMS.
    pub true_rms: String,
    /// At line frequency.
    pub fundamental: String,
    /// Its angle, where there is enough of it.
    pub angle: Option<String>,
    /// Harmonics and noise.
    pub residual: Volts,
    /// Mean.
    pub mean: Volts,
}

/// One language.
pub trait Language: Debug + Sync {
    /// Its tag (BCP 47), for the page.
    fn tag(&self) -> &'static str;
    /// Headings, column names and names of values.
    fn labels(&self) -> &'static Labels;
    /// Words of the live view.
    fn live(&self) -> &'static LiveTexts;
    /// Words around visits and notes.
    fn visits(&self) -> &'static VisitTexts;
    /// Words of the office's pages.
    fn office(&self) -> &'static OfficeTexts;
    /// Words of the report of a visit.
    fn visit_report(&self) -> &'static VisitReportTexts;
    /// What a slot is on.
    fn slot_on(&self, on: On) -> &'static str;
    /// What a reading or an answer of a note means.
    fn note(&self, finding: NoteFinding) -> NoteText;
    /// A question of the checklist.
    fn asked(&self, question: Question) -> &'static str;
    /// What is said of every receptacle.
    fn cautions(&self) -> Cautions;

    /// The words of a finding.
    fn finding(&self, code: FindingCode) -> FindingText;
    /// How dangerous.
    fn severity(&self, severity: Severity) -> &'static str;
    /// A wiring.
    fn wiring(&self, topology: Topology) -> &'static str;
    /// Said instead of a list where every wiring is in the set.
    fn any_wiring(&self) -> &'static str;
    /// A check, where it follows from this finding.
    fn check(&self, next: NextCheck, finding: FindingCode) -> CheckText;
    /// Where a check is made.
    fn end(&self, end: End) -> &'static str;

    /// An outcome in one or two words.
    fn outcome(&self, outcome: Outcome) -> &'static str;
    /// What an outcome means for the person in front of the receptacle.
    fn outcome_meaning(&self, outcome: Outcome) -> &'static str;
    /// What is not yet proven, one phrase each.
    fn unproven(&self, unproven: Unproven) -> Vec<&'static str>;
    /// The same in a few words, if anything is not proven.
    fn unproven_short(&self, unproven: Unproven) -> Option<String>;

    /// The question printed beside a lamp.
    fn question(&self, lamp: Lamp) -> &'static str;
    /// How a lamp is lit.
    fn rhythm(&self, rhythm: Rhythm) -> &'static str;
    /// What a lamp answers on this panel.
    fn answer(&self, lamp: Lamp, panel: &Panel) -> &'static str;

    /// What the clip was on.
    fn clip(&self, target: ClipTarget) -> &'static str;
    /// The same in one word.
    fn clip_short(&self, target: ClipTarget) -> &'static str;
    /// Why a value is missing.
    fn missing(&self, reason: Missing) -> &'static str;
    /// Why the tester started.
    fn boot(&self, cause: BootCause) -> &'static str;
    /// A start of the tester: why, with which build, how the run before ended, and what to do.
    fn start(&self, start: &Start) -> String;
    /// Which test of itself the tester failed, and by how much.
    fn self_test(&self, failure: SelfTestFailure) -> String;
    /// A calibration that was stored: when, how long it holds, how far the tester had drifted.
    fn calibrated(&self, event: &CalibrationEvent) -> String;
    /// What the limiters of the drive let through when it was calibrated.
    fn limiters(&self, limiters: &Limiters) -> String;
    /// The calibration that a visit was measured under, and the record that tells of it.
    fn calibration_behind(&self, record: RecordNumber, event: &CalibrationEvent) -> String;
    /// How a record hangs on the one before.
    fn chain(&self, link: ChainLink) -> String;

    /// So many records, of them so many tests.
    fn count(&self, records: usize, tests: usize) -> String;
    /// A slot voltage.
    fn pair(&self, value: &PairValue) -> String;
    /// What the load steps gave: neutral's share of the drop, from how many, how deep.
    fn load_step(&self, share: &str, steps: u16, sag: Volts) -> String;
    /// What the load-cycle watch gave.
    fn watch(&self, watch: &Watch) -> String;
    /// A minute of the load-cycle watch: its seconds from the start.
    fn watch_page(&self, from: u16, to: u16) -> String;
    /// A step of the load-cycle watch: which, when, and how far narrow to wide changed.
    fn watch_step(&self, number: u16, at: Millis, sag: Volts) -> String;
    /// How much the voltages moved.
    fn moved(&self, at_most: Volts) -> String;
    /// Sum of the four inputs.
    fn sum(&self, in_phase: Volts, quadrature: Volts) -> String;
    /// The tester's own state.
    fn health(&self, health: &FrameHealth) -> String;
    /// When a record was made: the clock if it had the time, and start and time since.
    fn made(&self, clock: Option<&str>, boot: u32, since: &str) -> String;
    /// How long the drawing is, for who does not see it.
    fn cycles(&self, millis: f32) -> String;
    /// One curve of the drawing, for who does not see it.
    fn curve(&self, name: &str, low: Volts, high: Volts) -> String;

    /// The members of a set, in words. Where the set is everything that this version knows,
    /// that is said instead of a list.
    fn rivals(&self, set: TopologySet) -> Vec<&'static str> {
        if set == TopologySet::of(&Topology::ALL) {
            return vec![self.any_wiring()];
        }
        set.iter().map(|topology| self.wiring(topology)).collect()
    }
}
