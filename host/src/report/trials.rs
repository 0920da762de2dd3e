//! The confusion table of a Monte Carlo run, for people and for programs: on the terminal, as
//! JSON, and as a page of Markdown to keep. The page says nothing of the computer or the clock:
//! the same seed writes the same page.

use std::time::Duration;

use comfy_table::presets::UTF8_FULL_CONDENSED;
use comfy_table::{Cell, CellAlignment, ContentArrangement, Table};
use serde_json::{Value, json};

use crate::bench::trials::{self, ClassCount, Comparison, Confusion, OUTCOMES, Settings};
use crate::error::Error;
use crate::texts::{Language, codes};

/// Sets of means, in the order of the counts.
const MEANS: [&str; 3] = ["slots", "slots and probe", "all means"];

/// The table, the claims with their limits, and how fast it went: so many draws in this time,
/// those of an earlier run left out.
#[must_use]
pub fn render(
    confusion: &Confusion,
    settings: Settings,
    (now, took): (u64, Duration),
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
        now as f64 / took.as_secs_f64(),
        rayon::current_num_threads()
    ));
    text
}

/// The comparison with ngspice, in a line or two.
#[must_use]
pub fn comparison(of: &Comparison) -> String {
    let each = |all: Duration| all.as_secs_f64() * 1e6 / of.networks as f64;
    let verdict = if of.agrees() { "agrees" } else { "DIFFERS" };
    format!(
        "{verdict}: {} networks of these trials solved by ngspice too, {} voltages, largest \
         difference {:.1e} (allowed {:.0e}). Each network {:.1} us here, {:.0} us in ngspice \
         without its start of {:.0} ms: ratio {:.0}, on one core each.\n",
        of.networks,
        of.voltages,
        of.largest,
        Comparison::ALLOWED,
        each(of.here),
        each(of.there),
        of.start.as_secs_f64() * 1e3,
        of.ratio()
    )
}

/// The run as a page of Markdown; `made_by` is the fingerprint of generator and judge.
#[must_use]
pub fn page(
    confusion: &Confusion,
    settings: Settings,
    made_by: &str,
    language: &dyn Language,
) -> String {
    let draws: u64 = confusion.classes.iter().map(|class| class.draws).sum();
    let mut text = format!(
        "# Drawn houses and testers, judged\n\n\
         `slotwise {}` (verdicts {made_by}), seed {}, {} draws of each class, {draws} in all.\n\
         Houses, testers and noise are drawn from invented priors: a model, not a measurement.\n",
        env!("CARGO_PKG_VERSION"),
        settings.seed,
        settings.trials,
    );
    let missing: Vec<&str> = trials::names()
        .filter(|name| !confusion.has(name))
        .collect();
    if !missing.is_empty() {
        text.push_str(&format!("Not drawn yet: {}.\n", missing.join(", ")));
    }
    text.push_str(
        "\n## Claims\n\n| Claim | Against it | Draws | Rate below (95 %) | |\n\
         |---|---:|---:|---:|---|\n",
    );
    for claim in confusion.claims() {
        let sign = if claim.holds() { "holds" } else { "FAILS" };
        text.push_str(&format!(
            "| {} | {} | {} | {:.1e} | {sign} |\n",
            claim.text,
            claim.failures,
            claim.draws,
            claim.limit()
        ));
    }
    let table = |title: &str, cell: &dyn Fn(u64, u64) -> String| {
        let mut text = format!("\n## {title}\n\n| Wiring, or tester fault | Means |");
        for outcome in OUTCOMES {
            text.push_str(&format!(" {} |", language.outcome(outcome)));
        }
        text.push_str("\n|---|---|");
        text.push_str(&"---:|".repeat(OUTCOMES.len()));
        text.push('\n');
        for class in &confusion.classes {
            for (means, row) in MEANS.iter().zip(class.outcomes) {
                text.push_str(&format!("| {} | {means} |", class.name));
                for count in row {
                    text.push_str(&format!(" {} |", cell(count, class.draws)));
                }
                text.push('\n');
            }
        }
        text
    };
    text.push_str(&table("Verdicts", &|count, _| count.to_string()));
    text.push_str(&table(
        "Rates in percent, 95 % limits (Wilson, two-sided)",
        &|count, draws| {
            let [low, high] = trials::limits(count, draws).map(|rate| 100.0 * rate);
            format!("{} to {}", percent(low), percent(high))
        },
    ));
    text
}

