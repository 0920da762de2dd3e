//! The drawings of a visit's report, as SVG. Lines and words only, so that they print in black
//! and white as well; colours come from the style sheet of whoever shows them.

use maud::{Markup, html};
use slotwise_core::evidence::{LoadStep, Reading};
use slotwise_core::topology::TopologySet;
use slotwise_core::units::{Ohms, Volts};

use super::slots::{SLOTS, on};
use crate::document::Figure;
use crate::report::numbers::{ohms_of, percent, volts};
use crate::texts::Language;

/// A drawing with its description.
fn figure(
    svg: &Markup,
    described: String,
    caption: String,
    keys: Vec<(&'static str, String)>,
    share: f32,
) -> Figure {
    Figure {
        svg: svg.0.clone(),
        described,
        caption,
        keys,
        share,
    }
}

/// The receptacle, and what each slot is on in every wiring of `set`.
#[must_use]
pub(super) fn receptacle(language: &dyn Language, set: TopologySet) -> Figure {
    let texts = language.visit_report();
    let words = on(language, set);
    let described = SLOTS
        .iter()
        .zip(&words)
        .map(|(slot, on)| format!("{}: {}.", texts.slots[*slot], on.join(texts.or)))
        .collect::<Vec<_>>()
        .join(" ");
    let [narrow, wide, ground] = &words;
    let svg = html! {
        svg viewBox="0 0 560 210" role="img" aria-label=(described) {
            rect class="body" x="200" y="12" width="160" height="186" rx="34" {}
            rect class="slot" x="236" y="56" width="11" height="46" {}
            rect class="slot" x="314" y="60" width="8" height="38" {}
            path class="slot" style="fill:currentColor"
                d="M268 150v-10a12 12 0 0 1 24 0v10z" {}
            (says(texts.slots[1], wide, texts.or, 186.0, 60.0, "end", "M192 79H230"))
            (says(texts.slots[0], narrow, texts.or, 374.0, 60.0, "start", "M328 79H368"))
            (says(texts.slots[2], ground, texts.or, 374.0, 146.0, "start", "M298 144H368"))
        }
    };
    figure(
        &svg,
        described,
        texts.receptacle_caption.to_owned(),
        Vec::new(),
        0.8,
    )
}

fn says(slot: &str, on: &[&str], or: &str, x: f32, y: f32, anchor: &str, lead: &str) -> Markup {
    let class = if on.len() > 1 { "loud" } else { "says" };
    html! {
        path class="lead" d=(lead) {}
        text x=(x) y=(y - 8.0) text-anchor=(anchor) { (slot) }
        @for (line, word) in on.iter().enumerate() {
            text class=(class) x=(x) y=(y + 10.0 + 17.0 * line as f32) text-anchor=(anchor) {
                @if line > 0 { (or.trim()) " " } (word)
            }
        }
    }
}

/// A resistance with its expanded uncertainty against its limit, on a line from zero.
#[must_use]
pub(super) fn against_limit(
    language: &dyn Language,
    name: &str,
    reading: Reading<Ohms>,
    limit: Ohms,
) -> Figure {
    let texts = language.visit_report();
    let (value, wide) = (
        reading.value.get(),
        crate::report::numbers::K * reading.u.get(),
    );
    let end = (value + wide).max(limit.get()) * 1.15;
    let x = |ohms: f32| 20.0 + ohms.clamp(0.0, end) / end * 520.0;
    let shown = ohms_of(reading);
    let described = format!("{name}: {shown}. {}: {:.1} ohm.", texts.limit, limit.get());
    let svg = html! {
        svg viewBox="0 0 560 86" role="img" aria-label=(described) {
            path class="zero" d="M20 44H540" {}
            path class="limit" d=(format!("M{:.1} 16V60", x(limit.get()))) {}
            text x=(format!("{:.1}", x(limit.get()))) y="78" text-anchor="middle" {
                (texts.limit) " " (format!("{:.1}", limit.get()))
            }
            text x="20" y="78" { "0" }
            text x="540" y="78" text-anchor="end" { "ohm" }
            rect class="band" x=(format!("{:.1}", x(value - wide))) y="34" height="20"
                width=(format!("{:.1}", (x(value + wide) - x(value - wide)).max(2.0))) {}
            path class="mean" d=(format!("M{:.1} 28V60", x(value))) {}
            text class="says" x=(format!("{:.1}", x(value).clamp(80.0, 480.0))) y="20"
                text-anchor="middle" { (shown) }
        }
    };
    figure(
        &svg,
        described,
        format!("{name}. {}", texts.against_caption),
        Vec::new(),
        0.8,
    )
}

/// Where the drop of a load step falls.
#[must_use]
pub(super) fn sag(language: &dyn Language, step: &LoadStep) -> Figure {
    let texts = language.visit_report();
    let share = |share: f32| share.clamp(0.0, 1.0) * 520.0;
    let neutral = step.neutral_share().get();
    let hot = step.hot_and_source_share().get();
    let words = [
        format!("{} {}", texts.hot_and_source, percent(hot)),
        format!("{} {}", texts.neutral, percent(neutral)),
    ];
    let sag = format!("{} V", volts(Volts::new(step.sag.get())));
    let caption = texts
        .sag_caption
        .replace("{sag}", &sag)
        .replace("{steps}", &step.steps.to_string());
    let described = format!("{caption} {}; {}.", words[0], words[1]);
    let svg = html! {
        svg viewBox="0 0 560 66" role="img" aria-label=(described) {
            rect class="hotpart" x="20" y="8" height="24" width=(format!("{:.1}", share(hot))) {}
            rect class="neutralpart" x=(format!("{:.1}", 20.0 + share(hot))) y="8" height="24"
                width=(format!("{:.1}", share(neutral))) {}
            text class="says" x="20" y="54" { (words[0]) }
            text class="says" x="540" y="54" text-anchor="end" { (words[1]) }
        }
    };
    figure(&svg, described, caption, Vec::new(), 0.8)
}
