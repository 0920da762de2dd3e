//! The terminal table: one line a record, as wide as the terminal. The outcome is told by word
//! and sign; colour only repeats it.

use std::io::IsTerminal as _;

use comfy_table::presets::UTF8_FULL_CONDENSED;
use comfy_table::{
    Attribute, Cell, CellAlignment, Color, ColumnConstraint, ContentArrangement, Table,
};
use slotwise_core::evidence::Evidence;
use slotwise_core::lamps::Lamp;
use slotwise_core::record::{Body, BootCause};
use slotwise_core::start::Start;
use slotwise_core::verdict::Outcome;

use super::numbers::volts;
use super::{Item, Report, TestView, list, watch};
use crate::texts::{Language, codes};

/// Width where the output is no terminal and `COLUMNS` does not say.
const PIPE_WIDTH: u16 = 110;

/// A table narrower than this cannot be read.
const LEAST_WIDTH: u16 = 40;

/// How wide to print: the terminal, else `COLUMNS`, else a width for files.
#[must_use]
pub fn width() -> u16 {
    let terminal = std::io::stdout()
        .is_terminal()
        .then(|| Table::new().width())
        .flatten();
    let columns = || {
        std::env::var("COLUMNS")
            .ok()
            .and_then(|columns| columns.parse().ok())
    };
    terminal
        .or_else(columns)
        .unwrap_or(PIPE_WIDTH)
        .max(LEAST_WIDTH)
}

/// Narrower than this, the records are listed instead of tabled.
const TABLE_WIDTH: u16 = 100;

/// The table of a report, with its legend. Styled; a stream that wants no colour strips it.
#[must_use]
pub fn render(report: &Report, width: u16) -> String {
    let mut text = if width < TABLE_WIDTH {
        list::render(report, usize::from(width))
    } else {
        table(report, width)
    };
    text.push('\n');
    text.push_str(&legend(report.language, usize::from(width)));
    text
}

fn table(report: &Report, width: u16) -> String {
    let placed = report.items.iter().any(|item| item.place.is_some());
    let mut table = Table::new();
    table
        .load_style(UTF8_FULL_CONDENSED)
        .set_content_arrangement(ContentArrangement::Dynamic)
        .enforce_styling()
        .set_width(width);
    let labels = report.language.labels();
    let symbols = labels.symbols.map(|symbol| format!("{symbol} V"));
    let [nw, gw, ng] = symbols.each_ref();
    let mut columns = vec![(labels.number, true)];
    if placed {
        columns.push((labels.receptacle, false));
    }
    columns.extend([
        (labels.answer, true),
        (labels.finding, false),
        (nw, true),
        (gw, true),
        (ng, true),
        (labels.clip, true),
        (labels.lamps_short, true),
        (labels.next, false),
    ]);
    let bold = |name: &str| Cell::new(name).add_attribute(Attribute::Bold);
    table.set_header(columns.iter().map(|(name, _)| bold(name)));
    for item in &report.items {
        table.add_row(row(report.language, item, placed));
    }
    for (column, (_, is_whole)) in table.column_iter_mut().zip(&columns) {
        if *is_whole {
            column.set_constraint(ColumnConstraint::ContentWidth);
        }
    }
    table.to_string()
}

fn row(language: &dyn Language, item: &Item, placed: bool) -> Vec<Cell> {
    let mut cells = vec![Cell::new(item.number.get()).set_alignment(CellAlignment::Right)];
    if placed {
        let name = item.place.as_ref().map_or("", |place| place.name.as_str());
        cells.push(Cell::new(name));
    }
    match (&item.record, item.test()) {
        (_, Some(test)) => cells.extend(test_cells(language, item, &test)),
        (Ok(record), None) => {
            let what = watch::what(language, &record.body);
            let labels = language.labels();
            let sign = match &record.body {
                Body::Boot(cause) | Body::Start(Start { cause, .. }) => match cause {
                    BootCause::PowerOn => labels.start,
                    _ => labels.restart,
                },
                Body::Test(_) => "",
                Body::WatchPage(_) | Body::WatchStep(_) => labels.watch,
                Body::SelfTest(_) => labels.self_test,
                Body::Calibrated(_) | Body::Limiters(_) => labels.calibrated,
            };
            cells.push(Cell::new(sign).add_attribute(Attribute::Dim));
            cells.push(Cell::new(with_chain(language, &what, item)));
        }
        (Err(why), None) => {
            cells.push(Cell::new(language.labels().not_readable).fg(Color::Yellow));
            cells.push(Cell::new(with_chain(language, &why.to_string(), item)));
        }
    }
    cells
}

