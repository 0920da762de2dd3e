//! The live view.

use slotwise_core::evidence::Missing;
use slotwise_core::link::Phase;

use crate::texts::live::{KeyHelp, LiveTexts, Notice};

/// All of it.
pub(super) const LIVE: LiveTexts = LiveTexts {
    title: "Slotwise live",
    lamps: "Lamps, as on the tester",
    measured: "Measured now, ± is k = 2",
    not_to_be_trusted: "NOT TO BE TRUSTED: tester fault",
    answer: "Answer",
    lamp_not_known: "not known",
    lamp_dark: "dark",
    doing: "Now:",
    clip: "Clip:",
    clip_next: "next time:",
    neutral_and_ground: "neutral and ground",
    neutral_to_clip: "neutral to clip",
    neutral_drop: "neutral drop",
    frame_shift: "frame shift",
    clip_symbol: "c-w",
    plot: "Last 3 minutes to now, volts; ▼ a load step was found",
    no_points: "nothing measured",
    danger: "DANGER: METAL MAY BE LIVE. HANDS OFF.",
    keys: KeyHelp {
        test: "t test again",
        start_watch: "w start the watch",
        stop_watch: "w stop the watch",
        clip: "c what the clip is on",
        quit: "q quit",
    },
    steps,
    share,
    watch,
    phase,
    no_answer,
    missing,
    notice,
    lost,
    quiet,
    old,
    old_answer,
    too_small,
};

fn steps(count: u16) -> String {
    format!("load steps: {count}")
}

fn share(per_cent: &str) -> String {
    format!("{per_cent} neutral")
}

fn watch(seconds: u16, steps: u16) -> String {
    let (minutes, rest) = (seconds / 60, seconds % 60);
    let noun = if steps == 1 { "step" } else { "steps" };
    format!("watch {minutes}:{rest:02}, {steps} {noun}")
}

const fn phase(phase: Phase) -> &'static str {
    match phase {
        Phase::Wiring => "testing how it is wired",
        Phase::EarthPath => "testing the earth path",
        Phase::NeutralAndGround => "testing neutral and ground",
        Phase::Steady => "watching steadily",
        Phase::LoadCycle => "load-cycle watch",
        Phase::Waiting => "waiting for voltage",
        Phase::TesterFault => "TESTER FAULT",
        Phase::NeutralToClip => "testing neutral to clip",
    }
}

const fn no_answer(phase: Phase) -> &'static str {
    match phase {
        Phase::Waiting => {
            "No voltage between the slots. That does not mean dead: a slot may still be live \
             against earth."
        }
        Phase::TesterFault => "The tester is not fit to answer. The receptacle is untested.",
        Phase::Wiring
        | Phase::EarthPath
        | Phase::NeutralAndGround
        | Phase::Steady
        | Phase::LoadCycle
        | Phase::NeutralToClip => "No answer yet. Until there is one, this receptacle is untested.",
    }
}

const fn missing(reason: Missing) -> &'static str {
    match reason {
        Missing::NotAsked => "not measured",
        Missing::NoVoltage => "no voltage",
        Missing::ClipFree => "clip hangs free",
        Missing::Refused => "refused: not safe",
        Missing::Unsteady => "too unsteady",
        Missing::Clipped => "beyond full scale",
        Missing::BeyondRange => "open or nearly open",
        Missing::NoCurrent => "no current",
        Missing::RelaysUntested => "relays not tested",
        Missing::LimiterUntested => "limiter not tested",
    }
}

const fn notice(notice: Notice) -> &'static str {
    match notice {
        Notice::TestBegins => "a test begins",
        Notice::WatchBegins => "the watch begins",
        Notice::WatchEnds => "the watch is over",
        Notice::NoWatch => "no watch is running",
        Notice::Busy => "the tester is busy; asking again",
        Notice::GaveUp => "the tester stays busy; press the key again later",
        Notice::TakenBack => "taken back",
        Notice::NotSent => "no link: nothing was sent",
        Notice::ClipNext => "the clip: holds from the next t or w on",
        Notice::Back => "the tester is back",
        Notice::AnotherTester => "this is another tester than before",
    }
}

fn lost(port: &str, seconds: u64) -> String {
    format!("NO LINK on {port} for {seconds} s. Trying again; check the cable.")
}

fn quiet(port: &str, seconds: u64) -> String {
    format!("NO ANSWER on {port} for {seconds} s. Waiting.")
}

fn old(seconds: u64) -> String {
    format!("OLD VALUES, from {seconds} s ago")
}

fn old_answer(seconds: u64) -> String {
    format!("OLD ANSWER, from {seconds} s ago: it may no longer hold")
}

fn too_small(is: (u16, u16), needed: (u16, u16)) -> String {
    format!(
        "This window is {} x {}; the live view needs {} x {}. Make it larger, or press q.",
        is.0, is.1, needed.0, needed.1
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Width of the column of values on the smallest screen.
    const VALUE: usize = 19;

    #[test]
    fn what_stands_in_a_column_fits_it() {
        for reason in [
            Missing::NotAsked,
            Missing::NoVoltage,
            Missing::ClipFree,
            Missing::Refused,
            Missing::Unsteady,
            Missing::Clipped,
            Missing::BeyondRange,
            Missing::NoCurrent,
            Missing::RelaysUntested,
            Missing::LimiterUntested,
        ] {
            assert!(missing(reason).chars().count() <= VALUE, "{reason:?}");
        }
        for name in [
            LIVE.neutral_and_ground,
            LIVE.neutral_to_clip,
            LIVE.neutral_drop,
            LIVE.frame_shift,
            &steps(99_999_u32 as u16),
        ] {
            assert!(name.chars().count() < VALUE, "{name}");
        }
        assert!(share("100.0 ± 2.3 %").chars().count() <= VALUE + 2);
    }

    #[test]
    fn minutes_and_seconds_of_a_watch_are_told() {
        assert_eq!(watch(65, 1), "watch 1:05, 1 step");
        assert_eq!(watch(1800, 12), "watch 30:00, 12 steps");
    }
}
