//! After a pull: tells the tester that its records are verified, and frees the room if that was
//! asked for.
//!
//! What is verified is what is kept, read back: the file, or the archive after it has committed.
//! Without `--free` a tester that cannot be told is no failure of the pull: what came is whole.

use slotwise_core::link::{JournalRefusal, JournalReport, Refusal};
use slotwise_core::record::RecordNumber;

use super::note;
use crate::client::{Client, NotVerified, verify};
use crate::error::{Error, LinkError};
use crate::exit::Exit;
use crate::log_file::LogFile;

/// How far the tester has been told, and freed.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Cleared {
    pub(super) verified: Option<RecordNumber>,
    pub(super) freed: Option<RecordNumber>,
    /// How that ended.
    pub(super) exit: Option<Exit>,
}

/// Confirms what `kept` reads back for a journal that stands so, and frees what is confirmed if
/// `free` is set.
///
/// # Errors
/// With `free`: the line or the tester. That of `kept`.
pub(super) fn clear(
    client: &mut Client,
    kept: impl FnOnce(&JournalReport) -> Result<LogFile, Error>,
    free: bool,
    quiet: bool,
) -> Result<Cleared, Error> {
    match confirm(client, kept) {
        Ok(mut cleared) => {
            if free && cleared.exit.is_none() {
                cleared.freed = free_confirmed(client, cleared.verified)?;
            } else if free {
                note("nothing was freed in the tester");
            }
            Ok(cleared)
        }
        Err(error) if free => Err(error),
        // An older tester knows no such question.
        Err(Error::Link(LinkError::Refused {
            reason: Refusal::NotUnderstood,
            ..
        })) => Ok(Cleared::default()),
        Err(Error::Link(error)) => {
            if !quiet {
                note(&format!(
                    "what was pulled is whole, but the tester could not be told so: {error}"
                ));
            }
            Ok(Cleared::default())
        }
        Err(error) => Err(error),
    }
}

fn confirm(
    client: &mut Client,
    kept: impl FnOnce(&JournalReport) -> Result<LogFile, Error>,
) -> Result<Cleared, Error> {
    let report = client.journal()?;
    if report.passed_over > 0 {
        note(&format!(
            "{} of {} parts of the tester's log memory are worn out and passed over; \
             no record is lost by it",
            report.passed_over, report.sectors.1
        ));
    }
    match verify(&kept(&report)?, &report) {
        Ok(verified) => Ok(Cleared {
            verified: client.confirm(verified)?.confirmed,
            ..Cleared::default()
        }),
        // Nothing new: what was verified before still holds.
        Err(NotVerified::Empty) => Ok(Cleared {
            verified: report.confirmed,
            ..Cleared::default()
        }),
        Err(reason) => {
            note(&format!("what was pulled is not verified: {reason}"));
            Ok(Cleared {
                verified: report.confirmed,
                freed: report.freed,
                exit: Some(Exit::File),
            })
        }
    }
}

/// Two steps: the tester offers what it holds confirmed, and only that is asked for.
fn free_confirmed(
    client: &mut Client,
    verified: Option<RecordNumber>,
) -> Result<Option<RecordNumber>, Error> {
    let (upto, token) = match client.offer_free() {
        Ok(offer) => offer,
        Err(LinkError::Journal {
            reason: JournalRefusal::NothingToFree,
            ..
        }) => return Ok(client.journal()?.freed),
        Err(error) => return Err(error.into()),
    };
    if verified.is_none_or(|verified| verified < upto) {
        // Somebody else confirmed more meanwhile; what this program did not see stays.
        note("another program is at this tester; nothing was freed");
        return Ok(None);
    }
    Ok(client.free(upto, token)?.freed)
}
