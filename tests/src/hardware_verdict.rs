//! What the tester says of a row of the hardware's fault tables: its readings as the evidence of the
//! core, the tests of itself, the judgement.
//!
//! The judge gets the best case besides: steady voltages, a load step that shows a separate
//! ground, the clip on an independent earth, no bad frame. So a row is not "proven" by what its
//! voltages, P1, P2 and the tester's tests of itself read, not by what somebody forgot to ask.

use crate::hardware::{Row, Table};
use slotwise_core::calibration::limiters::Limiters;
use slotwise_core::drive::DriveCalibration;
use slotwise_core::evidence::{
    Evidence, FrameHealth, LoadStep, Measured, Missing, PairVoltage, Phasor, Reading, SlotVoltages,
    ZeroSum,
};
use slotwise_core::judge::judge;
use slotwise_core::limits::{CalibrationLimits, Limits};
use slotwise_core::slots::ClipTarget;
use slotwise_core::units::{Amperes, Hertz, Ohms, Radians, Ratio, Volts};
use slotwise_core::verdict::Outcome;
use slotwise_virtual::circuit::Phasor as Complex;

/// How the size of P2 rises with its level raised in one half of the tone.
pub const RISES: [&str; 4] = [
    "rise_ground_high",
    "rise_ground_low",
    "rise_clip_high",
    "rise_clip_low",
];

/// A number of a row.
#[must_use]
pub fn number(row: &Row, column: &str) -> f64 {
    row.get(column).parse().expect("a number")
}

/// Phasor of a lead.
#[must_use]
pub fn lead(row: &Row, name: &str) -> Complex {
    Complex::new(
        number(row, &format!("{name}_re")),
        number(row, &format!("{name}_im")),
    )
}

fn pair(volts: Complex) -> PairVoltage {
    let rms = Volts::from_f64(volts.norm());
    PairVoltage {
        fundamental: Phasor {
            rms,
            angle: Radians::from_f64(volts.arg()),
        },
        true_rms: rms,
        residual: Volts::ZERO,
        mean: Volts::ZERO,
    }
}

/// The evidence of one row, the best case besides.
fn evidence(row: &Row) -> Evidence {
    let leads = ["narrow", "wide", "ground", "clip"].map(|name| lead(row, name));
    let [narrow, wide, ground, clip] = leads;
    let pairs = [narrow - wide, ground - wide, narrow - ground];
    let reference = (0..3)
        .max_by(|&a, &b| pairs[a].norm().total_cmp(&pairs[b].norm()))
        .expect("three pairs");
    let turn = Complex::from_polar(1.0, -pairs[reference].arg());
    let sum: Complex = leads.iter().sum();
    let largest = leads.iter().map(|v| v.norm()).fold(0.0, f64::max);
    // In phase with the lead that the sum is nearest to quadrature with.
    let in_phase = leads
        .iter()
        .filter(|lead| lead.norm() > 0.05 * largest)
        .map(|lead| (sum * lead.conj()).re.abs() / lead.norm())
        .fold(f64::INFINITY, f64::min);
    let mut evidence = Evidence::empty();
    evidence.health = FrameHealth {
        calibrated: true,
        windows: 10,
        bad_frames: 0,
        clipped_frames: 0,
    };
    evidence.slots = Ok(SlotVoltages {
        pairs: pairs.map(|volts| pair(volts * turn)),
        reference,
        u_gain: Ratio::new(0.0011),
        u_floor: Volts::new(0.002),
        leads: leads.map(|volts| Volts::from_f64(volts.norm())),
    });
    evidence.zero_sum = ZeroSum {
        in_phase: Volts::from_f64(in_phase),
        quadrature: Volts::from_f64((sum.norm_sqr() - in_phase * in_phase).max(0.0).sqrt()),
    };
    evidence.frequency = Measured::known(Hertz::new(60.0), Hertz::new(0.002));
    evidence.earth_path = match row.get("p1_ohm").parse::<f32>() {
        Ok(ohms) => Measured::known(Ohms::new(ohms), Ohms::new(0.05)),
        Err(_) => Measured::Missing(Missing::Refused),
    };
    evidence.load_step = Ok(LoadStep {
        rho: Reading {
            value: Ratio::new(0.44),
            u: Ratio::new(0.02),
        },
        rho_imaginary: Ratio::ZERO,
        steps: 5,
        sag: Volts::new(2.4),
    });
    evidence.clip_target = ClipTarget::IndependentEarth;
    evidence.clip_wide = Ok(pair((clip - wide) * turn).fundamental);
    evidence
}

/// What the tester reads of its own currents with this part failed, at a sound receptacle.
#[must_use]
pub fn own_readings<'t>(table: &'t Table, row: &Row) -> &'t Row {
    let is_same = |own: &&Row| {
        ["designator", "failure"]
            .iter()
            .all(|column| own.get(column) == row.get(column))
    };
    table.rows.iter().find(is_same).expect("a row of its own")
}

