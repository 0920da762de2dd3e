//! The lamps' questions and what their rhythms say.

use slotwise_core::lamps::{Lamp, Panel, Rhythm};

/// The question printed beside a lamp.
#[must_use]
pub(super) const fn question(lamp: Lamp) -> &'static str {
    match lamp {
        Lamp::LiveMetal => "Live metal!",
        Lamp::WiredRight => "Wired right?",
        Lamp::EarthPath => "Earth path sound?",
        Lamp::Supply => "Supply in band?",
        Lamp::SteadyUnderLoad => "Steady under load?",
        Lamp::Proven => "Proven against another earth?",
    }
}

/// How the lamp is lit.
#[must_use]
pub(super) const fn rhythm(rhythm: Rhythm) -> &'static str {
    match rhythm {
        Rhythm::Off => "off",
        Rhythm::Steady => "steady",
        Rhythm::SlowBlink => "slow blink",
        Rhythm::FastBlink => "fast blink",
        Rhythm::FastPulse => "fast pulse",
    }
}

/// What `lamp` answers on this panel. A dark `Live metal!` says that no danger was found, which
/// is not the same as "no danger"; while it pulses the other lamps are dark whatever they would
/// say.
#[must_use]
pub(super) const fn answer(lamp: Lamp, panel: &Panel) -> &'static str {
    let is_danger = matches!(panel.rhythm(Lamp::LiveMetal), Rhythm::FastPulse);
    match (lamp, panel.rhythm(lamp)) {
        (Lamp::LiveMetal, Rhythm::Off) => "no danger found",
        (Lamp::LiveMetal, _) | (_, Rhythm::FastPulse) => "danger",
        (_, Rhythm::Off) if is_danger => "dark: danger first",
        (_, Rhythm::Off) => "not asked",
        (_, Rhythm::Steady) => "yes",
        (_, Rhythm::SlowBlink) => "unsure",
        (_, Rhythm::FastBlink) => "no",
    }
}
