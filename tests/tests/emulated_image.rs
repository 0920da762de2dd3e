//! The real RP2040 image, in the emulator, on the waveforms of the virtual receptacle, pulled
//! by the unmodified host program through a pseudo-terminal; and the same code on the same
//! samples on the desktop. Verdicts, phasors and record bytes must be the same.

use std::fs::{self, File};
use std::io::BufWriter;
use std::path::Path;
use std::process::Command;
use std::time::{Duration, Instant};

use slotwise::log_file;
use slotwise_core::finding::FindingCode;
use slotwise_core::record::{Body, BootCause, Record, TesterId, Version, decode};
use slotwise_core::sample::Frame;
use slotwise_core::stimulus::Applied;
use slotwise_core::units::Millis;
use slotwise_firmware::nor::SpiNor;
use slotwise_firmware::tester::{Identity, Parts, Tester};
use slotwise_tests::emulator::{EmulatedBoard, Given, host_program, image, report};
use slotwise_tests::outside::not_checked;
use slotwise_virtual::board::workshop_flash;
use slotwise_virtual::chips::nor::VirtualNor;
use slotwise_virtual::clock::SimClock;
use slotwise_virtual::frames_file::{read_frames, write_source};
use slotwise_virtual::front_end::{FrontEnd, PhasorSource, Stretch};
use slotwise_virtual::house::find;
use slotwise_virtual::pins::{DrivenInput, RecordedOutput};
use slotwise_virtual::serial::line;
use slotwise_virtual::tester::{Specimen, Tolerance};

/// Simulated time of the run: three receptacles, 3 s each, with a second in the hand between.
const PLAN: [(&str, u64); 3] = [
    ("sound", 3000),
    ("reversed-polarity", 3000),
    ("open-ground", 3000),
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

/// The same firmware on the same frames, on this machine.
fn desktop_records(
    frames: &[Frame],
    contents: Vec<u8>,
    tester: TesterId,
    firmware: Version,
) -> Vec<Vec<u8>> {
    let clock = SimClock::new();
    let nor = VirtualNor::with_contents(&clock, contents).expect("a whole part");
    let (near, far) = line();
    let mut tester = Tester::new(
        Parts {
            flash: SpiNor::new(nor.spi(), clock.delay()).ok(),
            serial: near,
            lamps: core::array::from_fn(|_| RecordedOutput::new(&clock)),
            heartbeat: RecordedOutput::new(&clock),
            button: DrivenInput::button(),
        },
        Identity {
            tester,
            firmware,
            cause: BootCause::PowerOn,
            clock: None,
        },
    );
    for (number, frame) in frames.iter().enumerate() {
        tester.frame(Ok(*frame), Applied::Nothing);
        if number % 4 == 0 {
            tester.poll(Millis::new(number as u64 / 4));
        }
    }
    tester.poll(Millis::new(frames.len() as u64 / 4 + 1));
    drop(far);
    drop(tester);
    let flash = SpiNor::new(nor.spi(), clock.delay()).expect("the part answers");
    let mut journal = slotwise_firmware::journal::Journal::open(flash).expect("it opens");
    let mut records = Vec::new();
    let mut buffer = [0; slotwise_core::record::MAX_BYTES];
    let mut next = 1;
    while let Some((number, length)) = journal.read_from(next, &mut buffer).expect("readable") {
        records.push(buffer[..length].to_vec());
        next = number + 1;
    }
    records
}

/// Pulls with the host program until `count` records are there.
fn pull_until(board: &EmulatedBoard, folder: &Path, count: usize) -> Vec<Vec<u8>> {
    let program = host_program();
    let deadline = Instant::now() + Duration::from_secs(180);
    for attempt in 0.. {
        let file = folder.join(format!("pull-{attempt}.slotlog"));
        let output = Command::new(&program)
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
            "no {count} records within three minutes; the last pull said: {said}"
        );
        std::thread::sleep(Duration::from_millis(500));
    }
    unreachable!("the loop ends by return or by its deadline")
}

#[test]
fn the_emulated_image_and_the_desktop_write_the_same_records() {
    let Some(elf) = image() else {
        not_checked(
            "no image made from these sources, or no emulator to run it in",
            "run tests/run, or firmware/rp2040/build.sh and npm ci --prefix tests/emulator",
        );
        return;
    };
    let folder = tempfile::tempdir().expect("a temporary folder");
    let path = |name: &str| folder.path().join(name);
    let specimen = Specimen::draw(23, &Tolerance::USUAL);
    let contents = workshop_flash(&specimen).expect("the workshop calibrates it");
    fs::write(path("nor.bin"), &contents).expect("room for the flash's contents");
    let source = PhasorSource::new(&specimen, &plan()).expect("the plan is solved");
    let mut front_end = FrontEnd::new(specimen.clone(), Box::new(source));
    let length: u64 = PLAN.iter().map(|(_, millis)| (millis + IN_HAND) * 4).sum();
    let file = BufWriter::new(File::create(path("frames.bin")).expect("room for frames"));
    write_source(file, &mut front_end, length).expect("frames are written");

    let board = EmulatedBoard::start(Given {
        elf: &elf,
        frames: &path("frames.bin"),
        nor: &path("nor.bin"),
        report: &path("report.json"),
        seconds: 120,
    })
    .expect("the emulator starts");
    let emulated = pull_until(&board, folder.path(), RECORDS);
    assert!(
        board.finish().expect("it ends"),
        "the emulator found a problem"
    );
    let report = report(&path("report.json"));

    // No frame lost at 4000 a second, with records written and pulled meanwhile.
    let converter = &report["converter"];
    assert_eq!(converter["missedWhileStreaming"], 0, "{converter}");
    assert_eq!(report["watchdogResets"].as_array().map_or(0, Vec::len), 0);

    let records: Vec<Record> = emulated
        .iter()
        .map(|bytes| decode(bytes).expect("records decode"))
        .collect();
    let codes: Vec<Option<FindingCode>> = records
        .iter()
        .map(|record| match &record.body {
            Body::Test(test) => {
                assert_eq!(test.evidence.health.bad_frames, 0);
                test.verdict.first().map(|finding| finding.code)
            }
            _ => None,
        })
        .collect();
    assert_eq!(
        codes,
        [
            None,
            Some(FindingCode::ReadsSound),
            Some(FindingCode::ReversedPolarity),
            Some(FindingCode::OpenGround)
        ]
    );

    // The desktop, on the samples that the image saw.
    let first = converter["firstRow"].as_u64().expect("frames were read") as usize;
    let file = File::open(path("frames.bin")).expect("frames are there");
    let frames = read_frames(file).expect("frames are whole");
    let desktop = desktop_records(
        &frames[first..],
        contents,
        records[0].tester,
        records[0].firmware,
    );
    assert_eq!(desktop.len(), RECORDS);
    for (place, (emulated, desktop)) in emulated.iter().zip(&desktop).enumerate() {
        if emulated != desktop {
            let (emulated, desktop) = (decode(emulated), decode(desktop));
            panic!("record {place} differs:\n{emulated:#?}\n{desktop:#?}");
        }
    }
    println!(
        "emulated image: {} frames, none lost, {} records equal to the desktop's byte by byte; \
         {} simulated s in {} s",
        converter["delivered"],
        desktop.len(),
        report["simulatedSeconds"],
        report["wallSeconds"]
    );
}
