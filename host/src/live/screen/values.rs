//! The left column, lamps and state, and the right one, values.

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;
use slotwise_core::evidence::{Measured, Reading};
use slotwise_core::lamps::{Lamp, Rhythm};
use slotwise_core::link::{Look, SlotLook};
use slotwise_core::units::{Ohms, Volts};
use slotwise_core::verdict::Outcome;

use super::paint::Paint;
use super::write;
use super::{Scene, rule_over};
use crate::live::model::{Standing, speaks_of_danger};
use crate::live::rhythm::is_lit;
use crate::report::numbers::{K, with_uncertainty};

/// Columns of the name of a value.
const NAME: u16 = 19;

/// Column of a lamp's rhythm in words, where there is room for it: after the longest question
/// and answer.
const RHYTHM: u16 = 43;

/// Columns of the longest rhythm, its brackets included.
const RHYTHM_WIDTH: u16 = 12;

/// Draws the lamps, what the tester is doing, and what the clip is on.
pub(super) fn draw_lamps(buffer: &mut Buffer, area: Rect, scene: &Scene<'_>) {
    let texts = scene.language.live();
    rule_over(buffer, area, texts.lamps);
    let is_current = scene.standing() == Standing::Current;
    for (row, lamp) in (1_u16..).zip(Lamp::ALL) {
        draw_lamp(buffer, area, row, scene, lamp, is_current);
    }
    let Some(look) = scene.live.look() else {
        return;
    };
    let row = area.height.saturating_sub(2);
    if row <= Lamp::ALL.len() as u16 {
        return;
    }
    if is_current {
        let x = write::at(buffer, area, row, texts.doing, Style::new());
        let phase = (texts.phase)(look.phase);
        write::after(buffer, area, row, x + 1, phase, Paint::strong());
    }
    let mut clip = format!(
        "{} {}",
        texts.clip,
        scene.language.clip_short(look.clip_target)
    );
    if scene.live.clip() != look.clip_target {
        clip.push_str(&format!(
            "; {} {}",
            texts.clip_next,
            scene.language.clip_short(scene.live.clip())
        ));
    }
    write::at(buffer, area, row + 1, &clip, Style::new());
}

fn draw_lamp(
    buffer: &mut Buffer,
    area: Rect,
    row: u16,
    scene: &Scene<'_>,
    lamp: Lamp,
    is_current: bool,
) {
    let texts = scene.language.live();
    let question = scene.language.question(lamp);
    let look = scene.live.look().filter(|_| is_current);
    let Some((look, clock)) = look.zip(scene.live.tester_clock(scene.now)) else {
        let x = write::at(buffer, area, row, "? ", Paint::faint());
        let x = write::after(buffer, area, row, x, question, Paint::faint());
        write::after(
            buffer,
            area,
            row,
            x + 1,
            texts.lamp_not_known,
            Paint::strong(),
        );
        return;
    };
    let rhythm = look.panel.rhythm(lamp);
    let is_red = lamp == Lamp::LiveMetal && rhythm != Rhythm::Off;
    let style = if is_red {
        scene.paint.danger()
    } else {
        Style::new()
    };
    let glyph = if is_lit(rhythm, clock) { "●" } else { "○" };
    write::at(buffer, area, row, glyph, style);
    let x = write::after(buffer, area, row, area.x + 2, question, style);
    let is_dark_for_danger =
        lamp != Lamp::LiveMetal && look.panel.rhythm(Lamp::LiveMetal) != Rhythm::Off;
    let answer = if is_dark_for_danger {
        texts.lamp_dark
    } else if lamp == Lamp::LiveMetal && !speaks_of_danger(look) {
        texts.lamp_not_known
    } else {
        scene.language.answer(lamp, &look.panel)
    };
    write::after(buffer, area, row, x + 1, answer, Paint::strong());
    if area.width >= RHYTHM + RHYTHM_WIDTH && rhythm != Rhythm::Off {
        let words = format!("({})", scene.language.rhythm(rhythm));
        write::after(buffer, area, row, area.x + RHYTHM, &words, Paint::faint());
    }
}

