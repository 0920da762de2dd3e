//! The exact bytes of records. A change here is a change of the format: raise the schema number and
//! say so in CHANGELOG.md.
//!
//! Postcard varints: its wire format specification. Floats: IEEE 754 single precision,
//! little-endian.

use slotwise_core::evidence::{Evidence, Measured, Missing};
use slotwise_core::link::{MAX_FRAME, Reply, ReplyEnvelope, encode};
use slotwise_core::record::{
    self, Body, BootCause, Digest, MAX_BYTES, Record, RecordError, RecordNumber, SNAPSHOT_POINTS,
    Snapshot, Test, TesterId, Version,
};
use slotwise_core::self_test::{Relay, SelfTestFailure};
use slotwise_core::slots::Lead;
use slotwise_core::start::{BuildId, FileName, Stages, Start, Stop, Stopped};
use slotwise_core::stimulus::DrivePath;
use slotwise_core::units::{Millis, UnixSeconds};
use slotwise_core::verdict::{Outcome, Unproven, Verdict};

fn boot() -> Record {
    Record {
        number: RecordNumber::new(300),
        previous: Digest([0xAB; 32]),
        tester: TesterId(0x0102_0304_0506_0708),
        firmware: Version {
            major: 0,
            minor: 1,
            patch: 2,
        },
        boot: 5,
        at: Millis::new(128),
        clock: Some(UnixSeconds::new(1_790_000_000)),
        body: Body::Boot(BootCause::Watchdog),
    }
}

#[test]
fn a_boot_record_has_these_bytes() {
    let mut buffer = [0; MAX_BYTES];
    let bytes = record::encode(&boot(), &mut buffer).unwrap();
    let mut expected = vec![
        0x01, 0x00, // schema 1, little-endian
        0xAC, 0x02, // number 300 as varint
    ];
    expected.extend([0xAB; 32]); // digest, no length
    expected.extend([0x88, 0x8E, 0x98, 0xA8, 0xC0, 0xE0, 0x80, 0x81, 0x01]); // tester
    expected.extend([0, 1, 2]); // version, raw bytes
    expected.push(5); // boot
    expected.extend([0x80, 0x01]); // 128 ms
    expected.extend([0x01, 0x80, 0xF7, 0xC4, 0xD5, 0x06]); // Some(1790000000)
    expected.extend([0x00, 0x01]); // Boot, Watchdog
    assert_eq!(bytes, expected);
    assert_eq!(record::decode(bytes), Ok(boot()));
}

#[test]
fn a_start_record_has_these_bytes() {
    let of = |start: Start| {
        let body = Body::Start(start);
        let mut buffer = [0; MAX_BYTES];
        let record = Record { body, ..boot() };
        let bytes = record::encode(&record, &mut buffer).unwrap().to_vec();
        assert_eq!(record::decode(&bytes), Ok(record));
        // What stands before the body is that of the record above.
        bytes[bytes.len().min(57)..].to_vec()
    };
    let start = Start {
        cause: BootCause::BootLoader,
        build: None,
        stopped: None,
    };
    assert_eq!(of(start), [5, 6, 0, 0]);
    let build = BuildId([1, 2, 3, 4, 5, 6, 7, 8]);
    let watchdog = Stopped {
        boot: 4,
        at: Millis::new(129),
        how: Stop::Watchdog {
            missing: Stages::of_bits(0b10001).unwrap(),
        },
    };
    let start = Start {
        cause: BootCause::Watchdog,
        build: Some(build),
        stopped: Some(watchdog),
    };
    let with_build = [5, 1, 1, 1, 2, 3, 4, 5, 6, 7, 8];
    let mut expected = with_build.to_vec();
    expected.extend([1, 4, 0x81, 1, 2, 0b10001]);
    assert_eq!(of(start), expected);
    let fault = Stop::Fault {
        pc: 1,
        lr: 0x80,
        psr: 29,
    };
    let stopped = Some(Stopped {
        how: fault,
        ..watchdog
    });
    let mut expected = with_build.to_vec();
    expected.extend([1, 4, 0x81, 1, 1, 1, 0x80, 1, 29]);
    assert_eq!(of(Start { stopped, ..start }), expected);
    let panic = Stop::Panic {
        file: FileName::new("a.rs"),
        line: 3,
    };
    let stopped = Some(Stopped {
        how: panic,
        ..watchdog
    });
    let mut expected = with_build.to_vec();
    expected.extend([1, 4, 0x81, 1, 0]);
    expected.extend(*b"a.rs");
    expected.extend([0; 28]);
    expected.push(3);
    assert_eq!(of(Start { stopped, ..start }), expected);
}

