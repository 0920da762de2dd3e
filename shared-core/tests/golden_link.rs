//! The exact bytes of messages and frames. A change here is a change of the format:
//! raise the protocol number and say so in CHANGELOG.md.
//!
//! COBS vectors: Cheshire and Baker's worked packet and the test-suite of PyPI `cobs` 1.2.2.
//! CRC-32/ISO-HDLC check value cbf43926: RevEng catalogue. Postcard varints: its wire format
//! specification.

use slotwise_core::evidence::{LoadStep, Measured, Missing, Reading};
use slotwise_core::finding::{Finding, FindingCode, NextCheck};
use slotwise_core::lamps::{LAMPS, Panel, Rhythm};
use slotwise_core::link::{
    Answer, ClockChip, ClockReport, FirmwareReport, FrameError, FrameReader, Look, MAX_FRAME,
    MAX_LOOK, Phase, Refusal, Reply, ReplyEnvelope, Request, RequestEnvelope, SlotLook, WatchState,
    WorkshopRefusal, WorkshopReply, WorkshopRequest, decode, encode,
};
use slotwise_core::record::{BootCause, RecordNumber, Version};
use slotwise_core::slots::ClipTarget;
use slotwise_core::start::Start;
use slotwise_core::topology::{Topology, TopologySet};
use slotwise_core::units::{Hertz, Millis, Ohms, Ratio, UnixSeconds, Volts};
use slotwise_core::verdict::{Outcome, Unproven};

#[test]
fn firmware_is_asked_and_told_with_these_bytes() {
    let ask = RequestEnvelope {
        sequence: 7,
        request: Request::Firmware,
    };
    let mut room = [0; 64];
    assert_eq!(postcard::to_slice(&ask, &mut room).unwrap(), [7, 9]);
    let start = Start {
        cause: BootCause::PowerOn,
        build: None,
        stopped: None,
    };
    let version = Version {
        major: 0,
        minor: 1,
        patch: 2,
    };
    let tell = ReplyEnvelope {
        sequence: 7,
        reply: Reply::Firmware(FirmwareReport { version, start }),
    };
    let told = postcard::to_slice(&tell, &mut room).unwrap();
    assert_eq!(told, [7, 9, 0, 1, 2, 0, 0, 0]);
    let refused = ReplyEnvelope {
        sequence: 7,
        reply: Reply::Refused(Refusal::SelfTest),
    };
    let told = postcard::to_slice(&refused, &mut room).unwrap();
    assert_eq!(told, [7, 5, 4]);
}

#[test]
fn a_pull_request_has_these_bytes_on_the_wire() {
    let request = RequestEnvelope {
        sequence: 7,
        request: Request::Pull {
            from: RecordNumber::new(1),
            limit: 16,
        },
    };
    let mut frame = [0; MAX_FRAME];
    let length = encode(&request, &mut frame).unwrap();
    // Message 07 02 01 10; its CRC-32/ISO-HDLC, little-endian; no zero in any of them, so COBS
    // puts the distance 9 in front.
    let check = crc::Crc::<u32>::new(&crc::CRC_32_ISO_HDLC).checksum(&[0x07, 0x02, 0x01, 0x10]);
    let mut expected = vec![0x09, 0x07, 0x02, 0x01, 0x10];
    expected.extend(check.to_le_bytes());
    expected.push(0x00);
    assert_eq!(&frame[..length], expected);
    let crc = crc::Crc::<u32>::new(&crc::CRC_32_ISO_HDLC).checksum(b"123456789");
    assert_eq!(crc, 0xCBF4_3926);
}

/// The message in one frame, checked against its own CRC by the reader.
fn on_the_wire<M: serde::Serialize>(message: &M) -> Vec<u8> {
    let mut frame = [0; MAX_FRAME];
    let length = encode(message, &mut frame).unwrap();
    let mut read = read_all(&mut FrameReader::new(), &frame[..length]);
    assert_eq!(read.len(), 1);
    read.remove(0).unwrap()
}