/// Draws the values, or the last ones that there were.
pub(super) fn draw_values(buffer: &mut Buffer, area: Rect, scene: &Scene<'_>) {
    let texts = scene.language.live();
    let look = scene.live.look();
    let is_fault = look
        .and_then(|look| look.answer)
        .is_some_and(|answer| answer.outcome == Outcome::TesterFault);
    let (title, style) = match scene.old() {
        Some(age) => ((texts.old)(age), Paint::alarm()),
        None if is_fault => (texts.not_to_be_trusted.to_owned(), Paint::alarm()),
        None => (texts.measured.to_owned(), Paint::strong()),
    };
    write::rule(buffer, area, &title, style);
    let Some(look) = look else { return };
    let style = if scene.standing() == Standing::Current && !is_fault {
        Style::new()
    } else {
        Paint::faint()
    };
    let room = area.height.saturating_sub(1);
    for (row, (name, value)) in (1_u16..).zip(rows(scene, look, usize::from(room))) {
        write::at(buffer, area, row, &name, Paint::faint());
        write::after(buffer, area, row, area.x + NAME, &value, style);
    }
}

type Row = (String, String);

/// The values, as many as there is room for. Where not all fit, the watch's own take the place
/// of what is not measured while it runs.
fn rows(scene: &Scene<'_>, look: &Look, room: usize) -> Vec<Row> {
    let texts = scene.language.live();
    let labels = scene.language.labels();
    let pair = |get: fn(&SlotLook) -> Reading<Volts>| match &look.slots {
        Ok(slots) => reading(&get(slots)),
        Err(reason) => (texts.missing)(*reason).to_owned(),
    };
    let [narrow_wide, ground_wide, narrow_ground] = labels.pairs.map(str::to_owned);
    let mut rows = vec![
        (narrow_wide, pair(|slots| slots.narrow_wide)),
        (ground_wide, pair(|slots| slots.ground_wide)),
        (narrow_ground, pair(|slots| slots.narrow_ground)),
        (labels.clip_wide.to_owned(), volts(scene, &look.clip_wide)),
        (
            labels.frequency.to_owned(),
            shown(scene, &look.frequency, |r| {
                with_uncertainty(r.value.get(), r.u.get(), "Hz")
            }),
        ),
        (labels.earth_path.to_owned(), ohms(scene, &look.earth_path)),
        (
            texts.neutral_and_ground.to_owned(),
            ohms(scene, &look.neutral_and_ground),
        ),
    ];
    let steps = load_steps(scene, look);
    let to_clip = (
        texts.neutral_to_clip.to_owned(),
        ohms(scene, &look.neutral_to_clip),
    );
    let watch = look.watch.map(|watch| {
        [
            (
                texts.neutral_drop.to_owned(),
                volts(scene, &watch.neutral_drop),
            ),
            (
                texts.frame_shift.to_owned(),
                volts(scene, &watch.frame_shift),
            ),
        ]
    });
    match watch {
        Some(watch) if rows.len() + 4 > room => rows.extend(watch),
        watch => {
            rows.extend([steps, to_clip]);
            rows.extend(watch.into_iter().flatten());
        }
    }
    rows.truncate(room);
    rows
}

fn load_steps(scene: &Scene<'_>, look: &Look) -> Row {
    let texts = scene.language.live();
    match &look.load_step {
        Ok(step) => {
            let per_cent =
                with_uncertainty(100.0 * step.rho.value.get(), 100.0 * step.rho.u.get(), "%");
            ((texts.steps)(step.steps), (texts.share)(&per_cent))
        }
        Err(reason) => (
            scene.language.labels().load_steps.to_owned(),
            (texts.missing)(*reason).to_owned(),
        ),
    }
}

/// A voltage with its uncertainty; digits that the uncertainty drowns are left out.
fn reading(reading: &Reading<Volts>) -> String {
    with_uncertainty(reading.value.get(), reading.u.get(), "V")
}

fn volts(scene: &Scene<'_>, value: &Measured<Volts>) -> String {
    shown(scene, value, reading)
}

fn ohms(scene: &Scene<'_>, value: &Measured<Ohms>) -> String {
    shown(scene, value, |r| {
        with_uncertainty(r.value.get(), r.u.get(), "ohm")
    })
}

fn shown<T: Copy>(
    scene: &Scene<'_>,
    value: &Measured<T>,
    print: impl Fn(&Reading<T>) -> String,
) -> String {
    match value {
        Measured::Known(reading) => print(reading),
        Measured::Missing(reason) => (scene.language.live().missing)(*reason).to_owned(),
    }
}

// The title over the values says so.
const _: () = assert!(K == 2.0);
