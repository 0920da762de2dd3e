//! The report of a visit: the same words on the page and on paper, every value from a record,
//! nothing of a person's words that does anything, and no doubt that reads as good.

mod support;

use std::fs;
use std::path::Path;

use predicates::prelude::PredicateBooleanExt as _;
use predicates::str::contains;
use slotwise::archive::{Archive, Batch, KeptNote, NewNote, SqliteArchive, Wanted};
use slotwise::document::{Block, Document, Tone, html, pdf};
use slotwise::log_file::KeptRecord;
use slotwise::report::visit::{VisitReport, document};
use slotwise::texts::{English, Language as _};
use slotwise::visits::{Dossier, Grouper};
use slotwise_core::evidence::{Measured, Missing};
use slotwise_core::judge::judge;
use slotwise_core::limits::{BandSet, Limits};
use slotwise_core::load_step::Level;
use slotwise_core::record::{Body, Digest, Record, RecordNumber, Version};
use slotwise_core::slots::ClipTarget;
use slotwise_core::units::{Millis, Ohms, UnixSeconds, Volts};
use slotwise_core::watch::{Page, Second, Span};
use support::{DEAD, Invented, OPEN_GROUND, REVERSED, SOUND, TESTER, bytes_of, slotwise};

const NOON: u64 = 1_772_460_000;
const SITE: &str = "Larkfield Terrace 4";

fn span(volts: f32, width: f32) -> Span {
    let level = |volts: f32| Level::of(Volts::new(volts));
    Span {
        least: level(volts - width),
        mean: level(volts),
        greatest: level(volts + width),
    }
}

/// A minute of a watch with the clip at `clip` volts.
fn page(clip: f32) -> Body {
    let second = Second {
        narrow_wide: span(119.0, 0.4),
        ground_wide: span(0.2, 0.01),
        clip_wide: Some(span(clip, 0.1)),
    };
    let mut seconds = heapless::Vec::new();
    for _ in 0..60 {
        seconds.push(Some(second)).unwrap();
    }
    Body::WatchPage(Page {
        first: 0,
        clip_target: ClipTarget::ApplianceFrame,
        seconds,
    })
}

fn chained(bodies: Vec<Body>) -> Vec<KeptRecord> {
    let mut previous = Digest::default();
    let mut kept = Vec::new();
    for (number, body) in (1..).zip(bodies) {
        let number_of = RecordNumber::new(number);
        let bytes = bytes_of(&Record {
            number: number_of,
            previous,
            tester: TESTER,
            firmware: Version {
                major: 0,
                minor: 1,
                patch: 0,
            },
            boot: 1,
            at: Millis::new(u64::from(number) * 60_000),
            clock: Some(UnixSeconds::new(NOON + u64::from(number) * 60)),
            body,
        });
        previous = slotwise::chain::digest(&bytes);
        kept.push(KeptRecord {
            number: number_of,
            bytes,
            at_byte: 0,
        });
    }
    kept
}

fn archive_of(db: &Path, records: Vec<KeptRecord>, site: &str) -> SqliteArchive {
    let mut archive = SqliteArchive::open_or_make(db).unwrap();
    let last = records.last().unwrap().number;
    archive
        .import(&Batch {
            source: "test".to_owned(),
            tester: TESTER,
            records,
            damages: 0,
            at: UnixSeconds::new(NOON),
        })
        .unwrap();
    let site = archive.site(site).unwrap();
    archive
        .place(TESTER, RecordNumber::FIRST, last, site, None)
        .unwrap();
    archive
}

fn tests_of(tests: &[Invented]) -> Vec<Body> {
    tests.iter().map(|one| Body::Test(one.test())).collect()
}

fn report_of(archive: &SqliteArchive, prepared_by: &str) -> (Document, Dossier) {
    let mut grouper = Grouper::default();
    archive
        .each_test(&Wanted::default(), &mut |test| {
            assert!(grouper.push(test).is_none(), "one visit");
            Ok(())
        })
        .unwrap();
    let visit = grouper.finish().unwrap();
    let notes: Vec<KeptNote> = archive.notes(None).unwrap();
    let dossier = Dossier::gather(archive, visit, notes).unwrap();
    let made = document(&VisitReport {
        dossier: &dossier,
        band: BandSet::default(),
        prepared_by,
        is_invented: false,
        language: &English,
    });
    (made, dossier)
}

fn tone_of_answer(document: &Document) -> Tone {
    document
        .blocks
        .iter()
        .find_map(|block| match block {
            Block::Answer { tone, .. } => Some(*tone),
            _ => None,
        })
        .unwrap()
}

/// The words of a page, its mark-up taken away and its entities read.
fn words_of(page: &str) -> String {
    let (_, body) = page.split_once("<body>").unwrap();
    let mut words = String::new();
    let mut is_word = true;
    for c in body.chars() {
        match c {
            '<' => is_word = false,
            '>' => is_word = true,
            c if is_word => words.push(c),
            _ => {}
        }
    }
    words
        .replace("&lt;", "<")
        .replace("&gt;", ">")
        .replace("&quot;", "\"")
        .replace("&amp;", "&")
}

