//! The page: one self-contained HTML file without script, for screen, telephone and paper.

use maud::{DOCTYPE, Markup, PreEscaped, html};
use slotwise_core::evidence::Evidence;
use slotwise_core::finding::{Finding, FindingCode};
use slotwise_core::record::Body;
use slotwise_core::verdict::Outcome;

use super::numbers::{volts, when};
use super::sheet::evidence_rows;
use super::style::STYLE;
use super::table::finding_line;
use super::{Item, Origin, Report, TestView, lamps_drawing, waveform};
use crate::texts::{cautions, checks, findings, outcomes, values, wiring};

/// The whole page.
#[must_use]
pub fn page(report: &Report) -> String {
    let title = match report.origin {
        Origin::Log => "Receptacle report",
        Origin::Invented => "Receptacle report (invented receptacles)",
        Origin::Recording => "Receptacle report (recorded waveform)",
    };
    html! {
        (DOCTYPE)
        html lang="en" {
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
                    @if report.origin == Origin::Invented { p class="caution" { (cautions::INVENTED) } }
                    p class="caution" { (cautions::FIRST) }
                    (meta(report))
                    (damages(report))
                    (overview(report))
                    @for item in &report.items {
                        @if let Some(test) = item.test() { (article(report, item, &test)) }
                    }
                    (closing())
                }
            }
        }
    }
    .into_string()
}

fn meta(report: &Report) -> Markup {
    html! {
        dl class="meta" {
            dt { @if report.origin == Origin::Recording { "Recording" } @else { "Log" } } dd { (report.source) }
            @if let Some(hello) = &report.hello {
                dt { "Tester" } dd { (hello.tester) ", firmware " (hello.firmware) }
            }
            dt { "Records" } dd { (report.items.len()) ", of them " (report.tests().count()) " tests" }
            dt { "Verdicts" }
            dd {
                @match report.band {
                    Some(band) => { "judged again under " (band.band().source) }
                    None => { "as the tester said at the time" }
                }
            }
        }
    }
}

fn damages(report: &Report) -> Markup {
    let newer = report.newer();
    html! {
        @if !report.damages.is_empty() {
            div class="danger" {
                strong { "This log is damaged; what is whole is shown." }
                ul { @for damage in &report.damages { li { (damage) } } }
            }
        }
        @if !newer.is_empty() {
            div class="caution" { (crate::error::newer_records(&newer)) }
        }
    }
}

fn badge(outcome: Outcome) -> Markup {
    html! {
        span class=(format!("outcome o-{}", outcomes::code(outcome))) {
            (outcomes::sign(outcome)) " " (outcomes::word(outcome))
        }
    }
}

fn overview(report: &Report) -> Markup {
    html! {
        h2 { "Overview" }
        div class="scroll" {
            table class="over" {
                thead {
                    tr {
                        th class="num" { "No." } th { "Receptacle" } th { "Answer" }
                        th { "Finding" }
                        th class="num" { "n-w V" } th class="num" { "g-w V" } th class="num" { "n-g V" }
                        th { "Clip" } th { "Next" }
                    }
                }
                tbody { @for item in &report.items { (overview_row(item)) } }
            }
        }
        p class="soft" {
            "n narrow slot, w wide slot, g ground slot; volts are true RMS. Clip: free, on the \
             appliance's frame, or on an earth from elsewhere."
        }
    }
}

fn overview_row(item: &Item) -> Markup {
    let number = item.number.get();
    html! {
        tr {
            td class="num" data-name="No." {
                @if item.test().is_some() { a href=(format!("#r{number}")) { (number) } }
                @else { (number) }
            }
            td { (item.place.as_ref().map_or("", |place| place.name.as_str())) }
            @match (item.test(), &item.record) {
                (Some(test), _) => {
                    @let first = test.verdict.first();
                    td { (badge(test.verdict.outcome)) }
                    td {
                        (finding_line(item, &test))
                    }
                    @for (name, text) in pair_volts(test.evidence) {
                        td class="num" data-name=(name) { (text) }
                    }
                    td data-name="Clip:" { (checks::clip_short(test.evidence.clip_target)) }
                    td data-name="Next:" {
                        (first.map_or("", |f| checks::text(f.next, f.code).short))
                    }
                }
                (None, Ok(record)) => {
                    td class="soft" { "start" }
                    td class="soft" colspan="6" {
                        @if let Body::Boot(cause) = &record.body { (values::boot(*cause)) }
                        (chain_note(item))
                    }
                }
                (None, Err(why)) => {
                    td { "NOT READABLE" }
                    td colspan="6" { (why) (chain_note(item)) }
                }
            }
        }
    }
}

