//! The sections of the report.

use slotwise_core::evidence::Measured;
use slotwise_core::finding::{Finding, FindingCode};
use slotwise_core::record::Body;
use slotwise_core::slots::ClipTarget;
use slotwise_core::units::Volts;
use slotwise_core::watch::Span;

use super::course::{self, Course};
use super::{Judged, VisitReport, callout, drawing, tone};
use crate::document::{Block, Level, Table, Tone};
use crate::report::numbers::{band_line, when};
use crate::report::sheet::evidence_rows;
use crate::report::waveform;
use crate::texts::{Severity, codes};
use crate::visits::{Checklist, Weight, explains, judge_note};

/// Who, where, when, with what.
pub(super) fn meta(report: &VisitReport<'_>, tests: &[Judged<'_>]) -> Block {
    let language = report.language;
    let (labels, words, texts) = (
        language.labels(),
        language.visits(),
        language.visit_report(),
    );
    let visit = &report.dossier.visit;
    let mut rows = Vec::new();
    let mut row = |name: &str, value: String| rows.push((name.to_owned(), value));
    row(
        words.place,
        visit.place.as_ref().map_or_else(
            || words.no_place.to_owned(),
            |place| match &place.appliance {
                Some(appliance) => format!("{}, {appliance}", place.site),
                None => place.site.clone(),
            },
        ),
    );
    if let (Some(first), Some(last)) = (tests.first(), tests.last()) {
        row(labels.made, when(language, first.record));
        row(
            labels.tester,
            format!(
                "{}, {} {}",
                visit.tester, labels.firmware, last.record.firmware
            ),
        );
        let all = tests.iter().all(|one| one.test.evidence.health.calibrated);
        let mut calibration = texts.calibrated[usize::from(!all)].to_owned();
        for kept in &report.dossier.calibrations {
            calibration += "; ";
            calibration += &language.calibration_behind(kept.number, &kept.event);
        }
        if report.dossier.calibrations.is_empty() {
            calibration += "; ";
            calibration += texts.no_calibration_record;
        }
        row(texts.calibration, calibration);
    }
    row(
        labels.records,
        language.count(report.dossier.records.len(), tests.len()),
    );
    row(labels.judged_under, band_line(language, report.band));
    if !report.prepared_by.is_empty() {
        row(texts.prepared_by, report.prepared_by.to_owned());
    }
    Block::Table(Table::of_pairs("", rows))
}

/// The answer of the gravest test.
pub(super) fn answer(blocks: &mut Vec<Block>, report: &VisitReport<'_>, gravest: &Judged<'_>) {
    let language = report.language;
    let texts = language.visit_report();
    let outcome = gravest.verdict.outcome;
    blocks.push(Block::Heading(Level::Section, texts.answer.to_owned()));
    blocks.push(Block::Answer {
        tone: tone(outcome),
        text: format!("{} {}", codes::sign(outcome), language.outcome(outcome)),
    });
    blocks.push(paragraph("", language.outcome_meaning(outcome)));
    let record = gravest.kept.number.get().to_string();
    blocks.push(paragraph(
        "",
        &texts.from_record.replace("{record}", &record),
    ));
    let said = gravest.test.verdict.outcome;
    if said != outcome {
        blocks.push(Block::Callout {
            tone: Tone::Caution,
            lead: format!("{}:", language.labels().said_then),
            text: language.outcome(said).to_owned(),
        });
    }
}

/// The tests of the visit, in a line each.
pub(super) fn overview(blocks: &mut Vec<Block>, report: &VisitReport<'_>, tests: &[Judged<'_>]) {
    let language = report.language;
    let labels = language.labels();
    if tests.len() < 2 {
        return;
    }
    let rows = tests
        .iter()
        .map(|judged| {
            let outcome = judged.verdict.outcome;
            let finding = judged.verdict.first();
            vec![
                judged.kept.number.get().to_string(),
                when(language, judged.record),
                format!("{} {}", codes::sign(outcome), language.outcome(outcome)),
                finding
                    .map_or("", |f| language.finding(f.code).title)
                    .to_owned(),
            ]
        })
        .collect();
    blocks.push(Block::Table(Table {
        caption: language.visit_report().tests.to_owned(),
        head: [labels.record, labels.made, labels.answer, labels.finding]
            .map(str::to_owned)
            .to_vec(),
        shares: vec![0.1, 0.4, 0.22, 0.28],
        rows,
    }));
}

/// What the gravest test found.
pub(super) fn findings(blocks: &mut Vec<Block>, report: &VisitReport<'_>, gravest: &Judged<'_>) {
    let texts = report.language.visit_report();
    blocks.push(Block::Heading(Level::Section, texts.found.to_owned()));
    for finding in &gravest.verdict.findings {
        self::finding(blocks, report, finding);
    }
}

