//! The terminal: taken over, drawn on, and given back whatever happens. A panic gives it back
//! before it is reported; so do Ctrl-C and the signals that end a program.

use std::io::{self, stdout};
use std::time::{Duration, Instant};

use ratatui::DefaultTerminal;
use ratatui::crossterm::event::{self, Event, KeyCode, KeyEvent, KeyEventKind, KeyModifiers};

use super::super::feed::Feed;
use super::super::lines::ended;
use super::super::model::{Ask, Effect, Key, Live};
use super::{Paint, Scene, draw};
use crate::error::Error;
use crate::exit::Exit;
use crate::texts::Language;

/// From one picture to the next: a quarter of the fastest rhythm's period, so that a lamp that
/// is lit for a quarter of it is seen lit.
const PICTURE_EVERY: Duration = Duration::from_millis(31);

/// A terminal in use. Dropping it gives it back.
struct Taken(DefaultTerminal);

impl Taken {
    fn new() -> io::Result<Self> {
        // Raw mode, the alternate screen, and a panic hook that gives both back.
        ratatui::try_init().map(Self)
    }
}

impl Drop for Taken {
    fn drop(&mut self) {
        // On an error there is nobody left to tell.
        let _ = ratatui::try_restore();
        let _ = ratatui::crossterm::execute!(stdout(), ratatui::crossterm::cursor::Show);
    }
}

/// What a key means here, if anything.
#[must_use]
pub fn key_of(key: &KeyEvent) -> Option<Key> {
    if key.kind == KeyEventKind::Release {
        return None;
    }
    let is_control = key.modifiers.contains(KeyModifiers::CONTROL);
    match key.code {
        KeyCode::Char('c' | 'C' | 'd' | 'D') if is_control => Some(Key::Quit),
        _ if is_control || key.modifiers.contains(KeyModifiers::ALT) => None,
        // A key held down is one wish, not many.
        _ if key.kind == KeyEventKind::Repeat => None,
        KeyCode::Char('q' | 'Q') | KeyCode::Esc => Some(Key::Quit),
        KeyCode::Char('t' | 'T') => Some(Key::Test),
        KeyCode::Char('w' | 'W') => Some(Key::Watch),
        KeyCode::Char('c' | 'C') => Some(Key::Clip),
        _ => None,
    }
}

/// Shows the view on the terminal until a key ends it, or `until`, or the tester is gone.
///
/// # Errors
/// A tester that does not come back; a terminal that does not do.
pub fn show(
    feed: Feed,
    live: &mut Live,
    first: Option<Ask>,
    until: Option<Instant>,
    language: &'static dyn Language,
) -> Result<Exit, Error> {
    let signals = Signals::watch().map_err(Error::Output)?;
    let mut taken = Taken::new().map_err(Error::Output)?;
    let paint = Paint::from_environment();
    let began = Instant::now();
    if let Some(Effect::Ask(ask)) = first.and_then(|ask| live.wish(ask, Duration::ZERO)) {
        feed.ask(ask);
    }
    while until.is_none_or(|until| Instant::now() < until) && !signals.came() {
        loop {
            match feed.next(Duration::ZERO) {
                Ok(Some(heard)) => live.heard(&heard, began.elapsed()),
                Ok(None) => break,
                Err(_) => {
                    drop(taken);
                    return ended(feed.reason(), live);
                }
            }
        }
        let now = began.elapsed();
        let scene = Scene {
            live,
            now,
            language,
            paint,
        };
        taken
            .0
            .draw(|frame| {
                let area = frame.area();
                draw(frame.buffer_mut(), area, &scene);
            })
            .map_err(Error::Output)?;
        let pressed = wait_for_key(PICTURE_EVERY).map_err(Error::Output)?;
        let now = began.elapsed();
        let effects = [
            live.tick(now),
            pressed.and_then(|pressed| live.key(pressed, now)),
        ];
        for effect in effects.into_iter().flatten() {
            match effect {
                Effect::Ask(ask) => feed.ask(ask),
                Effect::Quit => return Ok(live.exit(began.elapsed())),
            }
        }
    }
    Ok(live.exit(began.elapsed()))
}

fn wait_for_key(wait: Duration) -> io::Result<Option<Key>> {
    if !event::poll(wait)? {
        return Ok(None);
    }
    Ok(match event::read()? {
        Event::Key(key) => key_of(&key),
        _ => None,
    })
}

/// The signals that end a program; seen, so that the terminal can be given back first.
#[cfg(unix)]
struct Signals(std::sync::Arc<std::sync::atomic::AtomicBool>);

#[cfg(unix)]
impl Signals {
    fn watch() -> io::Result<Self> {
        use signal_hook::consts::{SIGHUP, SIGINT, SIGTERM};
        let came = std::sync::Arc::default();
        for signal in [SIGHUP, SIGINT, SIGTERM] {
            signal_hook::flag::register(signal, std::sync::Arc::clone(&came))?;
        }
        Ok(Self(came))
    }

    fn came(&self) -> bool {
        self.0.load(std::sync::atomic::Ordering::Relaxed)
    }
}

/// Elsewhere the system gives the terminal back.
#[cfg(not(unix))]
struct Signals;

#[cfg(not(unix))]
impl Signals {
    const fn watch() -> io::Result<Self> {
        Ok(Self)
    }

    const fn came(&self) -> bool {
        false
    }
}