fn test_cells(language: &dyn Language, item: &Item, test: &TestView<'_>) -> Vec<Cell> {
    let mut cells = vec![
        answer(language, test.verdict.outcome),
        Cell::new(finding_line(language, item, test)),
    ];
    cells.extend(pair_cells(test.evidence));
    cells.push(Cell::new(language.clip_short(test.evidence.clip_target)));
    cells.push(Cell::new(lamp_letters(test)).set_alignment(CellAlignment::Center));
    cells.push(Cell::new(next_line(language, test)));
    cells
}

/// The gravest finding in a few words, and what else must not be overlooked.
pub(super) fn finding_line(language: &dyn Language, item: &Item, test: &TestView<'_>) -> String {
    let outcome = test.verdict.outcome;
    let first = test.verdict.first();
    let mut line = first
        .map_or("", |finding| language.finding(finding.code).title)
        .to_owned();
    if outcome == Outcome::NoFaultFound
        && let Some(unproven) = language.unproven_short(test.verdict.unproven)
    {
        line = format!("{line}; {unproven}");
    }
    if item.again.is_some() && test.said.outcome != outcome {
        let said = language.outcome(test.said.outcome);
        line = format!("{line} (tester said: {said})");
    }
    with_chain(language, &line, item)
}

/// The next check in a few words.
pub(super) fn next_line(language: &dyn Language, test: &TestView<'_>) -> &'static str {
    let first = test.verdict.first();
    first.map_or("", |f| language.check(f.next, f.code).short)
}

/// `! Y N ? · ...`: the six lamps, top to bottom.
pub(super) fn lamp_letters(test: &TestView<'_>) -> String {
    Lamp::ALL
        .into_iter()
        .map(|lamp| codes::letter(test.panel.rhythm(lamp)))
        .collect()
}

fn answer(language: &dyn Language, outcome: Outcome) -> Cell {
    let text = format!("{} {}", codes::sign(outcome), language.outcome(outcome));
    let cell = Cell::new(text).add_attribute(Attribute::Bold);
    match outcome {
        Outcome::Proven => cell.fg(Color::Green),
        Outcome::NoFaultFound => cell,
        Outcome::Fault => cell.fg(Color::Red),
        Outcome::Danger => cell.fg(Color::White).bg(Color::Red),
        Outcome::CannotTell | Outcome::TesterFault => cell.fg(Color::Yellow),
    }
}

fn pair_cells(evidence: &Evidence) -> [Cell; 3] {
    let cell = |text: String| Cell::new(text).set_alignment(CellAlignment::Right);
    match &evidence.slots {
        Ok(slots) => slots
            .pairs
            .each_ref()
            .map(|pair| cell(volts(pair.true_rms))),
        Err(_) => [(); 3].map(|()| cell("-".to_owned())),
    }
}

/// `text`, and what is wrong with the chain, if anything is.
pub(super) fn with_chain(language: &dyn Language, text: &str, item: &Item) -> String {
    if item.link.is_wrong() {
        format!(
            "{text} [{}: {}]",
            language.labels().chain,
            language.chain(item.link)
        )
    } else {
        text.to_owned()
    }
}

fn legend(language: &dyn Language, width: usize) -> String {
    let questions: Vec<&str> = Lamp::ALL
        .into_iter()
        .map(|lamp| language.question(lamp))
        .collect();
    let mut text = String::new();
    let labels = language.labels();
    for paragraph in [
        labels.legend.to_owned(),
        format!("{} {}", labels.legend_lamps, questions.join(" ")),
        labels.legend_letters.to_owned(),
    ] {
        list::wrap(&mut text, "", &paragraph, width);
    }
    text
}
