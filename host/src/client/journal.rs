//! The requests about the tester's journal: how it stands, confirming a pull, freeing in two
//! steps.

use slotwise_core::link::{JournalReply, JournalReport, JournalRequest, Reply, Request};
use slotwise_core::record::RecordNumber;

use super::{Client, Verified};
use crate::error::LinkError;

impl Client {
    /// Asks how the tester's journal stands.
    ///
    /// # Errors
    /// [`LinkError::Refused`] as not understood by an older tester; any other but `Stopped`.
    pub fn journal(&mut self) -> Result<JournalReport, LinkError> {
        self.ask_for_report("journal", JournalRequest::Report)
    }

    /// Tells the tester that every record up to this one is held and verified.
    ///
    /// # Errors
    /// [`LinkError::Journal`] if its bytes are others or it cannot remember; any other but
    /// `Stopped`.
    pub fn confirm(&mut self, verified: Verified) -> Result<JournalReport, LinkError> {
        let Verified { upto, digest } = verified;
        self.ask_for_report("confirm", JournalRequest::Confirm { upto, digest })
    }

    /// Asks for a token to free what is confirmed; returns up to which record, and the token.
    ///
    /// # Errors
    /// [`LinkError::Journal`] if there is nothing to free; any other but `Stopped`.
    pub fn offer_free(&mut self) -> Result<(RecordNumber, u32), LinkError> {
        match self.ask_journal("offer to free", JournalRequest::OfferFree)? {
            JournalReply::Offered { upto, token } => Ok((upto, token)),
            _ => Err(self.unexpected("offer to free")),
        }
    }

    /// Frees the records up to the one that was offered.
    ///
    /// # Errors
    /// [`LinkError::Journal`] if the offer is over or was another; any other but `Stopped`.
    pub fn free(&mut self, upto: RecordNumber, token: u32) -> Result<JournalReport, LinkError> {
        let freed = self.ask_for_report("free", JournalRequest::Free { upto, token });
        // The answer may have been lost and the question asked again: then it is done, and the
        // token is used up.
        if matches!(freed, Err(LinkError::Journal { .. }))
            && let Ok(report) = self.journal()
            && report.freed.is_some_and(|freed| freed >= upto)
        {
            return Ok(report);
        }
        freed
    }

    fn ask_for_report(
        &mut self,
        asked: &'static str,
        request: JournalRequest,
    ) -> Result<JournalReport, LinkError> {
        match self.ask_journal(asked, request)? {
            JournalReply::Report(report) => Ok(report),
            _ => Err(self.unexpected(asked)),
        }
    }

    fn ask_journal(
        &mut self,
        asked: &'static str,
        request: JournalRequest,
    ) -> Result<JournalReply, LinkError> {
        let request = Request::Journal(request);
        let (reply, _) = self.ask(asked, request, |reply| match reply {
            Reply::Journal(reply) => Some(reply),
            _ => None,
        })?;
        match reply {
            JournalReply::Refused(reason) => Err(LinkError::Journal {
                line: self.name.clone(),
                reason,
            }),
            reply => Ok(reply),
        }
    }

    fn unexpected(&self, asked: &'static str) -> LinkError {
        LinkError::Unexpected {
            line: self.name.clone(),
            asked,
        }
    }
}
