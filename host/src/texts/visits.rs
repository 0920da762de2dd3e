//! Words of visits and notes.

/// The words of what a reading or an answer means.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct NoteText {
    /// In a few words.
    pub title: &'static str,
    /// What it means, and what to do.
    pub meaning: &'static str,
}

/// The words around visits and notes in one language.
#[derive(Clone, Copy, Debug)]
pub struct VisitTexts {
    /// Said where a test was not placed.
    pub no_place: &'static str,
    /// Said where the tester had no time.
    pub no_clock: &'static str,
    /// Column: where.
    pub place: &'static str,
    /// Column: when.
    pub when: &'static str,
    /// Column: which tester.
    pub tester: &'static str,
    /// Column: which records.
    pub records: &'static str,
    /// Column: how many tests.
    pub tests: &'static str,
    /// Column: the gravest answer.
    pub answer: &'static str,
    /// Column: its finding.
    pub finding: &'static str,
    /// Before a note.
    pub note: &'static str,
    /// Before the photos of a note.
    pub photos: &'static str,
    /// Said of readings of a hand meter.
    pub as_shown: &'static str,
    /// Said where an answer explains a test; the record, what it read as, what was seen follow.
    pub explains: &'static str,
    /// Weights: fine, look, wrong.
    pub weights: [&'static str; 3],
    /// Nothing to list.
    pub none: &'static str,
}
