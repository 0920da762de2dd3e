//! Two cycles of the three slot voltages as an SVG drawing.
//!
//! The snapshot holds every lead against the star; a slot voltage is the difference of two
//! leads. The three lines are told apart by line style first and colour second. The drawing
//! has no text smaller than the page's own at the width of a telephone.

use std::fmt::Write as _;

use maud::{Markup, html};
use slotwise_core::record::Snapshot;
use slotwise_core::slots::Pair;
use slotwise_core::units::Volts;

use crate::document::Figure;
use crate::texts::Language;

/// Size of the drawing in its own units, and the field inside its axes.
const WIDTH: f32 = 460.0;
const HEIGHT: f32 = 290.0;
const LEFT: f32 = 52.0;
const RIGHT: f32 = 448.0;
const TOP: f32 = 24.0;
const BOTTOM: f32 = 242.0;

/// Least scale of the volts axis, each way: a dead receptacle draws a flat line.
const LEAST_PEAK: f32 = 1.0;

/// Lines from the axis to either end, at most.
const LINES: f32 = 4.0;

/// One line of the drawing.
struct Curve {
    /// Class in the style sheet, where its dashes are.
    class: &'static str,
    pair: Pair,
    /// Place of its name among the labels.
    label: usize,
}

impl Curve {
    fn name(&self, language: &dyn Language) -> &'static str {
        language.labels().pairs[self.label]
    }
}

/// In drawing order: the dashed line over the solid one, since the two coincide in a sound
/// receptacle.
const CURVES: [Curve; 3] = [
    Curve {
        class: "nw",
        pair: Pair::NarrowWide,
        label: 0,
    },
    Curve {
        class: "ng",
        pair: Pair::NarrowGround,
        label: 2,
    },
    Curve {
        class: "gw",
        pair: Pair::GroundWide,
        label: 1,
    },
];

/// The drawing with its legend, for a document. `id` is unique on the page. `None` if the record
/// holds no waveform.
#[must_use]
pub fn drawn(language: &dyn Language, snapshot: &Snapshot, id: &str) -> Option<Figure> {
    let (svg, described) = svg(language, snapshot, id)?;
    let styles = language.labels().styles;
    let keys = CURVES
        .iter()
        .zip(styles)
        .map(|(curve, style)| (curve.class, format!("{} ({style})", curve.name(language))))
        .collect();
    Some(Figure {
        svg: svg.0,
        described,
        caption: String::new(),
        keys,
        share: 0.6,
    })
}

/// The figure: drawing, legend and a description for those who do not see it. `id` is unique
/// on the page. `None` if the record holds no waveform.
#[must_use]
pub fn figure(language: &dyn Language, snapshot: &Snapshot, id: &str) -> Option<Markup> {
    let labels = language.labels();
    let (svg, _) = svg(language, snapshot, id)?;
    Some(html! {
        figure class="wave" {
            (svg)
            figcaption {
                @for (index, curve) in CURVES.iter().enumerate() {
                    span class="key" {
                        svg viewBox="0 0 44 10" aria-hidden="true" {
                            path class=(curve.class) d="M1 5H43" {}
                        }
                        (curve.name(language)) " (" (labels.styles[index]) ")"
                    }
                }
            }
        }
    })
}

/// The drawing and its description.
fn svg(language: &dyn Language, snapshot: &Snapshot, id: &str) -> Option<(Markup, String)> {
    let curves: Vec<Vec<f32>> = CURVES
        .iter()
        .map(|curve| volts(snapshot, curve.pair))
        .collect();
    let count = curves.first()?.len();
    if count < 2 {
        return None;
    }
    let labels = language.labels();
    let peak = curves.iter().flatten().fold(0.0_f32, |a, v| a.max(v.abs()));
    let (step, lines) = scale(peak);
    let top = step * lines as f32;
    let end = (count - 1) as f32 * Snapshot::SECONDS_PER_POINT * 1000.0;
    let x = |ms: f32| LEFT + ms / end * (RIGHT - LEFT);
    let y = |volts: f32| BOTTOM - (volts / top + 1.0) / 2.0 * (BOTTOM - TOP);
    let description = describe(language, &curves, end);
    let times: Vec<f32> = (0..)
        .map(|n| 5.0 * n as f32)
        .take_while(|ms| *ms <= end)
        .collect();

    let drawing = html! {
            svg viewBox=(format!("0 0 {WIDTH} {HEIGHT}")) role="img"
                aria-labelledby=(format!("{id}-t {id}-d")) {
                title id=(format!("{id}-t")) { (labels.waveform) }
                desc id=(format!("{id}-d")) { (description) }
                @for n in -lines..=lines {
                    @let volts = step * n as f32;
                    line class=(if n == 0 { "zero" } else { "grid" })
                        x1=(r(LEFT)) x2=(r(RIGHT)) y1=(r(y(volts))) y2=(r(y(volts))) {}
                    text class="tick" x=(r(LEFT - 6.0)) y=(r(y(volts) + 4.5)) text-anchor="end" {
                        (tick(volts))
                    }
                }
                @for ms in &times {
                    line class="grid" x1=(r(x(*ms))) x2=(r(x(*ms))) y1=(r(TOP)) y2=(r(BOTTOM)) {}
                    text class="tick" x=(r(x(*ms))) y=(r(BOTTOM + 18.0)) text-anchor="middle" {
                        (tick(*ms))
                    }
                }
                text class="axis" x=(r(LEFT - 6.0)) y=(r(TOP - 10.0)) text-anchor="end" { "V" }
                text class="axis" x=(r((LEFT + RIGHT) / 2.0)) y=(r(BOTTOM + 38.0))
                    text-anchor="middle" { (labels.time) }
                @for (curve, points) in CURVES.iter().zip(&curves) {
                    path class=(curve.class) d=(path(points, end, &x, &y)) {}
                }
            }
    };
    Some((drawing, description))
}

