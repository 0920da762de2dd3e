//! What a person read off a hand meter, held against the same limits as the tester's values.

use slotwise_core::evidence::Reading;
use slotwise_core::finding::FindingCode;
use slotwise_core::limits::Limits;
use slotwise_core::units::{Ohms, Volts};

use super::NoteFinding;
use crate::archive::{Readings, Shown, Word};

/// What was measured by hand.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum HandReading {
    /// Neutral to 24 V common, appliance idle, volts.
    NeutralToCommon,
    /// Neutral to burner, power off, ohms.
    NeutralToBurner,
    /// Hot to neutral, volts.
    HotToNeutral,
    /// Hot to ground, volts.
    HotToGround,
    /// Neutral to ground, volts.
    NeutralToGround,
}

impl HandReading {
    /// All, in the order that they are shown.
    pub const ALL: [Self; 5] = [
        Self::NeutralToCommon,
        Self::NeutralToBurner,
        Self::HotToNeutral,
        Self::HotToGround,
        Self::NeutralToGround,
    ];

    /// The stored name.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::NeutralToCommon => "neutral_to_common_volts",
            Self::NeutralToBurner => "neutral_to_burner_ohms",
            Self::HotToNeutral => "hot_to_neutral_volts",
            Self::HotToGround => "hot_to_ground_volts",
            Self::NeutralToGround => "neutral_to_ground_volts",
        }
    }

    /// What one reading means. A reading that is no number is no good one.
    fn judge(self, shown: Shown, limits: &Limits) -> NoteFinding {
        // As shown: an over-limit is more than any limit, and so is a number that is none.
        let number = match shown {
            Shown::Number(number) if number.is_finite() => number as f32,
            Shown::Number(_) | Shown::Word(Word::OverLimit) => f32::INFINITY,
        };
        let volts = Volts::new(number);
        match self {
            Self::NeutralToCommon if volts <= limits.watch.clip_highest => NoteFinding::CommonFine,
            Self::NeutralToCommon => NoteFinding::CommonHigh,
            Self::NeutralToBurner => {
                let reading = Reading {
                    value: Ohms::new(number),
                    u: Ohms::ZERO,
                };
                if limits.drive.passes_power_off(reading) {
                    NoteFinding::BurnerFine
                } else {
                    NoteFinding::BurnerHigh
                }
            }
            Self::HotToNeutral => supply(volts, limits),
            Self::HotToGround if volts < limits.live_low => NoteFinding::HotToGroundLow,
            Self::HotToGround if volts <= limits.supply.highest => NoteFinding::HotToGroundFine,
            Self::HotToGround => NoteFinding::Supply(FindingCode::SupplyTooHigh),
            Self::NeutralToGround if volts < limits.near_zero => NoteFinding::NeutralToGroundFine,
            Self::NeutralToGround => NoteFinding::NeutralToGroundHigh,
        }
    }
}

/// The same four edges as the tester's own reading between the blades.
fn supply(volts: Volts, limits: &Limits) -> NoteFinding {
    let band = limits.supply;
    if volts < band.lowest {
        NoteFinding::Supply(FindingCode::SupplyTooLow)
    } else if volts > band.highest {
        NoteFinding::Supply(FindingCode::SupplyTooHigh)
    } else if volts < band.low {
        NoteFinding::Supply(FindingCode::SupplyLow)
    } else if volts > band.high {
        NoteFinding::Supply(FindingCode::SupplyHigh)
    } else {
        NoteFinding::SupplyFine
    }
}

/// What the readings of a note mean. A name that this version does not know is passed over: it
/// says nothing good.
#[must_use]
pub fn judge_readings(readings: &Readings, limits: &Limits) -> Vec<NoteFinding> {
    HandReading::ALL
        .into_iter()
        .filter_map(|what| Some(what.judge(*readings.get(what.name())?, limits)))
        .collect()
}

