//! Where everything stands on the sheets.
//!
//! Lengths are in points (1/72 inch), from the top left corner. Nothing here knows of PDF: the
//! outcome is a list of marks a sheet and the structure that they belong to.

mod tables;

use super::faces::{Faces, Weight};
use super::lines::{Piece, broken};
use super::marks::{Colour, INK, Mark, Node, Paper, RULE, Role, SOFT, Shape, colour};
use crate::document::{Block, Document, Figure, Level, Tone};

/// Letter paper and its margins.
pub(super) const WIDTH: f32 = 612.0;
pub(super) const HEIGHT: f32 = 792.0;
const MARGIN: f32 = 54.0;
const BOTTOM: f32 = HEIGHT - 62.0;
const FOOT: f32 = HEIGHT - 36.0;

/// Sizes of letters.
const BODY: f32 = 9.5;
const SMALL: f32 = 8.5;
const LINE: f32 = 1.38;

/// Lays the document out.
pub(super) fn lay_out(document: &Document, faces: &Faces) -> Paper {
    let mut layout = Layout {
        faces,
        paper: Paper {
            sheets: vec![Vec::new()],
            nodes: Vec::new(),
        },
        y: MARGIN,
    };
    let title = layout.node(Role::Title(document.title.clone()), None);
    layout.words(
        title,
        "",
        &document.title,
        Style::of(17.0, INK).bold(),
        MARGIN,
        full(),
    );
    layout.y += 4.0;
    for (place, block) in document.blocks.iter().enumerate() {
        // A heading stands on the sheet of what it is over, a drawing above all.
        if matches!(block, Block::Heading(..)) {
            let under = document.blocks.iter().skip(place + 1).take(2);
            layout.room(50.0 + under.map(least).sum::<f32>());
        }
        layout.block(block);
    }
    layout.feet(&document.foot);
    layout.paper
}

const fn full() -> f32 {
    WIDTH - 2.0 * MARGIN
}

/// How words look.
#[derive(Clone, Copy)]
struct Style {
    size: f32,
    colour: Colour,
    bold: bool,
}

impl Style {
    const fn of(size: f32, colour: Colour) -> Self {
        Self {
            size,
            colour,
            bold: false,
        }
    }

    const fn bold(self) -> Self {
        Self { bold: true, ..self }
    }

    fn line(self) -> f32 {
        self.size * LINE
    }
}

struct Layout<'f> {
    faces: &'f Faces,
    paper: Paper,
    y: f32,
}

