//! What stands on the display: a scene of the tester put into lines, nothing drawn yet.
//!
//! | screen | when |
//! |---|---|
//! | danger | a danger was found: no values, nothing but what it is and what to do |
//! | fault | the tester is not fit to answer: no values, they are not to be trusted |
//! | values | an answer: outcome, volts, hertz, ohms, finding, next check |
//! | note | no answer yet, no voltage, raw readings for a calibration |
//!
//! Only a scene's own verdict is shown; without one no finding and no value stands.

use slotwise_core::evidence::{Evidence, Measured};
use slotwise_core::finding::FindingCode;
use slotwise_core::link::{ClockChip, JournalState, Phase, WatchState};
use slotwise_core::slots::ClipTarget;
use slotwise_core::units::UnixSeconds;
use slotwise_core::verdict::{Outcome, Verdict};

use super::line::Line;
use super::texts::Words;

/// Lines under the top line.
pub const ROWS: usize = 5;

/// What the tester shows now.
#[derive(Clone, Copy, Debug)]
pub struct Scene<'t> {
    /// What it is doing.
    pub phase: Phase,
    /// Raw readings are being taken: it does not test.
    pub is_measuring_raw: bool,
    /// Its answer, if it has one.
    pub verdict: Option<&'t Verdict>,
    /// What the answer rests on.
    pub evidence: Option<&'t Evidence>,
    /// A load-cycle watch that is running.
    pub watch: Option<WatchState>,
    /// How the journal stands.
    pub journal: JournalState,
    /// The time, if it is known.
    pub clock: Option<UnixSeconds>,
    /// How the clock chip stands.
    pub chip: ClockChip,
}

/// How a screen looks.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Look {
    /// Top line and five lines.
    #[default]
    Plain,
    /// The same with the top line inverted: what is not good stands out.
    Marked,
    /// Large letters, dark on light.
    Danger,
    /// Large letters between thick bars.
    Fault,
}

/// A screen.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Screen {
    /// How it looks.
    pub look: Look,
    /// The top line, or the large one.
    pub head: Line,
    /// The finding's number.
    pub number: Option<u8>,
    /// The lines under it.
    pub rows: [Line; ROWS],
}

impl Screen {
    /// The screen of a scene.
    #[must_use]
    pub fn of(scene: &Scene<'_>, words: &Words) -> Self {
        match scene.verdict {
            Some(verdict) => match verdict.outcome {
                Outcome::Danger => danger(verdict, words),
                Outcome::TesterFault => fault(verdict, words),
                Outcome::Proven | Outcome::NoFaultFound | Outcome::Fault | Outcome::CannotTell => {
                    values(scene, verdict, words)
                }
            },
            None => note(scene, words),
        }
    }
}

fn number(verdict: &Verdict) -> Option<u8> {
    verdict.first().map(|finding| finding.code.number())
}

fn finding(verdict: &Verdict, words: &Words) -> Line {
    verdict
        .first()
        .map_or_else(Line::new, |finding| Line::of((words.finding)(finding.code)))
}

fn next(verdict: &Verdict, words: &Words) -> Line {
    verdict
        .first()
        .map_or_else(Line::new, |finding| Line::of((words.next)(finding.next)))
}

/// What to do comes before what would tell more: the check that would separate two dangerous
/// wirings, as by the clip, is for whoever comes when the breaker is off, and stands in the record.
fn danger(verdict: &Verdict, words: &Words) -> Screen {
    Screen {
        look: Look::Danger,
        head: Line::of((words.outcome)(Outcome::Danger)),
        number: number(verdict),
        rows: [
            Line::of(words.hands_off),
            finding(verdict, words),
            Line::of(words.breaker_off),
            Line::new(),
            Line::new(),
        ],
    }
}

fn fault(verdict: &Verdict, words: &Words) -> Screen {
    let untested = Line::of(words.untested);
    let [finding, next] = [finding(verdict, words), next(verdict, words)];
    Screen {
        look: Look::Fault,
        head: Line::of((words.outcome)(Outcome::TesterFault)),
        number: number(verdict),
        rows: [finding, untested, next, Line::new(), Line::new()],
    }
}

