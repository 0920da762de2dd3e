//! The page: one self-contained HTML file without script, for screen, telephone and paper.

use maud::{DOCTYPE, Markup, PreEscaped, html};
use slotwise_core::evidence::Evidence;
use slotwise_core::finding::{Finding, FindingCode};
use slotwise_core::limits::BandSet;
use slotwise_core::record::{Body, TesterId, Version};
use slotwise_core::verdict::Outcome;

use super::numbers::{band_line, volts, when};
use super::sheet::evidence_rows;
use super::style::STYLE;
use super::table::finding_line;
use super::{Item, Origin, Report, TestView, lamps_drawing, watch, waveform};
use crate::texts::{Labels, Language, Severity, codes};

/// The whole page.
#[must_use]
pub fn page(report: &Report) -> String {
    let labels = report.language.labels();
    let title = match report.origin {
        Origin::Log => labels.title_log,
        Origin::Invented => labels.title_invented,
        Origin::Recording => labels.title_recording,
    };
    html! {
        (DOCTYPE)
        html lang=(report.language.tag()) {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="generator" content=(concat!("slotwise ", env!("CARGO_PKG_VERSION")));
                title { (title) }
                style { (PreEscaped(STYLE)) }
            }
            body {
                main {
                    h1 { (title) }
                    @if report.origin == Origin::Invented { p class="caution" { (report.language.cautions().invented) } }
                    p class="caution" { (report.language.cautions().first) }
                    (meta(report))
                    (damages(report))
                    (overview(report))
                    @for item in &report.items {
                        @if let Some(test) = item.test() { (article(report, item, &test)) }
                    }
                    (closing(report.language))
                }
            }
        }
    }
    .into_string()
}

fn meta(report: &Report) -> Markup {
    let labels = report.language.labels();
    html! {
        dl class="meta" {
            dt {
                @if report.origin == Origin::Recording { (labels.recording) } @else { (labels.log) }
            }
            dd { (report.source) }
            @if let Some(hello) = &report.hello {
                dt { (labels.tester) } dd { (by(labels, &hello.tester, &hello.firmware)) }
            }
            dt { (labels.records) }
            dd { (report.language.count(report.items.len(), report.tests().count())) }
            dt { (labels.verdicts) }
            dd { @if report.band.is_some() { (labels.judged_again) } @else { (labels.as_said) } }
            dt { (labels.supply_band) }
            dd {
                @match report.band {
                    Some(band) => (band_line(report.language, band)),
                    None => { (labels.own_band) " " (BandSet::default().band().name) }
                }
            }
        }
    }
}

/// Which tester, with which firmware.
fn by(labels: &Labels, tester: &TesterId, firmware: &Version) -> String {
    format!("{tester}, {} {firmware}", labels.firmware)
}

fn damages(report: &Report) -> Markup {
    let newer = report.newer();
    html! {
        @if !report.damages.is_empty() {
            div class="danger" {
                strong { (report.language.labels().damaged) }
                ul { @for damage in &report.damages { li { (damage) } } }
            }
        }
        @if !newer.is_empty() {
            div class="caution" { (crate::error::newer_records(&newer)) }
        }
    }
}

fn badge(language: &dyn Language, outcome: Outcome) -> Markup {
    html! {
        span class=(format!("outcome o-{}", codes::outcome(outcome))) {
            (codes::sign(outcome)) " " (language.outcome(outcome))
        }
    }
}

/// An outcome by its name for programs, as a badge; one that this version does not know is shown
/// as it is named.
pub(crate) fn outcome_badge(language: &dyn Language, name: &str) -> Markup {
    let known = codes::OUTCOMES
        .into_iter()
        .find(|outcome| codes::outcome(*outcome) == name);
    match known {
        Some(outcome) => badge(language, outcome),
        None => html! { span class="outcome o-cannot-tell" { "? " (name) } },
    }
}

/// The title of a finding by its name for programs.
pub(crate) fn finding_title<'n>(language: &dyn Language, name: &'n str) -> &'n str {
    FindingCode::ALL
        .into_iter()
        .find(|code| codes::finding(*code) == name)
        .map_or(name, |code| language.finding(code).title)
}

fn overview(report: &Report) -> Markup {
    let labels = report.language.labels();
    html! {
        h2 { (labels.overview) }
        div class="scroll" role="group" tabindex="0" aria-label=(labels.overview) {
            table class="over" {
                thead {
                    tr {
                        th class="num" { (labels.number) }
                        th { (labels.receptacle) }
                        th { (labels.answer) }
                        th { (labels.finding) }
                        @for symbol in labels.symbols { th class="num" { (symbol) " V" } }
                        th { (labels.clip) }
                        th { (labels.next) }
                    }
                }
                tbody { @for item in &report.items { (overview_row(report.language, item)) } }
            }
        }
        p class="soft" { (labels.legend) }
    }
}

fn overview_row(language: &dyn Language, item: &Item) -> Markup {
    let labels = language.labels();
    let number = item.number.get();
    html! {
        tr {
            td class="num" data-name=(labels.number) {
                @if item.test().is_some() { a href=(format!("#r{number}")) { (number) } }
                @else { (number) }
            }
            td { (item.place.as_ref().map_or("", |place| place.name.as_str())) }
            @match (item.test(), &item.record) {
                (Some(test), _) => {
                    @let first = test.verdict.first();
                    td { (badge(language, test.verdict.outcome)) }
                    td {
                        (finding_line(language, item, &test))
                    }
                    @for (name, text) in pair_volts(labels, test.evidence) {
                        td class="num" data-name=(name) { (text) }
                    }
                    td data-name={ (labels.clip) ":" } { (language.clip_short(test.evidence.clip_target)) }
                    td data-name={ (labels.next) ":" } {
                        (first.map_or("", |f| language.check(f.next, f.code).short))
                    }
                }
                (None, Ok(record)) => {
                    td class="soft" {
                        (match record.body {
                            Body::Boot(_) | Body::Start(_) => labels.start,
                            Body::SelfTest(_) => labels.self_test,
                            Body::Calibrated(_) | Body::Limiters(_) => labels.calibrated,
                            _ => labels.watch,
                        })
                    }
                    td class="soft" colspan="6" {
                        (watch::what(language, &record.body))
                        (chain_note(language, item))
                    }
                }
                (None, Err(why)) => {
                    td { (labels.not_readable) }
                    td colspan="6" { (why) (chain_note(language, item)) }
                }
            }
        }
    }
}

