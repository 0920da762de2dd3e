//! The real image for a long time with everything going on at once: a furnace whose inducer comes
//! and goes, a load-cycle watch that writes a record for every step and every minute, a journal that is
//! full but for what was freed, so that sectors are erased, and a host that pulls all of it every
//! ten seconds. Not one frame of the converter may be lost.
//!
//! A minute and ten minutes, both by a command of their own:
//! `cargo test -p slotwise-tests --test emulated_long -- --ignored --nocapture a_minute`, `ten_minutes`.

use std::fs;
use std::time::{Duration, Instant};

use slotwise::chain::{ChainLink, check};
use slotwise::client::{Client, Pulled, RawFrame};
use slotwise::error::Error;
use slotwise::log_file::{self, KeptRecord};
use slotwise::port;
use slotwise_core::record::{Body, Record, RecordNumber};
use slotwise_core::slots::ClipTarget;
use slotwise_core::units::Amperes;
use slotwise_core::verdict::Outcome;
use slotwise_tests::bench::Bench;
use slotwise_tests::circuit_server::CircuitServer;
use slotwise_tests::emulator::{EmulatedBoard, Feed, Given, image_or_word, report};
use slotwise_tests::long_journal::LongJournal;
use slotwise_virtual::front_end::{FrontEnd, PhasorSource, Stretch};
use slotwise_virtual::house::{Appliance, Receptacle};

/// Test before the watch.
const TEST_SECONDS: u64 = 20;

/// Records in the journal before: a pull is a quarter of a megabyte.
const KEPT: usize = 300;

/// Between two pulls.
const PULL_EVERY: u64 = 10;

/// A furnace whose inducer comes and goes: 6 A, 5 s off, 5 s on, some leakage to its frame.
fn furnace() -> Receptacle {
    let appliance = Appliance {
        leak: Amperes::new(0.0005),
        ..Appliance::cycling(6.0, 5, 5)
    };
    Receptacle::sound()
        .with_appliance(appliance)
        .with_clip(ClipTarget::ApplianceFrame)
}

/// Pulls everything; in simulated time it takes half a second, on the wall what the emulator needs.
fn pull(client: &mut Client) -> Vec<KeptRecord> {
    let (hello, mut bytes) = client
        .hello()
        .map(|(hello, RawFrame(bytes))| (hello, bytes))
        .expect("it answers");
    let (oldest, _) = hello.records.expect("it has records");
    client
        .pull(oldest, |pulled| {
            match pulled {
                Pulled::Record { frame, .. } | Pulled::End { frame, .. } => bytes.extend(frame.0),
                Pulled::Again(number) => panic!("lost on the line at {number:?}"),
                Pulled::Unreadable(number) => panic!("unreadable: {number:?}"),
            }
            Ok::<(), Error>(())
        })
        .expect("it comes");
    let log = log_file::read_from(&*bytes, std::path::Path::new("memory")).expect("a log");
    assert_eq!(log.damages, []);
    log.records
}

