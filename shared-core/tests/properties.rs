//! What must hold for any input: no panic, no doubt read as good, bytes in and out alike.

use proptest::prelude::*;
use slotwise_core::calibration::{Calibration, ChannelCalibration};
use slotwise_core::drive::DriveCalibration;
use slotwise_core::evidence::{
    Evidence, FrameHealth, Measured, PairVoltage, Phasor, SlotVoltages, ZeroSum,
};
use slotwise_core::judge::judge;
use slotwise_core::lamps::{Lamp, Panel, Rhythm};
use slotwise_core::limits::Limits;
use slotwise_core::link::{FrameReader, RequestEnvelope, decode};
use slotwise_core::measure::Gatherer;
use slotwise_core::record;
use slotwise_core::sample::{AdcCode, Frame};
use slotwise_core::slots::ClipTarget;
use slotwise_core::units::{Celsius, Hertz, Ohms, Radians, Ratio, UnixSeconds, Volts};
use slotwise_core::verdict::Outcome;
use slotwise_core::window::{Accumulator, Tuning, WINDOW};

fn any_pair() -> impl Strategy<Value = PairVoltage> {
    (any::<f32>(), any::<f32>(), any::<f32>(), any::<f32>()).prop_map(
        |(rms, angle, true_rms, mean)| PairVoltage {
            fundamental: Phasor {
                rms: Volts::new(rms),
                angle: Radians::new(angle),
            },
            true_rms: Volts::new(true_rms),
            residual: Volts::ZERO,
            mean: Volts::new(mean),
        },
    )
}

fn any_target() -> impl Strategy<Value = ClipTarget> {
    prop_oneof![
        Just(ClipTarget::NotConnected),
        Just(ClipTarget::ApplianceFrame),
        Just(ClipTarget::IndependentEarth),
    ]
}

/// Any evidence at all, infinities and NaN included.
fn any_evidence() -> impl Strategy<Value = Evidence> {
    let slots = (
        [any_pair(), any_pair(), any_pair()],
        [any::<f32>(), any::<f32>(), any::<f32>(), any::<f32>()],
    );
    (
        slots,
        any::<(f32, f32, f32, f32)>(),
        any_target(),
        any::<(u16, u32, bool)>(),
    )
        .prop_map(
            |((pairs, leads), (hertz, unsteady, sum, clip), clip_target, (windows, bad, known))| {
                let mut evidence = Evidence::empty();
                evidence.slots = Ok(SlotVoltages {
                    pairs,
                    reference: 0,
                    u_gain: Ratio::new(0.001),
                    u_floor: Volts::new(0.001),
                    leads: leads.map(Volts::new),
                });
                evidence.frequency = if known {
                    Measured::known(Hertz::new(hertz), Hertz::new(0.001))
                } else {
                    Evidence::empty().frequency
                };
                evidence.unsteadiness = Volts::new(unsteady);
                evidence.zero_sum = ZeroSum {
                    in_phase: Volts::new(sum),
                    quadrature: Volts::ZERO,
                };
                evidence.clip_target = clip_target;
                evidence.clip_wide = Ok(Phasor {
                    rms: Volts::new(clip),
                    angle: Radians::ZERO,
                });
                evidence.health = FrameHealth {
                    calibrated: true,
                    windows,
                    bad_frames: bad,
                    clipped_frames: 0,
                };
                evidence
            },
        )
}

fn nominal() -> Calibration {
    Calibration {
        channels: [ChannelCalibration {
            offset: 0,
            gain: 1.0,
        }; 4],
        u_gain: Ratio::new(0.001),
        reference: Ohms::new(10.0),
        done: UnixSeconds::new(1_790_000_000),
        temperature: Celsius::new(23.0),
        drive: DriveCalibration::NOMINAL,
    }
}

