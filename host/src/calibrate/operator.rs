//! Who stands at the bench: connects what a step asks for, reads the meter, confirms.

use slotwise_core::calibration::limiters::Limiters;
use slotwise_core::calibration::raw::RawMeasure;
use slotwise_core::calibration::step::StepFault;
use slotwise_core::units::Volts;

use super::{Passing, Step};
use crate::error::Error;

/// What the person said to a step.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Given {
    /// It is connected.
    Ready,
    /// It is connected, and the meter shows this.
    Voltage(Volts),
    /// End the calibration.
    Abort,
}

/// The person at the bench.
pub trait Operator {
    /// Asks what the limiters of the drive let through, steps 15a and 15b of the hardware's checks,
    /// measured on this day. `None`: end the calibration.
    ///
    /// # Errors
    /// Where nobody can be asked.
    fn limiters(&mut self) -> Result<Option<Limiters>, Error>;

    /// Asks for what `step` needs. Called again where nothing has to be changed, too: the same
    /// step may be measured in more than one way.
    ///
    /// # Errors
    /// Where nobody can be asked.
    fn connect(&mut self, step: Step) -> Result<Given, Error>;

    /// A reading has begun.
    ///
    /// # Errors
    /// Where nothing can be said.
    fn measuring(&mut self, how: RawMeasure) -> Result<(), Error>;

    /// The reading of `step` can be right.
    ///
    /// # Errors
    /// Where nothing can be said.
    fn right(&mut self, step: Step) -> Result<(), Error>;

    /// The reading of `step` cannot be right, so it will be asked for again.
    ///
    /// # Errors
    /// Where nothing can be said.
    fn wrong(&mut self, step: Step, fault: &StepFault) -> Result<(), Error>;

    /// Shows what was worked out and measured again; whether to store it.
    ///
    /// # Errors
    /// Where nobody can be asked.
    fn confirm(&mut self, passing: &Passing) -> Result<bool, Error>;
}
