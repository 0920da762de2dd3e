//! The atlas in words and as JSON: one table for each class of wirings that the slots alone
//! cannot tell apart. A row is what every means together still leaves in one; a row of several
//! wirings is what cannot be known at this receptacle.

use comfy_table::presets::UTF8_FULL_CONDENSED;
use comfy_table::{Cell, CellAlignment, ContentArrangement, Table as Grid};
use serde::Serialize;

use super::list::wrap;
use crate::bench::atlas::{Class, Means, Member, Reading, Table};
use crate::error::Error;
use crate::texts::{Language, codes};

/// The tables, with a legend.
#[must_use]
pub fn render(table: &Table, language: &dyn Language, width: u16) -> String {
    let columns = usize::from(width);
    let mut text = String::new();
    let wirings: usize = table.classes.iter().map(|class| class.members.len()).sum();
    let left = table
        .left_by
        .map(|(means, left)| format!("{} {left}", words(means)));
    let opening = format!(
        "{wirings} wirings of one receptacle, computed. Classes told apart, each means added to \
         those before it: {}.",
        left.join("; ")
    );
    wrap(&mut text, "", &opening, columns);
    for (index, class) in table.classes.iter().enumerate() {
        text.push('\n');
        write_class(&mut text, index + 1, class, language, width);
    }
    text.push('\n');
    for paragraph in LEGEND {
        wrap(&mut text, "", paragraph, columns);
    }
    text
}

const LEGEND: [&str; 3] = [
    "A name says what narrow, wide and ground hole are on. Wirings in one row read the same by \
     every means: nothing at this receptacle tells them apart.",
    "P1: ohms of the earth path, probed from narrow; P1 w: from wide; P2: ohms of neutral and \
     ground; rho: the neutral's share of a load's sag; Clip: volts of wide against an earth that \
     does not come through this receptacle. Values are those of the first wiring of a row.",
    "refused: the interlock does not let the means be used there. open: beyond 100 kilohm. -: \
     nothing to measure it with.",
];

fn write_class(
    text: &mut String,
    number: usize,
    class: &Class,
    language: &dyn Language,
    width: u16,
) {
    let columns = usize::from(width);
    let [nw, gw, ng] = class.members[0].signature.slots;
    let lead = format!("{number}. ");
    let answer = language.outcome(class.verdict.outcome);
    let first = class.verdict.first();
    let title = first.map_or("", |finding| language.finding(finding.code).title);
    let heading = format!("n-w {nw:.1} V, g-w {gw:.1} V, n-g {ng:.1} V: {answer}. {title}.");
    wrap(text, &lead, &heading, columns);
    wrap(text, "   ", &told_by(class), columns);
    text.push_str(&rows(class, width));
    text.push('\n');
}

/// What would tell the wirings of a class apart.
fn told_by(class: &Class) -> String {
    match &class.told_by {
        Some((means, parts)) => format!(
            "Told apart next by {}: {} classes; by every means: {}.",
            words(*means),
            parts.len(),
            class.at_best.len()
        ),
        None if class.members.len() == 1 => "The slots alone tell this one.".to_owned(),
        None => "No means at this receptacle tells these apart.".to_owned(),
    }
}

fn rows(class: &Class, width: u16) -> String {
    let mut grid = Grid::new();
    grid.load_style(UTF8_FULL_CONDENSED)
        .set_content_arrangement(ContentArrangement::Dynamic)
        .set_width(width)
        .set_header(["Wirings", "P1", "P1 w", "P2", "rho", "Clip"]);
    for group in &class.at_best {
        let members: Vec<&Member> = group.iter().map(|&index| &class.members[index]).collect();
        let Some(first) = members.first() else {
            continue;
        };
        let names: Vec<&str> = members.iter().map(|member| member.name).collect();
        let signature = &first.signature;
        let mut cells = vec![Cell::new(names.join(", "))];
        let ohms = [signature.p1, signature.p1_wide, signature.p2].map(|p| reading(p, ohms));
        let rho = reading(signature.rho, |rho| format!("{:.2}", rho + 0.0));
        let clip = format!("{:.1}", signature.clip);
        let right = |text: String| Cell::new(text).set_alignment(CellAlignment::Right);
        cells.extend(ohms.into_iter().chain([rho, clip]).map(right));
        grid.add_row(cells);
    }
    grid.to_string()
}

fn reading(reading: Reading, value: fn(f64) -> String) -> String {
    match reading {
        Reading::Value(number) => value(number),
        Reading::Open => "open".to_owned(),
        Reading::Refused => "refused".to_owned(),
        Reading::NotMeasurable => "-".to_owned(),
    }
}

