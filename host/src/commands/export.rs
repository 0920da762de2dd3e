//! `export`: the tests of an archive, to a file, to standard output, or to folders of Parquet.

use std::io::{self, BufWriter, Write};
use std::path::Path;

use super::progress::{Of, Progress};
use super::{note, out};
use crate::archive::{self, Archive, ArchiveError, Wanted};
use crate::cli::ExportArgs;
use crate::client::RawFrame;
use crate::error::Error;
use crate::exit::Exit;
use crate::export::{Form, SCHEMA, export, export_told};
#[cfg(feature = "parquet")]
use crate::export::{export_parquet, folder_of};
use crate::log_file::LogWriter;

/// Bytes that are written at a time.
const CHUNK: usize = 64 * 1024;

/// Runs `export`.
///
/// # Errors
/// An archive that cannot be read, a file that cannot be written.
pub(super) fn run(args: &ExportArgs) -> Result<Exit, Error> {
    let file = match &args.archive {
        Some(file) if !args.schema => file,
        _ => {
            out(SCHEMA)?;
            return Ok(Exit::Done);
        }
    };
    let archive = archive::open(file)?;
    #[cfg(feature = "parquet")]
    if let Some(folder) = &args.parquet {
        let office = args.office.as_deref().unwrap_or_default();
        let bar = Progress::begin(Of::Tests, archive.counts()?.tests, false);
        let exported = export_parquet(archive.as_ref(), folder, office, &mut |done| bar.at(done))?;
        drop(bar);
        note(&format!(
            "{} tests are in {}, files: {}",
            exported.tests,
            folder.join(folder_of(office)?).display(),
            exported.files
        ));
        return Ok(Exit::Done);
    }
    let wanted = Wanted {
        site: args.site.clone(),
        tester: args.tester,
    };
    let form = if args.csv { Form::Csv } else { Form::Json };
    match &args.out {
        Some(to) => to_file(archive.as_ref(), &wanted, form, to, args.force),
        None => to_stdout(archive.as_ref(), &wanted, form),
    }
}

fn to_stdout(archive: &dyn Archive, wanted: &Wanted, form: Form) -> Result<Exit, Error> {
    // Not a terminal stream: a value must not be taken for a colour and stripped.
    let stdout = BufWriter::with_capacity(CHUNK, io::stdout().lock());
    match export(archive, wanted, form, stdout) {
        // A reader that has seen enough.
        Err(ArchiveError::Output(error)) if error.kind() == io::ErrorKind::BrokenPipe => {}
        Err(ArchiveError::Output(error)) => return Err(Error::Output(error)),
        Err(error) => return Err(error.into()),
        Ok(_) => {}
    }
    Ok(Exit::Done)
}

fn to_file(
    archive: &dyn Archive,
    wanted: &Wanted,
    form: Form,
    to: &Path,
    force: bool,
) -> Result<Exit, Error> {
    let mut writer = LogWriter::create(to, force)?;
    let part = Part(&mut writer);
    let buffer = BufWriter::with_capacity(CHUNK, part);
    // Of how many is only known where all are wanted.
    let all = archive.counts()?.tests;
    let bar = Progress::begin(Of::Tests, all, *wanted != Wanted::default());
    let written = export_told(archive, wanted, form, buffer, &mut |done| bar.at(done));
    drop(bar);
    match written {
        Ok(count) => {
            writer.finish()?;
            note(&format!("{count} tests are in {}", to.display()));
            Ok(Exit::Done)
        }
        Err(error) => {
            if let Some(part) = writer.abandon() {
                // Half an export looks like a whole one.
                let _ = std::fs::remove_file(part);
            }
            Err(error.into())
        }
    }
}

/// A file in the making, as something to write to.
struct Part<'w>(&'w mut LogWriter);

impl Write for Part<'_> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.0
            .append(&RawFrame(bytes.to_vec()))
            .map_err(io::Error::other)?;
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}
