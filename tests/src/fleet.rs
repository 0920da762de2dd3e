//! The log files of an invented fleet, made by the hundred thousand: what many testers would keep
//! over five years on the streets around Larkfield Terrace.
//!
//! Every site is a drawn house with one of the terrace's wirings, solved as a circuit; evidence is
//! what the site's tester would have there, the verdict is the core's, the bytes are the record
//! format's, each with the digest of the one before. Invented on top: which site has which wiring,
//! that one fault in five is mended before the next year's visit, that a few ground joints
//! age, and that some calibrations are late. Everything follows from the seed.

use slotwise::archive::{Archive as _, ArchiveError, SqliteArchive};
use slotwise::chain::digest;
use slotwise_core::calibration::event::CalibrationEvent;
use slotwise_core::calibration::{Calibration, ChannelCalibration};
use slotwise_core::drive::DriveCalibration;
use slotwise_core::evidence::{Evidence, Measured};
use slotwise_core::judge::{failed_self_test, judge};
use slotwise_core::limits::Limits;
use slotwise_core::link::{Hello, MAX_FRAME, PROTOCOL, Reply, ReplyEnvelope, encode};
use slotwise_core::record::{
    self, Body, BootCause, Digest, MAX_BYTES, Record, RecordNumber, SCHEMA, SNAPSHOT_POINTS,
    Snapshot, Test, TesterId, Version,
};
use slotwise_core::units::{Celsius, Millis, Ohms, Ratio, UnixSeconds, Volts};
use slotwise_virtual::house::{Receptacle, bank, find};
use slotwise_virtual::tester::Specimen;
use slotwise_virtual::trials::{Draw, observe};

/// Years.
const ROUNDS: u64 = 5;

/// Sites of a tester in a fleet of usual make: 2000 tests, a quarter of a full log memory.
pub const SITES: u64 = 200;

/// Tests at a visit, one an appliance.
const TESTS_PER_VISIT: u64 = 2;

const APPLIANCES: [&str; TESTS_PER_VISIT as usize] = ["furnace", "boiler"];

/// 3 January 2022, 08:00 UTC.
const FIRST_DAY: u64 = 1_641_196_800;

const DAY: u64 = 86_400;
const YEAR: u64 = 365 * DAY;

const FIRMWARE: Version = Version {
    major: 0,
    minor: 1,
    patch: 0,
};

/// A fleet that can be made part by part.
#[derive(Clone, Copy, Debug)]
pub struct Fleet {
    /// Everything follows from it.
    pub seed: u64,
    /// Tests in all; the last tester may have fewer.
    pub tests: u64,
    /// Sites that one tester is taken to, year after year.
    pub sites: u64,
}

/// What one tester kept, and where its tests were made.
#[derive(Clone, Debug)]
pub struct TesterLog {
    /// Which tester.
    pub tester: TesterId,
    /// The log file.
    pub bytes: Vec<u8>,
    /// Its records, by number from 1.
    pub records: u32,
    /// Its tests.
    pub tests: u64,
    /// Visits in the order of their records.
    pub visits: Vec<Visited>,
}

/// A test of a visit.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Visited {
    /// Name of the site.
    pub site: String,
    /// What was tested there.
    pub appliance: &'static str,
    /// Its record.
    pub number: RecordNumber,
}

impl TesterLog {
    /// Says in the archive where every test was made.
    ///
    /// # Errors
    /// [`ArchiveError`].
    pub fn place(&self, archive: &mut SqliteArchive) -> Result<(), ArchiveError> {
        archive.together(|archive| {
            for Visited {
                site,
                appliance,
                number,
            } in &self.visits
            {
                let site = archive.site(site)?;
                let room = archive.appliance(site, appliance)?;
                archive.place(self.tester, *number, *number, site, Some(room))?;
            }
            Ok(())
        })
    }
}

/// A house: what is wrong with it, and how its ground ages.
struct Site {
    receptacle: Receptacle,
    /// Ohms that its earth path gains in a year.
    ageing: f64,
}