/// Whether the test of the relays fails by these readings.
fn finds_a_closed_relay(own: &Row) -> bool {
    let limits = Limits::DEFAULT.relays;
    let ohms = |column: &str| own.get(column).parse::<f32>().ok().map(Ohms::new);
    let flows = ["alone_a_ohm", "alone_b_ohm", "tone_ground_ohm"]
        .iter()
        .filter_map(|column| ohms(column))
        .any(|ohms| ohms > limits.flows);
    flows || number(own, "tone_clip_share") > f64::from(limits.follows.get())
}

/// Whether the test of a limiter fails on either leg. On a leg that carries nothing it is not made.
#[must_use]
pub fn finds_a_limiter_failed(own: &Row) -> bool {
    let limits = Limits::DEFAULT.limiters;
    let held = f64::from(limits.held_least.get())..=f64::from(limits.held_most.get());
    RISES
        .iter()
        .filter_map(|column| own.get(column).parse::<f64>().ok())
        .any(|rise| !held.contains(&rise))
}

/// P2 from wide to ground.
fn neutral_and_ground(own: &Row) -> Measured<Ohms> {
    let ohms = Ohms::new(number(own, "p2_ohm") as f32);
    if ohms > Limits::DEFAULT.drive.beyond {
        Measured::Missing(Missing::BeyondRange)
    } else {
        Measured::known(ohms, Ohms::new(0.03))
    }
}

/// P2 from wide to the clip, beyond the resistor of its lead, as `drive::estimator` has it.
fn neutral_to_clip(own: &Row) -> Measured<Ohms> {
    const U: f32 = 0.03;
    let limits = Limits::DEFAULT.drive;
    let ohms = Ohms::new(number(own, "p2_clip_ohm") as f32);
    if ohms > limits.beyond {
        Measured::Missing(Missing::BeyondRange)
    } else if ohms + Ohms::new(3.0 * U) < limits.clip_least {
        Measured::Missing(Missing::NoCurrent)
    } else {
        Measured::known(ohms, Ohms::new(U))
    }
}

/// What the tester says, in the best case besides.
#[must_use]
pub fn outcome(row: &Row, own: &Table) -> Outcome {
    let is_sound = row.get("input") == "sound";
    let own = own_readings(own, row);
    let is_found = || finds_a_closed_relay(own) || finds_a_limiter_failed(own);
    if row.get("frames") != "yes" || is_sound && is_found() {
        return Outcome::TesterFault;
    }
    let mut evidence = evidence(row);
    if is_sound {
        evidence.neutral_and_ground = neutral_and_ground(own);
        evidence.neutral_to_clip = neutral_to_clip(own);
    }
    judge(&evidence, &Limits::DEFAULT).outcome
}

/// Part and how it failed.
#[must_use]
pub fn name(row: &Row) -> (String, String) {
    (
        row.get("designator").to_owned(),
        row.get("failure").to_owned(),
    )
}

/// What steps 15a and 15b of the checks read with this part failed.
#[must_use]
pub fn limiters(own: &Row) -> Limiters {
    let current = |column: &str| Amperes::new((number(own, column).abs() * 1e-3) as f32);
    Limiters {
        to_ground: ["leg_ground_out_ma", "leg_ground_back_ma"].map(current),
        to_clip: ["leg_clip_out_ma", "leg_clip_back_ma"].map(current),
    }
}

/// Whether a calibration of the drive is refused by what it reads: the clip lead with its 10 ohm
/// and 0.4 of the way; 10.0 ohm in it, where 0.2 of the way are gone, of which the level follows; then
/// the reference resistor over the other leg, and 0.4 of the way there.
#[must_use]
pub fn is_refused_by_calibration(own: &Row) -> bool {
    const APPLIED: f64 = 9.8;
    const WAY: f64 = 0.4;
    let limits = CalibrationLimits::DEFAULT;
    let lead = number(own, "p2_clip_ohm") + 10.0;
    let known = number(own, "cal_clip_ohm") - lead;
    // `calibration::step::check_resistance`: the lead with 2 ohm of contacts, a known one with 0.5.
    if !(7.95..=14.5).contains(&lead) || !(7.95..=13.0).contains(&known) {
        return true;
    }
    let nominal = DriveCalibration::NOMINAL;
    let scale = known / APPLIED;
    let is_plausible = DriveCalibration {
        level: nominal.level * scale as f32,
        lead_zero: Ohms::new((lead / scale - WAY) as f32),
        ..nominal
    }
    .is_plausible();
    let reference = (number(own, "p2_ohm") + 10.0) / scale - WAY;
    !is_plausible || (reference - 10.0).abs() > f64::from(limits.reference_within.get())
}
