//! The screens of `live`, as text and as a picture.
//!
//! `SLOTWISE_WRITE_README=1 cargo test -p slotwise --test live_screens` makes the picture anew.

mod support;

use std::fmt::Write as _;
use std::path::Path;
use std::time::Duration;

use ratatui::Terminal;
use ratatui::backend::TestBackend;
use ratatui::buffer::Buffer;
use ratatui::style::{Color, Modifier};
use slotwise::live::screen::{Paint, SMALLEST, Scene, draw};
use slotwise::live::{Ask, Effect, Heard, Key, Live};
use slotwise::texts::English;
use slotwise_core::evidence::{Evidence, ZeroSum};
use slotwise_core::lamps::{Lamp, Rhythm};
use slotwise_core::link::{Look, Phase};
use slotwise_core::slots::ClipTarget;
use slotwise_core::units::{Millis, Volts};
use slotwise_core::verdict::Outcome;
use support::live::{found, heard, look_at, look_of, sound_evidence, watched};
use support::{OPEN_GROUND, REVERSED_AND_JOINED, SOUND};

/// What a terminal of this size shows.
fn screen(live: &Live, now: Duration, size: (u16, u16), colour: bool) -> Buffer {
    let mut terminal = Terminal::new(TestBackend::new(size.0, size.1)).unwrap();
    let scene = Scene {
        live,
        now,
        language: &English,
        paint: Paint { colour },
    };
    terminal
        .draw(|frame| {
            let area = frame.area();
            draw(frame.buffer_mut(), area, &scene);
        })
        .unwrap();
    terminal.backend().buffer().clone()
}

fn rows(buffer: &Buffer) -> Vec<String> {
    let width = usize::from(buffer.area.width);
    buffer
        .content
        .chunks(width)
        .map(|row| {
            let row: String = row.iter().map(|cell| cell.symbol()).collect();
            row.trim_end().to_owned()
        })
        .collect()
}

fn text(buffer: &Buffer) -> String {
    rows(buffer).join("\n")
}

const LARGE: (u16, u16) = (120, 40);

fn sound() -> (Live, Duration) {
    heard(ClipTarget::NotConnected, 600, |window| {
        look_at(&sound_evidence(), Phase::Steady, window)
    })
}

fn danger() -> (Live, Duration) {
    heard(ClipTarget::IndependentEarth, 40, |window| {
        look_of(&REVERSED_AND_JOINED, window)
    })
}

/// Two minutes and a half of a watch.
fn watch() -> (Live, Duration) {
    heard(ClipTarget::ApplianceFrame, 750, watched)
}

/// A string of the tester is broken: the four inputs do not add up.
fn tester_fault() -> (Live, Duration) {
    let evidence = Evidence {
        zero_sum: ZeroSum {
            in_phase: Volts::new(20.0),
            quadrature: Volts::new(0.1),
        },
        ..SOUND.evidence()
    };
    heard(ClipTarget::NotConnected, 12, |window| {
        look_at(&evidence, Phase::TesterFault, window)
    })
}

#[test]
fn a_sound_receptacle() {
    let (live, now) = sound();
    insta::assert_snapshot!("sound_80x24", text(&screen(&live, now, SMALLEST, false)));
    insta::assert_snapshot!("sound_120x40", text(&screen(&live, now, LARGE, false)));
}

#[test]
fn a_danger_covers_the_top() {
    let (live, now) = danger();
    let small = screen(&live, now, SMALLEST, false);
    insta::assert_snapshot!("danger_80x24", text(&small));
    insta::assert_snapshot!("danger_120x40", text(&screen(&live, now, LARGE, false)));
    assert!(rows(&small)[0].contains("DANGER: METAL MAY BE LIVE. HANDS OFF."));
}

#[test]
fn a_watch_with_steps() {
    let (live, now) = watch();
    insta::assert_snapshot!("watch_80x24", text(&screen(&live, now, SMALLEST, false)));
    insta::assert_snapshot!("watch_120x40", text(&screen(&live, now, LARGE, false)));
}

#[test]
fn a_tester_that_is_not_fit_to_answer() {
    let (live, now) = tester_fault();
    let small = text(&screen(&live, now, SMALLEST, false));
    assert!(small.contains("NOT TO BE TRUSTED"));
    // A tester that is not fit has not looked for a danger.
    assert!(small.contains("Live metal! not known"));
    insta::assert_snapshot!("tester_fault_80x24", small);
    insta::assert_snapshot!(
        "tester_fault_120x40",
        text(&screen(&live, now, LARGE, false))
    );
}

