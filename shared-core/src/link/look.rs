//! A look: what the tester sees now, for a live view on the host.
//!
//! A record is made once a test; a look may be asked for at any time, a few times a second. It
//! carries the newest values with their uncertainty, or the reason why one is missing, the
//! latest answer and the lamps. Nothing in it is judged again by the host.
//!
//! The order of variants and fields is the wire format: only append.

use serde::{Deserialize, Serialize};

use crate::evidence::{Evidence, LoadStep, Measured, Missing, Reading};
use crate::finding::Finding;
use crate::lamps::Panel;
use crate::slots::ClipTarget;
use crate::units::{Hertz, Millis, Ohms, Volts};
use crate::verdict::{Outcome, Unproven, Verdict};

/// Most bytes of a look in a message, by postcard's wire format: a variant 1, an `f32` 4, a
/// `u16` at most 3, a `u32` 5, a `u64` 10 bytes, and 1 for which of `Some`, `Ok` or `Known` it
/// is.
pub const MAX_LOOK: usize = {
    const F32: usize = 4;
    const READING: usize = 2 * F32;
    const MEASURED: usize = 1 + READING;
    let times = 10 + 1 + 5;
    let panel = 6;
    // Outcome, three flags, and a finding of code, rivals (a `u64`) and next check.
    let answer = 1 + 1 + 3 + (1 + 1 + 10 + 1);
    // Clip target, three slot pairs under one `Ok`, the clip.
    let voltages = 1 + (1 + 3 * READING) + MEASURED;
    let frequency_and_resistances = 4 * MEASURED;
    let load_step = 1 + READING + F32 + 3 + F32;
    let watch = 1 + 3 + 3 + 2 * MEASURED;
    times + panel + answer + voltages + frequency_and_resistances + load_step + watch
};

/// What comes before it in a reply: sequence number and variant.
const ENVELOPE: usize = 3 + 1;

const _: () = assert!(MAX_LOOK + ENVELOPE <= super::MAX_MESSAGE);

/// What the tester is doing.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Phase {
    /// Testing how the slots are wired.
    Wiring,
    /// Testing the earth path.
    EarthPath,
    /// Testing neutral and ground together.
    NeutralAndGround,
    /// The test is over; watching steadily.
    Steady,
    /// A load-cycle watch is running.
    LoadCycle,
    /// Waiting for voltage.
    Waiting,
    /// The tester is not fit to answer.
    TesterFault,
    /// Power off: testing from the neutral to what the clip is on.
    NeutralToClip,
}

/// The latest answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Answer {
    /// What may be said.
    pub outcome: Outcome,
    /// The gravest finding. [`None`] only where there is none.
    pub finding: Option<Finding>,
    /// What is not yet proven.
    pub unproven: Unproven,
}

impl From<&Verdict> for Answer {
    fn from(verdict: &Verdict) -> Self {
        Self {
            outcome: verdict.outcome,
            finding: verdict.first().copied(),
            unproven: verdict.unproven,
        }
    }
}

/// True RMS of the three slot pairs.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct SlotLook {
    /// Narrow against wide.
    pub narrow_wide: Reading<Volts>,
    /// Ground against wide.
    pub ground_wide: Reading<Volts>,
    /// Narrow against ground.
    pub narrow_ground: Reading<Volts>,
}

/// A load-cycle watch as it runs.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct WatchState {
    /// How long it has watched, in whole seconds.
    pub seconds: u16,
    /// Load steps found so far.
    pub steps: u16,
    /// Size of the median change of clip-wide at a step: the drop on the neutral.
    pub neutral_drop: Measured<Volts>,
    /// Size of the median change of clip-wide less ground-wide: what the frame moved by itself.
    pub frame_shift: Measured<Volts>,
}

/// What the tester sees now.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Look {
    /// Time since start.
    pub now: Millis,
    /// What it is doing.
    pub phase: Phase,
    /// Rises with every new measurement: a look with the number of the one before holds the
    /// same values. Starts at 0, when nothing has been measured.
    pub windows: u32,
    /// What the lamps show.
    pub panel: Panel,
    /// The latest answer, if there is one.
    pub answer: Option<Answer>,
    /// What the clip was said to be on.
    pub clip_target: ClipTarget,
    /// Newest slot voltages.
    pub slots: Result<SlotLook, Missing>,
    /// Newest clip against wide, at line frequency.
    pub clip_wide: Measured<Volts>,
    /// Line frequency.
    pub frequency: Measured<Hertz>,
    /// Resistance of the earth path.
    pub earth_path: Measured<Ohms>,
    /// Resistance of neutral and earth path together.
    pub neutral_and_ground: Measured<Ohms>,
    /// Resistance from the neutral to what the clip is on, power off.
    pub neutral_to_clip: Measured<Ohms>,
    /// Load-step ratio of the steps seen.
    pub load_step: Result<LoadStep, Missing>,
    /// The load-cycle watch, if one is running.
    pub watch: Option<WatchState>,
}

impl Look {
    /// A look at a tester that has measured nothing yet.
    #[must_use]
    pub const fn nothing_yet(now: Millis, phase: Phase, clip_target: ClipTarget) -> Self {
        Self {
            now,
            phase,
            windows: 0,
            panel: Panel::DARK,
            answer: None,
            clip_target,
            slots: Err(Missing::NotAsked),
            clip_wide: Measured::Missing(Missing::NotAsked),
            frequency: Measured::Missing(Missing::NotAsked),
            earth_path: Measured::Missing(Missing::NotAsked),
            neutral_and_ground: Measured::Missing(Missing::NotAsked),
            neutral_to_clip: Measured::Missing(Missing::NotAsked),
            load_step: Err(Missing::NotAsked),
            watch: None,
        }
    }

    /// The same look with the values of `evidence`.
    #[must_use]
    pub fn with(self, evidence: &Evidence) -> Self {
        let slots = evidence.slots.map(|slots| {
            let reading = |value: Volts| Reading {
                value,
                u: slots.uncertainty(value),
            };
            SlotLook {
                narrow_wide: reading(slots.narrow_wide().true_rms),
                ground_wide: reading(slots.ground_wide().true_rms),
                narrow_ground: reading(slots.narrow_ground().true_rms),
            }
        });
        // The clip's string is calibrated like the others, so its uncertainty is theirs.
        let clip_wide = match (evidence.clip_wide, evidence.slots) {
            (Ok(clip), Ok(slots)) => Measured::known(clip.rms, slots.uncertainty(clip.rms)),
            (Err(reason), _) | (_, Err(reason)) => Measured::Missing(reason),
        };
        Self {
            slots,
            clip_wide,
            frequency: evidence.frequency,
            earth_path: evidence.earth_path,
            neutral_and_ground: evidence.neutral_and_ground,
            neutral_to_clip: evidence.neutral_to_clip,
            load_step: evidence.load_step,
            ..self
        }
    }
}