fn ohms(ohms: f64) -> String {
    let decimals = if ohms < 0.1 {
        3
    } else if ohms < 10.0 {
        2
    } else {
        0
    };
    format!("{ohms:.decimals$}")
}

const fn words(means: Means) -> &'static str {
    match means {
        Means::Slots => "slots",
        Means::Probe => "P1",
        Means::ProbeFromWide => "P1 from wide",
        Means::Drive => "P2",
        Means::LoadStep => "a load step",
        Means::IndependentEarth => "the clip on an independent earth",
    }
}

const fn code(means: Means) -> &'static str {
    match means {
        Means::Slots => "slots",
        Means::Probe => "p1",
        Means::ProbeFromWide => "p1-from-wide",
        Means::Drive => "p2",
        Means::LoadStep => "load-step",
        Means::IndependentEarth => "clip-on-independent-earth",
    }
}

#[derive(Serialize)]
struct Document<'t> {
    format: &'static str,
    version: u32,
    classes_left_by: Vec<LeftBy>,
    classes: Vec<ClassOf<'t>>,
}

#[derive(Serialize)]
struct LeftBy {
    means: &'static str,
    classes: usize,
}

#[derive(Serialize)]
struct ClassOf<'t> {
    answer: &'static str,
    finding: Option<&'static str>,
    cannot_be_told_from: Vec<&'static str>,
    told_by: Option<&'static str>,
    not_told_apart_by_any_means: Vec<Vec<&'t str>>,
    wirings: Vec<WiringOf<'t>>,
}

#[derive(Serialize)]
struct WiringOf<'t> {
    name: &'t str,
    wired: &'t str,
    wiring: &'static str,
    energises_ground: bool,
    nw_volts: f64,
    gw_volts: f64,
    ng_volts: f64,
    p1_ohms: ReadingOf,
    p1_from_wide_ohms: ReadingOf,
    p2_ohms: ReadingOf,
    rho: ReadingOf,
    clip_volts: f64,
}

/// A number, or the word for why there is none.
#[derive(Serialize)]
#[serde(untagged)]
enum ReadingOf {
    Value(f64),
    Word(&'static str),
}

/// The atlas as a JSON document.
///
/// # Errors
/// [`Error::Json`], which is a mistake in the program.
pub fn document(table: &Table) -> Result<String, Error> {
    let document = Document {
        format: "slotwise-atlas",
        version: 1,
        classes_left_by: table
            .left_by
            .iter()
            .map(|&(means, classes)| LeftBy {
                means: code(means),
                classes,
            })
            .collect(),
        classes: table.classes.iter().map(class_of).collect(),
    };
    Ok(format!("{}\n", serde_json::to_string_pretty(&document)?))
}

fn class_of(class: &Class) -> ClassOf<'_> {
    let first = class.verdict.first();
    let name = |&index: &usize| class.members[index].name;
    ClassOf {
        answer: codes::outcome(class.verdict.outcome),
        finding: first.map(|finding| codes::finding(finding.code)),
        cannot_be_told_from: first.map_or(Vec::new(), |finding| {
            finding.rivals.iter().map(codes::wiring).collect()
        }),
        told_by: class.told_by.as_ref().map(|(means, _)| code(*means)),
        not_told_apart_by_any_means: class
            .at_best
            .iter()
            .filter(|group| group.len() > 1)
            .map(|group| group.iter().map(name).collect())
            .collect(),
        wirings: class.members.iter().map(wiring_of).collect(),
    }
}

fn wiring_of(member: &Member) -> WiringOf<'_> {
    let signature = &member.signature;
    let [nw, gw, ng] = signature.slots.map(rounded);
    let of = |reading| match reading {
        Reading::Value(value) => ReadingOf::Value(rounded(value)),
        Reading::Open => ReadingOf::Word("open"),
        Reading::Refused => ReadingOf::Word("refused"),
        Reading::NotMeasurable => ReadingOf::Word("not-measurable"),
    };
    WiringOf {
        name: member.name,
        wired: member.wired,
        wiring: codes::wiring(member.topology),
        energises_ground: member.topology.energises_ground(),
        nw_volts: nw,
        gw_volts: gw,
        ng_volts: ng,
        p1_ohms: of(signature.p1),
        p1_from_wide_ohms: of(signature.p1_wide),
        p2_ohms: of(signature.p2),
        rho: of(signature.rho),
        clip_volts: rounded(signature.clip),
    }
}

/// To thousandths: what is below is arithmetic, not knowledge.
fn rounded(value: f64) -> f64 {
    (value * 1000.0).round() / 1000.0 + 0.0
}
