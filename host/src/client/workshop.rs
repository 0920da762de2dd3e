//! The requests about calibration and clock.

use slotwise_core::link::{Reply, Request, WorkshopRefusal, WorkshopReply, WorkshopRequest};
use slotwise_core::units::UnixSeconds;

use super::Client;
use crate::error::LinkError;

/// So often a time is offered anew where the token does not fit, as after a lost answer.
const TRIES: u32 = 3;

impl Client {
    /// Asks something about calibration or clock.
    ///
    /// # Errors
    /// Any [`LinkError`] but `Stopped`; a refusal of the workshop is an answer.
    pub fn workshop(&mut self, request: WorkshopRequest) -> Result<WorkshopReply, LinkError> {
        let request = Request::Workshop(request);
        self.ask("calibration and clock", request, |reply| match reply {
            Reply::Workshop(reply) => Some(reply),
            _ => None,
        })
        .map(|(reply, _)| reply)
    }

    /// That the tester's answer does not fit what was asked.
    #[must_use]
    pub fn does_not_fit(&self, asked: &'static str) -> LinkError {
        LinkError::Unexpected {
            line: self.name.clone(),
            asked,
        }
    }

    /// Sets the tester's clock, in two steps: it is offered, and set when the token comes back.
    ///
    /// # Errors
    /// As [`Self::workshop`]; a refusal of the tester is a value.
    pub fn set_clock(
        &mut self,
        clock: UnixSeconds,
    ) -> Result<Result<(), WorkshopRefusal>, LinkError> {
        for _ in 0..TRIES {
            let token = match self.workshop(WorkshopRequest::OfferClock { clock })? {
                WorkshopReply::Offered { token } => token,
                WorkshopReply::Refused(why) => return Ok(Err(why)),
                _ => return Err(self.does_not_fit("offer the time")),
            };
            match self.workshop(WorkshopRequest::SetClock { token })? {
                WorkshopReply::Done => return Ok(Ok(())),
                WorkshopReply::Refused(WorkshopRefusal::Token) => {}
                WorkshopReply::Refused(why) => return Ok(Err(why)),
                _ => return Err(self.does_not_fit("set the clock")),
            }
        }
        Ok(Err(WorkshopRefusal::Token))
    }
}