/// Enough digits to tell a rate from 0 and from 100.
fn percent(rate: f64) -> String {
    let beside = rate.min(100.0 - rate);
    if beside <= 0.0 {
        format!("{rate:.0}")
    } else {
        let digits = (1.0 - beside.log10()).ceil().clamp(1.0, 9.0) as usize;
        format!("{rate:.digits$}")
    }
}

/// The counts beside the page, by which a run goes on where it was ended; as [`document`]
/// without the clock.
///
/// # Errors
/// [`Error::Json`] in the program's own making of it.
pub fn kept(confusion: &Confusion, settings: Settings, made_by: &str) -> Result<String, Error> {
    to_text(&json!({
        "format": "slotwise-trials",
        "version": 1,
        "program": env!("CARGO_PKG_VERSION"),
        "made_by": made_by,
        "trials": settings.trials,
        "seed": settings.seed,
        "claims": claims(confusion),
        "classes": confusion.classes.iter().map(class).collect::<Vec<_>>(),
    }))
}

/// The classes that [`kept`] wrote for the same settings and the same judge.
///
/// # Errors
/// What keeps them from being gone on with, as a part of a sentence.
pub fn taken_up(
    text: &str,
    settings: Settings,
    made_by: &str,
) -> Result<Vec<ClassCount>, &'static str> {
    const NOT_OURS: &str = "it holds no counts of such a run";
    let document: Value = serde_json::from_str(text).map_err(|_| NOT_OURS)?;
    if document["format"] != "slotwise-trials" || document["version"] != 1 {
        return Err(NOT_OURS);
    }
    if document["trials"] != settings.trials || document["seed"] != settings.seed {
        return Err("it holds a run of another number of draws or another seed");
    }
    if document["made_by"] != made_by {
        return Err("it holds a run of a program that draws or judges otherwise");
    }
    let classes = document["classes"].as_array().ok_or(NOT_OURS)?;
    classes
        .iter()
        .map(|class| count_of(class).ok_or(NOT_OURS))
        .collect()
}

fn count_of(class: &Value) -> Option<ClassCount> {
    let number = |key: &str| class[key].as_u64();
    let name = trials::names().find(|name| class["name"] == **name)?;
    let mut count = ClassCount {
        is_tester_fault: class["tester_fault"].as_bool()?,
        draws: number("draws")?,
        energised: number("energised")?,
        energised_proven: number("energised_proven")?,
        energised_good: number("energised_good")?,
        ..ClassCount::new(name)
    };
    for (row, by_means) in count.outcomes.iter_mut().zip(class["by_means"].as_array()?) {
        for (place, outcome) in row.iter_mut().zip(OUTCOMES) {
            *place = by_means["verdicts"][codes::outcome(outcome)].as_u64()?;
        }
    }
    let sums = count.outcomes.map(|row| row.iter().sum::<u64>());
    (sums == [count.draws; 3]).then_some(count)
}

/// The run as JSON: `"format": "slotwise-trials", "version": 1`.
///
/// # Errors
/// [`Error::Json`] in the program's own making of it.
pub fn document(
    confusion: &Confusion,
    settings: Settings,
    seconds: f64,
    against: Option<&Comparison>,
) -> Result<String, Error> {
    let against = against.map(|of| {
        json!({
            "networks": of.networks,
            "voltages": of.voltages,
            "largest_difference": of.largest,
            "seconds_here": of.here.as_secs_f64(),
            "seconds_there": of.there.as_secs_f64(),
            "seconds_to_start": of.start.as_secs_f64(),
            "ratio": of.ratio(),
        })
    });
    to_text(&json!({
        "format": "slotwise-trials",
        "version": 1,
        "trials": settings.trials,
        "seed": settings.seed,
        "seconds": seconds,
        "against_ngspice": against,
        "claims": claims(confusion),
        "classes": confusion.classes.iter().map(class).collect::<Vec<_>>(),
    }))
}

fn to_text(document: &Value) -> Result<String, Error> {
    let mut text = serde_json::to_string_pretty(document).map_err(Error::Json)?;
    text.push('\n');
    Ok(text)
}

fn claims(confusion: &Confusion) -> Vec<Value> {
    confusion
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
        .collect()
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
