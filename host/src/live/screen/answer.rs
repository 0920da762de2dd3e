//! The answer in words, and the banner of a danger.

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;
use slotwise_core::link::Answer;
use slotwise_core::verdict::Outcome;

use super::paint::Paint;
use super::write;
use super::{Scene, rule_over};
use crate::texts::Severity;

/// Draws rule, answer and next check.
pub(super) fn draw(buffer: &mut Buffer, area: Rect, scene: &Scene<'_>) {
    let texts = scene.language.live();
    let old = scene.old();
    match old {
        Some(age) => write::rule(buffer, area, &(texts.old_answer)(age), Paint::alarm()),
        None => rule_over(buffer, area, texts.answer),
    }
    if let Some(notice) = scene.live.notice(scene.now) {
        let text = format!(" {} ", (texts.notice)(notice));
        // A notice is not worth the age of an answer.
        let left = match old {
            Some(age) => write::columns(&(texts.old_answer)(age)),
            None => write::columns(texts.answer),
        };
        write::right(buffer, area, 0, area.x + left + 4, &text, Paint::strong());
    }
    let Some(look) = scene.live.look() else {
        return;
    };
    let room = usize::from(area.height.saturating_sub(1));
    let lines = match &look.answer {
        Some(answer) => lines_of(scene, answer, area.width, room),
        None => write::wrap((texts.no_answer)(look.phase), area.width),
    };
    for (row, line) in (1_u16..).zip(lines.iter().take(room)) {
        let style = match (old, row) {
            (Some(_), _) => Paint::faint(),
            (None, 1) if look.answer.is_some() => Paint::strong(),
            (None, _) => Style::new(),
        };
        write::at(buffer, area, row, line, style);
    }
}

/// Outcome and finding in one line.
fn head(scene: &Scene<'_>, answer: &Answer) -> String {
    let outcome = scene.language.outcome(answer.outcome);
    let Some(finding) = &answer.finding else {
        return outcome.to_owned();
    };
    let title = scene.language.finding(finding.code).title;
    // A title that begins with the outcome's own words does not say them twice.
    let rest = title
        .get(..outcome.len())
        .filter(|begin| begin.to_uppercase() == outcome)
        .and_then(|begin| title.strip_prefix(begin))
        .and_then(|rest| rest.strip_prefix(": "))
        .unwrap_or(title);
    format!("{outcome}: {rest} ({})", finding.code.number())
}

/// The next check: in full where it fits `room` lines, else in a few words.
fn next(scene: &Scene<'_>, answer: &Answer, width: u16, room: usize) -> Vec<String> {
    let Some(finding) = &answer.finding else {
        return Vec::new();
    };
    let check = scene.language.check(finding.next, finding.code);
    let label = scene.language.labels().next;
    let place = check.end.map_or(String::new(), |end| {
        format!(", {}", scene.language.end(end))
    });
    let long = write::wrap(&format!("{label}{place}: {}", check.what), width);
    if long.len() <= room {
        return long;
    }
    write::wrap(&format!("{label}{place}: {}", check.short), width)
}

fn lines_of(scene: &Scene<'_>, answer: &Answer, width: u16, room: usize) -> Vec<String> {
    let mut lines = write::wrap(&head(scene, answer), width);
    let second = match answer.outcome {
        Outcome::Proven | Outcome::NoFaultFound => {
            scene.language.unproven_short(answer.unproven).map(capital)
        }
        Outcome::CannotTell | Outcome::TesterFault => {
            Some(scene.language.outcome_meaning(answer.outcome).to_owned())
        }
        Outcome::Fault | Outcome::Danger => answer
            .finding
            .as_ref()
            .map(|finding| scene.language.severity(Severity::of(finding)).to_owned()),
    };
    lines.extend(write::wrap(&second.unwrap_or_default(), width));
    let next = next(scene, answer, width, room.saturating_sub(lines.len()));
    // What comes next is never pushed out.
    lines.truncate(room.saturating_sub(next.len()));
    lines.extend(next);
    if let Some(finding) = &answer.finding {
        let words = scene.language.finding(finding.code);
        // "Reads sound" alone says less than what may be said of it.
        let meaning = match answer.outcome {
            Outcome::Proven | Outcome::NoFaultFound => {
                scene.language.outcome_meaning(answer.outcome)
            }
            _ => words.meaning,
        };
        for more in [Some(meaning), words.danger, Some(words.appliance)] {
            let more = write::wrap(more.unwrap_or_default(), width);
            if !more.is_empty() && lines.len() + more.len() <= room {
                lines.extend(more);
            }
        }
    }
    lines
}

/// Draws the banner of a danger: it covers the top of the screen.
pub(super) fn draw_danger(buffer: &mut Buffer, area: Rect, scene: &Scene<'_>) {
    let texts = scene.language.live();
    let width = usize::from(area.width);
    let banner = format!("{:^width$}", texts.danger);
    write::at(buffer, area, 0, &banner, scene.paint.danger());
    let room = usize::from(area.height.saturating_sub(1));
    let mut lines = Vec::new();
    if let Some(answer) = scene.live.look().and_then(|look| look.answer) {
        lines.extend(write::wrap(&head(scene, &answer), area.width));
        let danger = answer
            .finding
            .and_then(|finding| scene.language.finding(finding.code).danger);
        lines.extend(write::wrap(danger.unwrap_or_default(), area.width));
        let next = next(scene, &answer, area.width, room.saturating_sub(lines.len()));
        lines.truncate(room.saturating_sub(next.len()));
        lines.extend(next);
    }
    let caution = write::wrap(scene.language.cautions().first, area.width);
    if lines.len() + caution.len() <= room {
        lines.extend(caution);
    }
    for (row, line) in (1_u16..).zip(lines.iter().take(room)) {
        let style = if row == 1 {
            Paint::strong()
        } else {
            Style::new()
        };
        write::at(buffer, area, row, line, style);
    }
}

fn capital(text: String) -> String {
    let mut letters = text.chars();
    match letters.next() {
        Some(first) => first.to_uppercase().chain(letters).collect(),
        None => text,
    }
}
