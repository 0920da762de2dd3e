//! The course of a voltage over a load-cycle watch: least to greatest of every second as a band,
//! the mean as a line, load steps as marks, the limit as a dashed line.

use std::fmt::Write as _;

use maud::html;
use slotwise_core::units::Volts;
use slotwise_core::watch::Span;

use crate::document::Figure;
use crate::report::numbers::volts;
use crate::texts::Language;

const WIDTH: f32 = 560.0;
const LEFT: f32 = 52.0;
const RIGHT: f32 = 548.0;
const TOP: f32 = 22.0;
const BOTTOM: f32 = 172.0;

/// What is drawn.
pub(super) struct Course<'c> {
    /// Its name.
    pub(super) name: &'c str,
    /// Second from the start of the watch, and what was seen in it.
    pub(super) seconds: &'c [(u16, Span)],
    /// Seconds of the load steps.
    pub(super) steps: &'c [f32],
    /// The limit, if it has one.
    pub(super) limit: Option<Volts>,
}

/// The drawing; `None` without two seconds.
#[must_use]
pub(super) fn figure(language: &dyn Language, course: &Course<'_>) -> Option<Figure> {
    let texts = language.visit_report();
    let (first, last) = match course.seconds {
        [first, .., last] => (f32::from(first.0), f32::from(last.0) + 1.0),
        _ => return None,
    };
    let level = |level: slotwise_core::load_step::Level| level.volts().get();
    let mut low = f32::INFINITY;
    let mut high = f32::NEG_INFINITY;
    for (_, span) in course.seconds {
        low = low.min(level(span.least));
        high = high.max(level(span.greatest));
    }
    let described = texts
        .course
        .replace("{name}", course.name)
        .replace("{seconds}", &format!("{:.0}", last - first))
        .replace("{low}", &volts(Volts::new(low)))
        .replace("{high}", &volts(Volts::new(high)))
        .replace("{steps}", &course.steps.len().to_string());
    // A voltage with a limit is drawn from zero to beyond the limit, others around themselves.
    let (bottom, top) = match course.limit {
        Some(limit) => (0.0, high.max(limit.get()) * 1.15),
        None => {
            let margin = ((high - low) * 0.1).max(0.5);
            (low - margin, high + margin)
        }
    };
    let x = |second: f32| LEFT + (second - first) / (last - first) * (RIGHT - LEFT);
    let y = |volts: f32| BOTTOM - (volts - bottom) / (top - bottom) * (BOTTOM - TOP);
    let mut band = String::new();
    let mut back = String::new();
    let mut mean = String::new();
    let mut before: Option<u16> = None;
    // Writing to a String cannot fail.
    for (second, span) in course.seconds {
        let at = x(f32::from(*second) + 0.5);
        let follows = before.is_some_and(|before| before + 1 == *second);
        if !follows {
            close(&mut band, &mut back);
        }
        let letter = if follows { 'L' } else { 'M' };
        let _ = write!(band, "{letter}{at:.1} {:.1}", y(level(span.greatest)));
        back.insert_str(0, &format!("L{at:.1} {:.1}", y(level(span.least))));
        let _ = write!(mean, "{letter}{at:.1} {:.1}", y(level(span.mean)));
        before = Some(*second);
    }
    close(&mut band, &mut back);
    let svg = html! {
        svg viewBox=(format!("0 0 {WIDTH} 210")) role="img" aria-label=(described) {
            @for n in 0..=4 {
                @let value = bottom + (top - bottom) * n as f32 / 4.0;
                line class="grid" x1=(LEFT) x2=(RIGHT) y1=(format!("{:.1}", y(value)))
                    y2=(format!("{:.1}", y(value))) {}
                text x=(LEFT - 6.0) y=(format!("{:.1}", y(value) + 4.5)) text-anchor="end" {
                    (volts(Volts::new(value)))
                }
                @let second = first + (last - first) * n as f32 / 4.0;
                text x=(format!("{:.1}", x(second))) y=(BOTTOM + 18.0) text-anchor="middle" {
                    (format!("{second:.0}"))
                }
            }
            text x=(LEFT - 6.0) y="13" text-anchor="end" { "V" }
            text x=((LEFT + RIGHT) / 2.0) y=(BOTTOM + 36.0) text-anchor="middle" { (texts.seconds) }
            @for step in course.steps {
                path class="step" d=(format!("M{:.1} {TOP}V{BOTTOM}", x(*step))) {}
            }
            @if let Some(limit) = course.limit {
                path class="limit" d=(format!("M{LEFT} {:.1}H{RIGHT}", y(limit.get()))) {}
            }
            path class="band" d=(band) {}
            path class="mean" d=(mean) {}
        }
    };
    let mut keys = vec![("mean", texts.mean_of_second.to_owned())];
    if !course.steps.is_empty() {
        keys.push(("step", texts.load_step.to_owned()));
    }
    if let Some(limit) = course.limit {
        keys.push(("limit", format!("{} {} V", texts.limit, volts(limit))));
    }
    Some(Figure {
        svg: svg.0,
        caption: described.clone(),
        described,
        keys,
        share: 0.9,
    })
}

/// Closes the stretch of the band that is open.
fn close(band: &mut String, back: &mut String) {
    if !back.is_empty() {
        band.push_str(back);
        band.push('Z');
        back.clear();
    }
}