fn values(scene: &Scene<'_>, verdict: &Verdict, words: &Words) -> Screen {
    let is_marked = matches!(verdict.outcome, Outcome::Fault | Outcome::CannotTell);
    let [first, second] = voltages(scene.evidence, words);
    let what = match verdict.outcome {
        Outcome::Proven => Line::of(words.all_held),
        Outcome::NoFaultFound => unproven(verdict, words),
        _ => finding(verdict, words),
    };
    let to_do = match (scene.watch, (words.doing)(scene.phase)) {
        (Some(watch), _) => Line::of(words.watch)
            .minutes(watch.seconds)
            .and(words.steps)
            .number(u32::from(watch.steps).min(999), 1),
        (None, Some(doing)) => Line::of(doing),
        (None, None) => next(verdict, words),
    };
    Screen {
        look: if is_marked { Look::Marked } else { Look::Plain },
        head: Line::of((words.outcome)(verdict.outcome)),
        number: number(verdict),
        rows: [
            first,
            second,
            path(scene.evidence, verdict, words),
            what,
            to_do,
        ],
    }
}

/// Volts of the three pairs, and hertz.
fn voltages(evidence: Option<&Evidence>, words: &Words) -> [Line; 2] {
    let Some(slots) = evidence.and_then(|evidence| evidence.slots.as_ref().ok()) else {
        return [Line::of(words.no_voltages), Line::new()];
    };
    let [nw, gw, ng] = words.symbols;
    let pair = |symbol: &str, volts| Line::of(symbol).and(" ").volts(volts);
    let hertz = evidence
        .and_then(|evidence| evidence.frequency.value())
        .map_or_else(Line::new, |hertz| Line::new().hertz(hertz));
    [
        pair(nw, slots.narrow_wide().true_rms).right(&hertz),
        pair(gw, slots.ground_wide().true_rms).right(&pair(ng, slots.narrow_ground().true_rms)),
    ]
}

/// The earth path, or neutral to clip where that was measured instead. To an independent earth it
/// was measured besides: the host shows it.
fn path(evidence: Option<&Evidence>, verdict: &Verdict, words: &Words) -> Line {
    if verdict.has(FindingCode::Dead) {
        return Line::of(words.not_dead);
    }
    let Some(evidence) = evidence else {
        return Line::new();
    };
    let (name, measured) = match evidence.neutral_to_clip {
        to_clip @ Measured::Known(_) if evidence.clip_target != ClipTarget::IndependentEarth => {
            (words.clip, to_clip)
        }
        _ => (words.earth, evidence.earth_path),
    };
    let line = Line::of(name).and(" ");
    let is_unclear = verdict.has(FindingCode::EarthPathUnclear);
    match measured {
        Measured::Known(_) if is_unclear => line.and(words.unclear),
        Measured::Known(reading) => line.ohms(reading, words.unclear),
        Measured::Missing(reason) => line.and((words.missing)(reason)),
    }
}

/// The first thing that is not proven, with a sign that there are more.
fn unproven(verdict: &Verdict, words: &Words) -> Line {
    let unproven = verdict.unproven;
    let open = [
        unproven.polarity,
        unproven.earth_path,
        unproven.separate_ground,
    ];
    let mut names = words
        .unproven_of
        .into_iter()
        .zip(open)
        .filter_map(|(name, is_open)| is_open.then_some(name));
    let Some(first) = names.next() else {
        return Line::new();
    };
    let line = Line::of(words.unproven).and(first);
    if names.next().is_some() {
        line.and("+")
    } else {
        line
    }
}

fn note(scene: &Scene<'_>, words: &Words) -> Screen {
    let mut rows = [const { Line::new() }; ROWS];
    let [first, second, third, journal, clock] = &mut rows;
    let head = if scene.is_measuring_raw {
        let [head, one, two] = words.raw;
        (*first, *second) = (Line::of(one), Line::of(two));
        head
    } else if scene.phase == Phase::Waiting {
        let [head, one, two, three] = words.waiting;
        (*first, *second, *third) = (Line::of(one), Line::of(two), Line::of(three));
        head
    } else {
        let [head, one, two] = words.no_answer;
        (*first, *second) = (Line::of(one), Line::of(two));
        head
    };
    *journal = (words.journal)(scene.journal).map_or_else(Line::new, Line::of);
    *clock = match scene.clock {
        Some(clock) => Line::new().clock(clock),
        None => Line::of((words.no_clock)(scene.chip)),
    };
    Screen {
        look: Look::Plain,
        head: Line::of(head),
        number: None,
        rows,
    }
}