#[test]
fn a_terminal_that_is_too_small_says_so_and_still_tells_a_danger() {
    let (live, now) = sound();
    insta::assert_snapshot!(
        "too_small_60x20",
        text(&screen(&live, now, (60, 20), false))
    );
    for size in [(79, 24), (80, 23)] {
        let small = text(&screen(&live, now, size, false));
        assert!(small.contains("needs 80 x 24"), "{small}");
    }
    let (live, now) = danger();
    let small = text(&screen(&live, now, (40, 5), false));
    assert!(small.starts_with("DANGER"), "{small}");
    // No size is too small for the program.
    for size in [(1, 1), (2, 3), (80, 1), (1, 24)] {
        let _ = screen(&live, now, size, false);
    }
}

#[test]
fn a_tester_that_is_not_heard_shows_no_lamps_and_old_values() {
    let (mut live, now) = sound();
    live.heard(&Heard::Lost("the line broke".to_owned()), now);
    let later = now + Duration::from_secs(7);
    let lost = text(&screen(&live, later, SMALLEST, false));
    insta::assert_snapshot!("lost_80x24", lost);
    let quiet = text(&screen(
        &sound().0,
        now + Duration::from_secs(4),
        SMALLEST,
        false,
    ));
    assert!(quiet.contains("NO ANSWER on /dev/ttyACM0 for 4 s"));
    for dark in [&lost, &quiet] {
        assert_eq!(dark.matches("not known").count(), Lamp::ALL.len());
        assert!(dark.contains("OLD VALUES") && dark.contains("OLD ANSWER"));
        assert!(!dark.contains('●') && !dark.contains("Measured now"));
    }
}

#[test]
fn a_tester_that_has_measured_nothing_says_untested() {
    let mut live = found(ClipTarget::NotConnected);
    let look = |phase| Look::nothing_yet(Millis::new(40), phase, ClipTarget::NotConnected);
    live.heard(&Heard::Look(look(Phase::Wiring)), Duration::ZERO);
    let shown = text(&screen(&live, Duration::ZERO, SMALLEST, false));
    assert!(shown.contains("this receptacle is untested"), "{shown}");
    assert!(shown.contains("Live metal! not known"), "{shown}");
    live.heard(&Heard::Look(look(Phase::Waiting)), Duration::ZERO);
    let shown = text(&screen(&live, Duration::ZERO, SMALLEST, false));
    assert!(shown.contains("That does not mean dead"), "{shown}");
}

#[test]
fn every_answer_keeps_its_name_and_its_next_check_on_the_smallest_screen() {
    for invented in [SOUND, OPEN_GROUND, support::REVERSED, support::DEAD] {
        let (live, now) = heard(ClipTarget::NotConnected, 3, |window| {
            look_of(&invented, window)
        });
        let answer = live.look().unwrap().answer.unwrap();
        let finding = answer.finding.unwrap();
        let shown = text(&screen(&live, now, SMALLEST, false));
        assert!(
            shown.contains(&format!("({})", finding.code.number())),
            "{shown}"
        );
        assert!(shown.contains("Next"), "{shown}");
        if answer.outcome == Outcome::NoFaultFound {
            assert!(shown.contains("Not yet proven"), "{shown}");
        }
    }
}

#[test]
fn red_is_only_beside_the_word_danger_and_never_needed() {
    let coloured = |buffer: &Buffer| -> Vec<usize> {
        let width = usize::from(buffer.area.width);
        let mut rows: Vec<usize> = buffer
            .content
            .iter()
            .enumerate()
            .filter(|(_, cell)| cell.fg != Color::Reset || cell.bg != Color::Reset)
            .map(|(place, cell)| {
                assert_eq!((cell.fg, cell.bg), (Color::Red, Color::Reset));
                place / width
            })
            .collect();
        rows.dedup();
        rows
    };
    for (live, now) in [sound(), watch(), tester_fault(), danger()] {
        assert!(coloured(&screen(&live, now, SMALLEST, false)).is_empty());
        let with = screen(&live, now, SMALLEST, true);
        let without = screen(&live, now, SMALLEST, false);
        assert_eq!(text(&with), text(&without));
        let lines = rows(&with);
        for row in coloured(&with) {
            let line = lines[row].to_uppercase();
            assert!(line.contains("DANGER"), "{line}");
        }
        assert_eq!(live.is_danger(), !coloured(&with).is_empty());
    }
}

