//! What the judge says of a load step or a watch, where all else is sound.

use slotwise_core::evidence::{
    Evidence, FrameHealth, LoadStep, Measured, Missing, PairVoltage, Phasor, SlotVoltages, Watch,
};
use slotwise_core::finding::FindingCode;
use slotwise_core::judge::judge;
use slotwise_core::limits::Limits;
use slotwise_core::slots::ClipTarget;
use slotwise_core::units::{Hertz, Ohms, Radians, Ratio, Volts};

/// The first of the worked cases of the measurement notes: 119.5 / 0.00 / 119.5 V, earth path
/// 0.18 ohm, clip on an independent earth; nothing known of a load.
pub(crate) fn sound() -> Evidence {
    let pair = |volts: f32| PairVoltage {
        fundamental: Phasor {
            rms: Volts::new(volts),
            angle: Radians::ZERO,
        },
        true_rms: Volts::new(volts),
        residual: Volts::ZERO,
        mean: Volts::ZERO,
    };
    let mut evidence = Evidence::empty();
    evidence.health = FrameHealth {
        calibrated: true,
        windows: 10,
        bad_frames: 0,
        clipped_frames: 0,
    };
    evidence.slots = Ok(SlotVoltages {
        pairs: [pair(119.5), pair(0.0), pair(119.5)],
        reference: 0,
        u_gain: Ratio::new(0.0011),
        u_floor: Volts::new(0.001),
        leads: [79.7, 39.8, 39.8, 0.0].map(Volts::new),
    });
    evidence.frequency = Measured::known(Hertz::new(60.0), Hertz::new(0.002));
    evidence.earth_path = Measured::known(Ohms::new(0.18), Ohms::new(0.05));
    evidence.clip_target = ClipTarget::IndependentEarth;
    evidence.clip_wide = Ok(pair(0.1).fundamental);
    evidence
}

/// What the rule on rho comes to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Says {
    Separate,
    Joined,
    WeakNeutral,
    CannotTell,
}

pub(crate) fn says(step: Result<LoadStep, Missing>) -> Says {
    says_of(&Evidence {
        load_step: step,
        ..sound()
    })
}

pub(crate) fn says_of(evidence: &Evidence) -> Says {
    let verdict = judge(evidence, &Limits::DEFAULT);
    let has = |code| verdict.findings.iter().any(|finding| finding.code == code);
    if has(FindingCode::JoinedNearReceptacle) {
        Says::Joined
    } else if has(FindingCode::WeakNeutral) {
        Says::WeakNeutral
    } else if verdict.unproven.separate_ground {
        Says::CannotTell
    } else {
        Says::Separate
    }
}

/// What the judge finds of the watch: the first finding that speaks of it.
pub(crate) fn watched(watch: Result<Watch, Missing>) -> Option<FindingCode> {
    let mut evidence = Evidence { watch, ..sound() };
    evidence.clip_target = ClipTarget::ApplianceFrame;
    let verdict = judge(&evidence, &Limits::DEFAULT);
    let codes = verdict.findings.iter().map(|finding| finding.code);
    codes.into_iter().find(|code| {
        matches!(
            code,
            FindingCode::FrameGroundMoves
                | FindingCode::FrameGroundSuspect
                | FindingCode::WatchNotExercised
                | FindingCode::FrameVoltageHigh
        )
    })
}
