//! The judgement at every wiring of the atlas: whatever is behind the slots, and whichever
//! means are used, nothing live is called proven, and the truth is in the set that is named.
//!
//! The truth is the virtual house's; what it is called is the bench's table of names.

use slotwise::bench::atlas::{Atlas, Page, Taken, evidence, topology};
use slotwise_core::finding::FindingCode::{Dead, OpenHot, ReadsSound};
use slotwise_core::judge::judge;
use slotwise_core::limits::Limits;
use slotwise_core::topology::Topology;
use slotwise_core::verdict::{Outcome, Verdict};
use std::sync::OnceLock;

fn atlas() -> &'static Atlas {
    static ATLAS: OnceLock<Atlas> = OnceLock::new();
    ATLAS.get_or_init(|| Atlas::draw().unwrap())
}

fn truth(page: &Page) -> Topology {
    topology(page.entry)
}

fn verdict(page: &Page, taken: Taken) -> Verdict {
    judge(&evidence(page, taken), &Limits::DEFAULT)
}

/// Every wiring under every choice of means.
fn everywhere() -> impl Iterator<Item = (&'static Page, Taken, Verdict)> {
    let of = |page| Taken::every().map(move |taken| (page, taken, verdict(page, taken)));
    atlas().pages.iter().flat_map(of)
}

#[test]
fn an_energised_ground_is_never_called_proven() {
    for (page, taken, verdict) in everywhere() {
        if truth(page).energises_ground() {
            let name = &page.entry.name;
            assert_ne!(verdict.outcome, Outcome::Proven, "{name} {taken:?}");
            if verdict.outcome == Outcome::NoFaultFound {
                assert!(verdict.unproven.polarity, "{name} {taken:?}");
                assert!(!taken.clip, "{name} {taken:?}");
            }
        }
    }
}

#[test]
fn every_set_that_is_named_holds_the_truth() {
    for (page, taken, verdict) in everywhere() {
        let (name, truth) = (&page.entry.name, truth(page));
        let mut named = 0;
        for finding in verdict.findings.iter().filter(|f| !f.rivals.is_empty()) {
            named += 1;
            assert!(
                finding.rivals.contains(truth),
                "{name} {taken:?}: {truth:?} is not in {:?}",
                finding.code
            );
        }
        assert!(named > 0, "{name} {taken:?}: {:?}", verdict.findings);
    }
}

#[test]
fn with_every_means_an_energised_ground_is_a_danger() {
    for page in &atlas().pages {
        if truth(page).energises_ground() {
            let outcome = verdict(page, Taken::ALL).outcome;
            assert_eq!(outcome, Outcome::Danger, "{}", page.entry.name);
        }
    }
}

/// By the slots alone, an energised ground is a danger, or reads sound with polarity unproven,
/// or leaves nothing between the slots; nothing else.
#[test]
fn the_slots_alone_miss_an_energised_ground_only_where_they_must() {
    for page in &atlas().pages {
        let verdict = verdict(page, Taken::default());
        let code = verdict.first().unwrap().code;
        let hidden = match verdict.outcome {
            Outcome::Danger => continue,
            Outcome::NoFaultFound => code == ReadsSound,
            Outcome::Fault => matches!(code, Dead | OpenHot),
            _ => false,
        };
        let live = truth(page).energises_ground();
        assert!(!live || hidden, "{}: {:?}", page.entry.name, verdict);
    }
}

#[test]
fn proven_is_said_of_the_right_wirings_and_the_known_blind_spots_only() {
    let mut proven: Vec<&str> = Vec::new();
    for (page, _, verdict) in everywhere() {
        if verdict.outcome == Outcome::Proven {
            proven.push(&page.entry.name);
        }
    }
    proven.sort_unstable();
    proven.dedup();
    assert_eq!(
        proven,
        [
            // A join far enough upstream passes the load-step rule (notes, section 7).
            "joined-upstream",
            // Neutral and ground exchanged cannot be seen at a receptacle.
            "leg1-ground-neutral",
            "leg1-neutral-ground",
            "leg2-ground-neutral",
            "leg2-neutral-ground",
        ]
    );
}

/// What the core calls energised is at line voltage in the computed house.
#[test]
fn names_and_circuits_agree_on_what_is_energised() {
    for page in &atlas().pages {
        let truth = &page.survey.earthed;
        let ground = (truth.cw - truth.gw).norm();
        let open = slotwise_virtual::means::open_slots(truth)[2];
        let name = &page.entry.name;
        // Not held: a slot on nothing, a generator's floating output, a lost service neutral.
        let floats = open
            || ["floating", "lost", "ground-broken"]
                .iter()
                .any(|f| name.contains(f));
        if topology(page.entry).energises_ground() {
            assert!(ground > 55.0, "{name}: {ground}");
        } else if !floats {
            assert!(ground < 5.0, "{name}: {ground}");
        }
    }
}
