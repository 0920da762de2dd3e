//! English, as spoken in the trade in North America.

mod appliance;
mod calibrations;
mod cautions;
mod checks;
mod findings;
mod labels;
mod lamps;
mod live;
mod office;
mod outcomes;
mod report;
mod starts;
mod values;
mod visits;
mod wiring;

use slotwise_core::calibration::event::CalibrationEvent;
use slotwise_core::calibration::limiters::Limiters;
use slotwise_core::evidence::{FrameHealth, Missing, Watch};
use slotwise_core::finding::{FindingCode, NextCheck};
use slotwise_core::lamps::{Lamp, Panel, Rhythm};
use slotwise_core::record::{BootCause, RecordNumber};
use slotwise_core::self_test::SelfTestFailure;
use slotwise_core::slots::ClipTarget;
use slotwise_core::start::Start;
use slotwise_core::topology::Topology;
use slotwise_core::units::{Millis, Volts};
use slotwise_core::verdict::{Outcome, Unproven};

use super::{
    Cautions, CheckText, End, FindingText, Labels, Language, LiveTexts, NoteText, OfficeTexts,
    PairValue, Severity, VisitReportTexts, VisitTexts,
};
use crate::chain::ChainLink;
use crate::report::On;
use crate::visits::{NoteFinding, Question};

/// English.
#[derive(Clone, Copy, Debug)]
pub struct English;

impl Language for English {
    fn tag(&self) -> &'static str {
        "en"
    }

    fn labels(&self) -> &'static Labels {
        &labels::LABELS
    }

    fn live(&self) -> &'static LiveTexts {
        &live::LIVE
    }

    fn visits(&self) -> &'static VisitTexts {
        &visits::VISITS
    }

    fn office(&self) -> &'static OfficeTexts {
        &office::OFFICE
    }

    fn visit_report(&self) -> &'static VisitReportTexts {
        &report::REPORT
    }

    fn slot_on(&self, on: On) -> &'static str {
        report::slot_on(on)
    }

    fn note(&self, finding: NoteFinding) -> NoteText {
        visits::text(finding)
    }

    fn asked(&self, question: Question) -> &'static str {
        visits::question(question)
    }

    fn cautions(&self) -> Cautions {
        cautions::CAUTIONS
    }

    fn finding(&self, code: FindingCode) -> FindingText {
        findings::text(code)
    }

    fn severity(&self, severity: Severity) -> &'static str {
        match severity {
            Severity::MetalMayBeLive => "Metal that people touch may be live now. Hands off.",
            Severity::OneFaultAway => {
                "Dangerous: one more fault can shock somebody or start a fire."
            }
            Severity::Damage => "What is plugged in here may be destroyed.",
            Severity::Untold => "Not told by this test. Take it as dangerous until it is told.",
            Severity::NotByItself => "Not dangerous by itself.",
            Severity::NoneFound => "No danger was found. What is not yet proven may still be one.",
        }
    }

    fn wiring(&self, topology: Topology) -> &'static str {
        wiring::text(topology)
    }

    fn any_wiring(&self) -> &'static str {
        "any wiring fault that this version knows, and others"
    }

    fn check(&self, next: NextCheck, finding: FindingCode) -> CheckText {
        checks::text(next, finding)
    }

    fn end(&self, end: End) -> &'static str {
        checks::end(end)
    }

    fn outcome(&self, outcome: Outcome) -> &'static str {
        outcomes::word(outcome)
    }

    fn outcome_meaning(&self, outcome: Outcome) -> &'static str {
        outcomes::meaning(outcome)
    }

    fn unproven(&self, unproven: Unproven) -> Vec<&'static str> {
        outcomes::unproven(unproven)
    }

    fn unproven_short(&self, unproven: Unproven) -> Option<String> {
        outcomes::unproven_short(unproven)
    }

    fn question(&self, lamp: Lamp) -> &'static str {
        lamps::question(lamp)
    }

    fn rhythm(&self, rhythm: Rhythm) -> &'static str {
        lamps::rhythm(rhythm)
    }

    fn answer(&self, lamp: Lamp, panel: &Panel) -> &'static str {
        lamps::answer(lamp, panel)
    }

    fn clip(&self, target: ClipTarget) -> &'static str {
        checks::clip(target)
    }

    fn clip_short(&self, target: ClipTarget) -> &'static str {
        checks::clip_short(target)
    }

    fn missing(&self, reason: Missing) -> &'static str {
        values::missing(reason)
    }

    fn boot(&self, cause: BootCause) -> &'static str {
        values::boot(cause)
    }

    fn start(&self, start: &Start) -> String {
        starts::start(start)
    }

    fn self_test(&self, failure: SelfTestFailure) -> String {
        values::self_test(failure)
    }

    fn calibrated(&self, event: &CalibrationEvent) -> String {
        calibrations::calibrated(event)
    }

    fn limiters(&self, limiters: &Limiters) -> String {
        calibrations::limiters(limiters)
    }

    fn calibration_behind(&self, record: RecordNumber, event: &CalibrationEvent) -> String {
        calibrations::behind(record, event)
    }

    fn chain(&self, link: ChainLink) -> String {
        values::chain(link)
    }

    fn count(&self, records: usize, tests: usize) -> String {
        labels::count(records, tests)
    }

    fn pair(&self, value: &PairValue) -> String {
        labels::pair(value)
    }

    fn load_step(&self, share: &str, steps: u16, sag: Volts) -> String {
        labels::load_step(share, steps, sag)
    }

    fn watch(&self, watch: &Watch) -> String {
        labels::watch(watch)
    }

    fn watch_page(&self, from: u16, to: u16) -> String {
        labels::watch_page(from, to)
    }

    fn watch_step(&self, number: u16, at: Millis, sag: Volts) -> String {
        labels::watch_step(number, at, sag)
    }

    fn moved(&self, at_most: Volts) -> String {
        labels::moved(at_most)
    }

    fn sum(&self, in_phase: Volts, quadrature: Volts) -> String {
        labels::sum(in_phase, quadrature)
    }

    fn health(&self, health: &FrameHealth) -> String {
        labels::health(health)
    }

    fn made(&self, clock: Option<&str>, boot: u32, since: &str) -> String {
        labels::made(clock, boot, since)
    }

    fn cycles(&self, millis: f32) -> String {
        labels::cycles(millis)
    }

    fn curve(&self, name: &str, low: Volts, high: Volts) -> String {
        labels::curve(name, low, high)
    }
}
