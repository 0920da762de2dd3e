//! The live view for programs: one JSON object a line, no escape codes.
//!
//! Every line has `format` ("slotwise-live"), `version` and `event`:
//!
//! - `found`: the tester answered on `port`; `tester`, `firmware` and `boot` say which.
//! - `look`: what it sees. `millis` is its time since start, `windows` rises with every new
//!   measurement, `phase` is what it is doing, `answer` its latest answer or null, `clip` what
//!   the clip was said to be on, `watch` the running load-cycle watch or null. Values and lamps
//!   have the shape they have in `slotwise show --json`: a value is `{"value", "u", "unit"}`
//!   with its standard uncertainty, or `{"missing": "reason"}`, never 0 or null.
//! - `done`, `busy`, `not_sent`: what became of `ask`.
//! - `lost`: the link broke, for `reason`. No look follows until the tester is `found` again.
//!
//! A look is printed when anything in it but the time has changed, and at least once a second.
//! Fields are added, never renamed or taken away without a new `version`.

use std::io::{self, Write};
use std::time::{Duration, Instant};

use serde::Serialize;
use slotwise_core::evidence::{Measured, Reading};
use slotwise_core::lamps::Lamp;
use slotwise_core::link::{Answer, Hello, Look, SlotLook, WatchState};
use slotwise_core::units::{Millis, Ohms, Volts};

use super::feed::{Feed, Heard};
use super::model::{Ask, Effect, Live, speaks_of_danger};
use crate::error::Error;
use crate::exit::Exit;
use crate::report::json::{FindingEntry, LampEntry, Value, lamps_of, measured, missing};
use crate::texts::{Language, codes};

/// Version of the shape.
const VERSION: u32 = 1;

/// An unchanged look is printed as often as this, by the tester's clock.
const UNCHANGED_EVERY: u64 = 1000;

/// How long one wait for news lasts.
const WAIT: Duration = Duration::from_millis(100);

#[derive(Serialize)]
struct Entry<'l> {
    format: &'static str,
    version: u32,
    #[serde(flatten)]
    event: Event<'l>,
}

#[derive(Serialize)]
#[serde(tag = "event", rename_all = "snake_case")]
enum Event<'l> {
    Found {
        port: &'l str,
        tester: String,
        firmware: String,
        boot: u32,
    },
    Look(Box<LookEntry>),
    Done {
        ask: &'static str,
    },
    Busy {
        ask: &'static str,
    },
    NotSent {
        ask: &'static str,
    },
    Lost {
        reason: &'l str,
    },
}

#[derive(Serialize)]
struct LookEntry {
    millis: u64,
    windows: u32,
    phase: &'static str,
    answer: Option<AnswerEntry>,
    lamps: Vec<LampEntry>,
    clip: &'static str,
    narrow_wide: Value,
    ground_wide: Value,
    narrow_ground: Value,
    clip_wide: Value,
    frequency: Value,
    earth_path: Value,
    neutral_and_ground: Value,
    neutral_to_clip: Value,
    load_step_rho: Value,
    load_steps: u16,
    watch: Option<WatchEntry>,
}

#[derive(Serialize)]
struct AnswerEntry {
    outcome: &'static str,
    meaning: &'static str,
    finding: Option<FindingEntry>,
    not_proven: Vec<&'static str>,
}

#[derive(Serialize)]
struct WatchEntry {
    seconds: u16,
    steps: u16,
    neutral_drop: Value,
    frame_shift: Value,
}

fn volts(value: &Measured<Volts>) -> Value {
    measured(value, "V", |r| (r.value.get(), r.u.get()))
}

fn ohms(value: &Measured<Ohms>) -> Value {
    measured(value, "ohm", |r| (r.value.get(), r.u.get()))
}

impl AnswerEntry {
    fn of(language: &dyn Language, answer: &Answer) -> Self {
        Self {
            outcome: codes::outcome(answer.outcome),
            meaning: language.outcome_meaning(answer.outcome),
            finding: answer
                .finding
                .as_ref()
                .map(|finding| FindingEntry::of(language, finding)),
            not_proven: language.unproven(answer.unproven),
        }
    }
}

impl From<&WatchState> for WatchEntry {
    fn from(watch: &WatchState) -> Self {
        Self {
            seconds: watch.seconds,
            steps: watch.steps,
            neutral_drop: volts(&watch.neutral_drop),
            frame_shift: volts(&watch.frame_shift),
        }
    }
}

