//! The confusion table of a Monte Carlo run, for people and for programs.

use comfy_table::presets::UTF8_FULL_CONDENSED;
use comfy_table::{Cell, CellAlignment, ContentArrangement, Table};
use serde_json::{Value, json};

use crate::bench::trials::{ClassCount, Confusion, OUTCOMES, Settings};
use crate::error::Error;
use crate::texts::{Language, codes};

/// Sets of means, in the order of the counts.
const MEANS: [&str; 3] = ["slots", "slots and probe", "all means"];

/// The table, the claims with their limits, and how fast it went.
#[must_use]
pub fn render(
    confusion: &Confusion,
    settings: Settings,
    seconds: f64,
    language: &dyn Language,
    width: u16,
) -> String {
    let mut table = Table::new();
    table
        .load_style(UTF8_FULL_CONDENSED)
        .set_content_arrangement(ContentArrangement::Dynamic)
        .set_width(width);
    let mut head = vec!["Wiring, or tester fault".to_owned(), "Means".to_owned()];
    head.extend(OUTCOMES.map(|outcome| language.outcome(outcome).to_owned()));
    table.set_header(head);
    for class in &confusion.classes {
        for (means, row) in MEANS.iter().zip(class.outcomes) {
            let name = if *means == MEANS[0] { class.name } else { "" };
            let mut cells = vec![Cell::new(name), Cell::new(means)];
            cells.extend(row.map(|count| {
                let text = if count == 0 {
                    "\u{b7}".to_owned()
                } else {
                    count.to_string()
                };
                Cell::new(text).set_alignment(CellAlignment::Right)
            }));
            table.add_row(cells);
        }
    }
    let mut text = format!("{table}\n");
    for claim in confusion.claims() {
        let sign = if claim.holds() { "holds" } else { "FAILS" };
        text.push_str(&format!(
            "{sign}: {}: {} against it in {} draws, rate below {:.1e} (95 %)\n",
            claim.text,
            claim.failures,
            claim.draws,
            claim.limit()
        ));
    }
    let draws: u64 = confusion.classes.iter().map(|class| class.draws).sum();
    text.push_str(&format!(
        "{draws} draws, seed {}, {:.0} a second on {} cores. Houses, testers and noise are drawn \
         from invented priors: a model, not a measurement.\n",
        settings.seed,
        draws as f64 / seconds,
        rayon::current_num_threads()
    ));
    text
}

/// The run as JSON: `"format": "slotwise-trials", "version": 1`.
///
/// # Errors
/// [`Error::Json`] in the program's own making of it.
pub fn document(confusion: &Confusion, settings: Settings, seconds: f64) -> Result<String, Error> {
    let claims: Vec<Value> = confusion
        .claims()
        .iter()
        .map(|claim| {
            json!({
                "claim": claim.text,
                "holds": claim.holds(),
                "failures": claim.failures,
                "draws": claim.draws,
                "upper_limit_95": claim.limit(),
            })
        })
        .collect();
    let classes: Vec<Value> = confusion.classes.iter().map(class).collect();
    let document = json!({
        "format": "slotwise-trials",
        "version": 1,
        "trials": settings.trials,
        "seed": settings.seed,
        "seconds": seconds,
        "claims": claims,
        "classes": classes,
    });
    let mut text = serde_json::to_string_pretty(&document).map_err(Error::Json)?;
    text.push('\n');
    Ok(text)
}

fn class(class: &ClassCount) -> Value {
    let by_means: Vec<Value> = MEANS
        .iter()
        .zip(class.outcomes)
        .map(|(means, row)| {
            let counts: serde_json::Map<String, Value> = OUTCOMES
                .iter()
                .zip(row)
                .map(|(outcome, count)| (codes::outcome(*outcome).to_owned(), count.into()))
                .collect();
            json!({ "means": means, "verdicts": counts })
        })
        .collect();
    json!({
        "name": class.name,
        "tester_fault": class.is_tester_fault,
        "draws": class.draws,
        "energised": class.energised,
        "energised_proven": class.energised_proven,
        "energised_good": class.energised_good,
        "by_means": by_means,
    })
}