#[test]
fn lamps_beat_by_the_testers_clock() {
    let (live, _) = sound();
    let is_lit = |millis: u64| {
        let now = Duration::from_millis(millis);
        let shown = text(&screen(&live, now, SMALLEST, false));
        let line = shown
            .lines()
            .find(|line| line.contains("Wired right?"))
            .unwrap();
        line.contains('●')
    };
    // Unsure without another earth: slow blink, 1 Hz. The last look came at 120 s.
    assert_eq!(
        live.look().unwrap().panel.rhythm(Lamp::WiredRight),
        Rhythm::SlowBlink
    );
    assert!(is_lit(120_000) && is_lit(120_499));
    assert!(!is_lit(120_500) && !is_lit(120_999));
}

#[test]
fn keys_and_notices_are_on_the_screen() {
    let (mut live, now) = watch();
    let shown = text(&screen(&live, now, SMALLEST, false));
    assert!(shown.contains("w  stop the watch") && shown.contains("q  quit"));
    assert_eq!(live.key(Key::Clip, now), None);
    let shown = text(&screen(&live, now, SMALLEST, false));
    assert!(shown.contains("Clip: frame; next time: earth"), "{shown}");
    assert!(shown.contains("holds from the next t or w on"));
    let asked = live.key(Key::Test, now);
    assert_eq!(
        asked,
        Some(Effect::Ask(Ask::Test(ClipTarget::IndependentEarth)))
    );
}

#[test]
fn the_picture_of_the_live_view_is_up_to_date() {
    let (live, now) = watch();
    let made = picture(&screen(&live, now, (100, 30), true));
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("pictures/live.svg");
    if std::env::var_os("SLOTWISE_WRITE_README").is_some() {
        std::fs::write(&file, &made).unwrap();
    }
    if let Some(folder) = std::env::var_os("SLOTWISE_WRITE_SCREENS") {
        // The others, for who wants to look at them.
        for (name, (live, now)) in [
            ("sound", sound()),
            ("danger", danger()),
            ("watch", watch()),
            ("fault", tester_fault()),
        ] {
            for size in [SMALLEST, LARGE] {
                let file = Path::new(&folder).join(format!("{name}-{}.svg", size.0));
                std::fs::write(file, picture(&screen(&live, now, size, true))).unwrap();
            }
        }
    }
    let kept = std::fs::read_to_string(&file).expect("the picture is there");
    assert_eq!(kept, made, "make it anew, see the top of this file");
}

/// Width and height of a cell, and how far its baseline is down.
const CELL: (u16, u16, u16) = (9, 18, 14);

/// The screen as a drawing. Dots, lamps and lines are drawn, so that no font has to have them.
fn picture(buffer: &Buffer) -> String {
    let (width, height) = (buffer.area.width * CELL.0, buffer.area.height * CELL.1);
    let mut svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {width} {height}\" \
         width=\"{width}\" height=\"{height}\" font-family=\"monospace\" font-size=\"15\">\n\
         <title>The live view while a furnace cycles (invented)</title>\n\
         <rect width=\"{width}\" height=\"{height}\" fill=\"#101418\"/>\n"
    );
    for y in 0..buffer.area.height {
        for x in 0..buffer.area.width {
            cell(&mut svg, buffer, x, y);
        }
        words(&mut svg, buffer, y);
    }
    svg.push_str("</svg>\n");
    svg
}

/// The colour that a cell is written in, and whether it is reversed.
fn ink(buffer: &Buffer, x: u16, y: u16) -> (&'static str, bool) {
    let cell = &buffer[(x, y)];
    let ink = match (cell.fg, cell.modifier.contains(Modifier::DIM)) {
        (Color::Red, _) => "#ff6b5e",
        (_, true) => "#8b98a5",
        _ => "#e6edf3",
    };
    (ink, cell.modifier.contains(Modifier::REVERSED))
}

fn symbol(buffer: &Buffer, x: u16, y: u16) -> char {
    buffer[(x, y)].symbol().chars().next().unwrap_or(' ')
}

