//! Words of the live view.

use slotwise_core::evidence::Missing;
use slotwise_core::link::Phase;

/// What the live view tells the person who pressed a key.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Notice {
    /// A test begins.
    TestBegins,
    /// A watch begins.
    WatchBegins,
    /// A watch has ended.
    WatchEnds,
    /// There is no watch to end.
    NoWatch,
    /// The tester is busy; it is asked again.
    Busy,
    /// The tester stayed busy; it is no longer asked.
    GaveUp,
    /// The wish is taken back.
    TakenBack,
    /// There is no link: nothing was sent.
    NotSent,
    /// What the clip is on takes effect with the next test or watch.
    ClipNext,
    /// The tester is back.
    Back,
    /// Another tester is on the port.
    AnotherTester,
}

/// What to do, by key.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct KeyHelp {
    /// Key and words for a new test.
    pub test: &'static str,
    /// For the start of a watch.
    pub start_watch: &'static str,
    /// For its end.
    pub stop_watch: &'static str,
    /// For the clip.
    pub clip: &'static str,
    /// For the end.
    pub quit: &'static str,
}

/// The words of the live view in one language. Widths are those of the smallest screen.
#[derive(Clone, Copy, Debug)]
pub struct LiveTexts {
    /// Title of the screen.
    pub title: &'static str,
    /// Over the lamps.
    pub lamps: &'static str,
    /// Over the values, where they are those of now.
    pub measured: &'static str,
    /// Over the values of a tester that is not fit to answer.
    pub not_to_be_trusted: &'static str,
    /// Over the answer.
    pub answer: &'static str,
    /// Said of a lamp when the tester is not heard.
    pub lamp_not_known: &'static str,
    /// Said of a lamp that is dark because a danger comes first.
    pub lamp_dark: &'static str,
    /// Before what the tester is doing.
    pub doing: &'static str,
    /// Before what the clip was said to be on.
    pub clip: &'static str,
    /// Before what it will be said to be on.
    pub clip_next: &'static str,
    /// Neutral and ground together; at most 18 characters, as all names of values.
    pub neutral_and_ground: &'static str,
    /// Neutral to what the clip is on: an appliance with the power off, or an independent earth.
    pub neutral_to_clip: &'static str,
    /// The watch's first statistic.
    pub neutral_drop: &'static str,
    /// The watch's second statistic.
    pub frame_shift: &'static str,
    /// Symbol of clip against wide, in the plot.
    pub clip_symbol: &'static str,
    /// Over the plot: how far back it goes, what the mark is.
    pub plot: &'static str,
    /// Where there is nothing to plot yet.
    pub no_points: &'static str,
    /// The whole banner of a danger, in one line.
    pub danger: &'static str,
    /// The keys.
    pub keys: KeyHelp,
    /// How many steps were seen.
    pub steps: fn(u16) -> String,
    /// The neutral's share of the drop, in per cent with its uncertainty.
    pub share: fn(&str) -> String,
    /// A watch that has run for so many seconds and seen so many steps.
    pub watch: fn(u16, u16) -> String,
    /// What the tester is doing; at most 32 characters.
    pub phase: fn(Phase) -> &'static str,
    /// Said in place of an answer.
    pub no_answer: fn(Phase) -> &'static str,
    /// Why a value is missing, at most 19 characters.
    pub missing: fn(Missing) -> &'static str,
    /// A notice.
    pub notice: fn(Notice) -> &'static str,
    /// No link to this port for so many seconds.
    pub lost: fn(&str, u64) -> String,
    /// The tester on this port has not answered for so many seconds.
    pub quiet: fn(&str, u64) -> String,
    /// Over values that are so many seconds old.
    pub old: fn(u64) -> String,
    /// Over an answer that is so many seconds old.
    pub old_answer: fn(u64) -> String,
    /// The window has this width and height, and these are needed.
    pub too_small: fn((u16, u16), (u16, u16)) -> String,
}