impl Fleet {
    /// Tests that one tester keeps.
    const fn tests_of_one(&self) -> u64 {
        self.sites * ROUNDS * TESTS_PER_VISIT
    }

    /// How many testers it has.
    #[must_use]
    pub const fn testers(&self) -> u64 {
        self.tests.div_ceil(self.tests_of_one())
    }

    /// The log of one of them.
    ///
    /// # Panics
    /// If a drawn house has no solution, which is a mistake in the virtual house.
    #[must_use]
    pub fn log(&self, tester: u64) -> TesterLog {
        let id = TesterId(0x5107_0000_0000_0000 | (self.seed & 0xFFFF) << 32 | (tester + 1));
        let specimen = Draw::new(self.seed, 1 << 60 | tester).specimen();
        let mut sites: Vec<Site> = (0..self.sites)
            .map(|site| self.site(tester * self.sites + site))
            .collect();
        let mut left = (self.tests - tester * self.tests_of_one()).min(self.tests_of_one());
        let mut log = Journal::new(id);
        let mut visits = Vec::new();
        let mut calibration = None;
        let mut fate = Draw::new(self.seed, 1 << 61 | tester);
        for round in 0..ROUNDS {
            if left == 0 {
                break;
            }
            let first = FIRST_DAY + round * YEAR;
            log.start(first);
            // One in eight is late, and goes on under the old one.
            if calibration.is_none() || !fate.happens(0.125) {
                let now = calibrated_at(first - DAY / 2);
                let before = calibration.replace(now);
                log.keep(first, Body::Calibrated(CalibrationEvent { now, before }));
            }
            for (place, site) in (0..self.sites).zip(&mut sites) {
                let at = first + place * 250 * DAY / self.sites;
                let number = tester * self.sites + place;
                for appliance in 0..TESTS_PER_VISIT.min(left) {
                    let which = number << 8 | round << 4 | appliance;
                    let holds = calibration.is_some_and(|calibration| {
                        at + 600 * appliance <= calibration.stamp().until.get()
                    });
                    let test = self.test(which, site, round, &specimen, holds);
                    let kept = log.keep(at + 600 * appliance, Body::Test(test));
                    visits.push(Visited {
                        site: site_name(number),
                        appliance: APPLIANCES[appliance as usize],
                        number: kept,
                    });
                    left -= 1;
                }
                if fate.happens(0.2) {
                    let sound = find("sound").expect("in the bank");
                    let mut draw = Draw::new(self.seed, number);
                    site.receptacle = draw.house_of(&sound.receptacle);
                }
            }
        }
        TesterLog {
            tester: id,
            tests: visits.len() as u64,
            records: log.next.get() - 1,
            bytes: log.end(),
            visits,
        }
    }

    /// Three in four are sound.
    fn site(&self, number: u64) -> Site {
        let mut draw = Draw::new(self.seed, number);
        let wiring = if draw.happens(0.75) {
            find("sound").expect("in the bank")
        } else {
            &bank()[draw.below(bank().len())]
        };
        let ageing = if draw.happens(0.1) {
            draw.between(0.05, 0.4)
        } else {
            0.0
        };
        Site {
            receptacle: draw.house_of(&wiring.receptacle),
            ageing,
        }
    }

    fn test(
        &self,
        which: u64,
        site: &Site,
        round: u64,
        specimen: &Specimen,
        is_calibrated: bool,
    ) -> Test {
        let mut draw = Draw::new(self.seed, 1 << 62 | which);
        let trial =
            observe(&site.receptacle, specimen, None, &mut draw).expect("a house has a solution");
        // Every fourth with clip and load steps, the others as most are made.
        let means = if draw.happens(0.25) { 2 } else { 1 };
        let mut evidence = trial.evidence[means];
        evidence.health.calibrated &= is_calibrated;
        if let Measured::Known(reading) = &mut evidence.earth_path {
            let aged = f64::from(reading.value.get()) + site.ageing * round as f64;
            reading.value = Ohms::from_f64(aged);
        }
        let verdict = if trial.fails_itself[means] {
            failed_self_test()
        } else {
            judge(&evidence, &Limits::DEFAULT)
        };
        Test {
            snapshot: snapshot(&evidence),
            evidence,
            verdict,
        }
    }
}

