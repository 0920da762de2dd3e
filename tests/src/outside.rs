//! What stands outside of the project and may be absent: recordings beside the checkout, a
//! Python with numpy, Node.
//!
//! `tests/run` installs what can be installed and sets `SLOTWISE_TESTS_STRICT`, under which
//! an absent tool fails the test. A plain `cargo test` on a bare machine says on stderr what it
//! could not check, and passes.

use std::path::{Path, PathBuf};
use std::process::Command;

/// The project's root.
///
/// # Panics
/// If this crate does not stand in a folder of the project.
#[must_use]
pub fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .parent()
        .expect("tests/ stands in the project's root")
        .to_path_buf()
}

/// Whether an absent tool is a failure.
#[must_use]
pub fn is_strict() -> bool {
    std::env::var_os("SLOTWISE_TESTS_STRICT").is_some()
}

/// Says what could not be checked, or fails under `tests/run`.
///
/// # Panics
/// If `SLOTWISE_TESTS_STRICT` is set.
pub fn not_checked(what: &str, mend: &str) {
    assert!(!is_strict(), "{what}; {mend}");
    eprintln!("NOT CHECKED: {what}; {mend}");
}

/// A recording of the folder `shared/data` beside the checkout. `None`, said on stderr, where
/// the folder is absent: the recordings are not ours to copy.
#[must_use]
pub fn recording(name: &str) -> Option<PathBuf> {
    let folder = root().join("../shared/data");
    let file = folder.join(name);
    if file.is_file() {
        return Some(file);
    }
    eprintln!(
        "NOT CHECKED: no recording {name}: the folder {} is absent; \
         put the recordings named in DEVELOPERS.md there",
        folder.display()
    );
    None
}

/// A Python that has numpy: the one of `tests/run`, or the system's.
#[must_use]
pub fn python() -> Option<PathBuf> {
    python_with("numpy")
}

/// A Python that has this module: the one of `tests/run`, or the system's.
#[must_use]
pub fn python_with(module: &str) -> Option<PathBuf> {
    let own = std::env::var_os("SLOTWISE_PYTHON").map(PathBuf::from);
    own.into_iter()
        .chain([PathBuf::from("python3")])
        .find(|python| {
            Command::new(python)
                .args(["-c", &format!("import {module}")])
                .output()
                .is_ok_and(|output| output.status.success())
        })
}