#[test]
fn page_says_every_word_and_paper_is_the_same_twice() {
    let folder = tempfile::tempdir().unwrap();
    let mut bodies = vec![page(0.4)];
    bodies.extend(tests_of(&[SOUND, OPEN_GROUND, REVERSED, DEAD]));
    let archive = archive_of(&folder.path().join("o.db"), chained(bodies), SITE);
    let (made, dossier) = report_of(&archive, "Tern & Fell Heating");
    assert_eq!(
        dossier.records.len(),
        5,
        "the watch before the first test belongs to it"
    );
    let page = html::page(&made);
    let shown = words_of(&page);
    for words in made.words() {
        assert!(shown.contains(words), "not on the page: {words}");
    }
    assert!(!page.contains("<script") && !page.contains("http://") && !page.contains("https://"));
    let paper = pdf::sheets(&made).unwrap();
    assert!(paper.starts_with(b"%PDF-"));
    assert_eq!(paper, pdf::sheets(&made).unwrap());
}

#[test]
fn every_value_stands_under_its_record_with_the_digest_of_the_record() {
    let folder = tempfile::tempdir().unwrap();
    let records = chained(tests_of(&[SOUND, OPEN_GROUND]));
    let digests: Vec<String> = records
        .iter()
        .map(|kept| {
            let digest = slotwise::chain::digest(&kept.bytes).0;
            digest.iter().map(|byte| format!("{byte:02x}")).collect()
        })
        .collect();
    let archive = archive_of(&folder.path().join("o.db"), records, SITE);
    let (made, dossier) = report_of(&archive, "");
    let words = made.words();
    for digest in &digests {
        assert!(words.contains(&digest.as_str()), "{digest}");
    }
    // From the heading of a record to the next heading stand the values of that record.
    for kept in &dossier.records {
        let Body::Test(test) = &kept.record.as_ref().unwrap().body else {
            panic!("only tests");
        };
        let heading = format!("Record {}", kept.number.get());
        let from = made
            .blocks
            .iter()
            .position(|block| matches!(block, Block::Heading(_, text) if *text == heading))
            .unwrap();
        let table = made.blocks[from + 1..]
            .iter()
            .find_map(|block| match block {
                Block::Table(table) => Some(table),
                _ => None,
            })
            .unwrap();
        let expected = slotwise::report::sheet::evidence_rows(&English, &test.evidence);
        let shown: Vec<(&str, String)> = table
            .rows
            .iter()
            .map(|row| (row[0].as_str(), row[1].clone()))
            .collect();
        assert_eq!(shown, expected);
    }
}

#[test]
fn the_gravest_test_is_the_answer_and_doubt_is_never_shown_as_good() {
    let folder = tempfile::tempdir().unwrap();
    for (number, (tests, tone)) in [
        (vec![SOUND], Tone::Caution),
        (vec![OPEN_GROUND, SOUND], Tone::Wrong),
        (vec![SOUND, DEAD], Tone::Wrong),
        (vec![REVERSED, SOUND], Tone::Danger),
    ]
    .into_iter()
    .enumerate()
    {
        let db = folder.path().join(format!("{number}.db"));
        let archive = archive_of(&db, chained(tests_of(&tests)), SITE);
        assert_eq!(tone_of_answer(&report_of(&archive, "").0), tone, "{number}");
    }
}

#[test]
fn a_watch_is_drawn_with_its_limit_and_what_is_left_to_prove_is_said() {
    let folder = tempfile::tempdir().unwrap();
    let mut bodies = vec![page(1.1)];
    bodies.extend(tests_of(&[SOUND]));
    let archive = archive_of(&folder.path().join("o.db"), chained(bodies), SITE);
    let (made, _) = report_of(&archive, "");
    let words = made.words().join("\n");
    assert!(
        words.contains("Clip to wide slot over 60 s of watching: 1.00 to 1.20 V, 0 load steps.")
    );
    assert!(words.contains("limit 2.00 V"));
    assert!(words.contains("Polarity: test again with the clip on an earth"));
    assert!(words.contains("Earth path: test again"));
    assert!(words.contains("common practice") || words.contains("Common practice"));
}