fn run(seconds: u64) {
    let Some(elf) = image_or_word() else { return };
    let folder = tempfile::tempdir().expect("a temporary folder");
    let path = |name: &str| folder.path().join(name);
    let mut bench = Bench::new(71);
    bench.plug("sound");
    bench.board.run_for(15_000);
    let full = LongJournal::grow(bench.board.nor.contents(), usize::MAX);
    let before = full.freed_but(KEPT);
    assert_eq!(before.records.len(), KEPT);
    fs::write(path("nor.bin"), &before.contents).expect("room for the flash's contents");

    // It ends when the host has pulled, however long that takes.
    let length = 1000 * (TEST_SECONDS + seconds + 3600);
    let plan = [Stretch::plugged(furnace(), length)];
    let source = PhasorSource::new(&bench.specimen, &plan).expect("it is solved");
    let front_end = FrontEnd::new(bench.specimen.clone(), Box::new(source));
    let circuit = CircuitServer::start(folder.path(), front_end).expect("pipes can be made");
    let board = EmulatedBoard::start(Given {
        elf: &elf,
        feed: Feed::Circuit(&circuit),
        nor: &path("nor.bin"),
        report: &path("report.json"),
        seconds: u32::try_from(length / 1000).expect("minutes"),
        more: &[],
    })
    .expect("the emulator starts");
    let began = Instant::now();
    circuit.wait_for(4000 * TEST_SECONDS);
    let name = board.port().expect("the port has a name");
    // The emulator may be many times slower than the wall clock.
    let mut client = Client::new(Box::new(port::open(&name).expect("it opens")))
        .with_patience(Duration::from_secs(60));
    client.hello().expect("it answers");
    client
        .start_watch(ClipTarget::ApplianceFrame)
        .expect("it watches");
    let (mut pulls, mut pulled) = (0, 0);
    let mut at = TEST_SECONDS;
    while at < TEST_SECONDS + seconds {
        let records = pull(&mut client);
        assert!(records.len() > KEPT, "{}", records.len());
        (pulls, pulled) = (pulls + 1, pulled + records.len());
        at += PULL_EVERY;
        circuit.wait_for(4000 * at);
    }
    client.stop_watch().expect("it was watching");
    let deadline = Instant::now() + Duration::from_secs(600);
    while client.status().expect("it answers").newest.is_none() && Instant::now() < deadline {}
    let status = client.status().expect("it answers");
    let records = pull(&mut client);
    drop(client);
    assert!(board.finish().expect("it ends"), "nothing that ends a run");
    circuit.finish().expect("the pipes held");
    let report = report(&path("report.json"));

    // Not one frame lost, by the converter's count and by the tester's own.
    let converter = &report["converter"];
    assert_eq!(converter["missedWhileStreaming"], 0, "{converter}");
    assert_eq!(status.bad_frames, 0, "{status:?}");
    // Its start takes some hundredths of a second.
    assert!(
        status.frames >= 4000 * (TEST_SECONDS + seconds) - 400,
        "{status:?}"
    );
    assert_eq!(report["watchdogResets"], serde_json::json!([]));
    assert_eq!(report["faults"], serde_json::json!([]));
    // Sectors were erased and written meanwhile.
    let erases = report["nor"]["erases"].as_u64().expect("counted");
    assert!(erases > 0, "{}", report["nor"]);

    // What was there before stands there still, and all of it hangs together.
    let there = records.iter().map(|record| &record.bytes);
    assert!(there.zip(&before.records).all(|(one, other)| one == other));
    let checked = check(&records);
    let holds = |link| matches!(link, ChainLink::Begins | ChainLink::Follows);
    assert!(checked.iter().all(|one| holds(one.link)));
    let new: Vec<&Record> = checked[KEPT..]
        .iter()
        .map(|one| &**one.record.as_ref().expect("it decodes"))
        .collect();
    assert!(matches!(new[0].body, Body::Start(_)), "{:?}", new[0]);
    let count = |is: fn(&Body) -> bool| new.iter().filter(|record| is(&record.body)).count() as u64;
    let steps = count(|body| matches!(body, Body::WatchStep(_)));
    let pages = count(|body| matches!(body, Body::WatchPage(_)));
    let tests: Vec<Outcome> = new
        .iter()
        .filter_map(|record| match &record.body {
            Body::Test(test) => Some(test.verdict.outcome),
            _ => None,
        })
        .collect();
    assert_eq!(
        tests,
        [Outcome::NoFaultFound; 2],
        "before the watch, and its end"
    );
    // The inducer switches every 5 s.
    assert!(
        (seconds / 5 - 2..=seconds / 5 + 3).contains(&steps),
        "{steps}"
    );
    assert!(pages >= seconds / 60, "{pages}");
    assert!(records.last().map(|last| last.number) > Some(RecordNumber::new(1)));
    println!(
        "{} simulated s in {:.0} s: {} frames, 0 lost; {steps} steps, {pages} pages, {} new records; \
         {erases} sectors erased; {pulls} pulls, {pulled} records pulled; interrupt at most {} \
         cycles; stack left {} bytes",
        report["simulatedSeconds"],
        began.elapsed().as_secs_f64(),
        status.frames,
        new.len(),
        report["interrupts"]["IO_BANK0"]["most"],
        report["stack"]["left"],
    );
}

#[test]
#[ignore = "a simulated minute of everything takes minutes of the wall clock on a loaded machine"]
fn a_minute_with_loads_watch_journal_and_pulls_loses_no_frame() {
    run(60);
}

#[test]
#[ignore = "ten simulated minutes take five to twenty of the wall clock"]
fn ten_minutes_with_loads_watch_journal_and_pulls_lose_no_frame() {
    run(600);
}
