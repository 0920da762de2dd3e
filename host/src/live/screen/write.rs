//! Lines of text in a buffer: cut at the edge, or wrapped between words.

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;

use super::paint::Paint;

/// Writes `text` at the left of row `row` of `area`; gives the column after it.
pub(super) fn at(buffer: &mut Buffer, area: Rect, row: u16, text: &str, style: Style) -> u16 {
    after(buffer, area, row, area.x, text, style)
}

/// Writes `text` from column `x` on.
pub(super) fn after(
    buffer: &mut Buffer,
    area: Rect,
    row: u16,
    x: u16,
    text: &str,
    style: Style,
) -> u16 {
    if row >= area.height || x >= area.right() {
        return x;
    }
    let width = (area.right() - x).min(columns(text));
    let cells = Rect {
        x,
        y: area.y + row,
        width,
        height: 1,
    };
    // A style is added to what is there; what was written here before must not shine through.
    buffer.set_style(cells, Style::reset());
    buffer
        .set_stringn(x, area.y + row, text, usize::from(width), style)
        .0
}

/// Writes `text` at the right end of a row, if it fits there beside what ends at `left`.
pub(super) fn right(
    buffer: &mut Buffer,
    area: Rect,
    row: u16,
    left: u16,
    text: &str,
    style: Style,
) -> bool {
    let width = columns(text);
    let Some(x) = area.right().checked_sub(width).filter(|x| *x >= left) else {
        return false;
    };
    after(buffer, area, row, x, text, style);
    true
}

/// A rule over a section, with its title.
pub(super) fn rule(buffer: &mut Buffer, area: Rect, title: &str, style: Style) {
    let line = "─".repeat(usize::from(area.width));
    at(buffer, area, 0, &line, Paint::faint());
    let x = after(buffer, area, 0, area.x + 1, " ", Style::new());
    let x = after(buffer, area, 0, x, title, style);
    after(buffer, area, 0, x, " ", Style::new());
}

/// Columns that a text takes. The texts of this program are one column a character.
pub(super) fn columns(text: &str) -> u16 {
    u16::try_from(text.chars().count()).unwrap_or(u16::MAX)
}

/// `text` in lines of at most `width` columns, broken between words. A word longer than a line
/// has one of its own and is cut.
pub(super) fn wrap(text: &str, width: u16) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        match lines.last_mut() {
            Some(line) if columns(line).saturating_add(1 + columns(word)) <= width => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(word.to_owned()),
        }
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_stay_whole_and_lines_short() {
        assert_eq!(wrap("a bb ccc dd", 6), ["a bb", "ccc dd"]);
        assert_eq!(wrap("", 6), Vec::<String>::new());
        assert_eq!(wrap("12345678 9", 6), ["12345678", "9"]);
    }
}