/// What a meter shows, from what a person typed: a number from 0 up, or OL for ohms beyond the
/// meter's range.
///
/// # Errors
/// Words on what is accepted.
pub fn shown_of(text: &str, is_ohms: bool) -> Result<Shown, String> {
    if is_ohms && text.eq_ignore_ascii_case("ol") {
        return Ok(Shown::Word(Word::OverLimit));
    }
    // Most that a hand meter shows: 1000 V, and some tens of megohms.
    let most = if is_ohms { 1e9 } else { 1000.0 };
    match text.parse::<f64>() {
        Ok(number) if (0.0..=most).contains(&number) => Ok(Shown::Number(number)),
        _ if is_ohms => Err("ohms as a plain number from 0 up, such as 0.4, or OL".to_owned()),
        _ => Err("volts as a plain number from 0 to 1000, such as 119.5".to_owned()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use slotwise_core::limits::BandSet;

    fn judged(what: HandReading, number: f64) -> NoteFinding {
        what.judge(Shown::Number(number), &Limits::DEFAULT)
    }

    /// 2 V and 10 ohm: common practice of the trade, no source; they are the core's.
    #[test]
    fn common_and_burner_are_held_against_the_core() {
        use HandReading::{NeutralToBurner, NeutralToCommon};
        assert_eq!(judged(NeutralToCommon, 2.0), NoteFinding::CommonFine);
        assert_eq!(judged(NeutralToCommon, 2.01), NoteFinding::CommonHigh);
        assert_eq!(judged(NeutralToBurner, 10.0), NoteFinding::BurnerFine);
        assert_eq!(judged(NeutralToBurner, 10.1), NoteFinding::BurnerHigh);
        let open = Shown::Word(Word::OverLimit);
        assert_eq!(
            NeutralToBurner.judge(open, &Limits::DEFAULT),
            NoteFinding::BurnerHigh
        );
    }

    #[test]
    fn a_number_that_is_none_is_never_fine() {
        for what in HandReading::ALL {
            for number in [f64::NAN, f64::INFINITY] {
                let found = judged(what, number);
                assert_ne!(
                    found.weight(),
                    super::super::Weight::Fine,
                    "{what:?} {number}"
                );
            }
        }
    }

    /// Edges of ANSI C84.1 utilization (from memory) and of Maryland's band (COMAR 20.50.07.02).
    #[test]
    fn the_band_that_was_asked_for_is_the_one_in_force() {
        let at = |band: BandSet, number: f64| {
            HandReading::HotToNeutral.judge(Shown::Number(number), &Limits::with_band(band))
        };
        let band = BandSet::C84Utilization;
        assert_eq!(at(band, 110.0), NoteFinding::SupplyFine);
        assert_eq!(at(band, 106.0), NoteFinding::Supply(FindingCode::SupplyLow));
        assert_eq!(
            at(band, 103.0),
            NoteFinding::Supply(FindingCode::SupplyTooLow)
        );
        assert_eq!(
            at(band, 126.5),
            NoteFinding::Supply(FindingCode::SupplyHigh)
        );
        assert_eq!(
            at(band, 128.0),
            NoteFinding::Supply(FindingCode::SupplyTooHigh)
        );
        let maryland = BandSet::MarylandService;
        assert_eq!(
            at(maryland, 110.0),
            NoteFinding::Supply(FindingCode::SupplyTooLow)
        );
    }

    #[test]
    fn hot_to_ground_of_a_phantom_half_is_no_supply() {
        assert_eq!(
            judged(HandReading::HotToGround, 58.0),
            NoteFinding::HotToGroundLow
        );
        assert_eq!(
            judged(HandReading::HotToGround, 119.0),
            NoteFinding::HotToGroundFine
        );
        assert_eq!(
            judged(HandReading::NeutralToGround, 0.4),
            NoteFinding::NeutralToGroundFine
        );
        assert_eq!(
            judged(HandReading::NeutralToGround, 5.0),
            NoteFinding::NeutralToGroundHigh
        );
    }

    #[test]
    fn only_what_a_meter_can_show_is_taken() {
        assert_eq!(shown_of("119.5", false), Ok(Shown::Number(119.5)));
        assert_eq!(shown_of("ol", true), Ok(Shown::Word(Word::OverLimit)));
        for wrong in ["", "-1", "nan", "inf", "1e9", "OL", "12 V", "=1+1"] {
            assert!(shown_of(wrong, false).is_err(), "{wrong}");
        }
        for wrong in ["", "-0.1", "NaN", "infinity", "open"] {
            assert!(shown_of(wrong, true).is_err(), "{wrong}");
        }
    }
}