const fn is_drawn(symbol: char) -> bool {
    matches!(
        symbol,
        '\u{2800}'..='\u{28FF}' | '●' | '○' | '─' | '┊' | '▼'
    )
}

/// What of a cell is no letter: its ground, and signs that not every font has.
fn cell(svg: &mut String, buffer: &Buffer, x: u16, y: u16) {
    let (left, top) = (x * CELL.0, y * CELL.1);
    let (ink, is_reversed) = ink(buffer, x, y);
    if is_reversed {
        // Writing to a String cannot fail.
        let _ = writeln!(
            svg,
            "<rect x=\"{left}\" y=\"{top}\" width=\"{}\" height=\"{}\" fill=\"{ink}\"/>",
            CELL.0, CELL.1
        );
    }
    let ink = if is_reversed { "#101418" } else { ink };
    let middle = (
        f32::from(left) + f32::from(CELL.0) / 2.0,
        f32::from(top) + f32::from(CELL.1) / 2.0,
    );
    let _ = match symbol(buffer, x, y) {
        dots @ '\u{2801}'..='\u{28FF}' => writeln!(
            svg,
            "<path d=\"{}\" stroke=\"{ink}\" stroke-width=\"2.6\" stroke-linecap=\"round\"/>",
            dot_path(u32::from(dots) - 0x2800, left, top)
        ),
        lamp @ ('●' | '○') => writeln!(
            svg,
            "<circle cx=\"{}\" cy=\"{}\" r=\"4\" stroke=\"{ink}\" fill=\"{}\"/>",
            middle.0,
            middle.1,
            if lamp == '●' { ink } else { "none" }
        ),
        '─' => writeln!(
            svg,
            "<path d=\"M{left} {}h{}\" stroke=\"{ink}\"/>",
            middle.1, CELL.0
        ),
        '▼' => writeln!(
            svg,
            "<path d=\"M{left} {}h{}l-{} 8z\" fill=\"{ink}\"/>",
            top + 5,
            CELL.0,
            f32::from(CELL.0) / 2.0
        ),
        '┊' => writeln!(
            svg,
            "<path d=\"M{} {top}v{}\" stroke=\"{ink}\" stroke-dasharray=\"3 3\"/>",
            middle.0, CELL.1
        ),
        _ => Ok(()),
    };
}

/// Braille dots: bits 0 to 2 and 6 are the left column, 3 to 5 and 7 the right one.
fn dot_path(bits: u32, left: u16, top: u16) -> String {
    let mut path = String::new();
    for (bit, column, row) in [
        (0, 0.25, 0.125),
        (1, 0.25, 0.375),
        (2, 0.25, 0.625),
        (6, 0.25, 0.875),
        (3, 0.75, 0.125),
        (4, 0.75, 0.375),
        (5, 0.75, 0.625),
        (7, 0.75, 0.875),
    ] {
        if bits & (1 << bit) != 0 {
            let x = f32::from(left) + f32::from(CELL.0) * column;
            let y = f32::from(top) + f32::from(CELL.1) * row;
            let _ = write!(path, "M{x:.1} {y:.1}h0");
        }
    }
    path
}

/// The words of a row, each stretched over its own cells.
fn words(svg: &mut String, buffer: &Buffer, y: u16) {
    let style = |x: u16| (ink(buffer, x, y), buffer[(x, y)].modifier);
    let mut x = 0;
    while x < buffer.area.width {
        let from = x;
        let mut word = String::new();
        while x < buffer.area.width {
            let letter = symbol(buffer, x, y);
            if letter == ' ' || is_drawn(letter) || style(x) != style(from) {
                break;
            }
            word.push(letter);
            x += 1;
        }
        if word.is_empty() {
            x += 1;
            continue;
        }
        let (ink, is_reversed) = ink(buffer, from, y);
        let ink = if is_reversed { "#101418" } else { ink };
        let weight = if buffer[(from, y)].modifier.contains(Modifier::BOLD) {
            " font-weight=\"bold\""
        } else {
            ""
        };
        let _ = writeln!(
            svg,
            "<text x=\"{}\" y=\"{}\" textLength=\"{}\" fill=\"{ink}\"{weight}>{}</text>",
            from * CELL.0,
            y * CELL.1 + CELL.2,
            (x - from) * CELL.0,
            word.replace('&', "&amp;").replace('<', "&lt;")
        );
    }
}
