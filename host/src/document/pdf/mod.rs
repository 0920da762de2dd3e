//! A document as sheets of paper: PDF, tagged for readers that speak it aloud (PDF/UA-1).
//!
//! Two steps. `layout` decides where everything stands, sheet by sheet, and knows nothing of
//! PDF; `press` draws that and hands the structure (headings, lists, tables, figures with their
//! descriptions) to the file. Letter paper; the same document gives the same bytes.
//!
//! Limits: letters that the two built-in fonts lack (anything but Latin, Greek and Cyrillic) are
//! shown as an empty box; a table's row is never broken across sheets.

mod faces;
mod layout;
mod lines;
mod marks;
mod press;

use super::Document;

pub use press::PdfError;

/// The sheets as a PDF file.
///
/// # Errors
/// [`PdfError`]; it would be a fault of this program.
pub fn sheets(document: &Document) -> Result<Vec<u8>, PdfError> {
    let faces = faces::Faces::built_in().ok_or(PdfError::Fonts)?;
    let paper = layout::lay_out(document, &faces);
    press::print(document, &paper, &faces)
}