/// The voltage of a pair, point by point.
#[must_use]
pub fn volts(snapshot: &Snapshot, pair: Pair) -> Vec<f32> {
    let (first, second) = pair.leads();
    let of = |point: &[i16; 4], channel: usize| {
        let count = point.get(channel).copied().unwrap_or_default();
        let scale = snapshot.volts_per_count.get(channel).copied();
        f32::from(count) * scale.unwrap_or_default().get()
    };
    snapshot
        .points
        .iter()
        .map(|point| of(point, first.channel()) - of(point, second.channel()))
        .collect()
}

/// Step of the volts axis and number of steps each way, so that `peak` fits.
fn scale(peak: f32) -> (f32, i32) {
    let peak = if peak.is_finite() {
        peak.max(LEAST_PEAK)
    } else {
        LEAST_PEAK
    };
    let mut decade = 0.1;
    loop {
        for step in [1.0, 2.0, 5.0] {
            let step = step * decade;
            if step * LINES >= peak {
                return (step, (peak / step).ceil() as i32);
            }
        }
        decade *= 10.0;
    }
}

fn path(points: &[f32], end: f32, x: &impl Fn(f32) -> f32, y: &impl Fn(f32) -> f32) -> String {
    let step = end / (points.len() - 1) as f32;
    let mut data = String::with_capacity(points.len() * 12);
    for (n, volts) in points.iter().enumerate() {
        let letter = if n == 0 { 'M' } else { 'L' };
        // Writing to a String cannot fail.
        let _ = write!(data, "{letter}{} {}", r(x(n as f32 * step)), r(y(*volts)));
    }
    data
}

fn describe(language: &dyn Language, curves: &[Vec<f32>], end: f32) -> String {
    let mut text = language.cycles(end);
    for (curve, points) in CURVES.iter().zip(curves) {
        let high = points.iter().fold(f32::MIN, |a, v| a.max(*v));
        let low = points.iter().fold(f32::MAX, |a, v| a.min(*v));
        text.push(' ');
        text.push_str(&language.curve(curve.name(language), Volts::new(low), Volts::new(high)));
    }
    text
}

/// Coordinates with one decimal: a tenth of a unit is below what a screen shows.
fn r(value: f32) -> String {
    let text = format!("{value:.1}");
    text.strip_suffix(".0").map(str::to_owned).unwrap_or(text)
}

fn tick(value: f32) -> String {
    let text = if value.abs() < 10.0 && value.fract() != 0.0 {
        format!("{value:.1}")
    } else {
        format!("{value:.0}")
    };
    text.replace('-', "\u{2212}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_axis_holds_the_peak_with_at_most_four_lines_each_way() {
        for (peak, step, lines) in [
            (170.0, 50.0, 4),
            (339.0, 100.0, 4),
            (200.0, 50.0, 4),
            (201.0, 100.0, 3),
            (0.01, 0.5, 2),
            (9.0, 5.0, 2),
            (f32::NAN, 0.5, 2),
        ] {
            assert_eq!(scale(peak), (step, lines), "{peak}");
        }
    }

    #[test]
    fn a_record_without_points_has_no_figure() {
        assert!(figure(&crate::texts::English, &Snapshot::default(), "w1").is_none());
    }

    #[test]
    fn a_slot_voltage_is_the_difference_of_its_leads() {
        let mut snapshot = Snapshot {
            volts_per_count: [slotwise_core::units::Volts::new(0.5); 4],
            ..Snapshot::default()
        };
        snapshot.points.push([100, -20, -40, 0]).unwrap();
        assert_eq!(volts(&snapshot, Pair::NarrowWide), [60.0]);
        assert_eq!(volts(&snapshot, Pair::GroundWide), [-10.0]);
        assert_eq!(volts(&snapshot, Pair::NarrowGround), [70.0]);
    }
}
