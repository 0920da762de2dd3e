//! The full sheet of one record in plain text: what a person reads who acts on it.

use std::fmt::Write as _;

use slotwise_core::evidence::Evidence;
use slotwise_core::finding::{Finding, FindingCode};
use slotwise_core::lamps::Lamp;
use slotwise_core::record::Body;
use slotwise_core::slots::Pair;

use super::list::wrap;
use super::numbers::{band_line, degrees, hertz, ohms, slot_volts, when, with_uncertainty};
use super::{Item, Origin, Report, TestView};
use crate::texts::{Language, Severity, codes};

/// The sheet of `item`, wrapped to `width` columns.
#[must_use]
pub fn render(report: &Report, item: &Item, width: u16) -> String {
    let mut sheet = Sheet {
        text: String::new(),
        language: report.language,
        width: usize::from(width).clamp(40, 100),
    };
    if report.origin == Origin::Recording {
        sheet.line(&format!("Recorded waveform {}", report.source));
    } else {
        sheet.line(&format!(
            "Record {} of {}",
            item.number.get(),
            report.source
        ));
    }
    if let Some(place) = &item.place {
        sheet.line(&format!("Receptacle: {}", place.name));
        sheet.paragraph("Wired as: ", &place.wired);
    }
    match &item.record {
        Ok(_) if report.origin == Origin::Recording => {}
        Ok(record) => {
            sheet.paragraph("Made: ", &when(record));
            let by = format!("tester {}, firmware {}", record.tester, record.firmware);
            sheet.paragraph("By: ", &by);
            if let Body::Boot(cause) = &record.body {
                sheet.line(report.language.boot(*cause));
            }
        }
        Err(why) => sheet.paragraph("Not readable: ", &why.to_string()),
    }
    if report.origin != Origin::Recording {
        sheet.paragraph("Chain: ", &report.language.chain(item.link));
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
        let headings = self.language.headings();
        let cautions = self.language.cautions();
        self.blank();
        let word = self.language.outcome(verdict.outcome);
        self.line(&format!("{} {word}", codes::sign(verdict.outcome)));
        self.paragraph("", self.language.outcome_meaning(verdict.outcome));
        if let Some(band) = report.band {
            self.paragraph("Judged again under: ", &band_line(band));
            if test.said.outcome != verdict.outcome {
                self.paragraph(
                    "The tester said then: ",
                    self.language.outcome(test.said.outcome),
                );
            }
        }
        for finding in &verdict.findings {
            self.finding(finding);
        }
        let unproven = self.language.unproven(verdict.unproven);
        if verdict.has(FindingCode::ReadsSound) && !unproven.is_empty() {
            self.blank();
            self.heading(headings.unproven);
            for entry in unproven {
                self.paragraph("  - ", entry);
            }
        }
        self.blank();
        self.heading(headings.lamps);
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
        self.line("Measured (± is the expanded uncertainty, k = 2):");
        for (name, value) in evidence_rows(self.language, test.evidence) {
            self.paragraph(&format!("  {name:<28} "), &value);
        }
        self.blank();
        self.heading(headings.cannot_see);
        for entry in cautions.cannot_see {
            self.paragraph("  - ", entry);
        }
        self.heading(headings.cautions);
        self.paragraph("  - ", cautions.first);
        for entry in cautions.list {
            self.paragraph("  - ", entry);
        }
    }

    fn finding(&mut self, finding: &Finding) {
        let language = self.language;
        let headings = language.headings();
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
        self.labelled(headings.severity, &danger);
        self.labelled(headings.appliance, words.appliance);
        let rivals = language.rivals(finding.rivals);
        if !rivals.is_empty() {
            self.line(&format!("    {}:", headings.rivals));
            for rival in rivals {
                self.paragraph("      - ", rival);
            }
        }
        let check = language.check(finding.next, finding.code);
        let next = match check.end {
            Some(end) => format!("{}, {}", headings.next, language.end(end)),
            None => headings.next.to_owned(),
        };
        self.labelled(&next, check.what);
        self.labelled(headings.electrician, words.electrician);
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
    let mut rows = Vec::new();
    let names = [
        (Pair::NarrowWide, "narrow to wide"),
        (Pair::GroundWide, "ground to wide"),
        (Pair::NarrowGround, "narrow to ground"),
    ];
    match &evidence.slots {
        Ok(slots) => {
            for (pair, name) in names {
                let Some(voltage) = slots.pair(pair) else {
                    continue;
                };
                let fundamental = voltage.fundamental;
                let angle = if fundamental.rms.get() < 0.5 {
                    String::new()
                } else {
                    format!(" at {}", degrees(fundamental.angle.get()))
                };
                rows.push((
                    name,
                    format!(
                        "{} true RMS; line frequency {}{angle}; harmonics and noise {:.2} V; \
                         mean {:.2} V",
                        slot_volts(slots, voltage.true_rms),
                        slot_volts(slots, fundamental.rms),
                        voltage.residual.get(),
                        // No "-0.00" for a mean of next to nothing.
                        (voltage.mean.get() * 100.0).round() / 100.0 + 0.0,
                    ),
                ));
            }
        }
        Err(reason) => rows.push(("slot voltages", language.missing(*reason).to_owned())),
    }
    rows.push(("frequency", hertz(language, &evidence.frequency)));
    rows.push(("earth path", ohms(language, &evidence.earth_path)));
    rows.push(("load steps", load_steps(language, evidence)));
    rows.push(("clip", language.clip(evidence.clip_target).to_owned()));
    rows.push(("clip to wide", clip(language, evidence)));
    let moved = format!("{:.2} V at most", evidence.unsteadiness.get());
    rows.push(("moved during the test", moved));
    rows.push((
        "sum of the four inputs",
        format!(
            "{:.2} V in phase, {:.2} V in quadrature",
            evidence.zero_sum.in_phase.get() + 0.0,
            evidence.zero_sum.quadrature.get() + 0.0
        ),
    ));
    let health = evidence.health;
    rows.push((
        "tester",
        format!(
            "{}, {} windows of 0.2 s, {} bad frames, {} beyond full scale",
            if health.calibrated {
                "calibrated"
            } else {
                "not calibrated"
            },
            health.windows,
            health.bad_frames,
            health.clipped_frames
        ),
    ));
    rows
}

fn load_steps(language: &dyn Language, evidence: &Evidence) -> String {
    match &evidence.load_step {
        Ok(step) => format!(
            "neutral's share of the drop {}, from {} steps of {:.2} V",
            with_uncertainty(step.rho.value.get(), step.rho.u.get(), "").trim_end(),
            step.steps,
            step.sag.get()
        ),
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
