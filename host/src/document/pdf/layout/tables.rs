//! Tables: rows whole on a sheet, and the names of the columns again on every further sheet.

use super::{BODY, BOTTOM, Layout, MARGIN, SMALL, Style, full};
use crate::document::Table;
use crate::document::pdf::lines::broken;
use crate::document::pdf::marks::{INK, RULE, Role, SOFT};

impl Layout<'_> {
    pub(super) fn table(&mut self, table: &Table) {
        let node = self.node(Role::Table, None);
        self.room(50.0);
        if !table.caption.is_empty() {
            let caption = self.node(Role::Caption, Some(node));
            let style = Style::of(BODY, INK).bold();
            self.words(caption, "", &table.caption, style, MARGIN, full());
            self.y += 1.0;
        }
        if !table.head.is_empty() {
            self.row(node, table, &table.head, true);
        }
        for row in &table.rows {
            self.row(node, table, row, false);
        }
        self.y += 6.0;
    }

    fn row(&mut self, table_node: usize, table: &Table, cells: &[String], is_head: bool) {
        let total: f32 = table.shares.iter().sum::<f32>().max(0.01);
        let style = Style::of(SMALL, INK);
        let mut broken_cells = Vec::new();
        let mut x = MARGIN;
        for (cell, share) in cells.iter().zip(&table.shares) {
            let width = full() * share / total;
            let (lead, text) = if is_head {
                (cell.as_str(), "")
            } else {
                ("", cell.as_str())
            };
            broken_cells.push((x, broken(self.faces, lead, text, SMALL, width - 8.0)));
            x += width;
        }
        let lines = broken_cells
            .iter()
            .map(|(_, lines)| lines.len())
            .max()
            .unwrap_or(1);
        let height = lines as f32 * style.line() + 3.5;
        if self.y + height > BOTTOM {
            self.turn();
            if !is_head && !table.head.is_empty() {
                // The names of the columns again; only the first count as such.
                self.repeated_head(table);
            }
        }
        self.decorate(MARGIN, self.y, full(), 0.5, RULE);
        let row = self.node(Role::Row, Some(table_node));
        let top = self.y + 1.5;
        for (column, (x, lines)) in broken_cells.iter().enumerate() {
            let role = match (is_head, column == 0 && table.head.is_empty()) {
                (true, _) => Role::HeadCell,
                (false, true) => Role::NameCell,
                (false, false) => Role::Cell,
            };
            let style = if role == Role::NameCell || is_head {
                Style::of(SMALL, SOFT)
            } else {
                style
            };
            let cell = self.node(role, Some(row));
            self.y = top;
            self.put(cell, lines, style, *x);
        }
        self.y = top + height - 1.5;
    }

    fn repeated_head(&mut self, table: &Table) {
        let total: f32 = table.shares.iter().sum::<f32>().max(0.01);
        let mut x = MARGIN;
        let mut lowest = self.y;
        let top = self.y;
        for (name, share) in table.head.iter().zip(&table.shares) {
            let width = full() * share / total;
            let lines = broken(self.faces, name, "", SMALL, width - 8.0);
            self.y = top;
            self.put_as(None, &lines, Style::of(SMALL, SOFT), x);
            lowest = lowest.max(self.y);
            x += width;
        }
        self.y = lowest + 3.0;
    }
}