#[test]
fn the_largest_record_fits_its_bound_and_its_frame() {
    let mut snapshot = Snapshot::default();
    for _ in 0..SNAPSHOT_POINTS {
        snapshot.points.push([i16::MIN; 4]).unwrap();
    }
    let record = Record {
        number: RecordNumber::new(u32::MAX),
        tester: TesterId(u64::MAX),
        boot: u32::MAX,
        at: Millis::new(u64::MAX),
        clock: Some(UnixSeconds::new(u64::MAX)),
        body: Body::Test(Test {
            evidence: Evidence::empty(),
            verdict: Verdict {
                outcome: Outcome::CannotTell,
                findings: heapless::Vec::new(),
                unproven: Unproven::ALL,
            },
            snapshot,
        }),
        ..boot()
    };
    let mut buffer = [0; MAX_BYTES];
    let bytes = record::encode(&record, &mut buffer).unwrap();
    // Room for the evidence of a whole test: 3 pairs, 8 values each, and the rest.
    assert!(bytes.len() + 300 < MAX_BYTES, "{}", bytes.len());
    let mut frame = [0; MAX_FRAME];
    let envelope = ReplyEnvelope {
        sequence: u16::MAX,
        reply: Reply::Record {
            number: RecordNumber::new(u32::MAX),
            bytes: &[0xA5; MAX_BYTES],
        },
    };
    assert!(encode(&envelope, &mut frame).unwrap() <= MAX_FRAME);
}

#[test]
fn what_is_not_a_record_of_this_schema_is_refused_by_name() {
    let mut buffer = [0; MAX_BYTES];
    let bytes = record::encode(&boot(), &mut buffer).unwrap().to_vec();
    assert_eq!(record::decode(&bytes[..1]), Err(RecordError::TooShort(1)));
    assert_eq!(record::decode(&bytes[..20]), Err(RecordError::Malformed));
    let mut newer = bytes.clone();
    newer[0] = 2;
    assert_eq!(
        record::decode(&newer),
        Err(RecordError::NewerSchema { found: 2, known: 1 })
    );
    assert_eq!(record::decode(&[0, 0, 1]), Err(RecordError::NoSchema));
    let mut longer = bytes;
    longer.push(9);
    assert_eq!(record::decode(&longer), Err(RecordError::TrailingBytes(1)));
}

#[test]
fn a_failed_self_test_has_these_bytes() {
    let mut buffer = [0; MAX_BYTES];
    let mut record = boot();
    let head = record::encode(&record, &mut buffer).unwrap().to_vec();
    record.body = Body::SelfTest(SelfTestFailure::ShortedInput {
        lead: Lead::Clip,
        code: -20_000,
        most: 12_233,
    });
    let bytes = record::encode(&record, &mut buffer).unwrap().to_vec();
    // The body of a start is two bytes. Body 4, test 3, lead 3, zigzag varints of 7 bits:
    // 39 999 = 2 * 128^2 + 56 * 128 + 63, and 24 466 = 1 * 128^2 + 63 * 128 + 18.
    let body = [4, 3, 3, 0xBF, 0xB8, 0x02, 0x92, 0xBF, 0x01];
    assert_eq!(bytes, [&head[..head.len() - 2], &body].concat());
    assert_eq!(record::decode(&bytes).unwrap(), record);
}

#[test]
fn a_noisy_input_has_these_bytes() {
    let mut buffer = [0; MAX_BYTES];
    let mut record = boot();
    let head = record::encode(&record, &mut buffer).unwrap().to_vec();
    record.body = Body::SelfTest(SelfTestFailure::NoisyInput {
        lead: Lead::Ground,
        rms: 376,
        most: 149,
    });
    let bytes = record::encode(&record, &mut buffer).unwrap().to_vec();
    // Body 4, test 9, lead 2, varints of 7 bits: 376 = 2 * 128 + 120, 149 = 128 + 21.
    let body = [4, 9, 2, 0xF8, 0x02, 0x95, 0x01];
    assert_eq!(bytes, [&head[..head.len() - 2], &body].concat());
    assert_eq!(record::decode(&bytes).unwrap(), record);
}

