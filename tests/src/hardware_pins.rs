//! Which pin the board's source claims for what, read from its text, against `pins.csv`.
//!
//! Read as text because the binary builds for one chip only. A claim is `pins.gpioN` inside an
//! assignment or a field (`let adc = ...`, `sync: ...`); the name of that assignment is what is
//! compared. Limits: two pins of one bus may be exchanged without the names showing it, so the
//! order within the buses and lamps is compared too.

use crate::hardware::Table;
use std::collections::BTreeMap;

/// GPIO number and name of what claims it, in the order of the source.
#[must_use]
pub fn claims(source: &str) -> Vec<(u8, String)> {
    let mut found = Vec::new();
    let mut name = String::new();
    let body = source.split("fn claim()").nth(1).unwrap_or_default();
    for line in body.lines() {
        let line = line.split("//").next().unwrap_or_default();
        if let Some(opened) = opens(line) {
            name = opened;
        }
        for (place, _) in line.match_indices("pins.gpio") {
            let digits: String = line[place + "pins.gpio".len()..]
                .chars()
                .take_while(char::is_ascii_digit)
                .collect();
            if let Ok(number) = digits.parse() {
                found.push((number, name.clone()));
            }
        }
    }
    found
}

/// The name that a line begins to assign to: `let x = ` or `x: `.
fn opens(line: &str) -> Option<String> {
    let line = line.trim();
    let word = match line.strip_prefix("let ") {
        Some(rest) => rest
            .trim_start_matches("mut ")
            .split([' ', ':', '='])
            .next()?,
        None => {
            let (word, rest) = line.split_once(':')?;
            if rest.starts_with(':') {
                return None;
            }
            word
        }
    };
    word.chars()
        .all(|c| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '_')
        .then(|| word.to_owned())
}

/// What is wrong between `pins.csv` and the source of the board; empty where they agree.
#[must_use]
pub fn disagreements(table: &Table, source: &str) -> Vec<String> {
    let mut found = Vec::new();
    let claims = claims(source);
    let by_pin: BTreeMap<u8, &str> = claims
        .iter()
        .map(|(number, name)| (*number, name.as_str()))
        .collect();
    let mut listed = BTreeMap::new();
    for row in &table.rows {
        let number: u8 = row.get("gpio").parse().expect("a number");
        if listed
            .insert(number, row.get("signal").to_owned())
            .is_some()
        {
            found.push(format!("GPIO {number} is listed twice"));
        }
        let field = row.get("board");
        let signal = row.get("signal");
        match by_pin.get(&number) {
            None if field.is_empty() => {}
            None => found.push(format!(
                "GPIO {number} ({signal}) is not claimed by the board"
            )),
            Some(name) if field.is_empty() => found.push(format!(
                "GPIO {number} ({signal}) is claimed as {name}, the table says unused"
            )),
            Some(name) if *name != field => {
                found.push(format!("GPIO {number} ({signal}) is claimed as {name}"));
            }
            Some(_) => {}
        }
    }
    for (number, name) in &by_pin {
        if !listed.contains_key(number) {
            found.push(format!(
                "GPIO {number}, claimed as {name}, is not in the table"
            ));
        }
    }
    // Within a bus the source names the pins by place: MOSI, MISO, SCK; the lamps from the top.
    let expected = |signals: &[&str]| -> Vec<u8> {
        signals
            .iter()
            .filter_map(|signal| {
                let of = |(number, name): (&u8, &String)| (name == signal).then_some(*number);
                listed.iter().find_map(of)
            })
            .collect()
    };
    for (name, signals) in ORDERED {
        let order: Vec<u8> = claims
            .iter()
            .filter(|(number, claim)| claim == name && expected(signals).contains(number))
            .map(|(number, _)| *number)
            .collect();
        if order != expected(signals) {
            found.push(format!(
                "{name}: the board has GPIO {order:?} for {signals:?}, the table {:?}",
                expected(signals)
            ));
        }
    }
    found
}

/// Order of the pins in the source of what takes several.
const ORDERED: [(&str, &[&str]); 4] = [
    ("side_bus", &["I2C0 SDA", "I2C0 SCL"]),
    (
        "adc",
        &[
            "converter SPI0 MOSI",
            "converter SPI0 MISO",
            "converter SPI0 SCK",
        ],
    ),
    (
        "nor",
        &["flash SPI1 MOSI", "flash SPI1 MISO", "flash SPI1 SCK"],
    ),
    (
        "lamps",
        &[
            "lamp live metal",
            "lamp wired right",
            "lamp earth path",
            "lamp supply",
            "lamp steady",
            "lamp proven",
        ],
    ),
];
