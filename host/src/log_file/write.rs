//! Writing a log file so that a crash at any moment leaves either the whole file under its
//! name or a readable part under another.

use std::fs::{self, File, OpenOptions};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use crate::client::RawFrame;
use crate::error::FileError;

/// How many left-over parts are passed over before writing is given up.
const PARTS: u32 = 99;

/// A log file in the making.
#[derive(Debug)]
pub struct LogWriter {
    file: File,
    part: PathBuf,
    name: PathBuf,
    force: bool,
    frames: u64,
}

impl LogWriter {
    /// Opens the part that will become `name`. Parts of earlier pulls are left alone.
    ///
    /// # Errors
    /// [`FileError::Exists`] unless `force`, [`FileError::CannotWrite`].
    pub fn create(name: &Path, force: bool) -> Result<Self, FileError> {
        if !force && name.exists() {
            return Err(FileError::Exists {
                file: name.to_owned(),
            });
        }
        let (file, part) = open_part(name).map_err(|source| FileError::CannotWrite {
            file: name.to_owned(),
            source,
        })?;
        Ok(Self {
            file,
            part,
            name: name.to_owned(),
            force,
            frames: 0,
        })
    }

    /// Where the frames stand until the file is whole.
    #[must_use]
    pub fn part(&self) -> &Path {
        &self.part
    }

    /// Frames written so far.
    #[must_use]
    pub const fn frames(&self) -> u64 {
        self.frames
    }

    /// Appends a frame.
    ///
    /// # Errors
    /// [`FileError::CannotWrite`].
    pub fn append(&mut self, frame: &RawFrame) -> Result<(), FileError> {
        let written = self.file.write_all(&frame.0);
        written.map_err(|source| self.cannot_write(source))?;
        self.frames += 1;
        Ok(())
    }

    /// Puts everything on the disk and gives the file its name.
    ///
    /// # Errors
    /// [`FileError::Exists`] if the name was taken meanwhile, [`FileError::CannotWrite`]; the
    /// part stays in both cases.
    pub fn finish(self) -> Result<(), FileError> {
        self.file
            .sync_all()
            .map_err(|source| self.cannot_write(source))?;
        if !self.force {
            // Takes the name only if nobody has it; the rename then replaces our own file.
            match OpenOptions::new()
                .write(true)
                .create_new(true)
                .open(&self.name)
            {
                Ok(_) => {}
                Err(error) if error.kind() == io::ErrorKind::AlreadyExists => {
                    return Err(FileError::Exists {
                        file: self.name.clone(),
                    });
                }
                Err(source) => return Err(self.cannot_write(source)),
            }
        }
        fs::rename(&self.part, &self.name).map_err(|source| self.cannot_write(source))?;
        sync_folder(&self.name);
        Ok(())
    }

    /// Takes the part away if nothing was written into it; returns its name if it stays.
    #[must_use]
    pub fn abandon(self) -> Option<PathBuf> {
        if self.frames > 0 {
            // Best effort: the frames are in the file already.
            let _ = self.file.sync_all();
            return Some(self.part);
        }
        drop(self.file);
        let _ = fs::remove_file(&self.part);
        None
    }

    fn cannot_write(&self, source: io::Error) -> FileError {
        FileError::CannotWrite {
            file: self.part.clone(),
            source,
        }
    }
}

fn open_part(name: &Path) -> io::Result<(File, PathBuf)> {
    let mut taken = None;
    for count in 1..=PARTS {
        let mut part = name.as_os_str().to_owned();
        part.push(if count == 1 {
            ".part".to_owned()
        } else {
            format!(".part{count}")
        });
        let part = PathBuf::from(part);
        match OpenOptions::new().write(true).create_new(true).open(&part) {
            Ok(file) => return Ok((file, part)),
            Err(error) if error.kind() == io::ErrorKind::AlreadyExists => taken = Some(error),
            Err(error) => return Err(error),
        }
    }
    Err(taken.unwrap_or_else(|| io::ErrorKind::AlreadyExists.into()))
}

/// Writes `bytes` to `name` by way of a part, like a log file; replaces what is there.
///
/// # Errors
/// [`FileError::CannotWrite`].
pub fn replace(name: &Path, bytes: &[u8]) -> Result<(), FileError> {
    let mut writer = LogWriter::create(name, true)?;
    writer.append(&RawFrame(bytes.to_vec()))?;
    writer.finish()
}

#[cfg(unix)]
fn sync_folder(name: &Path) {
    let folder = match name.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    };
    // The file is on the disk; a folder that cannot be synced is no reason to fail.
    if let Ok(folder) = File::open(folder) {
        let _ = folder.sync_all();
    }
}

#[cfg(not(unix))]
fn sync_folder(_name: &Path) {}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_name_is_taken_only_when_the_file_is_whole() {
        let folder = tempfile::tempdir().unwrap();
        let name = folder.path().join("a.slotlog");
        let mut writer = LogWriter::create(&name, false).unwrap();
        writer.append(&RawFrame(vec![1, 2, 0])).unwrap();
        assert!(!name.exists());
        writer.finish().unwrap();
        assert_eq!(fs::read(&name).unwrap(), [1, 2, 0]);
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1);
    }

    #[test]
    fn a_file_that_is_there_is_not_replaced_without_force() {
        let folder = tempfile::tempdir().unwrap();
        let name = folder.path().join("a.slotlog");
        fs::write(&name, b"old").unwrap();
        let error = LogWriter::create(&name, false).unwrap_err();
        assert!(matches!(error, FileError::Exists { .. }));
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1);

        let mut writer = LogWriter::create(&name, true).unwrap();
        writer.append(&RawFrame(vec![7])).unwrap();
        assert_eq!(fs::read(&name).unwrap(), b"old");
        writer.finish().unwrap();
        assert_eq!(fs::read(&name).unwrap(), [7]);
    }

    #[test]
    fn a_name_taken_during_the_pull_is_not_replaced() {
        let folder = tempfile::tempdir().unwrap();
        let name = folder.path().join("a.slotlog");
        let mut writer = LogWriter::create(&name, false).unwrap();
        writer.append(&RawFrame(vec![7])).unwrap();
        fs::write(&name, b"other").unwrap();
        let part = writer.part().to_owned();
        assert!(matches!(writer.finish(), Err(FileError::Exists { .. })));
        assert_eq!(fs::read(&name).unwrap(), b"other");
        assert_eq!(fs::read(&part).unwrap(), [7]);
    }

    #[test]
    fn an_earlier_part_is_left_alone_and_an_empty_one_goes_away() {
        let folder = tempfile::tempdir().unwrap();
        let name = folder.path().join("a.slotlog");
        let mut broken = LogWriter::create(&name, false).unwrap();
        broken.append(&RawFrame(vec![1])).unwrap();
        let kept = broken.abandon().unwrap();
        let second = LogWriter::create(&name, false).unwrap();
        assert_ne!(second.part(), kept);
        assert_eq!(second.abandon(), None);
        assert_eq!(fs::read(&kept).unwrap(), [1]);
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1);
    }

    #[test]
    fn a_folder_that_is_not_there_is_an_error_with_the_name() {
        let folder = tempfile::tempdir().unwrap();
        let name = folder.path().join("no").join("a.slotlog");
        let error = LogWriter::create(&name, false).unwrap_err();
        assert!(error.to_string().contains("a.slotlog"), "{error}");
    }
}