#[test]
fn a_limiter_that_fails_has_these_bytes() {
    let mut buffer = [0; MAX_BYTES];
    let mut record = boot();
    let head = record::encode(&record, &mut buffer).unwrap().to_vec();
    for (place, path) in [DrivePath::WideToGround, DrivePath::WideToClip]
        .into_iter()
        .enumerate()
    {
        record.body = Body::SelfTest(SelfTestFailure::LimiterFails {
            path,
            high: true,
            permille: 1_350,
            least_permille: 1_040,
            most_permille: 1_280,
        });
        let bytes = record::encode(&record, &mut buffer).unwrap().to_vec();
        // Body 4, test 10, path, high; zigzag varints of 7 bits: 2700 = 21 * 128 + 12,
        // 2080 = 16 * 128 + 32, 2560 = 20 * 128.
        let body = [4, 10, place as u8, 1, 0x8C, 0x15, 0xA0, 0x10, 0x80, 0x14];
        assert_eq!(bytes, [&head[..head.len() - 2], &body].concat(), "{path:?}");
        assert_eq!(record::decode(&bytes).unwrap(), record);
    }
}

#[test]
fn a_closed_relay_has_these_bytes() {
    let mut buffer = [0; MAX_BYTES];
    let mut record = boot();
    let head = record::encode(&record, &mut buffer).unwrap().to_vec();
    for (place, relay) in [
        Relay::ProbeA,
        Relay::ProbeB,
        Relay::DriveToGround,
        Relay::DriveToClip,
    ]
    .into_iter()
    .enumerate()
    {
        record.body = Body::SelfTest(SelfTestFailure::RelayClosed {
            relay,
            milliohms: -200,
            most_milliohms: 100_000,
        });
        let bytes = record::encode(&record, &mut buffer).unwrap().to_vec();
        // Body 4, the ninth test; zigzag varints of 7 bits: 399 = 3 * 128 + 15, and
        // 200 000 = 12 * 128^2 + 26 * 128 + 64.
        let body = [4, 8, place as u8, 0x8F, 0x03, 0xC0, 0x9A, 0x0C];
        assert_eq!(
            bytes,
            [&head[..head.len() - 2], &body].concat(),
            "{relay:?}"
        );
        assert_eq!(record::decode(&bytes).unwrap(), record);
    }
}

/// What is missing of every quantity of a test, for each reason in its place on the wire: only append.
#[test]
fn evidence_that_is_missing_has_these_bytes_for_every_reason() {
    for (place, missing) in [
        Missing::NotAsked,
        Missing::NoVoltage,
        Missing::ClipFree,
        Missing::Refused,
        Missing::Unsteady,
        Missing::Clipped,
        Missing::BeyondRange,
        Missing::NoCurrent,
        Missing::RelaysUntested,
        Missing::LimiterUntested,
    ]
    .into_iter()
    .enumerate()
    {
        let record = Record {
            body: Body::Test(Test {
                evidence: Evidence {
                    slots: Err(missing),
                    frequency: Measured::Missing(missing),
                    clip_wide: Err(missing),
                    earth_path: Measured::Missing(missing),
                    hot_and_ground: Measured::Missing(missing),
                    neutral_and_ground: Measured::Missing(missing),
                    neutral_to_clip: Measured::Missing(missing),
                    load_step: Err(missing),
                    watch: Err(missing),
                    ..Evidence::empty()
                },
                verdict: Verdict {
                    outcome: Outcome::CannotTell,
                    findings: heapless::Vec::new(),
                    unproven: Unproven::ALL,
                },
                snapshot: Snapshot::default(),
            }),
            ..boot()
        };
        let mut buffer = [0; MAX_BYTES];
        let bytes = record::encode(&record, &mut buffer).unwrap();
        let gap = [1, place as u8];
        let mut body = vec![1]; // a test
        body.extend(gap); // slots
        body.extend(gap); // frequency
        body.extend([0; 4]); // unsteadiness, 0 V
        body.extend([0; 8]); // zero-sum, in phase and quadrature
        body.extend([0; 4]); // not calibrated, no windows, no bad frames, no clipped ones
        body.push(0); // the clip is not connected
        for _ in 0..7 {
            body.extend(gap);
        }
        body.extend([4, 0, 1, 1, 1]); // cannot tell, no finding, nothing proven
        body.extend([0; 17]); // four scales of 0 V, no points
        // What stands before the body is that of a start's record.
        assert_eq!(bytes[57..], body, "{missing:?}");
        assert_eq!(record::decode(bytes), Ok(record));
    }
}
