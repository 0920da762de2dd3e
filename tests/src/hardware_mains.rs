//! Which parts of the schematic are on a mains net, from `netlist.csv`.
//!
//! A net is on a mains net where a lead (narrow, wide, ground, clip) reaches it through resistors,
//! contacts, FETs and transistors; not through the last resistor of a string's protective
//! impedance (its foot is behind 990 kohm), and not through a chip. A part is on one with any of
//! its pins; the pads of cord and clip lead are not parts that fail.
//! `hardware/tools/mains.py` says the same in a program of its own; a test holds the two against each
//! other.

use crate::hardware::Table;
use std::collections::{BTreeMap, BTreeSet};

const LEADS: [&str; 4] = ["NARROW", "WIDE", "GROUND_PIN", "CLIP"];
/// The third of three in each string.
const LAST_OF_STRINGS: [&str; 4] = ["R203", "R213", "R223", "R233"];
/// Contacts of a relay; its other pins are its LED's, behind insulation.
const CONTACTS: [&str; 2] = ["4", "6"];

/// Whether a current passes from this pin of `part` to the others of its kind.
fn is_way(part: &str, pin: &str) -> bool {
    match part.as_bytes().first() {
        Some(b'K') => CONTACTS.contains(&pin),
        Some(b'R' | b'Q') => !LAST_OF_STRINGS.contains(&part),
        _ => false,
    }
}

/// Parts with a pin on a mains net, by designator.
#[must_use]
pub fn parts_on_mains(netlist: &Table) -> BTreeSet<String> {
    let mut ways: BTreeMap<&str, Vec<&str>> = BTreeMap::new();
    for row in &netlist.rows {
        if is_way(row.get("designator"), row.get("pin")) {
            let nets = ways.entry(row.get("designator")).or_default();
            nets.push(row.get("net"));
        }
    }
    let mut reached = BTreeSet::from(LEADS);
    loop {
        let before = reached.len();
        for nets in ways.values() {
            if nets.iter().any(|net| reached.contains(net)) {
                reached.extend(nets);
            }
        }
        if reached.len() == before {
            break;
        }
    }
    let is_hit = |row: &&crate::hardware::Row| {
        reached.contains(row.get("net")) && !row.get("designator").starts_with('J')
    };
    let part = |row: &crate::hardware::Row| row.get("designator").to_owned();
    netlist.rows.iter().filter(is_hit).map(part).collect()
}