fn finding(blocks: &mut Vec<Block>, report: &VisitReport<'_>, finding: &Finding) {
    let language = report.language;
    let labels = language.labels();
    let words = language.finding(finding.code);
    let severity = Severity::of(finding);
    let lead = |label: &str| format!("{label}:");
    blocks.push(Block::Heading(
        Level::Part,
        format!("{} ({})", words.title, finding.code.number()),
    ));
    blocks.push(paragraph("", words.meaning));
    let danger = match words.danger {
        Some(danger) => format!("{} {danger}", language.severity(severity)),
        None => language.severity(severity).to_owned(),
    };
    let tone = match severity {
        Severity::MetalMayBeLive | Severity::OneFaultAway | Severity::Damage => Tone::Danger,
        Severity::Untold => Tone::Caution,
        Severity::NotByItself | Severity::NoneFound => Tone::Calm,
    };
    blocks.push(Block::Callout {
        tone,
        lead: lead(labels.severity),
        text: danger,
    });
    blocks.push(paragraph(&lead(labels.appliance), words.appliance));
    let rivals = language.rivals(finding.rivals);
    if !rivals.is_empty() {
        blocks.push(paragraph(&lead(labels.rivals), ""));
        blocks.push(Block::List(rivals.into_iter().map(str::to_owned).collect()));
    }
    let check = language.check(finding.next, finding.code);
    let next = match check.end {
        Some(end) => format!("{}, {}:", labels.next, language.end(end)),
        None => lead(labels.next),
    };
    blocks.push(paragraph(&next, check.what));
    blocks.push(paragraph(&lead(labels.electrician), words.electrician));
}

/// What each slot is on, by the first finding that names wirings.
pub(super) fn receptacle(blocks: &mut Vec<Block>, report: &VisitReport<'_>, gravest: &Judged<'_>) {
    let named = gravest
        .verdict
        .findings
        .iter()
        .find(|finding| finding.rivals.iter().next().is_some());
    if let Some(finding) = named {
        let texts = report.language.visit_report();
        blocks.push(Block::Heading(Level::Section, texts.receptacle.to_owned()));
        blocks.push(Block::Figure(drawing::receptacle(
            report.language,
            finding.rivals,
        )));
    }
}

/// What is not proven, and how to prove it.
pub(super) fn not_proven(blocks: &mut Vec<Block>, report: &VisitReport<'_>, gravest: &Judged<'_>) {
    let texts = report.language.visit_report();
    // What reads wrong has no list of what is left to prove.
    if !gravest.verdict.has(FindingCode::ReadsSound) {
        return;
    }
    let unproven = gravest.verdict.unproven;
    let [mut polarity, earth_path, separate_ground] = texts.prove;
    if gravest.test.evidence.clip_target == ClipTarget::IndependentEarth {
        polarity = texts.prove_on_earth;
    }
    let open: Vec<String> = [
        unproven.polarity,
        unproven.earth_path,
        unproven.separate_ground,
    ]
    .into_iter()
    .zip([polarity, earth_path, separate_ground])
    .filter(|(is_open, _)| *is_open)
    .map(|(_, how)| how.to_owned())
    .collect();
    blocks.push(Block::Heading(Level::Section, texts.not_proven.to_owned()));
    if open.is_empty() {
        blocks.push(paragraph("", texts.all_proven));
    } else {
        blocks.push(Block::List(open));
    }
}

/// Hand meter, checklist, remarks.
pub(super) fn notes(blocks: &mut Vec<Block>, report: &VisitReport<'_>, tests: &[Judged<'_>]) {
    let language = report.language;
    let texts = language.visit_report();
    if report.dossier.notes.is_empty() {
        return;
    }
    blocks.push(Block::Heading(Level::Section, texts.notes.to_owned()));
    let [fine, look, wrong] = language.visits().weights;
    for note in &report.dossier.notes {
        let rows: Vec<Vec<String>> = judge_note(note, &report.limits())
            .into_iter()
            .map(|finding| {
                let words = language.note(finding);
                let weight = match finding.weight() {
                    Weight::Fine => fine,
                    Weight::Look => look,
                    Weight::Wrong => wrong,
                };
                let cells = [words.title, weight, words.meaning];
                cells.map(str::to_owned).to_vec()
            })
            .collect();
        if !rows.is_empty() {
            blocks.push(Block::Table(Table {
                caption: String::new(),
                head: texts.note_head.map(str::to_owned).to_vec(),
                shares: vec![0.3, 0.16, 0.54],
                rows,
            }));
        }
        let answers = Checklist::of_answers(&note.answers);
        for judged in tests {
            for one in explains(&answers, &judged.verdict) {
                blocks.push(callout(
                    Tone::Caution,
                    &format!(
                        "{} {} ({}): {}",
                        language.visits().explains,
                        judged.kept.number.get(),
                        language.finding(one.finding).title,
                        language.wiring(one.seen)
                    ),
                ));
            }
        }
        if !note.remark.is_empty() {
            blocks.push(paragraph("", &note.remark));
        }
        if !note.photos.is_empty() {
            let lead = format!("{}:", language.visits().photos);
            blocks.push(paragraph(&lead, &note.photos.join(", ")));
        }
    }
    blocks.push(paragraph("", language.visits().as_shown));
}