/// What is measured to the clip on another earth stands beside the limit for that, not beside the
/// power-off check's; where it did not show the earth, the report does not send for one as if there had
/// been none.
#[test]
fn the_way_to_another_earth_has_a_limit_of_its_own_and_says_why_polarity_is_open() {
    let on_earth = |to_clip: Measured<Ohms>| {
        let mut test = Invented {
            clip: Some((ClipTarget::IndependentEarth, 0.4)),
            ..SOUND
        }
        .test();
        let evidence = &mut test.evidence;
        evidence.earth_path = Measured::known(Ohms::new(0.31), Ohms::new(0.03));
        evidence.neutral_and_ground = Measured::known(Ohms::new(0.6), Ohms::new(0.01));
        evidence.neutral_to_clip = to_clip;
        test.verdict = judge(&test.evidence, &Limits::DEFAULT);
        test
    };
    let report = |to_clip| {
        let folder = tempfile::tempdir().unwrap();
        let test = Body::Test(on_earth(to_clip));
        let archive = archive_of(&folder.path().join("o.db"), chained(vec![test]), SITE);
        report_of(&archive, "").0
    };

    let rod = report(Measured::known(Ohms::new(24.0), Ohms::new(0.1)));
    let drawn: Vec<&str> = rod
        .blocks
        .iter()
        .filter_map(|block| match block {
            Block::Figure(figure) => Some(figure.described.as_str()),
            _ => None,
        })
        .filter(|described| described.starts_with("neutral to clip"))
        .collect();
    assert_eq!(
        drawn,
        ["neutral to clip: 24.00 ± 0.20 ohm. limit: 200.0 ohm."]
    );
    let rod = rod.words().join("\n");
    assert!(!rod.contains("Polarity: "), "{rod}");
    assert!(rod.contains("Separate ground: "), "{rod}");

    for (reason, advice) in [
        (Missing::LimiterUntested, "too noisy for the tester"),
        (Missing::Refused, "3 V or more away from earth"),
        (Missing::BeyondRange, "Clip it to bare metal"),
    ] {
        let words = report(Measured::Missing(reason)).words().join("\n");
        assert!(words.contains(English.missing(reason)), "{words}");
        assert!(words.contains(advice), "{words}");
        assert!(
            words.contains("Polarity: the clip was on another earth"),
            "{words}"
        );
        assert!(!words.contains("Polarity: test again"), "{words}");
    }
}

#[test]
fn words_of_people_do_nothing_in_page_and_paper() {
    let folder = tempfile::tempdir().unwrap();
    for (number, hostile) in [
        "<script>alert('1')</script><img src=x onerror=alert(1)>",
        "'; DROP TABLE site; --",
        "\u{1b}[2J\u{202e}工房 🔥 Łąkowa",
        "a\"><svg onload=alert(1)>",
        "..\\..\\../../etc",
    ]
    .into_iter()
    .enumerate()
    {
        let db = folder.path().join(format!("{number}.db"));
        let mut archive = archive_of(&db, chained(tests_of(&[SOUND])), hostile);
        let site = archive.site(hostile).unwrap();
        archive
            .add_note(&NewNote {
                site,
                appliance: None,
                at: UnixSeconds::new(NOON),
                readings: Default::default(),
                answers: Default::default(),
                remark: hostile.to_owned(),
                photos: vec![hostile.to_owned()],
            })
            .unwrap();
        let (made, _) = report_of(&archive, hostile);
        let page = html::page(&made);
        assert!(words_of(&page).contains(hostile), "{hostile:?}");
        for tag in ["<script", "<img", "<svg onload"] {
            assert!(!page.contains(tag), "{hostile:?}");
        }
        pdf::sheets(&made).unwrap();
    }
}

#[test]
fn a_changed_record_is_named_and_ends_with_the_code_of_a_damaged_file() {
    let folder = tempfile::tempdir().unwrap();
    let db = folder.path().join("o.db");
    let mut records = chained(tests_of(&[SOUND, SOUND, SOUND]));
    // The middle one says another boot: its own bytes are whole, the chain is not.
    let mut changed = slotwise_core::record::decode(&records[1].bytes).unwrap();
    changed.at = Millis::new(changed.at.get() + 1);
    records[1].bytes = bytes_of(&changed);
    drop(archive_of(&db, records, SITE));
    let out = folder.path().join("v.html");
    slotwise()
        .args(["report", "--site", SITE, "--archive"])
        .arg(&db)
        .arg("--out")
        .arg(&out)
        .assert()
        .code(5)
        .stderr(contains("pull again"));
    let page = fs::read_to_string(&out).unwrap();
    assert!(page.contains("take nothing here as proven"));
}

#[test]
fn the_command_writes_both_forms_and_refuses_what_it_cannot_do() {
    let folder = tempfile::tempdir().unwrap();
    let db = folder.path().join("o.db");
    drop(archive_of(&db, chained(tests_of(&[SOUND])), SITE));
    let run = |words: &[&str]| {
        let mut command = slotwise();
        command.current_dir(folder.path());
        command
            .args(["report", "--archive"])
            .arg(&db)
            .args(words)
            .assert()
    };
    run(&["--site", SITE, "--out", "v.html", "--out", "v.PDF"]).code(0);
    assert!(
        fs::read(folder.path().join("v.PDF"))
            .unwrap()
            .starts_with(b"%PDF-")
    );
    run(&["--site", SITE, "--out", "v.html"])
        .failure()
        .stderr(contains("--force"));
    run(&["--site", SITE, "--out", "v.html", "--force"]).code(0);
    run(&["--site", SITE, "--out", "v.doc"])
        .code(2)
        .stderr(contains(".html or .pdf"));
    run(&["--site", SITE, "--visit", "2", "--out", "w.html"])
        .code(2)
        .stderr(contains("Larkfield Terrace 4: visits here: 1").and(contains("visits list")));
    run(&["--site", "Nowhere", "--out", "w.html"])
        .code(2)
        .stderr(contains("no site named `Nowhere`"));
    assert!(!folder.path().join("w.html").exists());
}
