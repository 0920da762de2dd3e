//! The state of a live view: what was heard, which keys were pressed, what is still wished.
//! Pure: times come in, effects go out.

use std::time::Duration;

use slotwise_core::lamps::{Lamp, Rhythm};
use slotwise_core::link::{Hello, Look};
use slotwise_core::slots::ClipTarget;
use slotwise_core::units::Millis;
use slotwise_core::verdict::Outcome;

use super::feed::Heard;
use super::history::History;
use crate::exit::Exit;
use crate::texts::live::Notice;

/// Without a look for so long the values are no longer called those of now. A tester that
/// erases a sector of its log answers 50 ms late; five looks are due in this time.
const QUIET_AFTER: Duration = Duration::from_secs(1);

/// How long a notice stays.
const NOTICE_FOR: Duration = Duration::from_secs(6);

/// How often a busy tester is asked again, and for how long: a whole test with its longest
/// earth-path probe takes less than half of it.
const AGAIN_EVERY: Duration = Duration::from_secs(1);
const AGAIN_FOR: Duration = Duration::from_secs(60);

/// A key that means something here.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Key {
    /// Test again.
    Test,
    /// Start or stop the watch.
    Watch,
    /// What the clip is on.
    Clip,
    /// End.
    Quit,
}

/// What the tester is asked to do.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ask {
    /// Begin a test.
    Test(ClipTarget),
    /// Begin a watch.
    StartWatch(ClipTarget),
    /// End the watch.
    StopWatch,
}

/// What is to be done.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Effect {
    /// Ask the tester.
    Ask(Ask),
    /// End the view.
    Quit,
}

/// How the view stands to the tester.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Standing {
    /// Nothing has been seen yet.
    Nothing,
    /// What is held is what the tester sees.
    Current,
    /// The port is open, but the last look is so many seconds old.
    Quiet(u64),
    /// There has been no link for so many seconds; the last look is older.
    Lost(u64),
}

#[derive(Clone, Copy, Debug)]
struct Wish {
    ask: Ask,
    first: Duration,
    /// When it is asked again; [`None`] while the answer is awaited.
    again: Option<Duration>,
}

/// A live view. Times are since its start.
#[derive(Clone, Debug)]
pub struct Live {
    port: String,
    hello: Option<Hello>,
    look: Option<(Look, Duration)>,
    lost: Option<Duration>,
    history: History,
    clip: ClipTarget,
    /// Whether the person said so, and the tester has not been told otherwise since.
    clip_is_said: bool,
    wish: Option<Wish>,
    notice: Option<(Notice, Duration)>,
    danger_seen: bool,
}

impl Live {
    /// A view of the tester on `port`. What the clip is on is what the person says, or else what
    /// the tester was told last.
    #[must_use]
    pub fn new(port: String, clip: Option<ClipTarget>) -> Self {
        Self {
            port,
            hello: None,
            look: None,
            lost: None,
            history: History::default(),
            clip: clip.unwrap_or_default(),
            clip_is_said: clip.is_some(),
            wish: None,
            notice: None,
            danger_seen: false,
        }
    }

    /// A key was pressed.
    pub fn key(&mut self, key: Key, now: Duration) -> Option<Effect> {
        match key {
            Key::Quit => Some(Effect::Quit),
            Key::Clip => {
                self.clip = match self.clip {
                    ClipTarget::NotConnected => ClipTarget::ApplianceFrame,
                    ClipTarget::ApplianceFrame => ClipTarget::IndependentEarth,
                    ClipTarget::IndependentEarth => ClipTarget::NotConnected,
                };
                self.clip_is_said = true;
                self.say(Notice::ClipNext, now);
                None
            }
            Key::Test => self.wish(Ask::Test(self.clip), now),
            Key::Watch => {
                let waits = self
                    .wish
                    .is_some_and(|wish| matches!(wish.ask, Ask::StartWatch(_)));
                if waits {
                    self.wish = None;
                    self.say(Notice::TakenBack, now);
                    return None;
                }
                let runs = self.look().is_some_and(|look| look.watch.is_some());
                let ask = if runs {
                    Ask::StopWatch
                } else {
                    Ask::StartWatch(self.clip)
                };
                self.wish(ask, now)
            }
        }
    }

    /// Wishes something of the tester, and asks for it until it is done.
    pub fn wish(&mut self, ask: Ask, now: Duration) -> Option<Effect> {
        if self.lost.is_some() {
            self.say(Notice::NotSent, now);
            return None;
        }
        self.wish = Some(Wish {
            ask,
            first: now,
            again: None,
        });
        Some(Effect::Ask(ask))
    }

    /// Time passed: a wish that the tester was too busy for is asked again.
    pub fn tick(&mut self, now: Duration) -> Option<Effect> {
        let wish = self.wish.as_mut()?;
        if wish.again.is_none_or(|again| now < again) {
            return None;
        }
        if now.saturating_sub(wish.first) > AGAIN_FOR {
            self.wish = None;
            self.say(Notice::GaveUp, now);
            return None;
        }
        wish.again = None;
        Some(Effect::Ask(wish.ask))
    }

