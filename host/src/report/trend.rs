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
            @for value in ticks(top) {
                line class="grid" x1=(LEFT) x2=(RIGHT) y1=(format!("{:.1}", y(value)))
                    y2=(format!("{:.1}", y(value))) {}
                text x=(LEFT - 6.0) y=(format!("{:.1}", y(value) + 4.5)) text-anchor="end" {
                    (value)
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

/// Round values from zero up to `top`, at most six: their step is 1, 2 or 5 of a decade.
fn ticks(top: f32) -> Vec<f32> {
    let least = top / 5.0;
    let decade = 10_f32.powf(least.log10().floor());
    let step = [1.0, 2.0, 5.0, 10.0]
        .into_iter()
        .map(|factor| factor * decade)
        .find(|step| *step >= least);
    let step = step.unwrap_or(10.0 * decade);
    (0..=5_u8)
        // Two more digits than the decade has, so that 3 steps of 0.2 are 0.6.
        .map(|n| (f32::from(n) * step / decade * 100.0).round() / 100.0 * decade)
        .map(|value| (value * 1e4).round() / 1e4)
        .filter(|value| *value <= top)
        .collect()
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
    fn the_axis_has_round_values() {
        assert_eq!(ticks(1.15), [0.0, 0.5, 1.0]);
        assert_eq!(ticks(1.0), [0.0, 0.2, 0.4, 0.6, 0.8, 1.0]);
        assert_eq!(ticks(1035.0), [0.0, 500.0, 1000.0]);
        assert_eq!(ticks(23.0), [0.0, 5.0, 10.0, 15.0, 20.0]);
        for n in 1..400 {
            let top = 0.05 * 1.03_f32.powi(n);
            let ticks = ticks(top);
            assert!((2..=6).contains(&ticks.len()), "{top}: {ticks:?}");
        }
    }

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