/// A site as an office would call it.
fn site_name(number: u64) -> String {
    const STREETS: [&str; 4] = ["Larkfield Terrace", "Tern Row", "Fell Lane", "Weir Court"];
    let street = STREETS[(number % 4) as usize];
    format!("{street} {}", number / 4 + 1)
}

fn calibrated_at(done: u64) -> Calibration {
    Calibration {
        channels: [ChannelCalibration {
            offset: 0,
            gain: 1.0,
        }; 4],
        u_gain: Ratio::new(0.0011),
        reference: Ohms::new(10.0),
        done: UnixSeconds::new(done),
        temperature: Celsius::new(22.5),
        drive: DriveCalibration::NOMINAL,
    }
}

/// Two cycles of what the slots had against wide.
fn snapshot(evidence: &Evidence) -> Snapshot {
    const VOLTS_PER_COUNT: f32 = 0.015;
    let mut snapshot = Snapshot {
        volts_per_count: [Volts::new(VOLTS_PER_COUNT); 4],
        ..Snapshot::default()
    };
    let Ok(slots) = &evidence.slots else {
        return snapshot;
    };
    let [nw, gw, _] = slots.pairs.map(|pair| pair.fundamental);
    for n in 0..SNAPSHOT_POINTS {
        let turn = n as f32 * Snapshot::SECONDS_PER_POINT * 60.0 * core::f32::consts::TAU;
        let counts = |phasor: slotwise_core::evidence::Phasor| {
            let size = phasor.rms.get() * core::f32::consts::SQRT_2 / VOLTS_PER_COUNT;
            (size * (turn + phasor.angle.get()).sin()).round() as i16
        };
        let point = [counts(nw), 0, counts(gw), 0];
        if snapshot.points.push(point).is_err() {
            break;
        }
    }
    snapshot
}

/// A tester's records as they are pulled.
struct Journal {
    tester: TesterId,
    next: RecordNumber,
    previous: Digest,
    boot: u32,
    started: u64,
    frames: Vec<u8>,
}

impl Journal {
    const fn new(tester: TesterId) -> Self {
        Self {
            tester,
            next: RecordNumber::FIRST,
            previous: Digest([0; 32]),
            boot: 0,
            started: 0,
            frames: Vec::new(),
        }
    }

    fn start(&mut self, at: u64) {
        self.boot += 1;
        self.started = at;
        self.keep(at, Body::Boot(BootCause::PowerOn));
    }

    fn keep(&mut self, at: u64, body: Body) -> RecordNumber {
        let number = self.next;
        let record = Record {
            number,
            previous: self.previous,
            tester: self.tester,
            firmware: FIRMWARE,
            boot: self.boot,
            at: Millis::new((at - self.started) * 1000),
            clock: Some(UnixSeconds::new(at)),
            body,
        };
        let mut buffer = [0; MAX_BYTES];
        let bytes = record::encode(&record, &mut buffer).expect("a record fits");
        self.previous = digest(bytes);
        self.next = number.next();
        push(&mut self.frames, Reply::Record { number, bytes });
        number
    }

    /// The log file: hello, records, end.
    fn end(self) -> Vec<u8> {
        let last = RecordNumber::new(self.next.get() - 1);
        let mut all = Vec::with_capacity(self.frames.len() + 2 * MAX_FRAME);
        let hello = Hello {
            protocol: PROTOCOL,
            schema: SCHEMA,
            tester: self.tester,
            firmware: FIRMWARE,
            boot: self.boot,
            records: Some((RecordNumber::FIRST, last)),
        };
        push(&mut all, Reply::Hello(hello));
        all.extend(self.frames);
        push(&mut all, Reply::PullEnd { next: self.next });
        all
    }
}

fn push(to: &mut Vec<u8>, reply: Reply<'_>) {
    let mut frame = [0; MAX_FRAME];
    let envelope = ReplyEnvelope { sequence: 1, reply };
    let length = encode(&envelope, &mut frame).expect("a reply fits");
    to.extend_from_slice(&frame[..length]);
}
