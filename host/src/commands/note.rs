//! `note`: what a hand meter showed and what was seen, kept and told what it means.

use std::fmt::Write as _;
use std::io::{self, BufRead as _};

use serde::Serialize;
use slotwise_core::limits::{BandSet, Limits};
use slotwise_core::units::UnixSeconds;

use super::archive::{now, print_json};
use super::visits::plain;
use super::{note, out};
use crate::archive::{self, Answers, NewNote, Readings};
use crate::cli::NoteArgs;
use crate::error::Error;
use crate::exit::Exit;
use crate::texts::{English, Language};
use crate::visits::{Checklist, HandReading, NoteFinding, Question, Weight, judge_readings};

/// How often a question is put again to somebody who answers something else.
const TRIES: u32 = 3;

/// What a reading or an answer means, in words.
#[derive(Debug, Serialize)]
pub(super) struct Found {
    weight: &'static str,
    title: &'static str,
    meaning: &'static str,
    #[serde(skip)]
    ranked: Weight,
}

#[derive(Serialize)]
struct Document {
    format: &'static str,
    version: u32,
    site: String,
    unix_seconds: u64,
    readings: Readings,
    answers: Answers,
    findings: Vec<Found>,
}

/// Runs `note`.
///
/// # Errors
/// An archive that cannot be used.
pub(super) fn run(args: &NoteArgs) -> Result<Exit, Error> {
    let language: &dyn Language = &English;
    let mut archive = archive::open(&args.archive.archive)?;
    let mut checklist = Checklist {
        joined: args.joined,
        electrode: args.electrode,
        bonds: args.bonds,
        ground_wire: args.ground_wire,
        landing: args.landing,
        inducer: args.inducer,
    };
    if args.guide {
        guide(language, &mut checklist)?;
    }
    let readings = readings(args);
    let answers = checklist.to_answers();
    let at = args
        .at
        .and_then(|at| u64::try_from(at.as_second()).ok())
        .map_or_else(now, UnixSeconds::new);
    let site = archive.site(&args.site)?;
    let appliance = match &args.appliance {
        Some(name) => Some(archive.appliance(site, name)?),
        None => None,
    };
    archive.add_note(&NewNote {
        site,
        appliance,
        at,
        readings: readings.clone(),
        answers: answers.clone(),
        remark: args.remark.clone().unwrap_or_default(),
        photos: args.photo.clone(),
    })?;
    let limits = Limits::with_band(BandSet::from(args.band));
    let findings = findings_of(language, &readings, &answers, &limits);
    if args.json {
        print_json(&Document {
            format: "slotwise-note",
            version: 1,
            site: args.site.clone(),
            unix_seconds: at.get(),
            readings,
            answers,
            findings,
        })?;
    } else {
        let mut text = format!("{}: {}\n", language.visits().note, plain(&args.site));
        text.push_str(&found_lines(language, &findings));
        if !readings.is_empty() {
            // Writing to a String cannot fail.
            let _ = writeln!(text, "\n{}", language.visits().as_shown);
        }
        out(&text)?;
    }
    Ok(Exit::Done)
}

fn readings(args: &NoteArgs) -> Readings {
    HandReading::ALL
        .into_iter()
        .filter_map(|what| {
            let shown = match what {
                HandReading::NeutralToCommon => args.neutral_to_common,
                HandReading::NeutralToBurner => args.neutral_to_burner,
                HandReading::HotToNeutral => args.hot_to_neutral,
                HandReading::HotToGround => args.hot_to_ground,
                HandReading::NeutralToGround => args.neutral_to_ground,
            };
            Some((what.name().to_owned(), shown?))
        })
        .collect()
}

/// Puts the questions that are not answered yet. An empty line passes one over; after three
/// answers that are none of the list it counts as not looked at.
fn guide(language: &dyn Language, checklist: &mut Checklist) -> Result<(), Error> {
    let answered = checklist.to_answers();
    let mut lines = io::stdin().lock().lines();
    for question in Question::ALL {
        if answered.contains_key(question.name()) {
            continue;
        }
        let mut asked = format!("{}\n", language.asked(question));
        for (number, answer) in (1..).zip(question.answers()) {
            let _ = writeln!(asked, "  {number} {answer}");
        }
        anstream::eprint!("{asked}");
        for tries in 1..=TRIES {
            let line = match lines.next() {
                Some(line) => line.map_err(Error::Input)?,
                // Nobody is there any more.
                None => return Ok(()),
            };
            let line = line.trim();
            if line.is_empty() || checklist.answer(question, line) {
                break;
            }
            if tries == TRIES {
                checklist.answer(question, "not-looked");
            } else {
                note("one of the numbers or names above, please; an empty line passes it over");
            }
        }
    }
    Ok(())
}

/// What readings and answers mean, gravest first.
pub(super) fn findings_of(
    language: &dyn Language,
    readings: &Readings,
    answers: &Answers,
    limits: &Limits,
) -> Vec<Found> {
    let mut findings: Vec<NoteFinding> = judge_readings(readings, limits);
    findings.extend(Checklist::of_answers(answers).findings());
    let mut found: Vec<Found> = findings
        .into_iter()
        .map(|finding| {
            let words = language.note(finding);
            let ranked = finding.weight();
            Found {
                weight: match ranked {
                    Weight::Fine => "fine",
                    Weight::Look => "look",
                    Weight::Wrong => "wrong",
                },
                title: words.title,
                meaning: words.meaning,
                ranked,
            }
        })
        .collect();
    found.sort_by_key(|one| std::cmp::Reverse(one.ranked));
    found
}

/// The findings of a note as lines.
pub(super) fn found_lines(language: &dyn Language, found: &[Found]) -> String {
    let [fine, look, wrong] = language.visits().weights;
    let mut text = String::new();
    for one in found {
        let weight = match one.ranked {
            Weight::Fine => fine,
            Weight::Look => look,
            Weight::Wrong => wrong,
        };
        // Writing to a String cannot fail.
        let _ = writeln!(text, "  {}: {weight}. {}", one.title, one.meaning);
    }
    text
}