proptest! {
    /// Without earth path, load step and independent earth nothing is ever proven, and a
    /// verdict always carries a reason.
    #[test]
    fn no_evidence_of_slots_alone_is_called_proven(evidence in any_evidence()) {
        let verdict = judge(&evidence, &Limits::DEFAULT);
        prop_assert_ne!(verdict.outcome, Outcome::Proven);
        prop_assert!(!verdict.findings.is_empty());
        let panel = Panel::for_verdict(&verdict, &evidence);
        prop_assert_ne!(panel.rhythm(Lamp::EarthPath), Rhythm::Steady);
        prop_assert_ne!(panel.rhythm(Lamp::Proven), Rhythm::Steady);
        if verdict.outcome == Outcome::Danger {
            prop_assert_eq!(panel.rhythm(Lamp::LiveMetal), Rhythm::FastPulse);
        } else {
            prop_assert_eq!(panel.rhythm(Lamp::LiveMetal), Rhythm::Off);
        }
    }

    /// Any frames at all, full-scale garbage included, give finite evidence without a panic.
    #[test]
    fn any_frames_give_finite_evidence(codes in proptest::collection::vec(any::<[i32; 4]>(), 8)) {
        let mut gatherer = Gatherer::new(ClipTarget::ApplianceFrame);
        let mut tuning = Tuning::NOMINAL;
        for window in 0..2 {
            let mut accumulator = Accumulator::new(tuning);
            for n in 0..WINDOW {
                let codes = codes[(n * 7 + window) % codes.len()];
                accumulator.push(&Frame { codes: codes.map(AdcCode::saturating) });
            }
            tuning = gatherer.take(accumulator.sums(), &nominal(), &Limits::DEFAULT);
        }
        let evidence = gatherer.evidence(Some(&nominal()));
        if let Ok(slots) = evidence.slots {
            for pair in slots.pairs {
                prop_assert!(pair.fundamental.rms.get().is_finite());
                prop_assert!(pair.true_rms.get().is_finite());
                prop_assert!(pair.mean.get().is_finite());
            }
        }
        prop_assert_ne!(judge(&evidence, &Limits::DEFAULT).outcome, Outcome::Proven);
    }

    #[test]
    fn any_bytes_are_read_or_refused_as_a_record(bytes in proptest::collection::vec(any::<u8>(), 0..400)) {
        if let Ok(read) = record::decode(&bytes) {
            let mut buffer = [0; record::MAX_BYTES];
            prop_assert!(record::encode(&read, &mut buffer).is_ok());
        }
    }

    #[test]
    fn any_bytes_go_through_the_frame_reader(bytes in proptest::collection::vec(any::<u8>(), 0..4000)) {
        let mut reader = FrameReader::new();
        for byte in bytes {
            if let Some(Ok(message)) = reader.push(byte) {
                let _ = decode::<RequestEnvelope>(message);
            }
        }
    }

    #[test]
    fn scaling_the_codes_scales_the_volts(factor in 0.05_f64..1.0, phase in 0.0_f64..6.2) {
        let window = |factor: f64| {
            let mut accumulator = Accumulator::new(Tuning::NOMINAL);
            for n in 0..WINDOW {
                let x = (core::f64::consts::TAU * 60.0 * n as f64 / 4000.0 + phase).cos();
                let code = |share: f64| AdcCode::saturating((x * share * factor * 2.8e6).round() as i32);
                accumulator.push(&Frame { codes: [code(2.0), code(-1.0), code(-1.0), code(0.0)] });
            }
            let leads = accumulator.sums().phasors(&nominal(), Hertz::new(60.0)).unwrap();
            f64::from((leads[0] - leads[1]).rms().get())
        };
        // 16 bits, without the converter's noise that spreads what they lose: 0.3 mV at most, a third
        // of what a slot voltage is stated to.
        let (scaled, whole) = (window(factor), window(1.0));
        let off = scaled - whole * factor;
        prop_assert!(off.abs() < 3e-4 + 2e-6 * scaled, "{}", off);
    }
}
