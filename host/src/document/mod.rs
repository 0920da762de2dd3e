//! A document: what is said, apart from how it is shown.
//!
//! A report is put together once as [`Block`]s; [`html`] makes a self-contained page of them and
//! [`pdf`] sheets of paper. Neither adds or leaves out a word, so the two cannot differ in what
//! they say. Figures are SVG drawings that carry class names for their lines; each of the two
//! brings its own style sheet for these.

pub mod html;
pub mod pdf;

/// A document.
#[derive(Clone, Debug, PartialEq)]
pub struct Document {
    /// Its title.
    pub title: String,
    /// Language tag (BCP 47).
    pub language: &'static str,
    /// Said at the foot of every sheet of paper.
    pub foot: String,
    /// What it says, top to bottom.
    pub blocks: Vec<Block>,
}

/// One piece.
#[derive(Clone, Debug, PartialEq)]
pub enum Block {
    /// A heading below the title.
    Heading(Level, String),
    /// A paragraph, with the words that it begins with in bold.
    Paragraph {
        /// In bold, may be empty.
        lead: String,
        /// The words.
        text: String,
    },
    /// A paragraph that must be seen.
    Callout {
        /// How urgent.
        tone: Tone,
        /// In bold, may be empty.
        lead: String,
        /// The words.
        text: String,
    },
    /// The answer, large.
    Answer {
        /// How urgent.
        tone: Tone,
        /// In one or two words.
        text: String,
    },
    /// A list.
    List(Vec<String>),
    /// A table.
    Table(Table),
    /// A drawing.
    Figure(Figure),
    /// What follows starts on a new sheet of paper.
    NewSheet,
}

/// Rank of a heading.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Level {
    /// A section.
    Section,
    /// A part of one.
    Part,
}

/// How urgent.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Tone {
    /// Nothing to do.
    Calm,
    /// Shown to be good.
    Good,
    /// Not told, or to be looked at.
    Caution,
    /// To be put right.
    Wrong,
    /// Can hurt.
    Danger,
}

impl Tone {
    /// Name in the style sheet.
    #[must_use]
    pub const fn class(self) -> &'static str {
        match self {
            Self::Calm => "calm",
            Self::Good => "good",
            Self::Caution => "caution",
            Self::Wrong => "wrong",
            Self::Danger => "danger",
        }
    }
}

/// A table. Without a head its first column names the rows.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Table {
    /// Over it.
    pub caption: String,
    /// Names of the columns, or none.
    pub head: Vec<String>,
    /// Widths of the columns as shares of the page's; the rows have as many cells.
    pub shares: Vec<f32>,
    /// The rows.
    pub rows: Vec<Vec<String>>,
}

impl Table {
    /// Rows of a name and a value.
    #[must_use]
    pub fn of_pairs(caption: &str, rows: Vec<(String, String)>) -> Self {
        Self {
            caption: caption.to_owned(),
            head: Vec::new(),
            shares: vec![0.3, 0.7],
            rows: rows
                .into_iter()
                .map(|(name, value)| vec![name, value])
                .collect(),
        }
    }
}

/// A drawing.
#[derive(Clone, Debug, PartialEq)]
pub struct Figure {
    /// The SVG, with `role`, `title` and `desc` for those who do not see it.
    pub svg: String,
    /// The same description as plain words.
    pub described: String,
    /// Below it.
    pub caption: String,
    /// Its lines: class and name.
    pub keys: Vec<(&'static str, String)>,
    /// Width as a share of the page's.
    pub share: f32,
}

impl Document {
    /// All words of the document in reading order, one block or cell each: what a test compares.
    #[must_use]
    pub fn words(&self) -> Vec<&str> {
        let mut words = vec![self.title.as_str()];
        for block in &self.blocks {
            match block {
                Block::Heading(_, text) | Block::Answer { text, .. } => words.push(text),
                Block::Paragraph { lead, text } | Block::Callout { lead, text, .. } => {
                    words.push(lead);
                    words.push(text);
                }
                Block::List(entries) => words.extend(entries.iter().map(String::as_str)),
                Block::Table(table) => {
                    words.push(&table.caption);
                    words.extend(table.head.iter().map(String::as_str));
                    words.extend(table.rows.iter().flatten().map(String::as_str));
                }
                Block::Figure(figure) => {
                    words.extend(figure.keys.iter().map(|(_, name)| name.as_str()));
                    words.push(&figure.caption);
                }
                Block::NewSheet => {}
            }
        }
        words.retain(|words| !words.is_empty());
        words
    }
}
