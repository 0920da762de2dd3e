//! The real RP2040 image, in the emulator, in the virtual receptacle: what it drives changes what
//! its converter sees, conversion by conversion. Pulled by the unmodified host program through a
//! pseudo-terminal. The same firmware on the desktop, closed over the same receptacle, must drive
//! the same pins in the same frames and write the same record bytes.

use std::fs::{self, File};
use std::io::BufWriter;
use std::path::Path;
use std::process::Command;
use std::time::{Duration, Instant};

use slotwise::log_file;
use slotwise_core::drive::tone_is_high;
use slotwise_core::earth_path::is_closed;
use slotwise_core::evidence::Measured;
use slotwise_core::finding::FindingCode;
use slotwise_core::record::{Body, BootCause, Record, Test, decode};
use slotwise_core::relay_check::pattern;
use slotwise_core::start::Start;
use slotwise_core::stimulus::{DrivePath, Order};
use slotwise_core::units::{Millis, Ohms};
use slotwise_core::verdict::Outcome;
use slotwise_firmware::nor::SpiNor;
use slotwise_firmware::stimulator::Stimulator;
use slotwise_firmware::tester::{Identity, Parts, Tester};
use slotwise_tests::circuit_server::{Asked, CircuitServer};
use slotwise_tests::emulator::{
    EmulatedBoard, Feed, Given, host_program, image_or_word, report, run_from_frames,
};
use slotwise_tests::flash_records::records_of;
use slotwise_tests::image::Image;
use slotwise_virtual::board::workshop_flash;
use slotwise_virtual::chips::nor::VirtualNor;
use slotwise_virtual::clock::{FRAME_NANOS, SimClock};
use slotwise_virtual::frames_file::write_source;
use slotwise_virtual::front_end::{FrameSource as _, FrontEnd, PhasorSource, Stretch};
use slotwise_virtual::house::find;
use slotwise_virtual::means::{Blade, earth_path_ohms, loop_ohms};
use slotwise_virtual::outputs::{Levels, Output, Outputs};
use slotwise_virtual::pins::{DrivenInput, RecordedOutput};
use slotwise_virtual::serial::line;
use slotwise_virtual::tester::{Specimen, Tolerance};

/// Simulated time of the run: a whole test with both of the tester's own currents, then two
/// receptacles where nothing may be closed, with a moment in the hand after each.
const PLAN: [(&str, u64); 3] = [
    ("sound", 15_000),
    ("reversed-polarity", 3_000),
    ("open-ground", 3_000),
];
const IN_HAND: u64 = 1200;

/// Records that the plan leaves: one start, one a receptacle.
const RECORDS: usize = 1 + PLAN.len();

fn plan() -> Vec<Stretch> {
    PLAN.iter()
        .flat_map(|(name, millis)| {
            let named = find(name).expect("in the bank");
            [
                Stretch::plugged(named.receptacle.clone(), *millis),
                Stretch::unplugged(IN_HAND),
            ]
        })
        .collect()
}

fn front_end(specimen: &Specimen) -> FrontEnd {
    let source = PhasorSource::new(specimen, &plan()).expect("the plan is solved");
    FrontEnd::new(specimen.clone(), Box::new(source))
}

/// What the desktop did.
struct Desktop {
    records: Vec<Vec<u8>>,
    /// The first row in which its pins differ from the image's.
    differs: Option<u64>,
    /// Most frames from an order of the sequence to the image's interrupt.
    latest: usize,
    /// Orders to rest.
    rests: u32,
}

/// Levels that the image drove during frame `index`.
fn levels_of(asked: &[Asked], index: usize) -> Levels {
    asked
        .get(index)
        .map_or([false; Output::ALL.len()], |asked| asked.levels)
}

/// Whether the image's pins follow this order for so many frames from frame `first` on.
fn begins(asked: &[Asked], first: usize, order: Order, frames: u32) -> bool {
    let high =
        |frame: u32, output: Output| levels_of(asked, first + frame as usize)[output as usize];
    (0..frames).all(|frame| match order {
        Order::Rest => true,
        Order::Probe => high(frame, Output::ProbeHold) == is_closed(frame),
        // It begins with both relays of the probe open and the tone as the pass has it.
        Order::Relays { pass, .. } => {
            high(frame, Output::Tone) == pattern::tone(frame, pass)
                && !high(frame, Output::DriveGround)
                && !high(frame, Output::DriveClip)
        }
        Order::Drive(path) | Order::Limiter { path, .. } => {
            let relay = match path {
                DrivePath::WideToGround => Output::DriveGround,
                DrivePath::WideToClip => Output::DriveClip,
            };
            high(frame, relay) && high(frame, Output::Tone) == tone_is_high(frame)
        }
    })
}