#[test]
fn what_the_host_asks_of_a_live_view_has_these_bytes() {
    for (request, bytes) in [
        (Request::Look, &[7, 4][..]),
        (
            Request::StartWatch {
                clip: ClipTarget::ApplianceFrame,
            },
            &[7, 5, 1],
        ),
        (Request::StopWatch, &[7, 6]),
    ] {
        let envelope = RequestEnvelope {
            sequence: 7,
            request,
        };
        assert_eq!(on_the_wire(&envelope), bytes);
        assert_eq!(decode::<RequestEnvelope>(bytes), Ok(envelope));
    }
    // The answers to a watch that is begun, and to one that cannot be.
    for (reply, bytes) in [
        (Reply::Done, &[7, 4][..]),
        (Reply::Refused(Refusal::Busy), &[7, 5, 3]),
    ] {
        let envelope = ReplyEnvelope { sequence: 7, reply };
        assert_eq!(on_the_wire(&envelope), bytes);
    }
}

const fn volts(value: f32, u: f32) -> Reading<Volts> {
    Reading {
        value: Volts::new(value),
        u: Volts::new(u),
    }
}

#[test]
fn a_look_has_these_bytes() {
    let look = Look {
        windows: 200,
        panel: Panel {
            rhythms: [
                Rhythm::Off,
                Rhythm::SlowBlink,
                Rhythm::Steady,
                Rhythm::Steady,
                Rhythm::FastBlink,
                Rhythm::FastPulse,
            ],
        },
        answer: Some(Answer {
            outcome: Outcome::NoFaultFound,
            finding: Some(Finding {
                code: FindingCode::ReadsSound,
                rivals: TopologySet::of(&[Topology::ALL[0], Topology::ALL[7]]),
                next: NextCheck::LoadSteps,
            }),
            unproven: Unproven {
                earth_path: false,
                separate_ground: true,
                polarity: true,
            },
        }),
        slots: Ok(SlotLook {
            narrow_wide: volts(120.0, 0.5),
            ground_wide: volts(1.0, 0.25),
            narrow_ground: volts(119.0, 0.5),
        }),
        clip_wide: Measured::Missing(Missing::ClipFree),
        frequency: Measured::known(Hertz::new(60.0), Hertz::new(0.5)),
        earth_path: Measured::known(Ohms::new(0.5), Ohms::new(0.25)),
        neutral_and_ground: Measured::Missing(Missing::Refused),
        load_step: Ok(LoadStep {
            rho: Reading {
                value: Ratio::new(0.5),
                u: Ratio::new(0.25),
            },
            rho_imaginary: Ratio::new(0.25),
            steps: 4,
            sag: Volts::new(2.0),
        }),
        watch: Some(WatchState {
            seconds: 300,
            steps: 4,
            neutral_drop: Measured::known(Volts::new(1.0), Volts::new(0.5)),
            frame_shift: Measured::Missing(Missing::Unsteady),
        }),
        ..Look::nothing_yet(
            Millis::new(128),
            Phase::LoadCycle,
            ClipTarget::ApplianceFrame,
        )
    };
    let envelope = ReplyEnvelope {
        sequence: 7,
        reply: Reply::Look(look),
    };
    // IEEE 754 single precision, little-endian.
    const QUARTER: [u8; 4] = [0, 0, 0x80, 0x3E];
    const HALF: [u8; 4] = [0, 0, 0x00, 0x3F];
    const ONE: [u8; 4] = [0, 0, 0x80, 0x3F];
    const TWO: [u8; 4] = [0, 0, 0x00, 0x40];
    let mut expected = vec![7, 6]; // sequence, seventh reply
    expected.extend([0x80, 0x01, 4]); // 128 ms, load-cycle watch
    expected.extend([0xC8, 0x01]); // 200 windows
    expected.extend([0, 2, 1, 1, 3, 4]); // the lamps
    expected.extend([1, 1]); // an answer: no fault found
    expected.extend([1, 0, 0x81, 0x01, 3]); // reads sound, wirings 0 and 7, load steps next
    expected.extend([0, 1, 1]); // not proven: separate ground, polarity
    expected.push(1); // the clip is on the appliance's frame
    expected.push(0); // Ok
    for (value, u) in [
        ([0, 0, 0xF0, 0x42], HALF), // 120 = 1.875 x 2^6
        (ONE, QUARTER),
        ([0, 0, 0xEE, 0x42], HALF), // 119 = 1.859375 x 2^6
    ] {
        expected.extend(value);
        expected.extend(u);
    }
    expected.extend([1, 2]); // clip missing: free
    expected.push(0);
    expected.extend([0, 0, 0x70, 0x42]); // 60 = 1.875 x 2^5
    expected.extend(HALF);
    expected.push(0);
    expected.extend(HALF);
    expected.extend(QUARTER);
    expected.extend([1, 3]); // refused
    expected.extend([1, 0]); // not asked
    expected.push(0);
    for part in [HALF, QUARTER, QUARTER] {
        expected.extend(part);
    }
    expected.push(4);
    expected.extend(TWO);
    expected.extend([1, 0xAC, 0x02, 4]); // a watch: 300 s, 4 steps
    expected.push(0);
    expected.extend(ONE);
    expected.extend(HALF);
    expected.extend([1, 4]); // unsteady
    let bytes = on_the_wire(&envelope);
    assert_eq!(bytes, expected);
    assert_eq!(decode::<ReplyEnvelope<'_>>(&bytes), Ok(envelope));
}

#[test]
fn the_largest_look_has_its_stated_bound_and_the_smallest_is_read_back() {
    let volts = volts(f32::MAX, f32::MAX);
    let ohms = Measured::known(Ohms::new(f32::MAX), Ohms::new(f32::MAX));
    let largest = Look {
        windows: u32::MAX,
        panel: Panel {
            rhythms: [Rhythm::FastPulse; LAMPS],
        },
        answer: Some(Answer {
            outcome: Outcome::TesterFault,
            finding: Some(Finding {
                code: FindingCode::ALL[FindingCode::ALL.len() - 1],
                rivals: TopologySet::of(&Topology::ALL),
                next: NextCheck::FrameGround,
            }),
            unproven: Unproven::ALL,
        }),
        slots: Ok(SlotLook {
            narrow_wide: volts,
            ground_wide: volts,
            narrow_ground: volts,
        }),
        clip_wide: Measured::Known(volts),
        frequency: Measured::known(Hertz::new(f32::MAX), Hertz::new(f32::MAX)),
        earth_path: ohms,
        neutral_and_ground: ohms,
        neutral_to_clip: ohms,
        load_step: Ok(LoadStep {
            rho: Reading {
                value: Ratio::new(f32::MAX),
                u: Ratio::new(f32::MAX),
            },
            rho_imaginary: Ratio::new(f32::MAX),
            steps: u16::MAX,
            sag: Volts::new(f32::MAX),
        }),
        watch: Some(WatchState {
            seconds: u16::MAX,
            steps: u16::MAX,
            neutral_drop: Measured::Known(volts),
            frame_shift: Measured::Known(volts),
        }),
        ..Look::nothing_yet(
            Millis::new(u64::MAX),
            Phase::NeutralToClip,
            ClipTarget::IndependentEarth,
        )
    };
    // The set of all known wirings is a number below 2^64; every bit more costs at most the
    // rest of its ten bytes.
    let rivals = u64::BITS.div_ceil(7) as usize;
    let known = Topology::ALL.len().div_ceil(7);
    let bytes = on_the_wire(&ReplyEnvelope {
        sequence: u16::MAX,
        reply: Reply::Look(largest),
    });
    assert_eq!(bytes.len() - 4 + rivals - known, MAX_LOOK);
    let smallest = ReplyEnvelope {
        sequence: 0,
        reply: Reply::Look(Look::nothing_yet(
            Millis::new(0),
            Phase::Wiring,
            ClipTarget::NotConnected,
        )),
    };
    let bytes = on_the_wire(&smallest);
    assert_eq!(decode::<ReplyEnvelope<'_>>(&bytes), Ok(smallest));
}

#[test]
fn cobs_is_that_of_the_published_packet() {
    let packet = [
        0x45, 0x00, 0x00, 0x2C, 0x4C, 0x79, 0x00, 0x00, 0x40, 0x06, 0x4F, 0x37,
    ];
    let mut out = [0; 32];
    let length = cobs::encode(&packet, &mut out);
    assert_eq!(
        &out[..length],
        [
            0x02, 0x45, 0x01, 0x04, 0x2C, 0x4C, 0x79, 0x01, 0x05, 0x40, 0x06, 0x4F, 0x37
        ]
    );
    let long: Vec<u8> = (1..=254).collect();
    let mut out = [0; 300];
    let length = cobs::encode(&long, &mut out);
    // 254 bytes without a zero: FF and the bytes. Whether 01 follows differs between encoders.
    assert_eq!(out[0], 0xFF);
    assert_eq!(&out[1..255], &long[..]);
    assert!(
        length == 255 || (length == 256 && out[255] == 1),
        "{length}"
    );
}

fn read_all(reader: &mut FrameReader, bytes: &[u8]) -> Vec<Result<Vec<u8>, FrameError>> {
    bytes
        .iter()
        .filter_map(|&byte| reader.push(byte).map(|read| read.map(<[u8]>::to_vec)))
        .collect()
}

#[test]
fn a_reader_is_in_step_again_after_noise_a_flood_and_a_cut_frame() {
    let request = RequestEnvelope {
        sequence: 1,
        request: Request::StartTest {
            clip: ClipTarget::IndependentEarth,
        },
    };
    let mut frame = [0; MAX_FRAME];
    let length = encode(&request, &mut frame).unwrap();
    let mut stream = vec![0x31, 0x7F, 0x55, 0x00];
    stream.extend(&frame[..length]);
    stream.extend(&frame[..length - 3]);
    stream.push(0);
    stream.extend(vec![0x11; 3 * MAX_FRAME]);
    stream.push(0);
    stream.extend(&frame[..length]);
    let mut reader = FrameReader::new();
    let read = read_all(&mut reader, &stream);
    assert_eq!(read.len(), 5);
    assert!(read[0].is_err() && read[2].is_err());
    assert_eq!(read[3], Err(FrameError::TooLong));
    for whole in [&read[1], &read[4]] {
        let message = whole.as_ref().unwrap();
        assert_eq!(decode::<RequestEnvelope>(message), Ok(request));
    }
}

#[test]
fn every_single_bit_error_in_a_frame_is_noticed() {
    let request = RequestEnvelope {
        sequence: 0x0203,
        request: Request::Status,
    };
    let mut frame = [0; MAX_FRAME];
    let length = encode(&request, &mut frame).unwrap();
    for bit in 0..(length - 1) * 8 {
        let mut damaged = frame[..length].to_vec();
        damaged[bit / 8] ^= 1 << (bit % 8);
        let read = read_all(&mut FrameReader::new(), &damaged);
        assert!(
            read.iter().all(Result::is_err),
            "bit {bit} gave a message: {read:?}"
        );
    }
}

#[test]
fn what_is_asked_and_said_of_the_clock_has_these_bytes() {
    let request = RequestEnvelope {
        sequence: 7,
        request: Request::Workshop(WorkshopRequest::Clock),
    };
    // Eighth request, ninth of the workshop's.
    assert_eq!(on_the_wire(&request), [7, 7, 8]);
    let said = |reply| ReplyEnvelope {
        sequence: 7,
        reply: Reply::Workshop(reply),
    };
    let report = ClockReport {
        clock: Some(UnixSeconds::new(1_795_632_727)),
        chip: ClockChip::Running,
    };
    // Eighth reply, eighth of the workshop's; seven bits a byte, least first.
    let mut expected = vec![7, 7, 7, 1];
    expected.extend([0xD7, 0xDC, 0x9C, 0xD8, 0x06]);
    expected.push(1);
    assert_eq!(on_the_wire(&said(WorkshopReply::Clock(report))), expected);
    let refused = WorkshopReply::Refused(WorkshopRefusal::NotATime);
    assert_eq!(on_the_wire(&said(refused)), [7, 7, 6, 5]);
    // In the order of the wire: only append.
    for (place, chip) in [
        ClockChip::NotAsked,
        ClockChip::Running,
        ClockChip::Stopped,
        ClockChip::NotATime,
        ClockChip::Absent,
        ClockChip::BusStuck,
        ClockChip::BusFault,
        ClockChip::NotTaken,
        ClockChip::Setting,
    ]
    .into_iter()
    .enumerate()
    {
        assert_eq!(chip as usize, place);
    }
}
