//! The screen: where everything stands, on 80 x 24 and up.
//!
//! ```text
//!  title, or the banner of a danger, or that there is no link
//!  lamps and state      | values
//!  answer and next check
//!  plot
//!  keys
//! ```
//!
//! Every row is written anew each time; the terminal is sent what differs.

mod answer;
mod paint;
mod plot;
mod terminal;
mod values;
mod write;

use std::time::Duration;

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;

use super::model::{Live, Standing};
use crate::texts::Language;

pub use paint::Paint;
pub use terminal::{key_of, show};

/// The smallest screen: width and height.
pub const SMALLEST: (u16, u16) = (80, 24);

/// Least rows of lamps and values, rule included.
const TOP: u16 = 10;

/// Rows of lamps and values where there is room for every value.
const TOP_ALL: u16 = 12;

/// Least rows of the answer, rule included.
const ANSWER: u16 = 5;

/// Rows of the answer where there is room for its meaning.
const ANSWER_ALL: u16 = 11;

/// Rows of a danger's banner.
const BANNER: u16 = 9;

/// Least rows of the plot, rule included: two rows a strip.
const PLOT: u16 = 7;

/// Columns of the lamps on the smallest screen.
const LAMPS: u16 = 41;

/// What is drawn.
#[derive(Clone, Copy, Debug)]
pub struct Scene<'s> {
    /// The state of the view.
    pub live: &'s Live,
    /// Time since the view began.
    pub now: Duration,
    /// The words.
    pub language: &'s dyn Language,
    /// Emphasis.
    pub paint: Paint,
}

impl Scene<'_> {
    fn standing(&self) -> Standing {
        self.live.standing(self.now)
    }

    /// Age in seconds of what is held, if it is no longer what the tester sees.
    fn old(&self) -> Option<u64> {
        match self.standing() {
            Standing::Quiet(_) | Standing::Lost(_) => {
                Some(self.live.age(self.now).unwrap_or_default().as_secs())
            }
            Standing::Nothing | Standing::Current => None,
        }
    }
}

/// Draws the scene on the whole of `area`.
pub fn draw(buffer: &mut Buffer, area: Rect, scene: &Scene<'_>) {
    if area.width < SMALLEST.0 || area.height < SMALLEST.1 {
        draw_too_small(buffer, area, scene);
        return;
    }
    let is_danger = scene.live.is_danger();
    let spare = area.height - SMALLEST.1;
    let mut rows = Rows { area, next: area.y };
    if is_danger {
        answer::draw_danger(buffer, rows.take(BANNER + spare.min(3)), scene);
    }
    // A danger's banner leaves no row for the title on the smallest screen.
    if !is_danger || spare > 0 || scene.standing() != Standing::Current {
        draw_title(buffer, rows.take(1), scene);
    }
    let top = rows.take(if spare >= 6 { TOP_ALL } else { TOP });
    let lamps = Rect {
        width: LAMPS.max(area.width / 2),
        ..top
    };
    // One column between the two.
    let values = Rect {
        x: lamps.right() + 1,
        width: area.width - lamps.width - 1,
        ..top
    };
    values::draw_lamps(buffer, lamps, scene);
    values::draw_values(buffer, values, scene);
    let left = rows.left().saturating_sub(1);
    if !is_danger {
        let more = left.saturating_sub(ANSWER + PLOT) / 2;
        answer::draw(buffer, rows.take((ANSWER + more).min(ANSWER_ALL)), scene);
    }
    plot::draw(buffer, rows.take(rows.left().saturating_sub(1)), scene);
    draw_keys(buffer, rows.take(1), scene);
}

/// Rows that are handed out from top to bottom.
struct Rows {
    area: Rect,
    next: u16,
}

impl Rows {
    const fn left(&self) -> u16 {
        self.area.bottom().saturating_sub(self.next)
    }

    fn take(&mut self, height: u16) -> Rect {
        let height = height.min(self.left());
        let rows = Rect {
            y: self.next,
            height,
            ..self.area
        };
        self.next += height;
        rows
    }
}

fn rule_over(buffer: &mut Buffer, area: Rect, title: &str) {
    write::rule(buffer, area, title, Paint::strong());
}

fn draw_title(buffer: &mut Buffer, area: Rect, scene: &Scene<'_>) {
    let texts = scene.language.live();
    let port = scene.live.port();
    let alarm = match scene.standing() {
        Standing::Lost(seconds) => Some((texts.lost)(port, seconds)),
        Standing::Quiet(seconds) => Some((texts.quiet)(port, seconds)),
        Standing::Nothing | Standing::Current => None,
    };
    if let Some(alarm) = alarm {
        let width = usize::from(area.width);
        write::at(buffer, area, 0, &format!(" {alarm:width$}"), Paint::alarm());
        return;
    }
    let x = write::at(buffer, area, 0, texts.title, Paint::strong());
    let mut about = format!("  {port}");
    if let Some(hello) = scene.live.hello() {
        about.push_str(&format!(
            "  {} {}",
            scene.language.labels().tester.to_lowercase(),
            hello.tester
        ));
    }
    write::after(buffer, area, 0, x, &about, Style::new());
}

fn draw_keys(buffer: &mut Buffer, area: Rect, scene: &Scene<'_>) {
    let keys = scene.language.live().keys;
    let runs = scene.live.look().is_some_and(|look| look.watch.is_some());
    let watch = if runs {
        keys.stop_watch
    } else {
        keys.start_watch
    };
    let mut x = area.x;
    for help in [keys.test, watch, keys.clip, keys.quit] {
        let (key, words) = help.split_once(' ').unwrap_or((help, ""));
        x = write::after(buffer, area, 0, x, &format!(" {key} "), Paint::alarm());
        x = write::after(buffer, area, 0, x, &format!(" {words}   "), Style::new());
    }
}

/// Even where nothing fits, a danger is told.
fn draw_too_small(buffer: &mut Buffer, area: Rect, scene: &Scene<'_>) {
    let texts = scene.language.live();
    let mut row = 0;
    if scene.live.is_danger() {
        for line in write::wrap(texts.danger, area.width) {
            write::at(buffer, area, row, &line, scene.paint.danger());
            row += 1;
        }
    }
    let text = (texts.too_small)((area.width, area.height), SMALLEST);
    for line in write::wrap(&text, area.width) {
        write::at(buffer, area, row, &line, Style::new());
        row += 1;
    }
}