/// The course of a load-cycle watch.
pub(super) fn watch(blocks: &mut Vec<Block>, report: &VisitReport<'_>) {
    let mut clip: Vec<(u16, Span)> = Vec::new();
    let mut slots: Vec<(u16, Span)> = Vec::new();
    let mut steps = Vec::new();
    let mut any = false;
    for kept in &report.dossier.records {
        let Ok(record) = &kept.record else { continue };
        match &record.body {
            Body::WatchPage(page) => {
                // A watch that starts again is drawn by itself.
                if page.first == 0 && !slots.is_empty() {
                    any |= courses(blocks, report, any, &mut clip, &mut slots, &mut steps);
                }
                for (second, seen) in (page.first..).zip(&page.seconds) {
                    if let Some(seen) = seen {
                        slots.push((second, seen.narrow_wide));
                        clip.extend(seen.clip_wide.map(|span| (second, span)));
                    }
                }
            }
            Body::WatchStep(step) => steps.push(step.at.get() as f32 / 1000.0),
            _ => {}
        }
    }
    courses(blocks, report, any, &mut clip, &mut slots, &mut steps);
}

fn courses(
    blocks: &mut Vec<Block>,
    report: &VisitReport<'_>,
    has_heading: bool,
    clip: &mut Vec<(u16, Span)>,
    slots: &mut Vec<(u16, Span)>,
    steps: &mut Vec<f32>,
) -> bool {
    let language = report.language;
    let texts = language.visit_report();
    let limit: Volts = report.limits().watch.clip_highest;
    let drawn = [
        (texts.clip_course, &*clip, Some(limit)),
        (language.labels().pairs[0], &*slots, None),
    ]
    .into_iter()
    .filter_map(|(name, seconds, limit)| {
        course::figure(
            language,
            &Course {
                name,
                seconds,
                steps,
                limit,
            },
        )
    })
    .map(Block::Figure);
    let drawn: Vec<Block> = drawn.collect();
    let is_any = !drawn.is_empty();
    if is_any && !has_heading {
        blocks.push(Block::Heading(Level::Section, texts.watch.to_owned()));
    }
    blocks.extend(drawn);
    clip.clear();
    slots.clear();
    steps.clear();
    is_any
}

/// One test: waveform, values, earth path, sag.
pub(super) fn test(blocks: &mut Vec<Block>, report: &VisitReport<'_>, judged: &Judged<'_>) {
    let language = report.language;
    let (labels, texts) = (language.labels(), language.visit_report());
    let evidence = &judged.test.evidence;
    let number = judged.kept.number.get();
    let outcome = judged.verdict.outcome;
    blocks.push(Block::Heading(
        Level::Section,
        texts.test.replace("{record}", &number.to_string()),
    ));
    blocks.push(paragraph(
        &format!("{} {}.", codes::sign(outcome), language.outcome(outcome)),
        &format!("{}: {}.", labels.made, when(language, judged.record)),
    ));
    match waveform::drawn(language, &judged.test.snapshot, &format!("w{number}")) {
        Some(figure) => blocks.push(Block::Figure(figure)),
        None => blocks.push(paragraph("", labels.no_waveform)),
    }
    let rows = evidence_rows(language, evidence)
        .into_iter()
        .map(|(name, value)| (name.to_owned(), value))
        .collect();
    blocks.push(Block::Table(Table::of_pairs(labels.measured, rows)));
    let limits = report.limits();
    let to_clip = match evidence.clip_target {
        ClipTarget::IndependentEarth => limits.limiters.path_most,
        ClipTarget::ApplianceFrame | ClipTarget::NotConnected => limits.drive.neutral_to_burner,
    };
    for (name, measured, limit) in [
        (
            labels.earth_path,
            &evidence.earth_path,
            limits.earth_path_sound,
        ),
        (labels.neutral_to_clip, &evidence.neutral_to_clip, to_clip),
    ] {
        if let Measured::Known(reading) = measured {
            blocks.push(Block::Figure(drawing::against_limit(
                language, name, *reading, limit,
            )));
        }
    }
    if let Ok(step) = &evidence.load_step {
        blocks.push(Block::Figure(drawing::sag(language, step)));
    }
}

/// What the tester cannot see, and the cautions.
pub(super) fn closing(blocks: &mut Vec<Block>, report: &VisitReport<'_>) {
    let labels = report.language.labels();
    let cautions = report.language.cautions();
    for (heading, list) in [
        (labels.cannot_see, cautions.cannot_see),
        (labels.cautions, cautions.list),
    ] {
        blocks.push(Block::Heading(Level::Section, heading.to_owned()));
        blocks.push(Block::List(
            list.iter().map(|&entry| entry.to_owned()).collect(),
        ));
    }
}

fn paragraph(lead: &str, text: &str) -> Block {
    Block::Paragraph {
        lead: lead.to_owned(),
        text: text.to_owned(),
    }
}
