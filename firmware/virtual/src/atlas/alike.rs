//! How far two readings must differ to be told apart.
//!
//! Voltages by 1 V or 1 %, ohms by 0.2 ohm + 5 % (the probe's target), the load-step ratio by
//! the bands of its rule and 0.05 besides, so that a band's edge alone tells nothing. Refused,
//! open and not measurable are readings of their own: each says something of the slots.

use crate::means::{Reading, Signature};

/// A means of the tester, in the order in which the atlas adds them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Means {
    /// The three slot voltages.
    Slots,
    /// P1 from narrow.
    Probe,
    /// P1 from wide.
    ProbeFromWide,
    /// P2.
    Drive,
    /// The load step.
    LoadStep,
    /// The clip on an independent earth.
    IndependentEarth,
}

impl Means {
    /// Every means, in order.
    pub const ALL: [Self; 6] = [
        Self::Slots,
        Self::Probe,
        Self::ProbeFromWide,
        Self::Drive,
        Self::LoadStep,
        Self::IndependentEarth,
    ];
}

/// What the load-step rule says of a ratio.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Band {
    /// Neutral and ground joined near the receptacle.
    Joined,
    /// Between joined and separate.
    Unclear,
    /// Ground is a conductor of its own.
    Separate,
    /// The neutral has most of the sag.
    WeakNeutral,
}

/// The band of a load-step ratio (measurement notes, section 5).
#[must_use]
pub fn band(rho: f64) -> Band {
    if rho < 0.06 {
        Band::Joined
    } else if rho <= 0.15 {
        Band::Unclear
    } else if rho <= 0.60 {
        Band::Separate
    } else {
        Band::WeakNeutral
    }
}

/// Whether `means` cannot tell the two apart.
#[must_use]
pub fn alike(one: &Signature, other: &Signature, means: Means) -> bool {
    match means {
        Means::Slots => {
            let mut pairs = one.slots.iter().zip(&other.slots);
            pairs.all(|(&a, &b)| volts_alike(a, b))
        }
        Means::Probe => readings_alike(one.p1, other.p1, ohms_alike),
        Means::ProbeFromWide => readings_alike(one.p1_wide, other.p1_wide, ohms_alike),
        Means::Drive => readings_alike(one.p2, other.p2, ohms_alike),
        Means::LoadStep => readings_alike(one.rho, other.rho, rho_alike),
        Means::IndependentEarth => volts_alike(one.clip, other.clip),
    }
}

fn readings_alike(one: Reading, other: Reading, alike: fn(f64, f64) -> bool) -> bool {
    match (one, other) {
        (Reading::Value(a), Reading::Value(b)) => alike(a, b),
        (a, b) => a == b,
    }
}

fn volts_alike(a: f64, b: f64) -> bool {
    (a - b).abs() <= f64::max(1.0, 0.01 * a.max(b))
}

fn ohms_alike(a: f64, b: f64) -> bool {
    (a - b).abs() <= 0.2 + 0.05 * a.max(b)
}

fn rho_alike(a: f64, b: f64) -> bool {
    band(a) == band(b) || (a - b).abs() <= 0.05
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn readings_are_told_apart_by_the_stated_margins() {
        assert!(volts_alike(0.0, 0.9) && !volts_alike(0.0, 1.1));
        assert!(volts_alike(239.0, 241.2) && !volts_alike(239.0, 242.0));
        assert!(ohms_alike(0.005, 0.18) && !ohms_alike(0.18, 1.0));
        assert!(ohms_alike(100.0, 104.0) && !ohms_alike(100.0, 107.0));
        assert!(rho_alike(0.14, 0.16) && !rho_alike(0.05, 0.44) && rho_alike(0.2, 0.5));
        assert!(!rho_alike(0.44, 0.98));
    }

    #[test]
    fn a_refusal_is_not_a_number() {
        assert!(readings_alike(
            Reading::Refused,
            Reading::Refused,
            ohms_alike
        ));
        assert!(!readings_alike(Reading::Refused, Reading::Open, ohms_alike));
        assert!(!readings_alike(
            Reading::Value(0.0),
            Reading::NotMeasurable,
            ohms_alike
        ));
    }
}
