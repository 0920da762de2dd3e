//! Who may import whom: the house plan as data, and what checks it.
//!
//! Two layers. [`edge_violations`] compares the packages' dependencies, as cargo reads them,
//! with [`ROOMS`]. [`source_violations`] looks for words that a room must not contain even
//! where cargo would allow them: an estimator in the host, a clock in the core, a chip in the
//! portable firmware. Both take their input as arguments, so that the tests can plant a
//! violation and see it found.

use std::collections::BTreeSet;

/// One room and the packages that its code may use.
#[derive(Debug)]
pub struct Room {
    /// Package name.
    pub package: &'static str,
    /// Packages it may depend on, dev-dependencies apart.
    pub may_use: &'static [&'static str],
}

/// Every room. A package that is not here, or a dependency not listed, is a violation.
pub const ROOMS: &[Room] = &[
    Room {
        package: "slotwise-core",
        may_use: &[
            "serde",
            "postcard",
            "cobs",
            "crc",
            "heapless",
            "libm",
            "num-complex",
            "defmt",
        ],
    },
    Room {
        package: "slotwise-firmware",
        may_use: &[
            "slotwise-core",
            "embedded-hal",
            "embedded-storage",
            "heapless",
            "crc",
            "sha2",
            "ds323x",
            "embedded-graphics",
            "display-interface",
            "ssd1306",
            "defmt",
        ],
    },
    Room {
        package: "slotwise-virtual",
        may_use: &[
            "slotwise-core",
            "slotwise-firmware",
            "embedded-hal",
            "nalgebra",
            "num-complex",
            "rand",
            "rand_chacha",
            "rand_distr",
            "crc",
            "thiserror",
        ],
    },
    Room {
        package: "slotwise-rp2040",
        may_use: &[
            "slotwise-core",
            "slotwise-firmware",
            "rp2040-hal",
            "rp2040-boot2",
            "usb-device",
            "usbd-serial",
            "cortex-m",
            "cortex-m-rt",
            "critical-section",
            "portable-atomic",
            "embedded-hal",
            "embedded-hal-bus",
            "embedded-hal-nb",
            "fugit",
            "heapless",
            "static_cell",
            "defmt",
            "panic-probe",
        ],
    },
    Room {
        package: "slotwise",
        may_use: &[
            "slotwise-core",
            "slotwise-firmware",
            "slotwise-virtual",
            "clap",
            "clap_complete",
            "clap_mangen",
            "etcetera",
            "serialport",
            "serde",
            "serde_json",
            "thiserror",
            "anyhow",
            "krilla",
            "krilla-svg",
            "maud",
            "tokio",
            "ttf-parser",
            "usvg",
            "axum",
            "comfy-table",
            "csv",
            "parquet",
            "rusqlite",
            "postgres",
            "toml",
            "jiff",
            "icu_collator",
            "indicatif",
            "anstream",
            "anstyle",
            "ratatui",
            "signal-hook",
            "sha2",
            "tempfile",
            "rayon",
            "ctrlc",
        ],
    },
    Room {
        package: "slotwise-tests",
        may_use: &[
            "slotwise-core",
            "slotwise-firmware",
            "slotwise-virtual",
            "slotwise",
            "serialport",
            "serde_json",
            "defmt-decoder",
            "object",
            "tempfile",
            "sha2",
            "embedded-graphics",
            "png",
            "embedded-storage",
        ],
    },
];

/// Words that the sources under `folder` must not contain, `except` in some of its folders
/// or files. Test modules and comments are not looked at.
#[derive(Debug)]
pub struct Ban {
    /// Folder, from the project's root, with a closing slash.
    pub folder: &'static str,
    /// Paths below it that are free to.
    pub except: &'static [&'static str],
    /// The words.
    pub words: &'static [&'static str],
    /// Why.
    pub why: &'static str,
}

