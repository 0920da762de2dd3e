//! The words: every finding has all of them, in short sentences, and nothing is called safe.

use std::collections::HashSet;

use slotwise::texts::{English, Language, Severity, codes};
use slotwise_core::evidence::Missing;
use slotwise_core::finding::{Finding, FindingCode, NextCheck};
use slotwise_core::limits::Limits;
use slotwise_core::self_test::SelfTestFailure;
use slotwise_core::stimulus::DrivePath;
use slotwise_core::topology::{Topology, TopologySet};

/// Every language of the program.
const LANGUAGES: [&dyn Language; 1] = [&English];

const CHECKS: [NextCheck; 11] = [
    NextCheck::None,
    NextCheck::ClipOnIndependentEarth,
    NextCheck::EarthPath,
    NextCheck::LoadSteps,
    NextCheck::OpenReceptacleBox,
    NextCheck::BreakerAndUpstream,
    NextCheck::LoadsOffAndRepeat,
    NextCheck::SupplyAtPanel,
    NextCheck::IsolateAtPanel,
    NextCheck::ServiceTheTester,
    NextCheck::Repeat,
];

fn each(mut look: impl FnMut(&dyn Language, FindingCode)) {
    for language in LANGUAGES {
        for code in FindingCode::ALL {
            look(language, code);
        }
    }
}

/// Whatever is said of a finding.
fn sentences(language: &dyn Language, code: FindingCode) -> Vec<&'static str> {
    let words = language.finding(code);
    let mut all = vec![words.meaning, words.appliance, words.electrician];
    all.extend(words.danger);
    all.extend(CHECKS.map(|next| language.check(next, code).what));
    all.extend(Severity::ALL.map(|severity| language.severity(severity)));
    all
}

#[test]
fn names_and_titles_are_all_different_and_titles_fit_a_table() {
    for language in LANGUAGES {
        let titles: HashSet<_> = FindingCode::ALL
            .map(|code| language.finding(code).title)
            .into();
        assert_eq!(titles.len(), FindingCode::ALL.len());
        assert!(titles.iter().all(|title| title.chars().count() <= 60));
        let wirings: HashSet<_> = Topology::ALL.map(|wiring| language.wiring(wiring)).into();
        assert_eq!(wirings.len(), Topology::ALL.len());
        let severities: HashSet<_> = Severity::ALL.map(|s| language.severity(s)).into();
        assert_eq!(severities.len(), Severity::ALL.len());
    }
    let findings: HashSet<_> = FindingCode::ALL.map(codes::finding).into();
    assert_eq!(findings.len(), FindingCode::ALL.len());
    let wirings: HashSet<_> = Topology::ALL.map(codes::wiring).into();
    assert_eq!(wirings.len(), Topology::ALL.len());
    let severities: HashSet<_> = Severity::ALL.map(codes::severity).into();
    assert_eq!(severities.len(), Severity::ALL.len());
}

#[test]
fn the_set_of_everything_is_not_listed_one_by_one() {
    for language in LANGUAGES {
        assert_eq!(language.rivals(TopologySet::of(&Topology::ALL)).len(), 1);
        let two = TopologySet::of(&[Topology::Sound, Topology::Mirror]);
        assert_eq!(language.rivals(two).len(), 2);
    }
}

/// A sentence of more words than this is not read in a utility closet.
const WORDS: usize = 24;

#[test]
fn every_sentence_is_short_and_ends() {
    let mut long = HashSet::new();
    each(|language, code| {
        for text in sentences(language, code) {
            assert!(text.ends_with('.'), "{code:?}: {text}");
            for sentence in text.split_terminator(". ") {
                if sentence.split_whitespace().count() > WORDS {
                    long.insert(sentence);
                }
            }
        }
    });
    assert!(long.is_empty(), "{long:#?}");
}

#[test]
fn no_sentence_calls_anything_safe() {
    each(|language, code| {
        for text in sentences(language, code) {
            let calls_safe = text
                .replace("does not mean safe", "")
                .replace("never says that something is safe", "")
                .replace("is not a safe one", "")
                .contains("safe");
            assert!(!calls_safe, "{code:?}: {text}");
        }
    });
}