impl Layout<'_> {
    fn block(&mut self, block: &Block) {
        match block {
            Block::Heading(level, text) => self.heading(*level, text),
            Block::Paragraph { lead, text } => {
                let node = self.node(Role::Paragraph, None);
                self.words(node, lead, text, Style::of(BODY, INK), MARGIN, full());
                self.y += 3.0;
            }
            Block::Callout { tone, lead, text } => self.callout(*tone, lead, text),
            Block::Answer { tone, text } => self.answer(*tone, text),
            Block::List(entries) => self.list(entries),
            Block::Table(table) => self.table(table),
            Block::Figure(figure) => self.figure(figure),
            Block::NewSheet => {
                if self.y > MARGIN {
                    self.turn();
                }
            }
        }
    }

    fn heading(&mut self, level: Level, text: &str) {
        let (size, above) = match level {
            Level::Section => (13.0, 12.0),
            Level::Part => (10.5, 7.0),
        };
        let style = Style::of(size, INK).bold();
        if self.y > MARGIN {
            self.y += above;
        }
        if level == Level::Section && self.y > MARGIN {
            self.decorate(MARGIN, self.y - 5.0, full(), 0.8, RULE);
        }
        let node = self.node(Role::Heading(level, text.to_owned()), None);
        self.words(node, "", text, style, MARGIN, full());
        self.y += 2.0;
    }

    fn callout(&mut self, tone: Tone, lead: &str, text: &str) {
        let style = Style::of(BODY, INK);
        let lines = broken(self.faces, lead, text, BODY, full() - 12.0);
        let height = lines.len() as f32 * style.line() + 6.0;
        self.room(height.min(200.0));
        self.decorate(MARGIN, self.y, 3.5, height, colour(tone));
        self.y += 3.0;
        let node = self.node(Role::Paragraph, None);
        self.put(node, &lines, style, MARGIN + 12.0);
        self.y += 7.0;
    }

    fn answer(&mut self, tone: Tone, text: &str) {
        let size = 16.0;
        let text = self.faces.printable(text);
        let wide = self.faces.width(&text, size, Weight::Bold) + 24.0;
        self.room(34.0);
        let node = self.node(Role::Paragraph, None);
        let shade = colour(tone);
        self.decorate(MARGIN, self.y, wide, 28.0, shade);
        if tone != Tone::Danger {
            self.decorate(MARGIN + 2.0, self.y + 2.0, wide - 4.0, 24.0, [255; 3]);
        }
        let ink = if tone == Tone::Danger {
            [255; 3]
        } else {
            shade
        };
        let y = self.y + 20.0;
        self.mark(
            Some(node),
            Shape::Text {
                x: MARGIN + 12.0,
                y,
                size,
                weight: Weight::Bold,
                colour: ink,
                text,
            },
        );
        self.y += 34.0;
    }

    fn list(&mut self, entries: &[String]) {
        let style = Style::of(BODY, INK);
        let list = self.node(Role::List, None);
        for entry in entries {
            self.room(style.line());
            let y = self.y + BODY * 0.72;
            self.decorate(MARGIN + 3.0, y - 1.0, 2.6, 2.6, INK);
            let node = self.node(Role::Entry, Some(list));
            self.words(node, "", entry, style, MARGIN + 12.0, full() - 12.0);
            self.y += 1.5;
        }
        self.y += 2.0;
    }

    fn figure(&mut self, figure: &Figure) {
        let width = full() * figure.share;
        let height = width * aspect(&figure.svg);
        let style = Style::of(SMALL, SOFT);
        let below = broken(self.faces, "", &figure.caption, SMALL, full());
        let keys = if figure.keys.is_empty() {
            0.0
        } else {
            style.line() + 2.0
        };
        self.room(height + keys + below.len() as f32 * style.line() + 6.0);
        let node = self.node(Role::Figure(figure.described.clone()), None);
        let (x, y) = (MARGIN, self.y);
        self.mark(
            Some(node),
            Shape::Drawing {
                x,
                y,
                width,
                svg: figure.svg.clone(),
            },
        );
        self.y += height + 2.0;
        let mut x = MARGIN;
        for (class, name) in &figure.keys {
            let name = self.faces.printable(name);
            let wide = self.faces.width(&name, SMALL, Weight::Regular);
            if x > MARGIN && x + 34.0 + wide > MARGIN + full() {
                x = MARGIN;
                self.y += style.line();
            }
            let svg = format!(
                "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 44 10\">\
                 <path class=\"{class}\" d=\"M1 5H43\"/></svg>"
            );
            let y = self.y;
            self.mark(
                None,
                Shape::Drawing {
                    x,
                    y: y + 2.0,
                    width: 30.0,
                    svg,
                },
            );
            let node = self.node(Role::Paragraph, None);
            self.mark(
                Some(node),
                Shape::Text {
                    x: x + 34.0,
                    y: y + SMALL,
                    size: SMALL,
                    weight: Weight::Regular,
                    colour: SOFT,
                    text: name,
                },
            );
            x += 34.0 + wide + 14.0;
        }
        self.y += keys;
        if !figure.caption.is_empty() {
            let node = self.node(Role::Paragraph, None);
            self.put(node, &below, style, MARGIN);
        }
        self.y += 6.0;
    }

    fn words(&mut self, node: usize, lead: &str, text: &str, style: Style, x: f32, width: f32) {
        let (lead, text) = if style.bold { (text, "") } else { (lead, text) };
        let lines = broken(self.faces, lead, text, style.size, width);
        self.put(node, &lines, style, x);
    }

    fn put(&mut self, node: usize, lines: &[Vec<Piece>], style: Style, x: f32) {
        self.put_as(Some(node), lines, style, x);
    }

    fn put_as(&mut self, node: Option<usize>, lines: &[Vec<Piece>], style: Style, x: f32) {
        for line in lines {
            self.room(style.line());
            let y = self.y + style.size * 1.05;
            for piece in line {
                self.mark(
                    node,
                    Shape::Text {
                        x: x + piece.x,
                        y,
                        size: style.size,
                        weight: piece.weight,
                        colour: style.colour,
                        text: piece.text.clone(),
                    },
                );
            }
            self.y += style.line();
        }
    }

    /// Turns the sheet if there is less than this left.
    fn room(&mut self, height: f32) {
        if self.y + height > BOTTOM && self.y > MARGIN {
            self.turn();
        }
    }

    fn turn(&mut self) {
        self.paper.sheets.push(Vec::new());
        self.y = MARGIN;
    }

    fn node(&mut self, role: Role, parent: Option<usize>) -> usize {
        self.paper.nodes.push(Node { role, parent });
        self.paper.nodes.len() - 1
    }

    fn mark(&mut self, node: Option<usize>, shape: Shape) {
        if let Some(sheet) = self.paper.sheets.last_mut() {
            sheet.push(Mark { node, shape });
        }
    }

    fn decorate(&mut self, x: f32, y: f32, width: f32, height: f32, colour: Colour) {
        self.mark(
            None,
            Shape::Box {
                x,
                y,
                width,
                height,
                colour,
            },
        );
    }

    fn feet(&mut self, foot: &str) {
        let count = self.paper.sheets.len();
        let foot = self.faces.printable(foot);
        for (number, sheet) in (1..).zip(&mut self.paper.sheets) {
            let page = format!("{number} / {count}");
            let wide = self.faces.width(&page, SMALL - 1.0, Weight::Regular);
            for (x, text) in [(MARGIN, foot.clone()), (WIDTH - MARGIN - wide, page)] {
                sheet.push(Mark {
                    node: None,
                    shape: Shape::Text {
                        x,
                        y: FOOT,
                        size: SMALL - 1.0,
                        weight: Weight::Regular,
                        colour: SOFT,
                        text,
                    },
                });
            }
        }
    }
}

/// Least height that a block takes before it can be broken.
fn least(block: &Block) -> f32 {
    match block {
        Block::Figure(figure) => full() * figure.share * aspect(&figure.svg),
        Block::Table(_) => 50.0,
        Block::Heading(..) | Block::NewSheet => 0.0,
        Block::Paragraph { .. } | Block::Callout { .. } | Block::List(_) => 28.0,
        Block::Answer { .. } => 34.0,
    }
}

/// Height over width of a drawing, from its `viewBox`.
fn aspect(svg: &str) -> f32 {
    let mut sides = svg
        .split_once("viewBox=\"")
        .and_then(|(_, rest)| rest.split_once('"'))
        .into_iter()
        .flat_map(|(sides, _)| sides.split_whitespace())
        .filter_map(|side| side.parse::<f32>().ok())
        .skip(2);
    match (sides.next(), sides.next()) {
        (Some(width), Some(height)) if width > 0.0 => height / width,
        _ => 0.6,
    }
}

#[cfg(test)]
mod tests;
