//! A recorded waveform through the tester's front end and its own test sequence.
//!
//! The tester is one with nominal parts and the usual noise. The record made is the one that a
//! tester would keep, with the verdict under the limits asked for.

use slotwise_core::limits::{BandSet, Limits};
use slotwise_core::record::{Body, Digest, Record, RecordNumber, Test, TesterId, Version};
use slotwise_core::sample::FRAMES_PER_SECOND;
use slotwise_core::slots::ClipTarget;
use slotwise_core::stimulus::Applied;
use slotwise_core::units::{Millis, Volts};
use slotwise_firmware::sequence::{Event, Sequence};
use slotwise_virtual::board::calibrate;
use slotwise_virtual::front_end::{
    FrameSource as _, FrontEnd, Repeat, SlotColumns, SlotWaveform, WaveformSource,
};
use slotwise_virtual::tester::Specimen;

use crate::chain::ChainLink;
use crate::error::{Error, SamplesError};
use crate::report::{Item, Origin, Report};
use crate::samples::Recording;
use crate::texts::English;

/// Seconds that a whole test takes: ten windows of 0.2 s, and one for tuning.
const SECONDS: f64 = 2.2;

/// Seconds after which the sequence must have given a record.
const PATIENCE: u64 = 10;

/// What is to be played, and how.
#[derive(Clone, Copy, Debug)]
pub struct Play<'p> {
    /// Name for messages.
    pub name: &'p str,
    /// Samples a second.
    pub rate: f64,
    /// Play it end to end until it is long enough.
    pub repeat: bool,
    /// What the clip was on.
    pub clip: ClipTarget,
    /// Band to judge under.
    pub band: BandSet,
}

/// Judges `recording`.
///
/// # Errors
/// [`SamplesError::TooShort`], or a front end that does not start.
pub fn judge(recording: Recording, play: Play<'_>) -> Result<Report, Error> {
    let seconds = recording.nw.len() as f64 / play.rate;
    if seconds < SECONDS && !play.repeat {
        return Err(SamplesError::TooShort {
            file: play.name.to_owned(),
            got: seconds,
            needed: SECONDS,
        }
        .into());
    }
    let test = test_of(recording, play)?;
    let record = Record {
        number: RecordNumber::FIRST,
        previous: Digest::default(),
        tester: TesterId(0),
        firmware: Version {
            major: 0,
            minor: 0,
            patch: 0,
        },
        boot: 0,
        at: Millis::default(),
        clock: None,
        body: Body::Test(test),
    };
    Ok(Report {
        source: play.name.to_owned(),
        origin: Origin::Recording,
        hello: None,
        band: Some(play.band),
        items: vec![Item {
            number: record.number,
            place: None,
            record: Ok(Box::new(record)),
            link: ChainLink::First,
            again: None,
        }],
        damages: Vec::new(),
        language: &English,
    })
}

fn test_of(recording: Recording, play: Play<'_>) -> Result<Test, Error> {
    let columns = SlotColumns {
        rate: play.rate,
        nw: Some(recording.nw),
        gw: Some(recording.gw),
        ng: None,
        cw: recording.cw,
    };
    let bench = |text: String| Error::Bench(text);
    let waveform =
        SlotWaveform::new(columns, Volts::ZERO).map_err(|error| bench(error.to_string()))?;
    let specimen = Specimen::nominal(1);
    let repeat = if play.repeat {
        Repeat::Looped
    } else {
        Repeat::Once
    };
    let source = WaveformSource::new(&specimen, waveform, repeat, 0);
    let calibration = calibrate(&specimen);
    let mut front_end = FrontEnd::new(specimen, Box::new(source));
    let mut sequence =
        Sequence::new(Some(calibration), Limits::with_band(play.band)).without_outputs();
    sequence.start(play.clip);
    for number in 0..PATIENCE * u64::from(FRAMES_PER_SECOND) {
        if let Some(Event::Ended { test, .. }) =
            sequence.frame(Ok(front_end.frame(number)), Applied::Nothing)
        {
            return Ok(test);
        }
    }
    Err(bench("the test did not end".to_owned()))
}
