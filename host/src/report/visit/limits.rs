//! The limits that the report's verdicts rest on. The numbers are the core's.

use super::VisitReport;
use crate::document::{Block, Table};

/// The table.
pub(super) fn table(report: &VisitReport<'_>) -> Block {
    let texts = report.language.visit_report();
    let limits = report.limits();
    let band = limits.supply;
    let shown = [
        format!(
            "{:.0} to {:.0} V; never below {:.0} or above {:.0} V",
            band.low.get(),
            band.high.get(),
            band.lowest.get(),
            band.highest.get()
        ),
        format!("{:.1} ohm", limits.earth_path_sound.get()),
        format!(
            "{:.2}, {:.2}",
            limits.rho_joined.get(),
            limits.rho_separate.get()
        ),
        format!("{:.1} V", limits.watch.clip_highest.get()),
        format!("{:.2} V", limits.watch.shift_moves.get()),
        format!("{:.0} ohm", limits.drive.neutral_to_burner.get()),
        format!("{:.0} ohm", limits.limiters.path_most.get()),
        format!("{:.0} V", limits.touchable.get()),
    ];
    let rows = texts
        .limit_rows
        .iter()
        .zip(shown)
        .enumerate()
        .map(|(row, ((name, source), limit))| {
            let source = if row == 0 {
                format!("{} ({})", band.source, band.edition)
            } else {
                (*source).to_owned()
            };
            vec![(*name).to_owned(), limit, source]
        })
        .collect();
    Block::Table(Table {
        caption: texts.limits.to_owned(),
        head: texts.limits_head.map(str::to_owned).to_vec(),
        shares: vec![0.3, 0.22, 0.48],
        rows,
    })
}
