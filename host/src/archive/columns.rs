//! The values of a record that the archive holds beside its bytes. They are worked out from the
//! bytes alone, so that `verify` can work them out again.

use slotwise_core::evidence::{Evidence, Measured, Missing, Reading};
use slotwise_core::record::{Body, Digest, RecordNumber, TesterId, decode};

use super::Made;
use crate::texts::codes;

/// What is measured, in the order of the columns, and its unit.
pub const QUANTITIES: [(&str, &str); 14] = [
    ("narrow_wide", "V"),
    ("ground_wide", "V"),
    ("narrow_ground", "V"),
    ("clip_wide", "V"),
    ("frequency", "Hz"),
    ("earth_path", "ohm"),
    ("hot_and_ground", "ohm"),
    ("neutral_and_ground", "ohm"),
    ("neutral_to_clip", "ohm"),
    ("load_step_rho", ""),
    ("watch_neutral_drop", "V"),
    ("watch_frame_shift", "V"),
    ("watch_idle", "V"),
    ("watch_highest", "V"),
];

/// A value with its standard uncertainty, where it has one, or the name of the reason why it is
/// missing.
#[derive(Clone, Debug, PartialEq)]
pub enum Cell {
    /// Measured.
    Known {
        /// The value.
        value: f32,
        /// Its standard uncertainty. `None` where the record states none.
        u: Option<f32>,
    },
    /// Not measured.
    Missing(String),
}

impl Cell {
    /// What a database gives back: the values went in from 32 bits.
    pub(super) fn known(value: f64, u: Option<f64>) -> Self {
        Self::Known {
            value: value as f32,
            u: u.map(|u| u as f32),
        }
    }
}

/// Columns of `test` in front of the quantities.
pub(super) const TEST_FIXED: [&str; 5] = ["outcome", "finding", "clip", "windows", "calibrated"];

/// The columns of `test`, each with `before` in front: fixed ones, then three a quantity.
pub(super) fn test_columns(before: &str) -> String {
    let fixed = TEST_FIXED.iter().map(|name| format!("{before}{name}"));
    let quantities = QUANTITIES
        .iter()
        .map(|(name, _)| format!("{before}{name}, {before}{name}_u, {before}{name}_missing"));
    fixed.chain(quantities).collect::<Vec<_>>().join(", ")
}

/// What kind of record.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// The tester started.
    Boot,
    /// A test.
    Test,
    /// A minute of a watch.
    WatchPage,
    /// A load step of a watch.
    WatchStep,
    /// A test of the tester by itself failed.
    SelfTest,
    /// A calibration was stored.
    Calibrated,
    /// What the limiters of the drive let through then.
    Limiters,
    /// Its bytes are kept, but this version cannot read them.
    Unread,
}

impl Kind {
    /// Every kind.
    pub const ALL: [Self; 8] = [
        Self::Boot,
        Self::Test,
        Self::WatchPage,
        Self::WatchStep,
        Self::SelfTest,
        Self::Calibrated,
        Self::Limiters,
        Self::Unread,
    ];

    /// The kind of this name; of a name that no kind has, [`Kind::Unread`].
    #[must_use]
    pub fn named(name: &str) -> Self {
        let mut known = Self::ALL.into_iter();
        known
            .find(|kind| kind.name() == name)
            .unwrap_or(Self::Unread)
    }

    /// Its name in the archive.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Boot => "boot",
            Self::Test => "test",
            Self::WatchPage => "watch-page",
            Self::WatchStep => "watch-step",
            Self::SelfTest => "self-test",
            Self::Calibrated => "calibrated",
            Self::Limiters => "limiters",
            Self::Unread => "unread",
        }
    }
}

/// The values of one test.
#[derive(Clone, Debug, PartialEq)]
pub struct TestColumns {
    /// Outcome, by its name for programs.
    pub outcome: String,
    /// The gravest finding, if there is one.
    pub finding: Option<String>,
    /// What the clip was on.
    pub clip: String,
    /// Windows behind the evidence.
    pub windows: u16,
    /// Whether the tester held a valid calibration.
    pub calibrated: bool,
    /// The values, in the order of [`QUANTITIES`].
    pub cells: [Cell; QUANTITIES.len()],
}

/// What one record's bytes say.
#[derive(Clone, Debug, PartialEq)]
pub struct Columns {
    /// What kind.
    pub kind: Kind,
    /// Why it cannot be read.
    pub unread: Option<String>,
    /// Digest of the record before.
    pub previous: Option<Digest>,
    /// When and with what.
    pub made: Option<Made>,
    /// The test, if it is one.
    pub test: Option<TestColumns>,
}