fn chain_note(language: &dyn Language, item: &Item) -> Markup {
    html! {
        @if item.link.is_wrong() { " [" (language.labels().chain) ": " (language.chain(item.link)) "]" }
    }
}

fn pair_volts(labels: &Labels, evidence: &Evidence) -> [(&'static str, String); 3] {
    let [nw, gw, ng] = match &evidence.slots {
        Ok(slots) => slots.pairs.each_ref().map(|pair| volts(pair.true_rms)),
        Err(_) => [(); 3].map(|()| "-".to_owned()),
    };
    let [n_w, g_w, n_g] = labels.symbols;
    [(n_w, nw), (g_w, gw), (n_g, ng)]
}

fn article(report: &Report, item: &Item, test: &TestView<'_>) -> Markup {
    let language = report.language;
    let labels = language.labels();
    let verdict = test.verdict;
    let number = item.number.get();
    let title = match &item.place {
        Some(place) => place.name.clone(),
        None => format!("{} {number}", labels.record),
    };
    let unproven = language.unproven(verdict.unproven);
    html! {
        article id=(format!("r{number}")) {
            div class="headline" { h2 { (title) } (badge(language, verdict.outcome)) }
            @if let Some(place) = &item.place {
                p class="soft" { (labels.wired_as) ": " (place.wired) }
            }
            p { (language.outcome_meaning(verdict.outcome)) }
            @if report.band.is_some() && test.said.outcome != verdict.outcome {
                p class="caution" {
                    (labels.said_then) ": " (language.outcome(test.said.outcome))
                }
            }
            div class="columns" {
                div {
                    @for finding in &verdict.findings { (finding_block(language, finding)) }
                    @if verdict.has(FindingCode::ReadsSound) && !unproven.is_empty() {
                        h4 { (labels.unproven) }
                        ul { @for entry in unproven { li { (entry) } } }
                    }
                }
                div {
                    (lamps_drawing::column(language, &test.panel))
                    @match waveform::figure(language, test.snapshot, &format!("w{number}")) {
                        Some(figure) => { (figure) }
                        None => { p class="soft" { (labels.no_waveform) } }
                    }
                }
            }
            (evidence_table(language, test.evidence))
            (record_lines(report, item))
        }
    }
}

fn finding_block(language: &dyn Language, finding: &Finding) -> Markup {
    let labels = language.labels();
    let words = language.finding(finding.code);
    let severity = Severity::of(finding);
    let rivals = language.rivals(finding.rivals);
    let check = language.check(finding.next, finding.code);
    html! {
        section class="finding" {
            h3 {
                (words.title) " "
                span class="number" { (labels.finding.to_lowercase()) " " (finding.code.number()) }
            }
            p { (words.meaning) }
            p class=(severity_class(severity)) {
                strong { (labels.severity) ": " (language.severity(severity)) }
                @if let Some(danger) = words.danger { " " (danger) }
            }
            p { strong { (labels.appliance) ": " } (words.appliance) }
            @if !rivals.is_empty() {
                p { (labels.rivals) ":" }
                ul { @for rival in rivals { li { (rival) } } }
            }
            div class="next" {
                p {
                    strong {
                        (labels.next)
                        @if let Some(end) = check.end { ", " (language.end(end)) }
                        ": "
                    }
                    (check.what)
                }
                p { strong { (labels.electrician) ": " } (words.electrician) }
            }
        }
    }
}

/// Red for what can hurt, amber for what is not told; the words say it without colour.
const fn severity_class(severity: Severity) -> &'static str {
    match severity {
        Severity::MetalMayBeLive | Severity::OneFaultAway | Severity::Damage => "danger",
        Severity::Untold => "caution",
        Severity::NotByItself | Severity::NoneFound => "mild",
    }
}

fn evidence_table(language: &dyn Language, evidence: &Evidence) -> Markup {
    html! {
        table class="evidence" {
            caption { (language.labels().measured) }
            tbody {
                @for (name, value) in evidence_rows(language, evidence) {
                    tr { th scope="row" { (name) } td { (value) } }
                }
            }
        }
    }
}

fn record_lines(report: &Report, item: &Item) -> Markup {
    if report.origin == Origin::Recording {
        return html! {};
    }
    let language = report.language;
    let labels = language.labels();
    html! {
        p class="soft" {
            (labels.record) " " (item.number.get()) ". "
            @if let Ok(record) = &item.record {
                (labels.made) ": " (when(language, record)) ". "
                (labels.tester) ": " (by(labels, &record.tester, &record.firmware)) ". "
            }
            (labels.chain) ": " (language.chain(item.link)) "."
        }
    }
}

fn closing(language: &dyn Language) -> Markup {
    let labels = language.labels();
    html! {
        section {
            h2 { (labels.cannot_see) }
            ul { @for entry in language.cautions().cannot_see { li { (entry) } } }
            h2 { (labels.cautions) }
            ul { @for entry in language.cautions().list { li { (entry) } } }
        }
    }
}
