//! The records one under the other, for terminals too narrow for a table; and the wrapping of
//! words that the text reports share.

use slotwise_core::evidence::PairVoltage;
use slotwise_core::verdict::Outcome;

use anstyle::{AnsiColor, Color, Style};

use super::numbers::volts;
use super::table::{finding_line, lamp_letters, next_line, with_chain};
use super::{Item, Report, TestView, watch};
use crate::texts::{Language, codes};

/// Width of the number and the space after it.
const INDENT: usize = 5;

/// The list.
pub(super) fn render(report: &Report, width: usize) -> String {
    let mut text = String::new();
    for item in &report.items {
        entry(report.language, &mut text, item, width);
    }
    text
}

fn entry(language: &dyn Language, text: &mut String, item: &Item, width: usize) {
    let number = format!("{:>3}  ", item.number.get());
    let indent = " ".repeat(INDENT);
    let place = item.place.as_ref().map_or("", |place| place.name.as_str());
    match (&item.record, item.test()) {
        (_, Some(test)) => {
            let outcome = test.verdict.outcome;
            let style = style(outcome);
            let word = format!("{} {}", codes::sign(outcome), language.outcome(outcome));
            text.push_str(&format!("{number}{style}{word}{style:#}"));
            let used = INDENT + word.chars().count() + 2 + place.chars().count();
            if place.is_empty() {
                text.push('\n');
            } else if used <= width {
                text.push_str(&format!("  {place}\n"));
            } else {
                text.push('\n');
                wrap(text, &indent, place, width);
            }
            wrap(text, &indent, &finding_line(language, item, &test), width);
            wrap(text, &indent, &measured_line(language, &test), width);
            wrap(
                text,
                &indent,
                &format!("{}: {}", language.labels().next, next_line(language, &test)),
                width,
            );
        }
        (Ok(record), None) => {
            let what = watch::what(language, &record.body);
            wrap(text, &number, &with_chain(language, &what, item), width);
        }
        (Err(why), None) => {
            let line = format!("{}: {why}", language.labels().not_readable);
            wrap(text, &number, &with_chain(language, &line, item), width);
        }
    }
}

fn measured_line(language: &dyn Language, test: &TestView<'_>) -> String {
    let labels = language.labels();
    let values = match &test.evidence.slots {
        Ok(slots) => {
            let value = |(pair, symbol): (&PairVoltage, &str)| {
                format!("{symbol} {} V", volts(pair.true_rms))
            };
            let values: Vec<String> = slots.pairs.iter().zip(labels.symbols).map(value).collect();
            values.join(", ")
        }
        Err(reason) => language.missing(*reason).to_owned(),
    };
    format!(
        "{values}; {} {}; {} {}",
        labels.clip.to_lowercase(),
        language.clip_short(test.evidence.clip_target),
        labels.lamps_short.to_lowercase(),
        lamp_letters(test)
    )
}

fn style(outcome: Outcome) -> Style {
    let colour = |colour: AnsiColor| Style::new().bold().fg_color(Some(Color::Ansi(colour)));
    match outcome {
        Outcome::Proven => colour(AnsiColor::Green),
        Outcome::NoFaultFound => Style::new().bold(),
        Outcome::Fault => colour(AnsiColor::Red),
        Outcome::Danger => colour(AnsiColor::White).bg_color(Some(Color::Ansi(AnsiColor::Red))),
        Outcome::CannotTell | Outcome::TesterFault => colour(AnsiColor::Yellow),
    }
}

/// Appends `lead` and `words`, wrapped at `width`. Further lines are indented like the words
/// after a short lead, and a little after one that is a label.
pub(super) fn wrap(text: &mut String, lead: &str, words: &str, width: usize) {
    let lead_width = lead.chars().count();
    let spaces = lead_width - lead.trim_start().chars().count();
    let indent = if lead_width > width / 2 || lead.contains(": ") {
        spaces + 2
    } else {
        lead_width
    };
    let mut used = lead_width;
    let mut is_first = true;
    text.push_str(lead);
    for word in words.split_whitespace() {
        let length = word.chars().count();
        if !is_first {
            if used + 1 + length > width {
                text.push('\n');
                text.push_str(&" ".repeat(indent));
                used = indent;
            } else {
                text.push(' ');
                used += 1;
            }
        }
        text.push_str(word);
        used += length;
        is_first = false;
    }
    text.push('\n');
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_are_wrapped_and_indented_like_the_first_line() {
        let mut text = String::new();
        wrap(&mut text, "  - ", "one two three four", 12);
        assert_eq!(text, "  - one two\n    three\n    four\n");
        text.clear();
        wrap(&mut text, "Made: ", "a b c d e f", 10);
        assert_eq!(text, "Made: a b\n  c d e f\n");
        text.clear();
        wrap(&mut text, "", "averyveryverylongword", 5);
        assert_eq!(text, "averyveryverylongword\n");
    }
}
