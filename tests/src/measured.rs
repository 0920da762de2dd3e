//! Runs the test sequence on frames of the virtual front end, without chips between: the
//! shortest way from a receptacle to a verdict.

use slotwise_core::calibration::{Calibration, ChannelCalibration};
use slotwise_core::front_end::NOMINAL_VOLTS_PER_CODE;
use slotwise_core::limits::Limits;
use slotwise_core::record::Test;
use slotwise_core::slots::{ClipTarget, Lead};
use slotwise_core::units::{Celsius, Millis, Ohms, Ratio, UnixSeconds};
use slotwise_firmware::sequence::{Event, Sequence};
use slotwise_virtual::front_end::{FrameSource, FrontEnd, PhasorSource};
use slotwise_virtual::house::{Receptacle, Truth};
use slotwise_virtual::tester::Specimen;

/// Hertz low enough that filter and converter take nothing off: 3e-12 at most.
const NEARLY_DC: f64 = 0.01;

/// A calibration without error of `specimen`, as if done with a perfect reference. Its stated
/// uncertainty is that of a 0.1 % reference all the same.
#[must_use]
pub fn calibration(specimen: &Specimen) -> Calibration {
    Calibration {
        channels: Lead::ALL.map(|lead| ChannelCalibration {
            offset: specimen.offset_code(lead).round() as i32,
            gain: specimen.true_gain_at(lead, NEARLY_DC) / NOMINAL_VOLTS_PER_CODE,
        }),
        u_gain: Ratio::new(0.0011),
        reference: Ohms::new(10.0),
        done: UnixSeconds::new(1_790_000_000),
        temperature: Celsius::new(23.0),
    }
}

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
    let mut sequence = Sequence::new(Some(calibration(specimen)), Limits::DEFAULT);
    sequence.start(clip);
    let mut first_answer = None;
    for number in 0..20_000 {
        match sequence.frame(Ok(front_end.frame(number))) {
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
            Some(Event::Unplugged) | None => {}
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
