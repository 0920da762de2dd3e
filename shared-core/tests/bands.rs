//! The supply bands against their sources, at their boundaries.
//!
//! Expected numbers are written out from the sources that `limits::bands` names, not read from
//! the bands. Each boundary belongs to the milder side.

use slotwise_core::evidence::{Evidence, FrameHealth, Measured, PairVoltage, Phasor, SlotVoltages};
use slotwise_core::finding::{FindingCode, NextCheck};
use slotwise_core::judge::judge;
use slotwise_core::limits::{BandSet, Limits};
use slotwise_core::units::{Hertz, Radians, Ratio, Volts};
use slotwise_core::verdict::Outcome;

/// A receptacle that reads sound at this voltage: wide and ground at one potential, so two
/// leads share a third of it each and the narrow one has the rest.
fn sound_at(volts: f32) -> Evidence {
    let pair = |rms: f32| PairVoltage {
        fundamental: Phasor {
            rms: Volts::new(rms),
            angle: Radians::new(0.0),
        },
        true_rms: Volts::new(rms),
        residual: Volts::ZERO,
        mean: Volts::ZERO,
    };
    let mut evidence = Evidence::empty();
    evidence.health = FrameHealth {
        calibrated: true,
        windows: 10,
        bad_frames: 0,
        clipped_frames: 0,
    };
    evidence.slots = Ok(SlotVoltages {
        pairs: [volts, 0.0, volts].map(pair),
        reference: 0,
        u_gain: Ratio::new(0.0011),
        u_floor: Volts::new(0.001),
        leads: [volts * 2.0 / 3.0, volts / 3.0, volts / 3.0, 0.0].map(Volts::new),
    });
    evidence.frequency = Measured::known(Hertz::new(60.0), Hertz::new(0.002));
    evidence
}

fn said(set: BandSet, volts: f32) -> Option<FindingCode> {
    let verdict = judge(&sound_at(volts), &Limits::with_band(set));
    let supply = verdict.findings.iter().find(|finding| {
        matches!(
            finding.code,
            FindingCode::SupplyLow
                | FindingCode::SupplyHigh
                | FindingCode::SupplyTooLow
                | FindingCode::SupplyTooHigh
        )
    });
    if let Some(finding) = supply {
        assert_eq!(finding.next, NextCheck::SupplyAtPanel, "{set:?} {volts} V");
    }
    let is_out = matches!(
        supply.map(|finding| finding.code),
        Some(FindingCode::SupplyTooLow | FindingCode::SupplyTooHigh)
    );
    assert_eq!(
        verdict.outcome == Outcome::Fault,
        is_out,
        "{set:?} {volts} V"
    );
    supply.map(|finding| finding.code)
}

fn check(set: BandSet, table: &[(f32, Option<FindingCode>)]) {
    for (volts, expected) in table {
        assert_eq!(said(set, *volts), *expected, "{set:?} at {volts} V");
    }
}

const TOO_LOW: Option<FindingCode> = Some(FindingCode::SupplyTooLow);
const LOW: Option<FindingCode> = Some(FindingCode::SupplyLow);
const IN: Option<FindingCode> = None;
const HIGH: Option<FindingCode> = Some(FindingCode::SupplyHigh);
const TOO_HIGH: Option<FindingCode> = Some(FindingCode::SupplyTooHigh);

/// ANSI C84.1 Table 1, utilization: A 108-126 V, B 104-127 V (from memory).
#[test]
fn utilization_has_two_ranges() {
    check(
        BandSet::C84Utilization,
        &[
            (103.9, TOO_LOW),
            (104.0, LOW),
            (107.9, LOW),
            (108.0, IN),
            (120.0, IN),
            (126.0, IN),
            (126.1, HIGH),
            (127.0, HIGH),
            (127.1, TOO_HIGH),
        ],
    );
}

/// ANSI C84.1 Table 1, service: A 114-126 V, B 110-127 V (from memory).
#[test]
fn service_has_two_ranges() {
    check(
        BandSet::C84Service,
        &[
            (109.9, TOO_LOW),
            (110.0, LOW),
            (113.9, LOW),
            (114.0, IN),
            (126.0, IN),
            (126.1, HIGH),
            (127.0, HIGH),
            (127.1, TOO_HIGH),
        ],
    );
}

/// COMAR 20.50.07.02: 114-126 V.
#[test]
fn maryland_has_one_range() {
    check(
        BandSet::MarylandService,
        &[
            (113.9, TOO_LOW),
            (114.0, IN),
            (126.0, IN),
            (126.1, TOO_HIGH),
        ],
    );
}

/// 83 Ill. Adm. Code 410.300: 113-127 V.
#[test]
fn illinois_has_one_range() {
    check(
        BandSet::IllinoisService,
        &[
            (112.9, TOO_LOW),
            (113.0, IN),
            (127.0, IN),
            (127.1, TOO_HIGH),
        ],
    );
}

/// One receptacle, three answers: why the band is data and is always named.
#[test]
fn the_same_voltage_is_judged_by_the_band_asked_for() {
    assert_eq!(said(BandSet::C84Utilization, 112.0), IN);
    assert_eq!(said(BandSet::C84Service, 112.0), LOW);
    assert_eq!(said(BandSet::MarylandService, 112.0), TOO_LOW);
    assert_eq!(said(BandSet::IllinoisService, 112.0), TOO_LOW);
    assert_eq!(Limits::DEFAULT, Limits::with_band(BandSet::default()));
    assert_eq!(BandSet::default(), BandSet::C84Utilization);
}

#[test]
fn every_band_is_ordered_and_names_itself_its_source_and_its_edition() {
    for (index, set) in BandSet::ALL.into_iter().enumerate() {
        let band = set.band();
        assert!(band.lowest <= band.low, "{set:?}");
        assert!(band.low < band.high, "{set:?}");
        assert!(band.high <= band.highest, "{set:?}");
        for text in [band.name, band.source, band.edition] {
            assert!(!text.is_empty(), "{set:?}");
        }
        // The numbers that the source quotes are the numbers in force.
        let quoted = format!("{:.0}-{:.0} V", band.low.get(), band.high.get());
        assert!(band.source.contains(&quoted), "{set:?}: {quoted}");
        for other in &BandSet::ALL[index + 1..] {
            assert_ne!(band.name, other.band().name);
        }
    }
}

/// The stored number of a set never changes.
#[test]
fn stored_numbers_of_the_sets() {
    let stored = [
        (BandSet::C84Utilization, 0_u8),
        (BandSet::MarylandService, 1),
        (BandSet::C84Service, 2),
        (BandSet::IllinoisService, 3),
    ];
    assert_eq!(stored.len(), BandSet::ALL.len());
    for (set, number) in stored {
        let mut buffer = [0; 4];
        let bytes = postcard::to_slice(&set, &mut buffer).unwrap();
        assert_eq!(bytes, [number], "{set:?}");
        assert_eq!(postcard::from_bytes::<BandSet>(bytes).unwrap(), set);
    }
}
