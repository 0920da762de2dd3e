//! The six lamps on the page: one column, each with its question, a drawing of its rhythm over
//! two seconds, and the words for rhythm and answer.

use maud::{Markup, html};
use slotwise_core::lamps::{Lamp, Panel, Rhythm};

use crate::texts::{Language, codes};

/// Width of the strip that stands for two seconds.
const STRIP: f32 = 80.0;

/// The column.
#[must_use]
pub(super) fn column(language: &dyn Language, panel: &Panel) -> Markup {
    html! {
        table class="lamps" {
            caption { (language.labels().lamps) }
            tbody {
                @for lamp in Lamp::ALL {
                    @let rhythm = panel.rhythm(lamp);
                    tr class=(codes::rhythm(rhythm)) {
                        th scope="row" { (language.question(lamp)) }
                        td { (strip(rhythm)) }
                        td { (language.rhythm(rhythm)) }
                        td { strong { (language.answer(lamp, panel)) } }
                    }
                }
            }
        }
    }
}

/// When the lamp is lit within two seconds, as a bar from left to right.
fn strip(rhythm: Rhythm) -> Markup {
    html! {
        svg class="strip" viewBox="0 0 82 14" aria-hidden="true" {
            rect class="off" x="1" y="1" width="80" height="12" rx="3" {}
            @for (from, long) in lit(rhythm) {
                rect class="lit" x=(format!("{:.1}", 1.0 + from * STRIP))
                    y="1" width=(format!("{:.1}", long * STRIP)) height="12" rx="2" {}
            }
        }
    }
}

/// The lit stretches, as shares of two seconds: start and length. They are the shape of the
/// rhythm, told slow from fast; the exact beat is the firmware's.
fn lit(rhythm: Rhythm) -> Vec<(f32, f32)> {
    let beats = |count: u8, share: f32| {
        let period = 1.0 / f32::from(count);
        (0..count)
            .map(|n| (f32::from(n) * period, period * share))
            .collect()
    };
    match rhythm {
        Rhythm::Off => Vec::new(),
        Rhythm::Steady => vec![(0.0, 1.0)],
        Rhythm::SlowBlink => beats(2, 0.5),
        Rhythm::FastBlink => beats(8, 0.5),
        Rhythm::FastPulse => beats(16, 0.25),
    }
}
