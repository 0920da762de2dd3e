//! What a person is told, end to end over the line, where a current limiter of the tester does not
//! hold, and where the clip on another earth touches nothing.

mod support;

use std::thread;
use std::time::{Duration, Instant};

use slotwise::bench::{LineWish, Pace, VirtualTester};
use slotwise::client::Client;
use slotwise::report::{Report, json, sheet};
use slotwise::texts::{English, Language as _};
use slotwise_core::evidence::{Measured, Missing};
use slotwise_core::finding::{FindingCode, NextCheck};
use slotwise_core::link::Look;
use slotwise_core::record::{Body, decode};
use slotwise_core::slots::ClipTarget;
use slotwise_core::units::{Amperes, Ohms, UnixSeconds};
use slotwise_core::verdict::Outcome;
use slotwise_virtual::board::workshop_flash;
use slotwise_virtual::house::Receptacle;
use slotwise_virtual::tester::{Specimen, Tolerance};
use support::pulled;

const NOW: UnixSeconds = UnixSeconds::new(1_772_460_000);

/// A tester that was calibrated before `break_it`, its clip on another earth, and a program at its
/// port. A test has begun.
fn testing(
    receptacle: &Receptacle,
    break_it: impl FnOnce(&mut Specimen),
) -> (VirtualTester, Client) {
    let mut specimen = Specimen::draw(83, &Tolerance::USUAL);
    let flash = workshop_flash(&specimen).expect("the workshop calibrates it");
    break_it(&mut specimen);
    let (pace, wish) = (Pace(200), LineWish::Memory);
    let mut tester = VirtualTester::power(specimen, flash, Some(NOW), pace, wish).expect("starts");
    let mut client = Client::new(tester.connect().expect("a line"));
    client.hello().expect("answers");
    let clip = ClipTarget::IndependentEarth;
    tester
        .plug(&receptacle.clone().with_clip(clip))
        .expect("solves");
    client.start_test(clip).expect("starts");
    (tester, client)
}

/// Looks until it shows what is waited for. The tester runs on its own clock: only one that never
/// shows it ends here.
fn look_until(client: &mut Client, shows: impl Fn(&Look) -> bool) -> Look {
    let deadline = Instant::now() + Duration::from_secs(600);
    loop {
        let look = client.look().expect("answers");
        if shows(&look) {
            return look;
        }
        assert!(Instant::now() < deadline, "{look:?}");
        thread::sleep(Duration::from_millis(5));
    }
}

#[test]
fn a_limiter_that_does_not_hold_is_named_in_every_form_of_the_record() {
    let (tester, mut client) = testing(&Receptacle::sound(), |specimen| {
        // To the clip, while the tone is low: wide is negative.
        specimen.currents.limits[1][1] = Amperes::new(f32::INFINITY);
    });
    let fault = |look: &Look| {
        look.answer
            .as_ref()
            .is_some_and(|answer| answer.outcome == Outcome::TesterFault)
    };
    let answer = look_until(&mut client, fault).answer.expect("an answer");
    let finding = answer.finding.expect("what it is");
    assert_eq!(finding.code, FindingCode::SelfTestFailed);
    let advice = English.check(finding.next, finding.code).what;
    assert!(advice.contains("Do not use the tester"), "{advice}");

    let log = pulled(&mut client);
    let place = log
        .records
        .iter()
        .position(|kept| {
            let record = decode(&kept.bytes).expect("decodes");
            matches!(record.body, Body::SelfTest(_))
        })
        .expect("the record of the failure");
    let report = Report::of_log("memory".to_owned(), &log);
    let page = sheet::render(&report, &report.items[place], 80);
    println!("{page}");
    assert!(
        page.lines().all(|line| line.chars().count() <= 80),
        "{page}"
    );
    let page = page.split_whitespace().collect::<Vec<_>>().join(" ");
    for words in [
        "limiter in the leg to the clip, wide blade negative, does not hold",
        "1.04 to 1.28 passes",
        "steps 15a and 15b of hardware/checks.md",
    ] {
        assert!(page.contains(words), "{page}");
    }
    let document = json::document(&report).expect("JSON");
    let document: serde_json::Value = serde_json::from_str(&document).expect("JSON");
    let text = document["records"][place].to_string();
    assert!(text.contains("limiter-fails"), "{text}");
    tester.stop().expect("ran to the end");
}

#[test]
fn a_clip_that_touches_nothing_leaves_polarity_open_and_sends_to_another_earth() {
    // Paint: the voltage there is still that of earth, a current does not come through.
    let painted = Receptacle {
        independent_earth: Ohms::new(20_000.0),
        ..Receptacle::sound()
    };
    let (tester, mut client) = testing(&painted, |_| {});
    let asked = |look: &Look| look.neutral_to_clip != Measured::Missing(Missing::NotAsked);
    let look = look_until(&mut client, |look| asked(look) && look.answer.is_some());
    assert_eq!(
        look.neutral_to_clip,
        Measured::Missing(Missing::BeyondRange)
    );
    let answer = look.answer.expect("an answer");
    assert!(answer.unproven.polarity, "{answer:?}");
    assert_ne!(answer.outcome, Outcome::Proven);
    let finding = answer.finding.expect("what it is");
    assert_eq!(finding.next, NextCheck::ClipOnIndependentEarth);
    let advice = English.check(finding.next, finding.code).what;
    assert!(advice.contains("open, take another earth"), "{advice}");
    tester.stop().expect("ran to the end");
}
