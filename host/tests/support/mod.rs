//! Invented records, logs made of them, and a tester that answers as a script says.
#![allow(
    dead_code,
    unreachable_pub,
    reason = "every test file uses its own part of this"
)]

pub mod live;

use std::io::{ErrorKind, Read, Write};
use std::path::{Path, PathBuf};

use assert_cmd::Command;
use sha2::{Digest as _, Sha256};
use slotwise::client::{Client, Pulled};
use slotwise::error::Error;
use slotwise::log_file::{self, LogFile};
use slotwise_core::evidence::{Evidence, FrameHealth, Measured, PairVoltage, Phasor, SlotVoltages};
use slotwise_core::judge::judge;
use slotwise_core::limits::Limits;
use slotwise_core::link::{
    FrameReader, Hello, MAX_FRAME, PROTOCOL, Reply, ReplyEnvelope, RequestEnvelope, decode, encode,
};
use slotwise_core::record::{
    self, Body, BootCause, Digest, MAX_BYTES, Record, RecordNumber, SCHEMA, SNAPSHOT_POINTS,
    Snapshot, Test, TesterId, Version,
};
use slotwise_core::slots::ClipTarget;
use slotwise_core::units::{Hertz, Millis, Radians, Ratio, UnixSeconds, Volts};

/// The invented tester.
pub const TESTER: TesterId = TesterId(0x5107_0000_0000_00AB);

pub const FIRMWARE: Version = Version {
    major: 0,
    minor: 1,
    patch: 0,
};

/// An invented receptacle: fundamental and angle in degrees of nw, gw, ng, and what the clip
/// shows against wide.
#[derive(Clone, Copy)]
pub struct Invented {
    pub pairs: [(f32, f32); 3],
    pub leads: [f32; 4],
    pub clip: Option<(ClipTarget, f32)>,
}

pub const SOUND: Invented = Invented {
    pairs: [(119.5, 0.0), (0.02, 0.0), (119.48, 0.0)],
    leads: [79.6, 39.8, 39.8, 0.0],
    clip: None,
};

pub const REVERSED: Invented = Invented {
    pairs: [(119.5, 0.0), (119.5, 0.0), (0.01, 0.0)],
    leads: [39.8, 79.7, 39.8, 0.0],
    clip: None,
};

pub const OPEN_GROUND: Invented = Invented {
    pairs: [(119.5, 0.0), (58.0, 0.0), (61.5, 0.0)],
    leads: [60.3, 59.2, 1.2, 0.0],
    clip: None,
};

pub const REVERSED_AND_JOINED: Invented = Invented {
    pairs: [(119.5, 0.0), (0.02, 0.0), (119.48, 0.0)],
    leads: [99.6, 19.9, 19.9, 99.8],
    clip: Some((ClipTarget::IndependentEarth, 119.6)),
};

pub const DEAD: Invented = Invented {
    pairs: [(0.02, 0.0), (0.01, 0.0), (0.01, 0.0)],
    leads: [0.01, 0.01, 0.01, 0.0],
    clip: None,
};

impl Invented {
    pub fn evidence(&self) -> Evidence {
        let pair = |(rms, degrees): (f32, f32)| PairVoltage {
            fundamental: Phasor {
                rms: Volts::new(rms),
                angle: Radians::new(degrees.to_radians()),
            },
            true_rms: Volts::new(rms * 1.0001),
            residual: Volts::new(rms * 0.0141),
            mean: Volts::new(0.004),
        };
        let live = self.pairs.iter().any(|(rms, _)| *rms > 3.0);
        Evidence {
            slots: Ok(SlotVoltages {
                pairs: self.pairs.map(pair),
                reference: 0,
                u_gain: Ratio::new(0.0011),
                u_floor: Volts::new(0.001),
                leads: self.leads.map(Volts::new),
            }),
            frequency: if live {
                Measured::known(Hertz::new(59.98), Hertz::new(0.0008))
            } else {
                Measured::Missing(slotwise_core::evidence::Missing::NoVoltage)
            },
            health: FrameHealth {
                calibrated: true,
                windows: 10,
                ..FrameHealth::default()
            },
            clip_target: self
                .clip
                .map_or(ClipTarget::NotConnected, |(target, _)| target),
            clip_wide: match self.clip {
                Some((_, rms)) => Ok(Phasor {
                    rms: Volts::new(rms),
                    angle: Radians::ZERO,
                }),
                None => Err(slotwise_core::evidence::Missing::ClipFree),
            },
            ..Evidence::empty()
        }
    }

    /// Two cycles of sines, wide at zero.
    pub fn snapshot(&self) -> Snapshot {
        let [(nw, nw_angle), (gw, gw_angle), _] = self.pairs;
        let mut snapshot = Snapshot {
            volts_per_count: [Volts::new(0.015); 4],
            ..Snapshot::default()
        };
        for n in 0..SNAPSHOT_POINTS {
            let turn = n as f32 * Snapshot::SECONDS_PER_POINT * 60.0 * core::f32::consts::TAU;
            let counts = |rms: f32, degrees: f32| {
                (rms * 2.0_f32.sqrt() * (turn + degrees.to_radians()).sin() / 0.015).round() as i16
            };
            let point = [counts(nw, nw_angle), 0, counts(gw, gw_angle), 0];
            snapshot.points.push(point).expect("room for all points");
        }
        snapshot
    }

