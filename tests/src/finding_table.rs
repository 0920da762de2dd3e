//! The table of finding numbers in README, made from the codes and texts of the program.

use core::fmt::Write as _;

use slotwise::texts::{English, Language as _};
use slotwise_core::finding::FindingCode;

/// Rows in the order of their numbers.
#[must_use]
pub fn rows() -> String {
    let mut codes = FindingCode::ALL;
    codes.sort_by_key(|code| code.number());
    let mut out = String::new();
    for code in codes {
        // Writing to a string cannot fail.
        let _ = writeln!(
            out,
            "| {} | {} |",
            code.number(),
            English.finding(code).title
        );
    }
    out
}
