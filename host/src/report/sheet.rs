//! The full sheet of one record in plain text: what a person reads who acts on it.

use std::fmt::Write as _;

use slotwise_core::evidence::{Evidence, Measured, Missing};
use slotwise_core::finding::{Finding, FindingCode};
use slotwise_core::lamps::Lamp;
use slotwise_core::units::Volts;

use super::list::wrap;
use super::numbers::{band_line, degrees, hertz, ohms, slot_volts, when, with_uncertainty};
use super::{Item, Origin, Report, TestView, watch};
use crate::texts::{Language, PairValue, Severity, codes};

/// The sheet of `item`, wrapped to `width` columns.
#[must_use]
pub fn render(report: &Report, item: &Item, width: u16) -> String {
    let mut sheet = Sheet {
        text: String::new(),
        language: report.language,
        width: usize::from(width).clamp(40, 100),
    };
    let language = report.language;
    let labels = language.labels();
    if report.origin == Origin::Recording {
        sheet.field(labels.recording, &report.source);
    } else {
        let number = item.number.get();
        sheet.line(&format!("{} {number}: {}", labels.record, report.source));
    }
    if let Some(place) = &item.place {
        sheet.field(labels.receptacle, &place.name);
        sheet.field(labels.wired_as, &place.wired);
    }
    match &item.record {
        Ok(_) if report.origin == Origin::Recording => {}
        Ok(record) => {
            sheet.field(labels.made, &when(language, record));
            let by = format!("{}, {} {}", record.tester, labels.firmware, record.firmware);
            sheet.field(labels.tester, &by);
            if item.test().is_none() {
                sheet.paragraph("", &watch::what(language, &record.body));
            }
        }
        Err(why) => sheet.field(labels.not_readable, &why.to_string()),
    }
    if report.origin != Origin::Recording {
        sheet.field(labels.chain, &language.chain(item.link));
    }
    if let Some(test) = item.test() {
        sheet.test(report, &test);
    }
    sheet.text
}

struct Sheet {
    text: String,
    language: &'static dyn Language,
    width: usize,
}

impl Sheet {
    fn test(&mut self, report: &Report, test: &TestView<'_>) {
        let verdict = test.verdict;
        let labels = self.language.labels();
        let cautions = self.language.cautions();
        self.blank();
        let word = self.language.outcome(verdict.outcome);
        self.line(&format!("{} {word}", codes::sign(verdict.outcome)));
        self.paragraph("", self.language.outcome_meaning(verdict.outcome));
        if let Some(band) = report.band {
            self.field(labels.judged_under, &band_line(self.language, band));
            if test.said.outcome != verdict.outcome {
                self.field(labels.said_then, self.language.outcome(test.said.outcome));
            }
        }
        for finding in &verdict.findings {
            self.finding(finding);
        }
        let unproven = self.language.unproven(verdict.unproven);
        if verdict.has(FindingCode::ReadsSound) && !unproven.is_empty() {
            self.blank();
            self.heading(labels.unproven);
            for entry in unproven {
                self.paragraph("  - ", entry);
            }
        }
        self.blank();
        self.heading(labels.lamps);
        for lamp in Lamp::ALL {
            let rhythm = test.panel.rhythm(lamp);
            let question = self.language.question(lamp);
            let answer = self.language.answer(lamp, &test.panel);
            self.line(&format!(
                "  {question:<30} {:<11} {answer}",
                self.language.rhythm(rhythm)
            ));
        }
        self.blank();
        self.heading(labels.measured);
        for (name, value) in evidence_rows(self.language, test.evidence) {
            self.paragraph(&format!("  {name:<28} "), &value);
        }
        self.blank();
        self.heading(labels.cannot_see);
        for entry in cautions.cannot_see {
            self.paragraph("  - ", entry);
        }
        self.heading(labels.cautions);
        self.paragraph("  - ", cautions.first);
        for entry in cautions.list {
            self.paragraph("  - ", entry);
        }
    }