    pub fn test(&self) -> Test {
        let evidence = self.evidence();
        Test {
            evidence,
            verdict: judge(&evidence, &Limits::DEFAULT),
            snapshot: self.snapshot(),
        }
    }
}

/// Bytes of records, chained: a boot, then one test each.
pub fn records(tests: &[Invented]) -> Vec<Vec<u8>> {
    let bodies = core::iter::once(Body::Boot(BootCause::PowerOn))
        .chain(tests.iter().map(|invented| Body::Test(invented.test())));
    let mut previous = Digest::default();
    let mut all = Vec::new();
    for (number, body) in (1..).zip(bodies) {
        let record = Record {
            number: RecordNumber::new(number),
            previous,
            tester: TESTER,
            firmware: FIRMWARE,
            boot: 3,
            at: Millis::new(u64::from(number) * 10_250),
            clock: Some(UnixSeconds::new(1_772_460_000 + u64::from(number) * 10)),
            body,
        };
        let bytes = bytes_of(&record);
        previous = Digest(Sha256::digest(&bytes).into());
        all.push(bytes);
    }
    all
}

pub fn bytes_of(record: &Record) -> Vec<u8> {
    let mut buffer = [0; MAX_BYTES];
    record::encode(record, &mut buffer)
        .expect("it fits")
        .to_vec()
}

/// The record with its schema number raised: what a newer tester would have written.
pub fn of_newer_schema(bytes: &[u8]) -> Vec<u8> {
    let mut newer = (SCHEMA + 1).to_le_bytes().to_vec();
    newer.extend_from_slice(&bytes[2..]);
    newer
}

pub fn hello(records: &[Vec<u8>]) -> Hello {
    let newest = RecordNumber::new(records.len() as u32);
    Hello {
        protocol: PROTOCOL,
        schema: SCHEMA,
        tester: TESTER,
        firmware: FIRMWARE,
        boot: 3,
        records: (!records.is_empty()).then_some((RecordNumber::FIRST, newest)),
    }
}

pub fn frame(sequence: u16, reply: Reply<'_>) -> Vec<u8> {
    let mut out = [0; MAX_FRAME];
    let length = encode(&ReplyEnvelope { sequence, reply }, &mut out).expect("it fits");
    out[..length].to_vec()
}

/// The frames of a log: hello, records, end.
pub fn log_frames(records: &[Vec<u8>]) -> Vec<Vec<u8>> {
    let mut frames = vec![frame(1, Reply::Hello(hello(records)))];
    let mut next = RecordNumber::FIRST;
    for bytes in records {
        frames.push(frame(
            2,
            Reply::Record {
                number: next,
                bytes,
            },
        ));
        next = next.next();
    }
    frames.push(frame(2, Reply::PullEnd { next }));
    frames
}

/// A log file in `folder`.
pub fn write_log(folder: &Path, frames: &[Vec<u8>]) -> PathBuf {
    let file = folder.join("test.slotlog");
    std::fs::write(&file, frames.concat()).expect("the file is written");
    file
}

/// The program, without colour wishes and width of the person who runs the tests.
pub fn slotwise() -> Command {
    let mut command = Command::cargo_bin("slotwise").expect("the program is built");
    command
        .env_remove("NO_COLOR")
        .env("SLOTWISE_CONFIG", "")
        .env_remove("CLICOLOR_FORCE")
        .env_remove("COLUMNS");
    command
}

/// Answers requests on `line` with what `script` gives, until the line ends.
pub fn answer(mut line: impl Read + Write, mut script: impl FnMut(RequestEnvelope) -> Vec<u8>) {
    let mut reader = FrameReader::new();
    let mut bytes = [0; 256];
    loop {
        let count = match line.read(&mut bytes) {
            Ok(0) => return,
            Ok(count) => count,
            Err(error) if error.kind() == ErrorKind::TimedOut => continue,
            Err(_) => return,
        };
        for byte in &bytes[..count] {
            if let Some(Ok(message)) = reader.push(*byte)
                && let Ok(request) = decode::<RequestEnvelope>(message)
            {
                let reply = script(request);
                if line.write_all(&reply).is_err() {
                    return;
                }
            }
        }
    }
}

/// Pulls everything, as a log.
pub fn pulled(client: &mut Client) -> LogFile {
    let (_, hello) = client.hello().expect("answers");
    let mut bytes = hello.0;
    client
        .pull(RecordNumber::FIRST, |pulled| {
            match pulled {
                Pulled::Record { frame, .. } | Pulled::End { frame, .. } => bytes.extend(frame.0),
                other => panic!("{other:?}"),
            }
            Ok::<(), Error>(())
        })
        .expect("it comes");
    log_file::read_from(&*bytes, Path::new("memory")).expect("a log")
}