/// Every ban.
pub const BANS: &[Ban] = &[
    Ban {
        folder: "shared-core/src/",
        except: &[],
        words: &[
            "std::",
            "alloc::",
            "embedded_hal",
            "static mut",
            "Instant",
            "slotwise_firmware",
        ],
        why: "the core has no std, no allocation, no board, no clock and no globals",
    },
    Ban {
        folder: "firmware/src/",
        except: &[],
        words: &[
            "std::",
            "alloc::",
            "rp2040",
            "cortex_m",
            "rp_pico",
            "slotwise_virtual",
        ],
        why: "the portable firmware knows no chip and no desktop",
    },
    Ban {
        folder: "firmware/src/",
        except: &["firmware/src/display/"],
        words: &["embedded_graphics", "ssd1306", "display_interface"],
        why: "only the display's room draws",
    },
    Ban {
        folder: "firmware/src/",
        except: &["firmware/src/clock_chip.rs", "firmware/src/calendar.rs"],
        words: &["chrono::", "ds323x"],
        why: "only the clock chip's room knows its driver; the calendar's tests have another's",
    },
    Ban {
        folder: "firmware/virtual/src/",
        except: &[],
        words: &[
            "slotwise_firmware::display",
            "slotwise_firmware::clock_chip",
        ],
        why: "the models of the parts share no code with the drivers that they check",
    },
    Ban {
        folder: "firmware/virtual/src/",
        except: &["firmware/virtual/src/board.rs"],
        words: &[
            "slotwise_core::window",
            "slotwise_core::measure",
            "slotwise_core::judge",
            "slotwise_core::limits",
            "slotwise_core::topology",
            "slotwise_core::front_end",
            "slotwise_core::finding",
        ],
        why: "the oracle shares no code with what it checks",
    },
    Ban {
        folder: "firmware/rp2040/src/",
        except: &[],
        words: &[
            "Limits",
            "judge",
            "Gatherer",
            "Accumulator",
            "Ohms",
            "Finding",
            "libm",
            "f32",
            "f64",
        ],
        why: "the board binary holds no formulas, thresholds or texts",
    },
    Ban {
        folder: "host/src/",
        except: &["host/src/bench/"],
        words: &["slotwise_firmware", "slotwise_virtual"],
        why: "only the bench runs the firmware and the virtual board",
    },
    Ban {
        folder: "host/src/",
        except: &["host/src/bench/"],
        words: &[
            "libm::",
            "num_complex",
            ".sqrt()",
            ".atan2(",
            ".hypot(",
            "slotwise_core::window",
            "slotwise_core::measure",
            "rp2040",
        ],
        why: "the host keeps and shows; estimators and thresholds live in the core",
    },
];

/// A package and the packages it depends on.
#[derive(Clone, Debug)]
pub struct Edges {
    /// The package.
    pub package: String,
    /// Its dependencies, dev-dependencies apart.
    pub uses: BTreeSet<String>,
}

/// Dependencies that the house plan does not allow.
#[must_use]
pub fn edge_violations(packages: &[Edges]) -> Vec<String> {
    let mut found = Vec::new();
    for Edges { package, uses } in packages {
        let Some(room) = ROOMS.iter().find(|room| room.package == package) else {
            found.push(format!(
                "{package} is no room of the house plan (tests/src/rules.rs)"
            ));
            continue;
        };
        for used in uses {
            if !room.may_use.contains(&used.as_str()) {
                found.push(format!("{package} must not depend on {used}"));
            }
        }
    }
    found
}

/// Banned words in a source file; `path` is from the project's root with `/` between.
#[must_use]
pub fn source_violations(path: &str, text: &str) -> Vec<String> {
    let mut found = Vec::new();
    let bans = BANS.iter().filter(|ban| {
        path.starts_with(ban.folder) && !ban.except.iter().any(|free| path.starts_with(free))
    });
    for ban in bans {
        for (number, line) in code_lines(text) {
            for word in ban.words.iter().filter(|word| has_word(line, word)) {
                found.push(format!("{path}:{number}: `{word}`: {}", ban.why));
            }
        }
    }
    found
}

/// Words for a person in the firmware outside of the room that is for them: string literals of two
/// words or more in a file of the display that is not its `texts.rs`. `path` as in
/// [`source_violations`].
#[must_use]
pub fn words_outside_their_room(path: &str, text: &str) -> Vec<String> {
    const ROOM: &str = "firmware/src/display/";
    let is_free = ["texts.rs", "tests.rs"].map(|name| format!("{ROOM}{name}"));
    if !path.starts_with(ROOM) || is_free.iter().any(|free| free == path) {
        return Vec::new();
    }
    let words = |literal: &str| {
        literal
            .split(' ')
            .filter(|word| word.chars().filter(|c| c.is_alphabetic()).count() > 1)
            .count()
    };
    code_lines(text)
        .filter(|(_, line)| !line.contains("assert"))
        .flat_map(|(number, line)| {
            line.split('"')
                .skip(1)
                .step_by(2)
                .filter(|literal| words(literal) >= 2)
                .map(move |literal| format!("{path}:{number}: `{literal}`: words live in texts.rs"))
                .collect::<Vec<_>>()
        })
        .collect()
}

/// Whether `line` holds `word` not as the tail of a longer name: `core::std::` is no `std::`.
fn has_word(line: &str, word: &str) -> bool {
    line.match_indices(word).any(|(place, _)| {
        let before = line[..place].chars().next_back();
        let joined = before.is_some_and(|c| c.is_alphanumeric() || c == '_' || c == ':');
        !joined || word.starts_with('.')
    })
}

/// Lines of code with their numbers: no comments, and nothing after the test module begins.
fn code_lines(text: &str) -> impl Iterator<Item = (usize, &str)> {
    text.lines()
        .enumerate()
        .map(|(index, line)| (index + 1, line))
        .take_while(|(_, line)| !line.trim_start().starts_with("#[cfg(test)]"))
        .map(|(number, line)| (number, line.split("//").next().unwrap_or(line)))
}