/// Whether the image's interrupt had this order by the end of frame `index`: it opens everything
/// at once, and begins with the frame after the next.
fn is_told(asked: &[Asked], index: usize, order: Order) -> bool {
    levels_of(asked, index + 1) == [false; Output::ALL.len()] && begins(asked, index + 2, order, 1)
}

/// Whether it had this order between the end of frame `index` and its interrupt, while the frame
/// was on its way: then no conversion stands open between. Two turns of the tone tell. For rest the
/// pins are the same either way, and only the mark of one frame differs: `rest` says which it was.
fn is_told_on_the_way(asked: &[Asked], index: usize, order: Order, rest: bool) -> bool {
    match order {
        Order::Rest => rest && levels_of(asked, index + 1) == [false; Output::ALL.len()],
        _ => begins(asked, index + 1, order, 94),
    }
}

/// The same firmware in the same receptacle on this machine, from the image's first frame on.
///
/// What the sequence orders after a window reaches the interrupt when the image has worked that
/// window out, some frames later; here it is held back as long as the image's pins say. All the
/// rest follows by itself.
///
/// `on_the_way`: which orders to rest came while a frame was on its way, lowest bit first.
fn desktop(
    specimen: &Specimen,
    contents: Vec<u8>,
    identity: Identity,
    asked: &[Asked],
    on_the_way: u32,
) -> Desktop {
    // The flash has a clock of its own: its waits take no frames here.
    let waits = SimClock::new();
    let nor = VirtualNor::with_contents(&waits, contents).expect("a whole part");
    let (near, far) = line();
    let mut tester = Tester::new(
        Parts {
            flash: SpiNor::new(nor.spi(), waits.delay()).ok(),
            serial: near,
            lamps: core::array::from_fn(|_| RecordedOutput::new(&waits)),
            heartbeat: RecordedOutput::new(&waits),
            button: DrivenInput::button(),
        },
        identity,
    );
    let clock = SimClock::new();
    let outputs = Outputs::new();
    let mut stimulator = Stimulator::new(outputs.pins(&clock));
    let mut front_end = front_end(specimen);
    front_end.connect(&outputs);
    let mut differs = None;
    let (mut told, mut waits_since, mut latest, mut rests) = (Order::Rest, 0, 0, 0);
    for (number, Asked { row, levels }) in asked.iter().enumerate() {
        clock.advance(row * FRAME_NANOS - clock.nanos());
        if differs.is_none() && Output::ALL.map(|output| outputs.is_high(output)) != *levels {
            differs = Some(*row);
        }
        let order = tester.order();
        let rest = on_the_way >> rests & 1 == 1;
        if order != told && is_told_on_the_way(asked, number, order, rest) {
            latest = latest.max(number - waits_since);
            rests += u32::from(order == Order::Rest);
            told = order;
            stimulator.set(order);
        }
        let frame = Ok(front_end.frame(*row));
        let applied = stimulator.on_frame(&frame);
        tester.frame(frame, applied);
        if number % 4 == 0 {
            tester.poll(Millis::new(number as u64 / 4));
        }
        let order = tester.order();
        if order == told {
            waits_since = number;
        } else if is_told(asked, number, order) {
            latest = latest.max(number - waits_since);
            rests += u32::from(order == Order::Rest);
            told = order;
            stimulator.set(order);
        }
    }
    tester.poll(Millis::new(asked.len() as u64 / 4 + 1));
    drop(far);
    drop(tester);
    let flash = SpiNor::new(nor.spi(), waits.delay()).expect("the part answers");
    let mut journal = slotwise_firmware::journal::Journal::open(flash).expect("it opens");
    let mut records = Vec::new();
    let mut buffer = [0; slotwise_core::record::MAX_BYTES];
    let mut next = 1;
    while let Some((number, length)) = journal.read_from(next, &mut buffer).expect("readable") {
        records.push(buffer[..length].to_vec());
        next = number + 1;
    }
    Desktop {
        records,
        differs,
        latest,
        rests,
    }
}