fn chain_note(item: &Item) -> Markup {
    html! {
        @if item.link.is_wrong() { " [chain: " (values::chain(item.link)) "]" }
    }
}

fn pair_volts(evidence: &Evidence) -> [(&'static str, String); 3] {
    let [nw, gw, ng] = match &evidence.slots {
        Ok(slots) => slots.pairs.each_ref().map(|pair| volts(pair.true_rms)),
        Err(_) => [(); 3].map(|()| "-".to_owned()),
    };
    [("n-w", nw), ("g-w", gw), ("n-g", ng)]
}

fn article(report: &Report, item: &Item, test: &TestView<'_>) -> Markup {
    let verdict = test.verdict;
    let number = item.number.get();
    let title = match &item.place {
        Some(place) => place.name.clone(),
        None => format!("Record {number}"),
    };
    let unproven = outcomes::unproven(verdict.unproven);
    html! {
        article id=(format!("r{number}")) {
            div class="headline" { h2 { (title) } (badge(verdict.outcome)) }
            @if let Some(place) = &item.place {
                p class="soft" { "Wired as (invented): " (place.wired) }
            }
            p { (outcomes::meaning(verdict.outcome)) }
            @if report.band.is_some() && test.said.outcome != verdict.outcome {
                p class="caution" {
                    "The tester said then: " (outcomes::word(test.said.outcome))
                }
            }
            div class="columns" {
                div {
                    @for finding in &verdict.findings { (finding_block(finding)) }
                    @if verdict.has(FindingCode::ReadsSound) && !unproven.is_empty() {
                        h4 { "Not yet proven" }
                        ul { @for entry in unproven { li { (entry) } } }
                    }
                }
                div {
                    (lamps_drawing::column(&test.panel))
                    @match waveform::figure(test.snapshot, &format!("w{number}")) {
                        Some(figure) => { (figure) }
                        None => { p class="soft" { "This record holds no waveform." } }
                    }
                }
            }
            (evidence_table(test.evidence))
            (record_lines(report, item))
        }
    }
}

fn finding_block(finding: &Finding) -> Markup {
    let words = findings::text(finding.code);
    let rivals = wiring::rivals(finding.rivals);
    let check = checks::text(finding.next, finding.code);
    html! {
        section class="finding" {
            h3 {
                (words.title) " "
                span class="number" { "finding " (finding.code.number()) }
            }
            p { (words.meaning) }
            @if let Some(danger) = words.danger {
                p class="danger" { strong { "Danger. " } (danger) }
            }
            @if !rivals.is_empty() {
                p { "These wirings cannot be told apart by this test:" }
                ul { @for rival in rivals { li { (rival) } } }
            }
            div class="next" {
                p {
                    strong { "Next" @if let Some(end) = check.end { ", " (end.text()) } ": " }
                    (check.what)
                }
                @if let Some(work) = words.electrician {
                    p { strong { "Leave to a licensed electrician: " } (work) }
                } @else if check.electrician {
                    p { "This check is a licensed electrician's work." }
                }
            }
        }
    }
}

fn evidence_table(evidence: &Evidence) -> Markup {
    html! {
        table class="evidence" {
            caption { "Measured (± is the expanded uncertainty, k = 2)" }
            tbody {
                @for (name, value) in evidence_rows(evidence) {
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
    html! {
        p class="soft" {
            "Record " (item.number.get())
            @if let Ok(record) = &item.record {
                ", made " (when(record)) "; tester " (record.tester) ", firmware " (record.firmware)
            }
            ". Chain: " (values::chain(item.link)) "."
        }
    }
}

fn closing() -> Markup {
    html! {
        section {
            h2 { "What this tester cannot see" }
            ul { @for entry in cautions::CANNOT_SEE { li { (entry) } } }
            h2 { "Cautions" }
            ul { @for entry in cautions::LIST { li { (entry) } } }
        }
    }
}
