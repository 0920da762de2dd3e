//! Where every number is from: the records of the visit, their digests and their chain.

use std::fmt::Write as _;

use slotwise_core::record::Body;

use super::VisitReport;
use crate::document::{Block, Level, Table};
use crate::report::numbers::when;
use crate::report::watch::what;

/// The section.
pub(super) fn section(blocks: &mut Vec<Block>, report: &VisitReport<'_>) {
    let language = report.language;
    let texts = language.visit_report();
    blocks.push(Block::Heading(Level::Section, texts.trace.to_owned()));
    let rows = report
        .dossier
        .records
        .iter()
        .map(|kept| {
            let (made, what) = match &kept.record {
                Ok(record) => (
                    when(language, record),
                    match &record.body {
                        Body::Test(_) => texts.trace_test.to_owned(),
                        body => what(language, body),
                    },
                ),
                Err(why) => (String::new(), why.to_string()),
            };
            let digest = kept.sha256.iter().fold(String::new(), |mut hex, byte| {
                // Writing to a String cannot fail.
                let _ = write!(hex, "{byte:02x}");
                hex
            });
            vec![
                kept.number.get().to_string(),
                made,
                what,
                digest,
                language.chain(kept.link),
            ]
        })
        .collect();
    blocks.push(Block::Table(Table {
        caption: String::new(),
        head: texts.trace_head.map(str::to_owned).to_vec(),
        shares: vec![0.08, 0.2, 0.19, 0.36, 0.17],
        rows,
    }));
    blocks.push(Block::Paragraph {
        lead: String::new(),
        text: texts.trace_caption.to_owned(),
    });
}
