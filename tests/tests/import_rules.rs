//! The house plan holds, and the check of it can fail.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

use cargo_metadata::{DependencyKind, MetadataCommand};
use slotwise_tests::rules::{Edges, edge_violations, source_violations, words_outside_their_room};

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .parent()
        .expect("tests/ stands in the project's root")
        .to_path_buf()
}

fn edges() -> Vec<Edges> {
    let metadata = MetadataCommand::new()
        .manifest_path(root().join("Cargo.toml"))
        .no_deps()
        .exec()
        .expect("cargo metadata reads the workspace");
    metadata
        .packages
        .iter()
        .map(|package| Edges {
            package: package.name.to_string(),
            uses: package
                .dependencies
                .iter()
                .filter(|dependency| dependency.kind != DependencyKind::Development)
                .map(|dependency| dependency.name.clone())
                .collect::<BTreeSet<_>>(),
        })
        .collect()
}

fn sources(folder: &Path, into: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).expect("a folder of the project can be read") {
        let path = entry.expect("its entries too").path();
        if path.is_dir() {
            sources(&path, into);
        } else if path.file_name().is_some_and(|name| name == "tests.rs") {
            // A test module in a file of its own.
        } else if path.extension().is_some_and(|ending| ending == "rs") {
            into.push(path);
        }
    }
}

#[test]
fn every_package_depends_only_on_what_its_room_may_use() {
    let edges = edges();
    assert!(edges.len() >= 6, "the workspace has six rooms: {edges:?}");
    assert_eq!(edge_violations(&edges), Vec::<String>::new());
}

#[test]
fn no_source_holds_a_word_that_is_banned_in_its_room() {
    let root = root();
    let mut files = Vec::new();
    for room in [
        "shared-core/src",
        "firmware/src",
        "firmware/virtual/src",
        "host/src",
    ] {
        sources(&root.join(room), &mut files);
    }
    sources(&root.join("firmware/rp2040/src"), &mut files);
    assert!(files.len() > 40, "only {} sources found", files.len());
    let found: Vec<String> = files
        .iter()
        .flat_map(|file| {
            let text = fs::read_to_string(file).expect("a source can be read");
            let path = file.strip_prefix(&root).expect("below the root");
            let path = path.to_string_lossy().replace('\\', "/");
            let mut found = source_violations(&path, &text);
            found.extend(words_outside_their_room(&path, &text));
            found
        })
        .collect();
    assert_eq!(found, Vec::<String>::new());
}

#[test]
fn a_planted_dependency_is_found() {
    let planted = [
        ("slotwise-core", "embedded-hal"),
        ("slotwise-firmware", "rp2040-hal"),
        ("slotwise", "slotwise-rp2040"),
        ("slotwise", "rustfft"),
    ];
    for (package, used) in planted {
        let mut edges = edges();
        let room = edges
            .iter_mut()
            .find(|edges| edges.package == package)
            .expect("the package exists");
        room.uses.insert(used.to_owned());
        assert_eq!(
            edge_violations(&edges),
            [format!("{package} must not depend on {used}")]
        );
    }
    let stranger = Edges {
        package: "slotwise-extra".to_owned(),
        uses: BTreeSet::new(),
    };
    assert_eq!(edge_violations(&[stranger]).len(), 1);
}

#[test]
fn planted_words_are_found_and_innocent_ones_are_not() {
    for (path, line) in [
        ("host/src/report/table.rs", "let rms = mean_square.sqrt();"),
        ("host/src/commands/pull.rs", "use slotwise_virtual::house;"),
        (
            "host/src/report/html.rs",
            "use slotwise_core::window::WINDOW;",
        ),
        ("firmware/src/tester.rs", "use rp2040_hal::gpio;"),
        (
            "shared-core/src/measure.rs",
            "let t = std::time::Instant::now();",
        ),
        (
            "firmware/virtual/src/house/mod.rs",
            "use slotwise_core::limits::Limits;",
        ),
        (
            "firmware/rp2040/src/board.rs",
            "if volts > Limits::DEFAULT.touchable {",
        ),
        (
            "firmware/src/lamps.rs",
            "use embedded_graphics::text::Text;",
        ),
        ("firmware/src/keeper.rs", "use ds323x::Ds323x;"),
        (
            "firmware/virtual/src/chips/side_bus/rtc.rs",
            "use slotwise_firmware::clock_chip;",
        ),
    ] {
        assert!(!source_violations(path, line).is_empty(), "{path}: {line}");
    }
    for (path, line) in [
        ("host/src/bench/mod.rs", "use slotwise_virtual::house;"),
        (
            "shared-core/src/measure.rs",
            "use core::fmt; // std:: is not used",
        ),
        ("firmware/src/tester.rs", "#[cfg(test)]\nuse std::vec::Vec;"),
    ] {
        assert_eq!(
            source_violations(path, line),
            Vec::<String>::new(),
            "{path}: {line}"
        );
    }
}

#[test]
fn words_for_a_person_outside_of_their_room_are_found() {
    let line = "let head = Line::of(\"Open ground\");";
    let screen = "firmware/src/display/screen.rs";
    assert_eq!(words_outside_their_room(screen, line).len(), 1);
    for (path, line) in [
        ("firmware/src/display/texts.rs", line),
        ("firmware/src/display/line.rs", "self.and(\" ohm\")"),
        ("firmware/src/keeper.rs", line),
    ] {
        assert_eq!(words_outside_their_room(path, line), Vec::<String>::new());
    }
}