    /// Something was heard.
    pub fn heard(&mut self, heard: &Heard, now: Duration) {
        match heard {
            Heard::Found { port, hello } => self.found(port, hello, now),
            Heard::Look(look) => self.seen(look, now),
            Heard::Done(ask) => {
                self.end_wish(*ask);
                self.say(
                    match ask {
                        Ask::Test(_) => Notice::TestBegins,
                        Ask::StartWatch(_) => Notice::WatchBegins,
                        Ask::StopWatch => Notice::WatchEnds,
                    },
                    now,
                );
            }
            Heard::Busy(Ask::StopWatch) => {
                self.end_wish(Ask::StopWatch);
                self.say(Notice::NoWatch, now);
            }
            Heard::Busy(ask) => {
                if let Some(wish) = self.wish.as_mut().filter(|wish| wish.ask == *ask) {
                    wish.again = Some(now + AGAIN_EVERY);
                    self.say(Notice::Busy, now);
                }
            }
            Heard::NotSent(ask) => {
                self.end_wish(*ask);
                self.say(Notice::NotSent, now);
            }
            Heard::Lost(_) => {
                self.lost.get_or_insert(now);
                self.wish = None;
            }
        }
    }

    fn found(&mut self, port: &str, hello: &Hello, now: Duration) {
        port.clone_into(&mut self.port);
        let before = self.hello.replace(*hello);
        if before.is_some_and(|before| before.tester != hello.tester) {
            self.history.clear();
            self.look = None;
            self.clip_is_said = false;
            self.say(Notice::AnotherTester, now);
        } else if self.lost.is_some() {
            self.say(Notice::Back, now);
        }
        self.lost = None;
    }

    fn seen(&mut self, look: &Look, now: Duration) {
        self.history.take(look);
        self.danger_seen |= is_danger(look);
        // A tester that is moved to another receptacle takes the clip to hang free again. What
        // was said of it before does not hold there.
        let is_told_anew = self
            .look()
            .is_some_and(|before| before.clip_target != look.clip_target);
        if is_told_anew || !self.clip_is_said {
            self.clip = look.clip_target;
            self.clip_is_said = false;
        }
        self.look = Some((*look, now));
    }

    fn end_wish(&mut self, ask: Ask) {
        if self.wish.is_some_and(|wish| wish.ask == ask) {
            self.wish = None;
        }
    }

    fn say(&mut self, notice: Notice, now: Duration) {
        self.notice = Some((notice, now));
    }

    /// Name of the port.
    #[must_use]
    pub fn port(&self) -> &str {
        &self.port
    }

    /// The tester.
    #[must_use]
    pub const fn hello(&self) -> Option<&Hello> {
        self.hello.as_ref()
    }

    /// The newest look, however old.
    #[must_use]
    pub fn look(&self) -> Option<&Look> {
        self.look.as_ref().map(|(look, _)| look)
    }

    /// What was measured in the last minutes.
    #[must_use]
    pub const fn history(&self) -> &History {
        &self.history
    }

    /// What the next test or watch will be told of the clip.
    #[must_use]
    pub const fn clip(&self) -> ClipTarget {
        self.clip
    }

    /// The notice that is to be shown now.
    #[must_use]
    pub fn notice(&self, now: Duration) -> Option<Notice> {
        self.notice
            .filter(|(_, since)| now.saturating_sub(*since) < NOTICE_FOR)
            .map(|(notice, _)| notice)
    }

    /// How the view stands to the tester.
    #[must_use]
    pub fn standing(&self, now: Duration) -> Standing {
        if let Some(since) = self.lost {
            return Standing::Lost(now.saturating_sub(since).as_secs());
        }
        match self.age(now) {
            None => Standing::Nothing,
            Some(age) if age > QUIET_AFTER => Standing::Quiet(age.as_secs()),
            Some(_) => Standing::Current,
        }
    }

    /// Age of the newest look.
    #[must_use]
    pub fn age(&self, now: Duration) -> Option<Duration> {
        self.look.map(|(_, at)| now.saturating_sub(at))
    }

    /// The tester's clock now, as far as it is known.
    #[must_use]
    pub fn tester_clock(&self, now: Duration) -> Option<Millis> {
        let (look, at) = self.look?;
        let since = u64::try_from(now.saturating_sub(at).as_millis()).unwrap_or(u64::MAX);
        Some(Millis::new(look.now.get().saturating_add(since)))
    }

    /// Whether the newest look, however old, tells of a danger.
    #[must_use]
    pub fn is_danger(&self) -> bool {
        self.look().is_some_and(is_danger)
    }

    /// Whether any look told of a danger.
    #[must_use]
    pub const fn has_seen_danger(&self) -> bool {
        self.danger_seen
    }

    /// How a run ends now: a danger seen at any time is not lost; else what is said now. An old
    /// answer is none, and no answer is no good answer.
    #[must_use]
    pub fn exit(&self, now: Duration) -> Exit {
        if self.danger_seen {
            return Exit::Danger;
        }
        if let Standing::Quiet(_) | Standing::Lost(_) = self.standing(now) {
            return Exit::Link;
        }
        self.look()
            .and_then(|look| look.answer)
            .map_or(Exit::CannotTell, |answer| Exit::of(answer.outcome))
    }
}

/// Whether a dark `Live metal!` means anything: only where a fit tester has given an answer.
pub(super) fn speaks_of_danger(look: &Look) -> bool {
    is_danger(look)
        || look
            .answer
            .is_some_and(|answer| answer.outcome != Outcome::TesterFault)
}

fn is_danger(look: &Look) -> bool {
    look.panel.rhythm(Lamp::LiveMetal) != Rhythm::Off
        || look
            .answer
            .is_some_and(|answer| answer.outcome == Outcome::Danger)
}
