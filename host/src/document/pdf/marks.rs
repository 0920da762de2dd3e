//! What stands on the sheets: words, boxes and drawings with their places and colours, and the
//! structure that they belong to. Nothing here decides a place.

use super::faces::Weight;
use crate::document::{Level, Tone};

/// A colour.
pub(super) type Colour = [u8; 3];

pub(super) const INK: Colour = [20, 22, 26];
pub(super) const SOFT: Colour = [85, 90, 98];
pub(super) const RULE: Colour = [190, 194, 200];
const GOOD: Colour = [20, 83, 45];
const WARN: Colour = [122, 82, 0];
const BAD: Colour = [143, 17, 21];

/// The colour of a tone.
pub(super) const fn colour(tone: Tone) -> Colour {
    match tone {
        Tone::Calm => SOFT,
        Tone::Good => GOOD,
        Tone::Caution => WARN,
        Tone::Wrong | Tone::Danger => BAD,
    }
}

/// What a mark belongs to in the structure.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Role {
    Title(String),
    Heading(Level, String),
    Paragraph,
    List,
    Entry,
    Table,
    Caption,
    Row,
    NameCell,
    HeadCell,
    Cell,
    Figure(String),
}

/// A node of the structure.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Node {
    pub(super) role: Role,
    pub(super) parent: Option<usize>,
}

/// Something to draw. `node` is `None` for what only decorates.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Mark {
    pub(super) node: Option<usize>,
    pub(super) shape: Shape,
}

/// Its shape.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Shape {
    Text {
        x: f32,
        /// Of the base line.
        y: f32,
        size: f32,
        weight: Weight,
        colour: Colour,
        text: String,
    },
    Box {
        x: f32,
        y: f32,
        width: f32,
        height: f32,
        colour: Colour,
    },
    Drawing {
        x: f32,
        y: f32,
        width: f32,
        svg: String,
    },
}

/// All sheets.
#[derive(Debug, Default)]
pub(super) struct Paper {
    pub(super) sheets: Vec<Vec<Mark>>,
    pub(super) nodes: Vec<Node>,
}
