//! The right to the tester's port on Linux by a rule of udev: whether there is one, and the file that
//! makes one. Nothing is written here: that takes an administrator.
//!
//! `uaccess` gives the port to whoever sits at the computer. It must be set before systemd's
//! `73-seat-late.rules` asks for it, hence the number of the file (systemd-logind, sd-login; from memory).

use std::fs;
use std::path::{Path, PathBuf};

use crate::port::USB;

/// Where the file goes.
pub const FILE: &str = "/etc/udev/rules.d/70-slotwise.rules";

/// Where udev looks for rules (udev(7)).
pub const FOLDERS: [&str; 4] = [
    "/etc/udev/rules.d",
    "/run/udev/rules.d",
    "/usr/local/lib/udev/rules.d",
    "/usr/lib/udev/rules.d",
];

/// What stands in the file.
#[must_use]
pub fn file() -> String {
    let (vendor, product) = USB;
    format!(
        "# The port of a Slotwise tester belongs to whoever sits at this computer.\n\
         SUBSYSTEM==\"tty\", ATTRS{{idVendor}}==\"{vendor:04x}\", \
         ATTRS{{idProduct}}==\"{product:04x}\", TAG+=\"uaccess\"\n"
    )
}

/// The first file in `folders` with a rule that gives the tester's port to somebody.
#[must_use]
pub fn rule_in(folders: &[impl AsRef<Path>]) -> Option<PathBuf> {
    let (vendor, product) = USB;
    let ids = [
        format!("{{idVendor}}==\"{vendor:04x}\""),
        format!("{{idProduct}}==\"{product:04x}\""),
    ];
    let gives = |line: &str| {
        let line: String = line.split_whitespace().collect();
        !line.starts_with('#')
            && ids.iter().all(|id| line.contains(id))
            && ["TAG+=\"uaccess\"", "MODE=", "GROUP="]
                .iter()
                .any(|right| line.contains(right))
    };
    for folder in folders {
        let mut files: Vec<PathBuf> = fs::read_dir(folder)
            .into_iter()
            .flatten()
            .flatten()
            .map(|entry| entry.path())
            .filter(|path| path.extension().is_some_and(|ending| ending == "rules"))
            .collect();
        files.sort();
        let found = files
            .into_iter()
            .find(|file| fs::read_to_string(file).is_ok_and(|text| text.lines().any(gives)));
        if found.is_some() {
            return found;
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_offered_file_is_a_rule_and_others_are_not() {
        let folder = tempfile::tempdir().unwrap();
        let folders = [folder.path().join("none"), folder.path().to_owned()];
        assert_eq!(rule_in(&folders), None);
        let write = |name: &str, text: &str| fs::write(folder.path().join(name), text).unwrap();
        write(
            "50-comment.rules",
            &format!("#{}", file().replace('\n', "")),
        );
        write("60-other.rules", &file().replace("0001", "0002"));
        write(
            "61-no-right.rules",
            &file().replace(", TAG+=\"uaccess\"", ""),
        );
        write("70-slotwise.txt", &file());
        assert_eq!(rule_in(&folders), None);
        write("70-slotwise.rules", &file());
        let found = rule_in(&folders).unwrap();
        assert_eq!(found.file_name().unwrap(), "70-slotwise.rules");
        write(
            "40-group.rules",
            "ATTRS{idVendor}==\"1209\" , ATTRS{idProduct}==\"0001\", GROUP=\"lab\"\n",
        );
        assert!(rule_in(&folders).unwrap().ends_with("40-group.rules"));
        assert!(FILE.starts_with(FOLDERS[0]));
    }
}
