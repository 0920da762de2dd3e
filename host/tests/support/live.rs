//! Looks of an invented tester, and a live view that has heard them.

use std::time::Duration;

use slotwise::live::{Heard, Live};
use slotwise_core::evidence::{Evidence, LoadStep, Measured, Missing, Phasor, Reading};
use slotwise_core::judge::judge;
use slotwise_core::lamps::Panel;
use slotwise_core::limits::Limits;
use slotwise_core::link::{Answer, Look, Phase, WatchState};
use slotwise_core::slots::ClipTarget;
use slotwise_core::units::{Millis, Ohms, Radians, Ratio, Volts};

use super::{Invented, SOUND, hello};

/// The port of the invented tester.
pub const PORT: &str = "/dev/ttyACM0";

/// Windows a second.
const WINDOWS: u32 = 5;

/// A sound receptacle whose earth path and neutral were measured.
pub fn sound_evidence() -> Evidence {
    Evidence {
        earth_path: Measured::known(Ohms::new(0.42), Ohms::new(0.04)),
        hot_and_ground: Measured::known(Ohms::new(0.71), Ohms::new(0.06)),
        neutral_and_ground: Measured::known(Ohms::new(0.66), Ohms::new(0.012)),
        ..SOUND.evidence()
    }
}

/// What the judge says of this evidence, as a look in window `window`.
pub fn look_at(evidence: &Evidence, phase: Phase, window: u32) -> Look {
    let verdict = judge(evidence, &Limits::DEFAULT);
    let now = Millis::new(u64::from(window) * 1000 / u64::from(WINDOWS));
    Look {
        windows: window,
        panel: Panel::for_verdict(&verdict, evidence),
        answer: Some(Answer::from(&verdict)),
        ..Look::nothing_yet(now, phase, evidence.clip_target)
    }
    .with(evidence)
}

/// The look of an invented receptacle.
pub fn look_of(invented: &Invented, window: u32) -> Look {
    look_at(&invented.evidence(), Phase::Steady, window)
}

/// When window `window` is heard, by the host's clock.
pub fn heard_at(window: u32) -> Duration {
    Duration::from_millis(u64::from(window) * 1000 / u64::from(WINDOWS))
}

/// A view that has found the tester.
pub fn found(clip: ClipTarget) -> Live {
    let mut live = Live::new(String::new(), Some(clip));
    let heard = Heard::Found {
        port: PORT.to_owned(),
        hello: hello(&[]),
    };
    live.heard(&heard, Duration::ZERO);
    live
}

/// A view that heard `windows` looks, and the time of the last one.
pub fn heard(
    clip: ClipTarget,
    windows: u32,
    mut look: impl FnMut(u32) -> Look,
) -> (Live, Duration) {
    let mut live = found(clip);
    for window in 1..=windows {
        live.heard(&Heard::Look(look(window)), heard_at(window));
    }
    (live, heard_at(windows))
}

/// A furnace on a sound branch: its blower comes on every 40 s for 20 s and takes 1.6 V, of
/// which the neutral has 0.6 V; the clip on its frame moves with the neutral.
pub fn watched(window: u32) -> Look {
    let second = window / WINDOWS;
    let is_on = second % 40 >= 20;
    let steps = (second / 20) as u16;
    let drop = if is_on { 0.6 } else { 0.0 };
    // A few millivolts of noise, the same every time.
    let noise = |scale: f32| scale * ((window * 37 % 11) as f32 - 5.0);
    let mut evidence = Evidence {
        clip_target: ClipTarget::ApplianceFrame,
        clip_wide: Ok(Phasor {
            rms: Volts::new(0.05 + drop + noise(0.002).abs()),
            angle: Radians::ZERO,
        }),
        load_step: if steps == 0 {
            Err(Missing::NotAsked)
        } else {
            Ok(LoadStep {
                rho: Reading {
                    value: Ratio::new(0.374),
                    u: Ratio::new(0.011),
                },
                rho_imaginary: Ratio::new(0.002),
                steps,
                sag: Volts::new(1.6),
            })
        },
        ..sound_evidence()
    };
    if let Ok(slots) = &mut evidence.slots {
        let sag = drop * 1.6 / 0.6;
        slots.pairs[0].true_rms = Volts::new(119.5 - sag + noise(0.02));
        slots.pairs[1].true_rms = Volts::new(0.02 + drop + noise(0.001).abs());
        slots.pairs[2].true_rms = Volts::new(119.48 - sag + drop);
    }
    let watch = WatchState {
        seconds: second as u16,
        steps,
        neutral_drop: if steps == 0 {
            Measured::Missing(Missing::NotAsked)
        } else {
            Measured::known(Volts::new(0.602), Volts::new(0.008))
        },
        frame_shift: if steps == 0 {
            Measured::Missing(Missing::NotAsked)
        } else {
            Measured::known(Volts::new(0.003), Volts::new(0.002))
        },
    };
    Look {
        watch: Some(watch),
        ..look_at(&evidence, Phase::LoadCycle, window)
    }
}
