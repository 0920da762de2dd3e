//! Settings of an office: what stands in a file need not be typed with every command.
//!
//! The file is the one that `SLOTWISE_CONFIG` names (empty: none), else `slotwise/slotwise.toml` in
//! the folder where this system keeps settings (`~/.config`, on Windows the roaming application
//! data). All it can do is give options a default: what is typed wins, and `--help` shows the
//! default that holds.

use std::path::{Path, PathBuf};

use clap::{Command, ValueEnum as _};
use etcetera::BaseStrategy as _;
use serde::Deserialize;

use crate::archive::server_of;
use crate::cli::Band;
use crate::error::FileError;

/// Names the file instead of the usual one.
pub const VARIABLE: &str = "SLOTWISE_CONFIG";

/// Options of the same name that mean something else: a pull goes to an archive only when asked
/// to, and the port of `serve` is one of the network.
const OTHERS: [(&str, &str); 2] = [("pull", "archive"), ("serve", "port")];

/// What the file may hold; every key is optional.
#[derive(Clone, Debug, Default, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Settings {
    /// The archive, from the file's own folder on where it is not absolute.
    pub archive: Option<PathBuf>,
    /// Name of the office on reports.
    pub prepared_by: Option<String>,
    /// Name of the office in a Parquet export.
    pub office: Option<String>,
    /// The supply band, by its name on the command line.
    pub band: Option<String>,
    /// The tester's port.
    pub port: Option<String>,
}

impl Settings {
    /// Reads the file, if there is one.
    ///
    /// # Errors
    /// A file that is named and not there, or that cannot be understood.
    pub fn load() -> Result<Self, FileError> {
        match std::env::var_os(VARIABLE) {
            Some(named) if named.is_empty() => Ok(Self::default()),
            Some(named) => Self::read(Path::new(&named)),
            None => match usual() {
                Some(file) if file.is_file() => Self::read(&file),
                _ => Ok(Self::default()),
            },
        }
    }

    fn read(file: &Path) -> Result<Self, FileError> {
        let text = std::fs::read_to_string(file).map_err(|source| FileError::Unreadable {
            file: file.to_owned(),
            source,
        })?;
        let wrong = |what: String| FileError::Settings {
            file: file.to_owned(),
            what,
        };
        let mut settings: Self =
            toml::from_str(&text).map_err(|error| wrong(error.to_string().trim().to_owned()))?;
        if let Some(band) = &settings.band
            && Band::from_str(band, false).is_err()
        {
            let known: Vec<String> = Band::value_variants()
                .iter()
                .filter_map(Band::to_possible_value)
                .map(|known| known.get_name().to_owned())
                .collect();
            let known = known.join(", ");
            return Err(wrong(format!("band = \"{band}\": known are {known}")));
        }
        if let (Some(archive), Some(folder)) = (&mut settings.archive, file.parent()) {
            // The address of a server is none of its folder's.
            if server_of(archive).is_none() {
                *archive = folder.join(&archive);
            }
        }
        Ok(settings)
    }

    /// Gives the options of `command` and all commands under it their defaults.
    #[must_use]
    pub fn apply(&self, command: Command) -> Command {
        let text = |path: &PathBuf| path.clone().into_os_string();
        let defaults = [
            ("archive", self.archive.as_ref().map(text)),
            ("prepared_by", self.prepared_by.clone().map(Into::into)),
            ("office", self.office.clone().map(Into::into)),
            ("band", self.band.clone().map(Into::into)),
            ("port", self.port.clone().map(Into::into)),
        ];
        let mut command = command.mut_subcommands(|sub| self.apply(sub));
        for (id, value) in defaults {
            let is_other = OTHERS.contains(&(command.get_name(), id));
            let has_it = command.get_arguments().any(|arg| arg.get_id() == id);
            if let (Some(value), true, false) = (value, has_it, is_other) {
                command = command.mut_arg(id, |arg| arg.default_value(value).required(false));
            }
        }
        command
    }
}

fn usual() -> Option<PathBuf> {
    let base = etcetera::choose_base_strategy().ok()?;
    Some(base.config_dir().join("slotwise").join("slotwise.toml"))
}
