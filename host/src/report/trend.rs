//! A value of one place over the years: every test as a point with its expanded uncertainty, and
//! the limit as a dashed line.

use jiff::Timestamp;
use maud::html;
use slotwise_core::evidence::Reading;
use slotwise_core::units::{Ohms, UnixSeconds};

use super::numbers::K;
use crate::document::Figure;
use crate::texts::Language;

const LEFT: f32 = 52.0;
const RIGHT: f32 = 540.0;
const TOP: f32 = 22.0;
const BOTTOM: f32 = 172.0;

/// A point: when, and what was measured.
pub type Point = (UnixSeconds, Reading<Ohms>);

/// The drawing of the points in order of time; `None` without any.
#[must_use]
pub fn figure(
    language: &dyn Language,
    name: &str,
    points: &[Point],
    limit: Ohms,
) -> Option<Figure> {
    let (first, last) = (points.first()?.0.get(), points.last()?.0.get());
    let highest = points
        .iter()
        .map(|(_, reading)| reading.value.get() + K * reading.u.get())
        .fold(limit.get(), f32::max);
    let top = highest * 1.15;
    // A single day in the middle.
    let span = last.saturating_sub(first).max(1) as f32;
    let x = |at: UnixSeconds| {
        if last == first {
            (LEFT + RIGHT) / 2.0
        } else {
            LEFT + 10.0 + at.get().saturating_sub(first) as f32 / span * (RIGHT - LEFT - 20.0)
        }
    };
    let y = |ohms: f32| BOTTOM - ohms.clamp(0.0, top) / top * (BOTTOM - TOP);
    let words = language.office();
    let described = words
        .trend
        .replace("{name}", name)
        .replace("{count}", &points.len().to_string())
        .replace("{from}", &day(points.first()?.0))
        .replace("{to}", &day(points.last()?.0))
        .replace("{last}", &super::numbers::ohms_of(points.last()?.1));
    let svg = html! {
        svg viewBox="0 0 560 210" role="img" aria-label=(described) {
            @for n in 0..=4 {
                @let value = top * n as f32 / 4.0;
                line class="grid" x1=(LEFT) x2=(RIGHT) y1=(format!("{:.1}", y(value)))
                    y2=(format!("{:.1}", y(value))) {}
                text x=(LEFT - 6.0) y=(format!("{:.1}", y(value) + 4.5)) text-anchor="end" {
                    (format!("{value:.1}"))
                }
            }
            text x=(LEFT - 6.0) y="13" text-anchor="end" { "ohm" }
            text x=(LEFT) y=(BOTTOM + 18.0) { (day(points.first()?.0)) }
            @if last > first {
                text x=(RIGHT) y=(BOTTOM + 18.0) text-anchor="end" { (day(points.last()?.0)) }
            }
            path class="limit" d=(format!("M{LEFT} {:.1}H{RIGHT}", y(limit.get()))) {}
            @for (at, reading) in points {
                @let (value, wide) = (reading.value.get(), K * reading.u.get());
                path class="lead" d=(format!("M{:.1} {:.1}V{:.1}", x(*at), y(value - wide), y(value + wide))) {}
                path class="slot" d=(format!("M{:.1} {:.1}h8v8h-8z", x(*at) - 4.0, y(value) - 4.0)) {}
            }
        }
    };
    Some(Figure {
        svg: svg.0,
        caption: described.clone(),
        described,
        keys: vec![(
            "limit",
            format!("{} {:.1} ohm", language.visit_report().limit, limit.get()),
        )],
        share: 0.9,
    })
}

/// The day of a clock (UTC).
#[must_use]
pub fn day(clock: UnixSeconds) -> String {
    i64::try_from(clock.get())
        .ok()
        .and_then(|seconds| Timestamp::from_second(seconds).ok())
        .map_or_else(
            || format!("{} s", clock.get()),
            |time| time.strftime("%Y-%m-%d").to_string(),
        )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::texts::English;

    #[test]
    fn every_point_is_inside_the_axes_and_named() {
        let point = |at: u64, value: f32| {
            (
                UnixSeconds::new(at),
                Reading {
                    value: Ohms::new(value),
                    u: Ohms::new(0.05),
                },
            )
        };
        let points = [
            point(1_700_000_000, 0.3),
            point(1_731_000_000, 0.4),
            point(1_762_000_000, 900.0),
        ];
        let drawn = figure(&English, "earth path", &points, Ohms::new(1.0)).unwrap();
        assert_eq!(drawn.svg.matches("class=\"slot\"").count(), 3);
        assert!(drawn.described.contains("2023-11-14") && drawn.described.contains("900"));
        assert!(!drawn.svg.contains("NaN") && !drawn.svg.contains("inf"));
        let one = figure(&English, "earth path", &points[..1], Ohms::new(1.0)).unwrap();
        assert!(!one.svg.contains("NaN"));
        assert!(figure(&English, "earth path", &[], Ohms::new(1.0)).is_none());
    }
}
