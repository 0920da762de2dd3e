//! The exact bytes of a record that tells of a calibration, and of setting the clock. A change here is a change of the
//! format: raise the schema number and say so in CHANGELOG.md.
//!
//! Numbers little-endian and floats as IEEE 754 bits, varints and zigzag as postcard's wire format
//! specification has them.

use slotwise_core::calibration::event::CalibrationEvent;
use slotwise_core::calibration::limiters::Limiters;
use slotwise_core::calibration::{Calibration, ChannelCalibration};
use slotwise_core::drive::DriveCalibration;
use slotwise_core::link::{
    FrameReader, MAX_FRAME, Request, RequestEnvelope, WorkshopRequest, encode,
};
use slotwise_core::record::{
    self, Body, Digest, MAX_BYTES, Record, RecordNumber, TesterId, Version,
};
use slotwise_core::units::{Amperes, Celsius, Millis, Ohms, Radians, Ratio, UnixSeconds, Volts};

fn calibration() -> Calibration {
    Calibration {
        channels: [ChannelCalibration {
            offset: -3,
            gain: 1.5,
        }; 4],
        u_gain: Ratio::new(0.5),
        reference: Ohms::new(2.0),
        done: UnixSeconds::new(1_790_000_000),
        temperature: Celsius::new(23.0),
        drive: DriveCalibration {
            level: Volts::new(1.0),
            source: Ohms::new(4.0),
            lead_zero: Ohms::new(0.5),
            lag: Radians::new(0.125),
            u_current: Ratio::new(0.25),
        },
    }
}

fn bytes_of_calibration() -> Vec<u8> {
    let mut bytes = Vec::new();
    for _ in 0..4 {
        bytes.push(0x05); // -3, zigzag
        bytes.extend(1.5_f64.to_le_bytes());
    }
    bytes.extend(0.5_f32.to_le_bytes());
    bytes.extend(2.0_f32.to_le_bytes());
    bytes.extend([0x80, 0xF7, 0xC4, 0xD5, 0x06]); // 1790000000
    bytes.extend(23.0_f32.to_le_bytes());
    for value in [1.0_f32, 4.0, 0.5, 0.125, 0.25] {
        bytes.extend(value.to_le_bytes());
    }
    bytes
}

#[test]
fn a_calibration_record_has_these_bytes() {
    let record = |before| Record {
        number: RecordNumber::new(1),
        previous: Digest::default(),
        tester: TesterId(1),
        firmware: Version {
            major: 0,
            minor: 1,
            patch: 2,
        },
        boot: 5,
        at: Millis::new(1),
        clock: None,
        body: Body::Calibrated(CalibrationEvent {
            now: calibration(),
            before,
        }),
    };
    for before in [None, Some(calibration())] {
        let mut expected = vec![0x01, 0x00, 0x01]; // schema, number
        expected.extend([0; 32]);
        expected.extend([1, 0, 1, 2, 5, 1, 0]); // tester, version, boot, at, no clock
        expected.push(0x06); // Calibrated
        expected.extend(bytes_of_calibration());
        match before {
            None => expected.push(0),
            Some(_) => {
                expected.push(1);
                expected.extend(bytes_of_calibration());
            }
        }
        let mut buffer = [0; MAX_BYTES];
        let bytes = record::encode(&record(before), &mut buffer).unwrap();
        assert_eq!(bytes, expected);
        assert_eq!(record::decode(bytes), Ok(record(before)));
    }
}

fn on_the_wire(request: WorkshopRequest) -> Vec<u8> {
    let envelope = RequestEnvelope {
        sequence: 7,
        request: Request::Workshop(request),
    };
    let mut frame = [0; MAX_FRAME];
    let length = encode(&envelope, &mut frame).unwrap();
    let mut reader = FrameReader::new();
    let frames = frame[..length]
        .iter()
        .find_map(|byte| reader.push(*byte).map(|read| read.unwrap().to_vec()));
    frames.unwrap()
}

#[test]
fn the_currents_of_the_limiters_have_these_bytes() {
    let limiters = Limiters {
        to_ground: [Amperes::new(0.5), Amperes::new(0.25)],
        to_clip: [Amperes::new(2.0), Amperes::new(-1.5)],
    };
    let four: Vec<u8> = [0.5_f32, 0.25, 2.0, -1.5]
        .into_iter()
        .flat_map(f32::to_le_bytes)
        .collect();
    // Eighth request, eleventh of the workshop's.
    let expected = [vec![7, 7, 10], four.clone()].concat();
    assert_eq!(on_the_wire(WorkshopRequest::Limiters(limiters)), expected);
    let record = Record {
        number: RecordNumber::new(1),
        previous: Digest::default(),
        tester: TesterId(1),
        firmware: Version {
            major: 0,
            minor: 1,
            patch: 2,
        },
        boot: 5,
        at: Millis::new(1),
        clock: None,
        body: Body::Limiters(limiters),
    };
    let mut expected = vec![0x01, 0x00, 0x01]; // schema, number
    expected.extend([0; 32]);
    expected.extend([1, 0, 1, 2, 5, 1, 0]); // tester, version, boot, at, no clock
    expected.push(0x07); // Limiters
    expected.extend(four);
    let mut buffer = [0; MAX_BYTES];
    let bytes = record::encode(&record, &mut buffer).unwrap();
    assert_eq!(bytes, expected);
    assert_eq!(record::decode(bytes), Ok(record));
}

#[test]
fn offering_and_setting_the_time_have_these_bytes() {
    let clock = UnixSeconds::new(1_790_000_000);
    // Eighth request; second and tenth of the workshop's; varints.
    assert_eq!(
        on_the_wire(WorkshopRequest::OfferClock { clock }),
        [7, 7, 1, 0x80, 0xF7, 0xC4, 0xD5, 0x06]
    );
    assert_eq!(
        on_the_wire(WorkshopRequest::SetClock { token: 300 }),
        [7, 7, 9, 0xAC, 0x02]
    );
}
