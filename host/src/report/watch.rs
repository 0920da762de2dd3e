//! Records that are no test, in words and as values: a start, a minute of a load-cycle watch, a
//! load step of one, a failed test of the tester by itself, a calibration.

use serde::Serialize;
use slotwise_core::calibration::Calibration;
use slotwise_core::load_step::Level;
use slotwise_core::record::Body;
use slotwise_core::slots::LEADS;
use slotwise_core::watch::{Page, Second, Span, StepWave};

use crate::texts::{Language, codes};

/// What happened, in words; empty for a test.
pub(super) fn what(language: &dyn Language, body: &Body) -> String {
    match body {
        Body::Boot(cause) => language.boot(*cause).to_owned(),
        Body::Start(start) => language.start(start),
        Body::Test(_) => String::new(),
        Body::WatchPage(page) => {
            let seconds = u16::try_from(page.seconds.len()).unwrap_or(u16::MAX);
            language.watch_page(page.first, page.first.saturating_add(seconds))
        }
        Body::WatchStep(step) => language.watch_step(step.number, step.at, step.sag),
        Body::SelfTest(failure) => language.self_test(*failure),
        Body::Calibrated(event) => language.calibrated(event),
        Body::Limiters(limiters) => language.limiters(limiters),
    }
}

/// What a load-cycle watch saw, which test of itself the tester failed, or its calibration, as
/// values.
#[derive(Serialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub(super) enum Seen {
    WatchMinute {
        first_second: u16,
        clip: &'static str,
        seconds: Vec<Option<SecondEntry>>,
    },
    WatchStep {
        step: u16,
        at_seconds: f64,
        sag_volts: f32,
        narrow_wide_change_volts: f32,
        ground_wide_change_volts: f32,
        clip_wide_change_volts: Option<f32>,
    },
    SelfTest {
        failed: &'static str,
    },
    Calibrated {
        now: Box<CalibrationEntry>,
        /// Null if none stood before.
        before: Option<Box<CalibrationEntry>>,
        /// The largest change of a channel's gain since then, as a share.
        largest_gain_change: Option<f32>,
    },
    /// Both ways round.
    Limiters {
        to_ground_amperes: [f32; 2],
        to_clip_amperes: [f32; 2],
    },
}

/// A calibration.
#[derive(Serialize)]
pub(super) struct CalibrationEntry {
    done_unix_seconds: u64,
    until_unix_seconds: u64,
    temperature_celsius: f32,
    /// Standard uncertainty, common to all channels, as a share.
    gain_u: f32,
    reference_ohms: f32,
    channels: [ChannelEntry; LEADS],
}

#[derive(Clone, Copy, Serialize)]
struct ChannelEntry {
    offset_codes: i32,
    /// 1 is nominal.
    gain: f64,
}

impl CalibrationEntry {
    fn of(calibration: &Calibration) -> Box<Self> {
        let stamp = calibration.stamp();
        Box::new(Self {
            done_unix_seconds: stamp.done.get(),
            until_unix_seconds: stamp.until.get(),
            temperature_celsius: stamp.temperature.get(),
            gain_u: stamp.u_gain.get(),
            reference_ohms: calibration.reference.get(),
            channels: calibration.channels.map(|channel| ChannelEntry {
                offset_codes: channel.offset,
                gain: channel.gain,
            }),
        })
    }
}

/// Least, mean and greatest volts of a second.
#[derive(Serialize)]
pub(super) struct SecondEntry {
    narrow_wide: [f32; 3],
    ground_wide: [f32; 3],
    clip_wide: Option<[f32; 3]>,
}

impl Seen {
    /// None for a start and a test, which have entries of their own.
    pub(super) fn of(body: &Body) -> Option<Self> {
        match body {
            Body::Boot(_) | Body::Start(_) | Body::Test(_) => None,
            Body::SelfTest(failure) => Some(Self::SelfTest {
                failed: codes::self_test(*failure),
            }),
            Body::Calibrated(event) => Some(Self::Calibrated {
                now: CalibrationEntry::of(&event.now),
                before: event.before.as_ref().map(CalibrationEntry::of),
                largest_gain_change: event.largest_gain_change().map(|change| change.get()),
            }),
            Body::Limiters(limiters) => Some(Self::Limiters {
                to_ground_amperes: limiters.to_ground.map(|current| current.get()),
                to_clip_amperes: limiters.to_clip.map(|current| current.get()),
            }),
            Body::WatchPage(page) => Some(Self::minute(page)),
            Body::WatchStep(step) => Some(Self::step(step)),
        }
    }

    fn minute(page: &Page) -> Self {
        Self::WatchMinute {
            first_second: page.first,
            clip: codes::clip(page.clip_target),
            seconds: page
                .seconds
                .iter()
                .map(|second| second.as_ref().map(SecondEntry::of))
                .collect(),
        }
    }

    fn step(step: &StepWave) -> Self {
        Self::WatchStep {
            step: step.number,
            at_seconds: step.at.get() as f64 / 1000.0,
            sag_volts: step.sag.get(),
            narrow_wide_change_volts: step.narrow_wide.rms.get(),
            ground_wide_change_volts: step.ground_wide.rms.get(),
            clip_wide_change_volts: step.clip_wide.map(|clip| clip.rms.get()),
        }
    }
}

impl SecondEntry {
    fn of(second: &Second) -> Self {
        let span = |span: &Span| [span.least, span.mean, span.greatest].map(volts);
        Self {
            narrow_wide: span(&second.narrow_wide),
            ground_wide: span(&second.ground_wide),
            clip_wide: second.clip_wide.as_ref().map(span),
        }
    }
}

fn volts(level: Level) -> f32 {
    level.volts().get()
}
