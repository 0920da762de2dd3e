//! Runs the test sequence on frames of the virtual front end, without chips between: the
//! shortest way from a receptacle to a verdict.

use slotwise_core::limits::Limits;
use slotwise_core::record::Test;
use slotwise_core::slots::ClipTarget;
use slotwise_core::stimulus::Applied;
use slotwise_core::units::Millis;
use slotwise_firmware::sequence::{Event, Sequence};
use slotwise_virtual::board::calibrate;
use slotwise_virtual::front_end::{FrameSource, FrontEnd, PhasorSource};
use slotwise_virtual::house::{Receptacle, Truth};
use slotwise_virtual::tester::Specimen;

/// The first test at `receptacle` with the clip on `clip`: what it said, when its first answer
/// stood, and what is true.
///
/// # Panics
/// If the receptacle has no solution, or no test ends within five seconds of frames.
#[must_use]
pub fn first_test(specimen: &Specimen, receptacle: &Receptacle, clip: ClipTarget) -> Measured {
    let source = PhasorSource::plugged(specimen, receptacle).expect("the receptacle is solved");
    let truth = source.truth(0).expect("the tester is plugged in");
    let mut front_end = FrontEnd::new(specimen.clone(), Box::new(source));
    let mut sequence = Sequence::new(Some(calibrate(specimen)), Limits::DEFAULT).without_outputs();
    sequence.start(clip);
    let mut first_answer = None;
    for number in 0..20_000 {
        match sequence.frame(Ok(front_end.frame(number)), Applied::Nothing) {
            Some(Event::Answer { .. }) => {
                first_answer.get_or_insert(sequence.at());
            }
            Some(Event::Ended { test, .. }) => {
                return Measured {
                    test,
                    first_answer,
                    truth,
                };
            }
            _ => {}
        }
    }
    panic!("no test ended within five seconds");
}

/// What one test said, and what is true.
#[derive(Clone, Debug)]
pub struct Measured {
    /// Evidence, verdict and waveform.
    pub test: Test,
    /// Time of the first answer.
    pub first_answer: Option<Millis>,
    /// The voltages that truly stand between the slots.
    pub truth: Truth,
}