#[test]
fn whatever_may_energise_metal_says_so() {
    for code in [
        FindingCode::GroundOnHot,
        FindingCode::ReversedAndJoined,
        FindingCode::LiveFrame,
        FindingCode::ReversedPolarity,
        FindingCode::JoinedNearReceptacle,
    ] {
        let danger = English.finding(code).danger.expect("a danger");
        assert!(danger.contains("frame"), "{code:?}");
    }
}

/// The subject of the tester: what the finding does to flame sensing or to the board.
#[test]
fn every_finding_says_what_it_does_to_the_appliance() {
    each(|language, code| {
        let words = language.finding(code);
        if code.number() / 10 == 5 {
            // A tester that is not fit says nothing of the appliance.
            let is_held_back = ["Nothing is said", "unplugged"];
            assert!(
                is_held_back
                    .iter()
                    .any(|text| words.appliance.contains(text)),
                "{code:?}"
            );
        } else {
            let subjects = ["flame", "Flame", "board"];
            assert!(
                subjects.iter().any(|text| words.appliance.contains(text)),
                "{code:?}: {}",
                words.appliance
            );
        }
    });
}

/// A finding without a danger of its own may not be graded as one, and the other way round.
#[test]
fn the_severity_fits_the_danger() {
    each(|language, code| {
        let severity = Severity::of(&Finding {
            code,
            rivals: TopologySet::EMPTY,
            next: NextCheck::None,
        });
        let danger = language.finding(code).danger;
        match severity {
            Severity::MetalMayBeLive | Severity::OneFaultAway | Severity::Damage => {
                assert!(danger.is_some(), "{code:?}");
            }
            Severity::NotByItself | Severity::NoneFound => assert!(danger.is_none(), "{code:?}"),
            Severity::Untold => {}
        }
    });
}

/// With the clip on another earth the judge may ask for three things: each says what it is about, and
/// its numbers are the limits in force.
#[test]
fn what_to_do_about_a_clip_that_shows_nothing_is_said_with_the_limits_in_force() {
    let limits = Limits::DEFAULT;
    let what = |next| English.check(next, FindingCode::ReadsSound).what;
    let other_earth = what(NextCheck::ClipOnIndependentEarth);
    let most = format!("above {:.0} ohm", limits.limiters.path_most.get());
    for words in [most.as_str(), "bare metal", "paint", "take another earth"] {
        assert!(other_earth.contains(words), "{other_earth}");
    }
    let loads_off = what(NextCheck::LoadsOffAndRepeat);
    let most = format!("{:.0} V or more", limits.drive.path_most.get());
    for words in [most.as_str(), "Leave the clip", "unplug every load"] {
        assert!(loads_off.contains(words), "{loads_off}");
    }
    let repeat = what(NextCheck::Repeat);
    for words in ["Leave the clip", "noisy", "test again", "loads"] {
        assert!(repeat.contains(words), "{repeat}");
    }
    // Where no clip is in it, none is spoken of.
    for next in [NextCheck::Repeat, NextCheck::LoadsOffAndRepeat] {
        let what = English.check(next, FindingCode::OpenNeutral).what;
        assert!(!what.contains("clip"), "{what}");
    }
}

/// The leg, the way round and what to do; which of the two ways a limiter fails in.
#[test]
fn a_limiter_that_fails_is_told_with_its_leg_and_what_to_do() {
    let said = |path, high, permille| {
        English.self_test(SelfTestFailure::LimiterFails {
            path,
            high,
            permille,
            least_permille: 1040,
            most_permille: 1280,
        })
    };
    let gone = said(DrivePath::WideToClip, false, 1351);
    assert_eq!(
        gone,
        "tester failed its self-test: its own current limiter in the leg to the clip, wide blade \
         negative, does not hold (current raised to 1.35 times; 1.04 to 1.28 passes). Do not use the \
         tester; do steps 15a and 15b of hardware/checks.md"
    );
    let flat = said(DrivePath::WideToGround, true, 1002);
    for words in ["leg to ground", "wide blade positive", "1.00 times"] {
        assert!(flat.contains(words), "{flat}");
    }
    assert!(!flat.contains("does not hold") && flat.contains("does not come"));
    let untested = English.missing(Missing::LimiterUntested);
    assert!(untested.contains("does not count"), "{untested}");
    assert_eq!(codes::missing(Missing::LimiterUntested), "limiter-untested");
}