    fn finding(&mut self, finding: &Finding) {
        let language = self.language;
        let labels = language.labels();
        let words = language.finding(finding.code);
        self.blank();
        let number = finding.code.number();
        self.line(&format!("[{number}] {}", words.title));
        self.paragraph("    ", words.meaning);
        let severity = language.severity(Severity::of(finding));
        let danger = match words.danger {
            Some(danger) => format!("{severity} {danger}"),
            None => severity.to_owned(),
        };
        self.labelled(labels.severity, &danger);
        self.labelled(labels.appliance, words.appliance);
        let rivals = language.rivals(finding.rivals);
        if !rivals.is_empty() {
            self.line(&format!("    {}:", labels.rivals));
            for rival in rivals {
                self.paragraph("      - ", rival);
            }
        }
        let check = language.check(finding.next, finding.code);
        let next = match check.end {
            Some(end) => format!("{}, {}", labels.next, language.end(end)),
            None => labels.next.to_owned(),
        };
        self.labelled(&next, check.what);
        self.labelled(labels.electrician, words.electrician);
    }

    fn field(&mut self, label: &str, words: &str) {
        self.paragraph(&format!("{label}: "), words);
    }

    fn labelled(&mut self, label: &str, words: &str) {
        self.paragraph(&format!("    {label}: "), words);
    }

    fn heading(&mut self, heading: &str) {
        self.line(&format!("{heading}:"));
    }

    fn blank(&mut self) {
        self.text.push('\n');
    }

    fn line(&mut self, line: &str) {
        // Writing to a String cannot fail.
        let _ = writeln!(self.text, "{line}");
    }

    fn paragraph(&mut self, lead: &str, words: &str) {
        wrap(&mut self.text, lead, words, self.width);
    }
}

/// Every measured value by name, or why it is missing.
#[must_use]
pub fn evidence_rows(language: &dyn Language, evidence: &Evidence) -> Vec<(&'static str, String)> {
    let labels = language.labels();
    let mut rows = Vec::new();
    match &evidence.slots {
        Ok(slots) => {
            // No "-0.00" for a mean of next to nothing.
            let mean = |volts: Volts| Volts::new((volts.get() * 100.0).round() / 100.0 + 0.0);
            for (pair, name) in slots.pairs.iter().zip(labels.pairs) {
                let rms = pair.fundamental.rms;
                let angle = || degrees(pair.fundamental.angle.get());
                let value = PairValue {
                    true_rms: slot_volts(slots, pair.true_rms),
                    fundamental: slot_volts(slots, rms),
                    angle: (rms.get() >= 0.5).then(angle),
                    residual: pair.residual,
                    mean: mean(pair.mean),
                };
                rows.push((name, language.pair(&value)));
            }
        }
        Err(reason) => rows.push((labels.slot_voltages, language.missing(*reason).to_owned())),
    }
    rows.push((labels.frequency, hertz(language, &evidence.frequency)));
    rows.push((labels.earth_path, ohms(language, &evidence.earth_path)));
    for (name, path) in [
        (labels.hot_and_ground, &evidence.hot_and_ground),
        (labels.neutral_and_ground, &evidence.neutral_and_ground),
        (labels.neutral_to_clip, &evidence.neutral_to_clip),
    ] {
        if *path != Measured::Missing(Missing::NotAsked) {
            rows.push((name, ohms(language, path)));
        }
    }
    rows.push((labels.load_steps, load_steps(language, evidence)));
    if let Ok(watch) = &evidence.watch {
        rows.push((labels.watch, language.watch(watch)));
    }
    rows.push((
        labels.clip_on,
        language.clip(evidence.clip_target).to_owned(),
    ));
    rows.push((labels.clip_wide, clip(language, evidence)));
    rows.push((labels.moved, language.moved(evidence.unsteadiness)));
    // No "-0.00" here either.
    let in_phase = Volts::new(evidence.zero_sum.in_phase.get() + 0.0);
    let quadrature = Volts::new(evidence.zero_sum.quadrature.get() + 0.0);
    rows.push((labels.sum, language.sum(in_phase, quadrature)));
    rows.push((labels.health, language.health(&evidence.health)));
    rows
}

fn load_steps(language: &dyn Language, evidence: &Evidence) -> String {
    match &evidence.load_step {
        Ok(step) => {
            let share = with_uncertainty(step.rho.value.get(), step.rho.u.get(), "");
            language.load_step(share.trim_end(), step.steps, step.sag)
        }
        Err(reason) => language.missing(*reason).to_owned(),
    }
}

fn clip(language: &dyn Language, evidence: &Evidence) -> String {
    match (&evidence.clip_wide, &evidence.slots) {
        (Ok(clip), Ok(slots)) => slot_volts(slots, clip.rms),
        (Ok(clip), Err(_)) => format!("{:.2} V", clip.rms.get()),
        (Err(reason), _) => language.missing(*reason).to_owned(),
    }
}