impl Columns {
    /// Reads the bytes that came as record `number` of `tester`. A record that says it is
    /// another one is unread: its place cannot be trusted.
    #[must_use]
    pub fn of(tester: TesterId, number: RecordNumber, bytes: &[u8]) -> Self {
        let record = match decode(bytes) {
            Ok(record) => record,
            Err(error) => return Self::unread(error.to_string()),
        };
        if record.number != number {
            let other = record.number.get();
            return Self::unread(format!("the record calls itself number {other}"));
        }
        if record.tester != tester {
            let other = record.tester;
            return Self::unread(format!("the record calls itself one of tester {other}"));
        }
        let (kind, test) = match &record.body {
            Body::Boot(_) | Body::Start(_) => (Kind::Boot, None),
            Body::Test(test) => {
                let evidence = &test.evidence;
                let columns = TestColumns {
                    outcome: codes::outcome(test.verdict.outcome).to_owned(),
                    finding: test
                        .verdict
                        .first()
                        .map(|finding| codes::finding(finding.code).to_owned()),
                    clip: codes::clip(evidence.clip_target).to_owned(),
                    windows: evidence.health.windows,
                    calibrated: evidence.health.calibrated,
                    cells: cells(evidence),
                };
                (Kind::Test, Some(columns))
            }
            Body::WatchPage(_) => (Kind::WatchPage, None),
            Body::WatchStep(_) => (Kind::WatchStep, None),
            Body::SelfTest(_) => (Kind::SelfTest, None),
            Body::Calibrated(_) => (Kind::Calibrated, None),
            Body::Limiters(_) => (Kind::Limiters, None),
        };
        Self {
            kind,
            unread: None,
            previous: Some(record.previous),
            made: Some(Made {
                boot: record.boot,
                millis: record.at.get(),
                clock: record.clock,
                firmware: record.firmware.to_string(),
            }),
            test,
        }
    }

    const fn unread(why: String) -> Self {
        Self {
            kind: Kind::Unread,
            unread: Some(why),
            previous: None,
            made: None,
            test: None,
        }
    }
}

fn cells(evidence: &Evidence) -> [Cell; QUANTITIES.len()] {
    let pair = |index: usize| match &evidence.slots {
        Ok(slots) => slots.pairs.get(index).map_or_else(
            || missing(Missing::NotAsked),
            |pair| {
                known(
                    pair.true_rms.get(),
                    Some(slots.uncertainty(pair.true_rms).get()),
                )
            },
        ),
        Err(reason) => missing(*reason),
    };
    let clip = match (&evidence.clip_wide, &evidence.slots) {
        (Ok(clip), Ok(slots)) => known(clip.rms.get(), Some(slots.uncertainty(clip.rms).get())),
        (Ok(_), Err(reason)) | (Err(reason), _) => missing(*reason),
    };
    let rho = match &evidence.load_step {
        Ok(step) => known(step.rho.value.get(), Some(step.rho.u.get())),
        Err(reason) => missing(*reason),
    };
    let watch = |get: fn(&slotwise_core::evidence::Watch) -> Cell| match &evidence.watch {
        Ok(watch) => get(watch),
        Err(reason) => missing(*reason),
    };
    [
        pair(0),
        pair(1),
        pair(2),
        clip,
        measured(&evidence.frequency, |r| (r.value.get(), r.u.get())),
        measured(&evidence.earth_path, |r| (r.value.get(), r.u.get())),
        measured(&evidence.hot_and_ground, |r| (r.value.get(), r.u.get())),
        measured(&evidence.neutral_and_ground, |r| (r.value.get(), r.u.get())),
        measured(&evidence.neutral_to_clip, |r| (r.value.get(), r.u.get())),
        rho,
        watch(|w| measured(&w.neutral_drop, |r| (r.value.get(), r.u.get()))),
        watch(|w| measured(&w.frame_shift, |r| (r.value.get(), r.u.get()))),
        watch(|w| known(w.idle.get(), None)),
        watch(|w| known(w.highest.get(), None)),
    ]
}

fn measured<T: Copy>(value: &Measured<T>, get: fn(Reading<T>) -> (f32, f32)) -> Cell {
    match value {
        Measured::Known(reading) => {
            let (value, u) = get(*reading);
            known(value, Some(u))
        }
        Measured::Missing(reason) => missing(*reason),
    }
}

/// A number that is none is missing: bytes of a record can spell a NaN.
fn known(value: f32, u: Option<f32>) -> Cell {
    if value.is_finite() && u.is_none_or(f32::is_finite) {
        Cell::Known { value, u }
    } else {
        Cell::Missing("not-a-number".to_owned())
    }
}

fn missing(reason: Missing) -> Cell {
    Cell::Missing(codes::missing(reason).to_owned())
}