/// Pulls with the host program until `count` records are there.
fn pull_until(program: &Path, board: &EmulatedBoard, folder: &Path, count: usize) -> Vec<Vec<u8>> {
    let deadline = Instant::now() + Duration::from_secs(1200);
    for attempt in 0.. {
        let file = folder.join(format!("pull-{attempt}.slotlog"));
        let output = Command::new(program)
            .args(["pull", "--port"])
            .arg(board.port().expect("the port has a name"))
            .arg("--out")
            .arg(&file)
            .output()
            .expect("the host program starts");
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        if output.status.success() {
            let log = log_file::read(&file).expect("what was pulled can be read");
            let records: Vec<Vec<u8>> = log.records.iter().map(|r| r.bytes.clone()).collect();
            if records.len() >= count {
                return records;
            }
        }
        assert!(
            Instant::now() < deadline,
            "no {count} records within twenty minutes; the last pull said: {said}"
        );
        std::thread::sleep(Duration::from_millis(500));
    }
    unreachable!("the loop ends by return or by its deadline")
}

#[test]
fn the_emulated_image_and_the_desktop_drive_the_same_and_write_the_same_records() {
    let Some(elf) = image_or_word() else { return };
    let program = host_program();
    let folder = tempfile::tempdir().expect("a temporary folder");
    let path = |name: &str| folder.path().join(name);
    let specimen = Specimen::draw(23, &Tolerance::USUAL);
    let contents = workshop_flash(&specimen).expect("the workshop calibrates it");
    fs::write(path("nor.bin"), &contents).expect("room for the flash's contents");
    let circuit =
        CircuitServer::start(folder.path(), front_end(&specimen)).expect("pipes can be made");
    let length: u64 = PLAN.iter().map(|(_, millis)| (millis + IN_HAND) * 4).sum();

    let board = EmulatedBoard::start(Given {
        elf: &elf,
        feed: Feed::Circuit(&circuit),
        nor: &path("nor.bin"),
        report: &path("report.json"),
        // It ends when everything is pulled, however long a host needs for that.
        seconds: 3600,
        more: &[],
    })
    .expect("the emulator starts");
    circuit.wait_for(length);
    let emulated = pull_until(&program, &board, folder.path(), RECORDS);
    assert!(
        board.finish().expect("it ends"),
        "the emulator found a problem"
    );
    let asked = circuit.finish().expect("the pipes held");
    let report = report(&path("report.json"));

    // No frame lost at 4000 a second, with records written and pulled meanwhile.
    let converter = &report["converter"];
    assert_eq!(converter["missedWhileStreaming"], 0, "{converter}");
    assert_eq!(report["watchdogResets"].as_array().map_or(0, Vec::len), 0);

    let records: Vec<Record> = emulated
        .iter()
        .map(|bytes| decode(bytes).expect("records decode"))
        .collect();
    let tests: Vec<&Test> = records
        .iter()
        .filter_map(|record| match &record.body {
            Body::Test(test) => Some(test),
            _ => None,
        })
        .collect();
    let codes: Vec<_> = tests.iter().map(|test| test.verdict.first()).collect();
    assert_eq!(
        codes
            .iter()
            .map(|first| first.map(|finding| finding.code))
            .collect::<Vec<_>>(),
        [
            Some(FindingCode::ReadsSound),
            Some(FindingCode::ReversedPolarity),
            Some(FindingCode::OpenGround)
        ]
    );
    assert!(
        tests
            .iter()
            .all(|test| test.evidence.health.bad_frames == 0)
    );

    // The image measured the paths through its own pins.
    let sound = &find("sound").expect("in the bank").receptacle;
    let measured = |ohms: Measured<Ohms>, truth: f64, bound: f64| {
        let value = f64::from(ohms.value().expect("measured").get());
        assert!((value - truth).abs() < bound, "{value} of {truth}");
        value
    };
    let p1 = earth_path_ohms(sound, &specimen, Blade::Narrow).expect("solved");
    let p2 = loop_ohms(sound, &specimen).expect("solved");
    let earth_path = measured(tests[0].evidence.earth_path, p1, 0.2);
    let drive = measured(tests[0].evidence.neutral_and_ground, p2, 0.05);
    for test in &tests[1..] {
        assert_eq!(test.evidence.earth_path.value(), None);
        assert_eq!(test.evidence.neutral_and_ground.value(), None);
    }
    assert_eq!(report["outputs"]["edges"]["driveClip"], 0);
    let conversions = &report["outputs"]["conversions"];

    // The desktop, closed over the same receptacle.
    let first = converter["firstRow"].as_u64().expect("frames were read");
    let read: Vec<Asked> = asked
        .into_iter()
        .filter(|asked| asked.row >= first)
        .collect();
    let identity = Identity {
        tester: records[0].tester,
        firmware: records[0].firmware,
        start: Start {
            cause: BootCause::PowerOn,
            build: Some(Image::read(&elf).build()),
            stopped: None,
        },
        clock: None,
    };
    let replay = |on_the_way| desktop(&specimen, contents.clone(), identity, &read, on_the_way);
    let first = replay(0);
    assert!(first.rests <= 4, "{} orders to rest", first.rests);
    // The image's record tells which it was: it is the same to the last bit then.
    let desktop = if first.records == emulated {
        first
    } else {
        let is_the_same = |other: &Desktop| other.differs.is_none() && other.records == emulated;
        let mut others = (1..1 << first.rests).map(replay);
        others.find(is_the_same).unwrap_or(first)
    };
    assert_eq!(
        desktop.differs, None,
        "first row with other pins on the desktop"
    );
    assert!(desktop.latest < 400, "{} frames", desktop.latest);
    assert_eq!(desktop.records.len(), RECORDS);
    for (place, (emulated, desktop)) in emulated.iter().zip(&desktop.records).enumerate() {
        if emulated != desktop {
            let (emulated, desktop) = (decode(emulated), decode(desktop));
            panic!("record {place} differs:\n{emulated:#?}\n{desktop:#?}");
        }
    }
    println!(
        "emulated image: {} frames, none lost, probe closed in {}, drive in {}, orders followed \
         within {} frames; earth path {earth_path:.3} ohm (circuit {p1:.3}), neutral and ground {drive:.3} ohm (circuit \
         {p2:.3}); {} records and every pin in every frame as on the desktop; {} simulated s in \
         {} s; interrupt {} cycles, at most {}; a block into the tester {} cycles, at most {}",
        converter["delivered"],
        conversions["probe"],
        conversions["driveToGround"],
        desktop.latest + 1,
        desktop.records.len(),
        report["simulatedSeconds"],
        report["wallSeconds"],
        report["interrupts"]["IO_BANK0"]["median"],
        report["interrupts"]["IO_BANK0"]["most"],
        report["accumulate"]["median"],
        report["accumulate"]["most"],
    );
}

