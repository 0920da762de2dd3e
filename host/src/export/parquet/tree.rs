//! The folders of an export: names that are safe whatever an office is called, and files that
//! take their name only when they are whole.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::fs::{self, File, OpenOptions, TryLockError};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use crate::archive::ArchiveError;

/// Most characters of an office's name.
pub const OFFICE_MOST: usize = 60;

/// The one file of a month.
const NAME: &str = "part-0.parquet";

/// The same in the making: engines pass over names that begin with a dot, and this is no
/// `.parquet` either.
const PART: &str = ".part-0.parquet.new";

/// Held while an export runs; the system lets it go with the program, however that ends.
const LOCK: &str = "_exporting.lock";

const MONTH: &str = "month=";

/// The folder of an office: `office=` and its name, with `%` and two digits for what may mean
/// something to a file system or an engine, as Hive writes it (`FileUtils.escapePathName`, from
/// memory); letters of every script stay as they are. A dot or blank at the end is written so,
/// too, because Windows drops it.
///
/// # Errors
/// [`ArchiveError::Office`].
pub fn folder_of(office: &str) -> Result<String, ArchiveError> {
    let characters = office.chars().count();
    if office.trim().is_empty()
        || characters > OFFICE_MOST
        || office == "__HIVE_DEFAULT_PARTITION__"
    {
        return Err(ArchiveError::Office {
            most: OFFICE_MOST,
            name: office.chars().take(2 * OFFICE_MOST).collect(),
        });
    }
    let mut folder = String::from("office=");
    for (index, c) in office.chars().enumerate() {
        let is_last = index + 1 == characters;
        let is_special = c.is_ascii_control() || "\"#%'*/:<=>?\\|{}[]^".contains(c);
        if is_special || (is_last && matches!(c, '.' | ' ')) {
            let _ = write!(folder, "%{:02X}", u32::from(c));
        } else {
            folder.push(c);
        }
    }
    Ok(folder)
}

/// The folder of an office, held by this program alone.
pub(super) struct Tree {
    office: String,
    folder: PathBuf,
    /// Files in the making, by month.
    parts: BTreeMap<String, PathBuf>,
    /// Whether the parts have taken their names.
    is_done: bool,
    _lock: File,
}

impl Tree {
    pub(super) fn open(folder: &Path, office: &str) -> Result<Self, ArchiveError> {
        let folder = folder.join(folder_of(office)?);
        fs::create_dir_all(&folder).map_err(cannot_write(&folder))?;
        let lock = folder.join(LOCK);
        let file = OpenOptions::new()
            .create(true)
            .truncate(false)
            .write(true)
            .open(&lock)
            .map_err(cannot_write(&lock))?;
        match file.try_lock() {
            Ok(()) => {}
            Err(TryLockError::WouldBlock) => return Err(ArchiveError::Exporting { folder }),
            // Some file systems have no locks; there it is up to the user.
            Err(TryLockError::Error(error)) if error.kind() == io::ErrorKind::Unsupported => {}
            Err(TryLockError::Error(error)) => return Err(cannot_write(&lock)(error)),
        }
        let tree = Self {
            office: office.to_owned(),
            folder,
            parts: BTreeMap::new(),
            is_done: false,
            _lock: file,
        };
        // What an export left that was cut.
        for month in tree.months()? {
            let _ = fs::remove_file(month.join(PART));
        }
        Ok(tree)
    }

    pub(super) fn office(&self) -> &str {
        &self.office
    }

    /// The file of a month.
    pub(super) fn name(&self, month: &str) -> PathBuf {
        self.folder.join(format!("{MONTH}{month}")).join(NAME)
    }

    /// Begins the file of a month.
    pub(super) fn part(&mut self, month: &str) -> Result<Part, ArchiveError> {
        let folder = self.folder.join(format!("{MONTH}{month}"));
        fs::create_dir_all(&folder).map_err(cannot_write(&folder))?;
        let part = folder.join(PART);
        OpenOptions::new()
            .write(true)
            .create_new(true)
            .open(&part)
            .map_err(cannot_write(&part))?;
        self.parts.insert(month.to_owned(), part.clone());
        Ok(Part(part))
    }

    /// Puts a whole file on the disk.
    pub(super) fn sync(&self, month: &str) -> Result<(), ArchiveError> {
        let Some(part) = self.parts.get(month) else {
            return Ok(());
        };
        OpenOptions::new()
            .write(true)
            .open(part)
            .and_then(|file| file.sync_all())
            .map_err(cannot_write(part))
    }

