//! The time plot: one strip a voltage, each with a scale of its own, drawn in braille dots (two
//! columns and four rows a cell). A load step is an arrow over the first strip and a dotted line
//! through all of them, where there are no dots.
//!
//! The least height of a scale keeps a steady voltage from looking wild. It judges nothing.

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;
use slotwise_core::units::Millis;

use super::paint::Paint;
use super::write;
use super::{Scene, rule_over};
use crate::live::history::{Span, Trace};

/// How far back the plot goes, in milliseconds.
const BACK: u64 = 180_000;

/// Columns of a strip's name and scale: "n-w −120.1 ".
const MARGIN: u16 = 11;

/// Least height of a scale, in volts.
const fn least(trace: Trace) -> f32 {
    match trace {
        Trace::NarrowWide => 2.0,
        Trace::GroundWide | Trace::ClipWide => 0.2,
    }
}

/// Draws rule and strips.
pub(super) fn draw(buffer: &mut Buffer, area: Rect, scene: &Scene<'_>) {
    let texts = scene.language.live();
    rule_over(buffer, area, texts.plot);
    if let Some(watch) = scene.live.look().and_then(|look| look.watch) {
        let text = format!(" {} ", (texts.watch)(watch.seconds, watch.steps));
        write::right(
            buffer,
            area,
            0,
            area.x + write::columns(texts.plot) + 4,
            &text,
            Paint::strong(),
        );
    }
    let strips = Trace::ALL.len() as u16;
    let Some(height) = area.height.checked_sub(1).map(|rows| rows / strips) else {
        return;
    };
    let now = scene.live.tester_clock(scene.now);
    for (place, trace) in (0_u16..).zip(Trace::ALL) {
        let strip = Rect {
            y: area.y + 1 + place * height,
            // Where there is room, a blank row keeps the strips apart.
            height: if height > 3 { height - 1 } else { height },
            ..area
        };
        draw_strip(buffer, strip, scene, trace, now);
    }
}

fn draw_strip(
    buffer: &mut Buffer,
    area: Rect,
    scene: &Scene<'_>,
    trace: Trace,
    now: Option<Millis>,
) {
    let texts = scene.language.live();
    let [narrow_wide, ground_wide, _] = scene.language.labels().symbols;
    let symbol = match trace {
        Trace::NarrowWide => narrow_wide,
        Trace::GroundWide => ground_wide,
        Trace::ClipWide => texts.clip_symbol,
    };
    write::at(buffer, area, 0, symbol, Paint::strong());
    let Some(width) = area.width.checked_sub(MARGIN) else {
        return;
    };
    let (Some(now), true) = (now, area.height > 0) else {
        return;
    };
    let history = scene.live.history();
    let spans = history.columns(trace, now, BACK, 2 * usize::from(width));
    let canvas = Rect {
        x: area.x + MARGIN,
        width,
        ..area
    };
    let steps = history.step_columns(now, BACK, usize::from(width));
    let step_at = |step: usize| canvas.x + u16::try_from(step).unwrap_or(u16::MAX);
    for step in &steps {
        for row in 0..area.height {
            write::after(buffer, canvas, row, step_at(*step), "┊", Style::new());
        }
    }
    let Some(scale) = scale_of(&spans, least(trace)) else {
        write::at(buffer, canvas, 0, texts.no_points, Paint::faint());
        return;
    };
    let label = |volts: f32| format!("{:>7}", rounded(volts, scale));
    let x = area.x + write::columns(symbol);
    if area.height == 1 {
        let middle = f32::midpoint(scale.low, scale.high);
        write::after(buffer, area, 0, x, &label(middle), Style::new());
    } else {
        write::after(buffer, area, 0, x, &label(scale.high), Style::new());
        write::after(
            buffer,
            area,
            area.height - 1,
            x,
            &label(scale.low),
            Style::new(),
        );
    }
    draw_dots(buffer, canvas, &spans, scale);
    if trace == Trace::ALL[0] {
        // The trace turns just here; an arrow may stand in its way.
        for step in steps {
            write::after(buffer, canvas, 0, step_at(step), "▼", Paint::strong());
        }
    }
}

fn rounded(volts: f32, scale: Span) -> String {
    let decimals = if scale.high - scale.low < 1.0 { 2 } else { 1 };
    format!("{volts:.decimals$}")
}

/// A scale that holds all spans; [`None`] if there are none.
fn scale_of(spans: &[Option<Span>], least: f32) -> Option<Span> {
    let whole = spans.iter().flatten().copied().reduce(|one, other| Span {
        low: one.low.min(other.low),
        high: one.high.max(other.high),
    })?;
    let lacking = (least - (whole.high - whole.low)).max(0.0);
    // Half of what lacks on either side, but voltages are RMS: none is below 0.
    let low = (whole.low - lacking / 2.0).max(0.0);
    Some(Span {
        low,
        high: (low + least).max(whole.high),
    })
}

/// Bits of the dots of a braille cell: left and right column, top to bottom (Unicode, block
/// U+2800).
const DOTS: [[u32; 4]; 2] = [[0x01, 0x02, 0x04, 0x40], [0x08, 0x10, 0x20, 0x80]];

const BLANK: u32 = 0x2800;

fn draw_dots(buffer: &mut Buffer, canvas: Rect, spans: &[Option<Span>], scale: Span) {
    let rows = 4 * usize::from(canvas.height);
    let row_of = |volts: f32| {
        let share = (volts - scale.low) / (scale.high - scale.low);
        let row = ((1.0 - share) * (rows - 1) as f32).round();
        // Inside the scale, so between 0 and the last row.
        (row.max(0.0) as usize).min(rows - 1)
    };
    for (cell, pair) in spans.chunks(2).enumerate() {
        let mut bits = vec![0_u32; usize::from(canvas.height)];
        for (span, dots) in pair.iter().zip(DOTS) {
            let Some(span) = span else { continue };
            for row in row_of(span.high)..=row_of(span.low) {
                if let Some(cell) = bits.get_mut(row / 4) {
                    *cell |= dots[row % 4];
                }
            }
        }
        for (row, bits) in (0_u16..).zip(bits) {
            if bits == 0 {
                continue;
            }
            let dots = char::from_u32(BLANK + bits).unwrap_or(' ');
            let x = canvas.x + u16::try_from(cell).unwrap_or(u16::MAX);
            let mut text = [0; 4];
            write::after(
                buffer,
                canvas,
                row,
                x,
                dots.encode_utf8(&mut text),
                Style::new(),
            );
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const fn span(low: f32, high: f32) -> Option<Span> {
        Some(Span { low, high })
    }

    #[test]
    fn a_scale_holds_all_is_never_too_fine_and_never_below_zero() {
        assert_eq!(scale_of(&[None, None], 2.0), None);
        let scale = scale_of(&[span(119.9, 120.1), None], 2.0).unwrap();
        assert!(scale.low <= 119.0 + 0.01 && scale.high >= 121.0 - 0.01);
        let scale = scale_of(&[span(0.01, 0.02)], 0.2).unwrap();
        assert_eq!(
            scale,
            Span {
                low: 0.0,
                high: 0.2
            }
        );
        let scale = scale_of(&[span(0.0, 0.5), span(100.0, 118.0)], 0.2).unwrap();
        assert_eq!(
            scale,
            Span {
                low: 0.0,
                high: 118.0
            }
        );
    }
}