/// The same codes whatever the tester drives, as with a probe whose relays never close.
#[test]
fn an_image_whose_probe_moves_nothing_never_calls_the_path_measured() {
    let Some(elf) = image_or_word() else { return };
    let folder = tempfile::tempdir().expect("a temporary folder");
    let path = |name: &str| folder.path().join(name);
    let specimen = Specimen::draw(24, &Tolerance::USUAL);
    let contents = workshop_flash(&specimen).expect("the workshop calibrates it");
    fs::write(path("nor.bin"), &contents).expect("room for the flash's contents");
    let file = BufWriter::new(File::create(path("frames.bin")).expect("room for frames"));
    write_source(file, &mut front_end(&specimen), 4 * 15_000).expect("frames are written");
    // Unplugged at the end, with time to write the record.
    run_from_frames(&elf, folder.path(), 17, &["--after-frames", "zero"]).expect("it runs");
    let records = records_of(&path("nor.bin"));
    assert_eq!(records.len(), 2, "the start and one test: {records:?}");
    let Body::Test(test) = &records[1].body else {
        panic!("{:?}", records[1])
    };
    let first = test.verdict.first().map(|first| first.code);
    assert_eq!(test.verdict.outcome, Outcome::TesterFault, "{first:?}");
    assert!(report(&path("report.json"))["outputs"]["conversions"]["probe"].as_u64() > Some(4000));
}