impl LookEntry {
    fn of(language: &dyn Language, look: &Look) -> Self {
        let pair = |get: fn(&SlotLook) -> Reading<Volts>| match &look.slots {
            Ok(slots) => volts(&Measured::Known(get(slots))),
            Err(reason) => missing(*reason),
        };
        Self {
            millis: look.now.get(),
            windows: look.windows,
            phase: codes::phase(look.phase),
            answer: look
                .answer
                .as_ref()
                .map(|answer| AnswerEntry::of(language, answer)),
            lamps: lamps(language, look),
            clip: codes::clip(look.clip_target),
            narrow_wide: pair(|slots| slots.narrow_wide),
            ground_wide: pair(|slots| slots.ground_wide),
            narrow_ground: pair(|slots| slots.narrow_ground),
            clip_wide: volts(&look.clip_wide),
            frequency: measured(&look.frequency, "Hz", |r| (r.value.get(), r.u.get())),
            earth_path: ohms(&look.earth_path),
            neutral_and_ground: ohms(&look.neutral_and_ground),
            neutral_to_clip: ohms(&look.neutral_to_clip),
            load_step_rho: match &look.load_step {
                Ok(step) => measured(&Measured::Known(step.rho), "", |r| {
                    (r.value.get(), r.u.get())
                }),
                Err(reason) => missing(*reason),
            },
            load_steps: look.load_step.map_or(0, |step| step.steps),
            watch: look.watch.as_ref().map(WatchEntry::from),
        }
    }
}

fn lamps(language: &dyn Language, look: &Look) -> Vec<LampEntry> {
    let mut lamps = lamps_of(language, &look.panel);
    if let (false, Some(live_metal)) = (
        speaks_of_danger(look),
        lamps.get_mut(Lamp::LiveMetal as usize),
    ) {
        live_metal.answer = language.live().lamp_not_known;
    }
    lamps
}

/// Writes what is heard, a line each.
pub struct LineWriter<W> {
    out: W,
    language: &'static dyn Language,
    last: Option<Look>,
}

impl<W: Write> LineWriter<W> {
    /// Writes to `out`.
    pub const fn new(out: W, language: &'static dyn Language) -> Self {
        Self {
            out,
            language,
            last: None,
        }
    }

    /// Writes a line, if there is something to say.
    ///
    /// # Errors
    /// [`Error::Output`].
    pub fn heard(&mut self, heard: &Heard) -> Result<(), Error> {
        let event = match heard {
            Heard::Found { port, hello } => {
                self.last = None;
                found(port, hello)
            }
            Heard::Look(look) if self.is_known(look) => return Ok(()),
            Heard::Look(look) => {
                self.last = Some(*look);
                Event::Look(Box::new(LookEntry::of(self.language, look)))
            }
            Heard::Done(ask) => Event::Done { ask: name(*ask) },
            Heard::Busy(ask) => Event::Busy { ask: name(*ask) },
            Heard::NotSent(ask) => Event::NotSent { ask: name(*ask) },
            Heard::Lost(reason) => Event::Lost { reason },
        };
        let mut line = serde_json::to_string(&Entry {
            format: "slotwise-live",
            version: VERSION,
            event,
        })?;
        line.push('\n');
        self.out
            .write_all(line.as_bytes())
            .and_then(|()| self.out.flush())
            .map_err(Error::Output)
    }

    /// Whether this look says nothing new.
    fn is_known(&self, look: &Look) -> bool {
        self.last.is_some_and(|last| {
            let timeless = |look: &Look| Look {
                now: Millis::new(0),
                ..*look
            };
            timeless(&last) == timeless(look) && look.now.since(last.now) < UNCHANGED_EVERY
        })
    }
}

fn found<'l>(port: &'l str, hello: &Hello) -> Event<'l> {
    Event::Found {
        port,
        tester: hello.tester.to_string(),
        firmware: hello.firmware.to_string(),
        boot: hello.boot,
    }
}

const fn name(ask: Ask) -> &'static str {
    match ask {
        Ask::Test(_) => "test",
        Ask::StartWatch(_) => "start_watch",
        Ask::StopWatch => "stop_watch",
    }
}

/// Prints lines until `until`, or until the reader or the tester goes away.
///
/// # Errors
/// A tester that does not come back; output that cannot be written.
pub fn show(
    feed: Feed,
    live: &mut Live,
    first: Option<Ask>,
    until: Option<Instant>,
    language: &'static dyn Language,
) -> Result<Exit, Error> {
    let began = Instant::now();
    let mut writer = LineWriter::new(io::stdout().lock(), language);
    if let Some(Effect::Ask(ask)) = first.and_then(|ask| live.wish(ask, Duration::ZERO)) {
        feed.ask(ask);
    }
    while until.is_none_or(|until| Instant::now() < until) {
        let Ok(heard) = feed.next(WAIT) else {
            return ended(feed.reason(), live);
        };
        let now = began.elapsed();
        if let Some(heard) = heard {
            live.heard(&heard, now);
            match writer.heard(&heard) {
                // A reader that has gone away ends the printing quietly.
                Err(Error::Output(error)) if error.kind() == io::ErrorKind::BrokenPipe => break,
                other => other?,
            }
        }
        if let Some(Effect::Ask(ask)) = live.tick(now) {
            feed.ask(ask);
        }
    }
    Ok(live.exit(began.elapsed()))
}

/// How a run ends whose tester is gone. A danger that was seen outranks that.
pub(super) fn ended(error: Error, live: &Live) -> Result<Exit, Error> {
    if live.has_seen_danger() {
        anstream::eprintln!("slotwise: {error}");
        return Ok(Exit::Danger);
    }
    Err(error)
}