    /// Every part takes its name; months that were there from an earlier export and have no
    /// test any more go.
    pub(super) fn finish(mut self) -> Result<usize, ArchiveError> {
        for (month, part) in &self.parts {
            let name = self.name(month);
            fs::rename(part, &name).map_err(cannot_write(&name))?;
        }
        self.is_done = true;
        for folder in self.months()? {
            let is_ours = |month: &String| self.name(month).parent() == Some(&folder);
            if !self.parts.keys().any(is_ours) {
                let name = folder.join(NAME);
                match fs::remove_file(&name) {
                    Err(error) if error.kind() != io::ErrorKind::NotFound => {
                        return Err(cannot_write(&name)(error));
                    }
                    _ => {}
                }
                // Goes only if nothing else is in it.
                let _ = fs::remove_dir(&folder);
            }
        }
        Ok(self.parts.len())
    }

    /// The folders of months that are there.
    fn months(&self) -> Result<Vec<PathBuf>, ArchiveError> {
        let mut months = Vec::new();
        for entry in fs::read_dir(&self.folder).map_err(cannot_write(&self.folder))? {
            let entry = entry.map_err(cannot_write(&self.folder))?;
            // Not through a link to somewhere else.
            let is_folder = entry.file_type().is_ok_and(|kind| kind.is_dir());
            if is_folder && entry.file_name().to_string_lossy().starts_with(MONTH) {
                months.push(entry.path());
            }
        }
        Ok(months)
    }
}

impl Drop for Tree {
    fn drop(&mut self) {
        if !self.is_done {
            for part in self.parts.values() {
                let _ = fs::remove_file(part);
                // A month that was there stays: it is not empty.
                let _ = part.parent().map(fs::remove_dir);
            }
        }
    }
}

/// A file in the making, open only while it is written to: a fleet's years have more months
/// than a system lets a program have files open.
#[derive(Debug)]
pub(super) struct Part(PathBuf);

impl Write for Part {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let mut file = OpenOptions::new().append(true).open(&self.0)?;
        file.write_all(bytes)?;
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

fn cannot_write(file: &Path) -> impl Fn(io::Error) -> ArchiveError {
    let file = file.to_owned();
    move |source| ArchiveError::CannotWrite {
        file: file.clone(),
        source,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_name_leaves_its_folder() {
        for (office, folder) in [
            ("Tern & Fell", "office=Tern & Fell"),
            ("../../etc", "office=..%2F..%2Fetc"),
            ("..", "office=.%2E"),
            ("a/b\\c", "office=a%2Fb%5Cc"),
            ("nul\0", "office=nul%00"),
            ("x=1/month=2026-01", "office=x%3D1%2Fmonth%3D2026-01"),
            ("50 % ", "office=50 %25%20"),
            ("C:", "office=C%3A"),
            ("*?<>|\"'", "office=%2A%3F%3C%3E%7C%22%27"),
            ("line\nfeed\u{7f}", "office=line%0Afeed%7F"),
            ("Ærø Øst", "office=Ærø Øst"),
        ] {
            let made = folder_of(office).unwrap();
            assert_eq!(made, folder);
            let path = Path::new("root").join(&made);
            assert_eq!(path.components().count(), 2, "{made}");
            assert!(made.len() <= 255, "a name of a file system");
        }
        let long = "/".repeat(OFFICE_MOST);
        assert!(folder_of(&long).unwrap().len() <= 255);
        let wide = "\u{1F50C}".repeat(OFFICE_MOST);
        assert!(folder_of(&wide).unwrap().len() <= 255);
        let longer = "a".repeat(OFFICE_MOST + 1);
        for none in ["", "  ", "\t", "__HIVE_DEFAULT_PARTITION__", &longer] {
            assert!(matches!(folder_of(none), Err(ArchiveError::Office { .. })));
        }
    }

    #[test]
    fn what_is_not_finished_leaves_nothing_and_one_export_runs_at_a_time() {
        let folder = tempfile::tempdir().unwrap();
        let mut tree = Tree::open(folder.path(), "Tern & Fell").unwrap();
        tree.part("2026-03").unwrap().write_all(b"half").unwrap();
        assert!(matches!(
            Tree::open(folder.path(), "Tern & Fell"),
            Err(ArchiveError::Exporting { .. })
        ));
        // Another office is another matter.
        drop(Tree::open(folder.path(), "Other").unwrap());
        drop(tree);
        let office = folder.path().join("office=Tern & Fell");
        assert!(!office.join("month=2026-03").exists());
        // Cut: nobody took the part away.
        let month = office.join("month=2026-04");
        fs::create_dir(&month).unwrap();
        fs::write(month.join(PART), b"half").unwrap();
        let mut tree = Tree::open(folder.path(), "Tern & Fell").unwrap();
        assert!(!month.join(PART).exists());
        tree.part("2026-04").unwrap().write_all(b"whole").unwrap();
        assert_eq!(tree.finish().unwrap(), 1);
        assert_eq!(fs::read(month.join(NAME)).unwrap(), b"whole");
    }
}
