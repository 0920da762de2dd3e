//! `hardware/legend.md`: what lamps and finding numbers mean, made from the program.

use core::fmt::Write as _;

use slotwise::texts::{English, Language as _};
use slotwise_core::lamps::{Lamp, Rhythm};

use crate::finding_table;

/// The whole file.
#[must_use]
pub fn legend() -> String {
    let mut out = String::from(
        "# Lamps and finding numbers\n\n\
         Made from the program by `SLOTWISE_WRITE_HARDWARE=1 cargo test -p slotwise-tests --test \
         hardware_notes`;\na test compares. Print it for the case.\n\n\
         ## Lamps, from the top\n\n| lamp | colour | question |\n|---|---|---|\n",
    );
    for (place, lamp) in Lamp::ALL.into_iter().enumerate() {
        let colour = if lamp == Lamp::LiveMetal {
            "red"
        } else {
            "white"
        };
        // Writing to a string cannot fail.
        let _ = writeln!(
            out,
            "| D90{} | {colour} | {} |",
            place + 1,
            English.question(lamp)
        );
    }
    out.push_str("\n## Rhythms\n\n| lit | says |\n|---|---|\n");
    for (rhythm, says) in [
        (Rhythm::Steady, "yes"),
        (Rhythm::SlowBlink, "unsure"),
        (Rhythm::FastBlink, "no"),
        (Rhythm::Off, "not asked yet; first lamp: no danger found"),
        (
            Rhythm::FastPulse,
            "danger: metal may be live, all other lamps go dark",
        ),
    ] {
        let _ = writeln!(out, "| {} | {says} |", English.rhythm(rhythm));
    }
    out.push_str(
        "\n## Finding numbers\n\nPress the button: the topmost lamp that does not say \"yes\" \
         blinks out two digits.\n\n| number | finding |\n|---|---|\n",
    );
    out.push_str(&finding_table::rows());
    out
}
