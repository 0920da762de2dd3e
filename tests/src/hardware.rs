//! Tables of `hardware/` as the tests read them.

use crate::outside::root;
use std::path::PathBuf;

/// The folder that is tested: `hardware/`, or the copy with a planted fault that
/// `hardware/tools/planted.py` names in `SLOTWISE_HARDWARE`.
#[must_use]
pub fn folder() -> PathBuf {
    std::env::var_os("SLOTWISE_HARDWARE").map_or_else(|| root().join("hardware"), PathBuf::from)
}

/// A table with a header row.
#[derive(Clone, Debug)]
pub struct Table {
    header: Vec<String>,
    /// The rows under it.
    pub rows: Vec<Row>,
}

/// One row of a [`Table`].
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Row(Vec<(String, String)>);

impl Row {
    /// The cell under `column`.
    ///
    /// # Panics
    /// If the table has no such column.
    #[must_use]
    pub fn get(&self, column: &str) -> &str {
        self.0
            .iter()
            .find_map(|(name, cell)| (name == column).then_some(cell.as_str()))
            .unwrap_or_else(|| panic!("no column {column}"))
    }
}

impl Table {
    /// Reads `hardware/<name>`.
    ///
    /// # Panics
    /// If it is not there or a row has more or fewer cells than the header.
    #[must_use]
    pub fn read(name: &str) -> Self {
        Self::parse(&text(name))
    }

    /// Reads comma-separated values: quotes as in RFC 4180, no line breaks within a cell.
    ///
    /// # Panics
    /// If a row has more or fewer cells than the header.
    #[must_use]
    pub fn parse(text: &str) -> Self {
        let mut lines = text.lines().filter(|line| !line.trim().is_empty());
        let header = cells(lines.next().expect("a header row"));
        let rows = lines
            .map(|line| {
                let cells = cells(line);
                assert_eq!(cells.len(), header.len(), "cells of: {line}");
                Row(header.iter().cloned().zip(cells).collect())
            })
            .collect();
        Self { header, rows }
    }

    /// The names of its columns.
    #[must_use]
    pub fn columns(&self) -> &[String] {
        &self.header
    }
}

/// A text of `hardware/`.
///
/// # Panics
/// If it is not there.
#[must_use]
pub fn text(name: &str) -> String {
    let path = folder().join(name);
    std::fs::read_to_string(&path).unwrap_or_else(|error| panic!("{}: {error}", path.display()))
}

fn cells(line: &str) -> Vec<String> {
    let mut cells = vec![String::new()];
    let mut is_quoted = false;
    let mut characters = line.chars().peekable();
    while let Some(character) = characters.next() {
        let cell = cells.last_mut().expect("one cell at least");
        match character {
            '"' if is_quoted && characters.peek() == Some(&'"') => {
                characters.next();
                cell.push('"');
            }
            '"' => is_quoted = !is_quoted,
            ',' if !is_quoted => cells.push(String::new()),
            other => cell.push(other),
        }
    }
    cells
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_quoted_cell_may_hold_commas_and_quotes() {
        let table = Table::parse("a,b\n1,\"two, \"\"three\"\"\"\n");
        assert_eq!(table.rows[0].get("b"), "two, \"three\"");
        assert_eq!(table.columns(), ["a", "b"]);
    }

    #[test]
    #[should_panic(expected = "cells of: 1,2,3")]
    fn a_row_with_a_cell_too_many_is_no_row() {
        let _ = Table::parse("a,b\n1,2,3\n");
    }
}
