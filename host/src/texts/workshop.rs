//! What `calibrate` and `doctor` say. Like the rest of the command line it is English in every
//! language.

use slotwise_core::calibration::fit::{FitFault, Source};
use slotwise_core::calibration::limiters::LimiterFault;
use slotwise_core::calibration::step::StepFault;
use slotwise_core::evidence::Missing;
use slotwise_core::link::{ClockChip, WorkshopRefusal};
use slotwise_core::slots::Lead;
use slotwise_core::stimulus::DrivePath;
use slotwise_core::units::Ohms;

use crate::calibrate::Step;

/// How the firmware is updated.
pub const HOW_TO_FLASH: &str = "hold the button BOOTSEL on the tester's board while you plug its \
     USB cable in, copy slotwise-VERSION.uf2 onto the drive RPI-RP2 that appears, wait for the \
     drive to go, then `slotwise doctor` again. Records and calibration stay";

/// Joins and leads only add to the tester's own 10 ohm: less than this is no bad join.
const OWN_LEAST: Ohms = Ohms::new(10.0);

/// What is asked before a calibration.
pub const LIMITERS: &str = "The tester tests its current limiters itself before it calls anything \
     proven, but with the 10 V of its own. So first steps 15a and 15b of the hardware's checks.md, \
     on this day: 24 V dc and a milliampere meter in series, wide blade to ground pin with K601 \
     closed, both ways round; then wide blade to clip with K602 closed, both ways round. Every \
     limiter reads 2.3 to 2.9 mA";

/// Why a tester is not calibrated whose limiters do not limit.
#[must_use]
pub fn limiter_fault(fault: LimiterFault) -> String {
    let (leg, parts) = match fault.path {
        DrivePath::WideToGround => ("ground pin", "Q611 to Q614, R610 to R619, K601, R101"),
        DrivePath::WideToClip => ("clip", "Q621 to Q624, R620 to R629, K602, R102"),
    };
    format!(
        "{:.2} mA from wide blade to {leg}: no sound limiter reads that. The tester must not be \
         used; check {parts}, then begin again",
        fault.current.get() * 1e3
    )
}

/// The name of a lead.
#[must_use]
pub const fn lead(lead: Lead) -> &'static str {
    match lead {
        Lead::Narrow => "narrow blade",
        Lead::Wide => "wide blade",
        Lead::Ground => "ground pin",
        Lead::Clip => "clip",
    }
}

/// What to connect for a step.
#[must_use]
pub fn step(step: Step) -> String {
    match step {
        Step::Shorted => "Join all four: narrow blade, wide blade, ground pin and clip. \
             No voltage anywhere."
            .to_owned(),
        Step::Applied(one) => format!(
            "Put the known voltage between the {} and the other three, which stay joined. \
             Use an isolating transformer; touch nothing while it is on.",
            lead(one)
        ),
        Step::Low => "Voltage off. Take the joins off. Put the low resistor (1 ohm) between wide \
             blade and clip; the rest stays free."
            .to_owned(),
        Step::High => "Voltage off. The high resistor (10 ohm) between wide blade and clip; the \
             rest stays free."
            .to_owned(),
        Step::VoltageAgain => "To check: the known voltage between the narrow blade and the other \
             three, joined, once more."
            .to_owned(),
    }
}

/// Why a reading of `step` cannot be right, and what to do.
#[must_use]
pub fn wrong(step: Step, fault: &StepFault) -> String {
    match *fault {
        StepFault::NotShorted { volts } => format!(
            "there are {:.2} V on a pin that should be shorted; take the voltage off and check \
             the joins",
            volts.get()
        ),
        StepFault::Offset { lead: one } => format!(
            "the {} reads a direct voltage although it is shorted; if it stays, its converter \
             channel is broken",
            lead(one)
        ),
        StepFault::NoVoltage { volts } => format!(
            "only {:.1} V between the pins; switch the voltage on, 60 to 132 V",
            volts.get()
        ),
        StepFault::TooHigh { volts } => format!(
            "{:.1} V is too much; 132 V at most. Switch it off",
            volts.get()
        ),
        StepFault::OtherLead { lead: one } => format!(
            "the voltage is on the {}; connect the one that is asked for",
            lead(one)
        ),
        StepFault::NotJoined { lead: one } => {
            format!(
                "the {} is not joined to the others; check its join",
                lead(one)
            )
        }
        StepFault::OtherVoltage { volts } => format!(
            "the tester reads about {:.1} V; read the meter again and type what it shows, and \
             check that it is on these pins and set to AC",
            volts.get()
        ),
        StepFault::Distorted { share } => format!(
            "the voltage has {:.1} % of harmonics and noise; use a cleaner source",
            share.get() * 100.0
        ),
        StepFault::Moves => "the voltage moves; wait until it stands still".to_owned(),
        // The tester's own resistors, 10 ohm each, are all that may show there.
        StepFault::OtherResistance { ohms } if step == Step::Shorted && ohms < OWN_LEAST => {
            format!(
                "wide blade to clip or ground pin reads as about {:.2} ohm, where the tester's own \
                 10 ohm are to show. That resistor is shorted or missing: R102 to the clip, R101 \
                 to the ground pin. A board older than revision B has no R102 and cannot be \
                 calibrated for this firmware",
                ohms.get()
            )
        }
        StepFault::OtherResistance { ohms } if step == Step::Shorted => format!(
            "wide blade to clip or ground pin reads as about {:.2} ohm, where the tester's own 10 \
             ohm are to show; check the joins and the clip",
            ohms.get()
        ),
        StepFault::OtherResistance { ohms } => format!(
            "this reads as about {:.2} ohm; check the resistor and its clips",
            ohms.get()
        ),
        StepFault::NoReading(missing) => match missing {
            Missing::BeyondRange => "the path is open; check the resistor and the clip".to_owned(),
            Missing::Refused => "there is a voltage on the path; switch it off".to_owned(),
            Missing::NoVoltage => "there is no voltage to measure with; switch it on".to_owned(),
            Missing::NoCurrent => {
                "the tester's own current does not flow; its relays or their supply are broken"
                    .to_owned()
            }
            _ => "the reading moved too much; check the contacts".to_owned(),
        },
    }
}

/// Why readings give no calibration.
#[must_use]
pub fn no_fit(fault: FitFault) -> String {
    match fault {
        FitFault::Closure => {
            "the readings do not close: a join moved between two of them; begin again".to_owned()
        }
        FitFault::Turn(one) => format!(
            "the {} lags or leads the others that it is joined to: a capacitor or a resistor of \
             its filter failed, or its join is bad; check both",
            lead(one)
        ),
        FitFault::Scatter(one) => format!(
            "the voltage typed in for the {} does not fit the other three; begin again",
            lead(one)
        ),
        FitFault::Drive => {
            "1 and 10 ohm give no working drive; check both resistors and the clip lead".to_owned()
        }
        FitFault::DriveTurn => "the resistor reads as a coil or a capacitor; use a plain one, \
             without long loops of wire"
            .to_owned(),
        FitFault::DriveNoise => {
            "the readings of the resistors scatter too much; check the contacts".to_owned()
        }
        FitFault::Reference => "the tester's own 10 ohm resistor is not near 10 ohm; it is \
             broken, or the ground pin was not shorted well"
            .to_owned(),
        FitFault::Probe => "probe and drive do not agree about the tester's own 10 ohm resistor; \
             one of them is broken"
            .to_owned(),
        FitFault::Implausible => "no working tester has these values; check the strings".to_owned(),
    }
}

/// Why the tester refuses.
#[must_use]
pub const fn refused(reason: WorkshopRefusal) -> &'static str {
    match reason {
        WorkshopRefusal::NothingMeasured => "the tester was not measuring; begin again",
        WorkshopRefusal::Implausible => "the tester takes these values for impossible",
        WorkshopRefusal::Token => "the tester did not know the offer any more; begin again",
        WorkshopRefusal::NotStored => {
            "its memory did not take it; the old calibration still holds, if there was one"
        }
        WorkshopRefusal::SelfTest => "the tester failed a test of itself and measures nothing",
        WorkshopRefusal::LimitersUnchecked => {
            "the tester was not told what its limiters let through; begin again"
        }
        WorkshopRefusal::NotATime => {
            "the tester takes this computer's time for impossible; set the computer's clock"
        }
    }
}

/// A name for programs of how the clock chip stands.
#[must_use]
pub const fn clock_chip_code(chip: ClockChip) -> &'static str {
    match chip {
        ClockChip::NotAsked => "not-asked",
        ClockChip::Running => "running",
        ClockChip::Stopped => "stopped",
        ClockChip::NotATime => "no-time",
        ClockChip::Absent => "absent",
        ClockChip::BusStuck => "bus-stuck",
        ClockChip::BusFault => "bus-fault",
        ClockChip::NotTaken => "not-taken",
        ClockChip::Setting => "setting",
    }
}

/// What to do about the clock chip, if anything.
#[must_use]
pub const fn clock_chip(chip: ClockChip) -> Option<&'static str> {
    match chip {
        ClockChip::NotAsked | ClockChip::Running | ClockChip::Setting => None,
        ClockChip::Stopped => Some(
            "the clock chip stood still since it was last set: `slotwise doctor --set-clock`; if \
             it comes again, change its coin cell",
        ),
        ClockChip::NotATime => {
            Some("the clock chip holds no time that can be right: `slotwise doctor --set-clock`")
        }
        ClockChip::Absent => Some(
            "no clock chip answers: the tester forgets the time when it is switched off; check \
             the chip and its bus",
        ),
        ClockChip::BusStuck => Some(
            "the bus of clock chip and display is held low: take the display off and try again, \
             then have it repaired",
        ),
        ClockChip::BusFault => Some(
            "the bus of clock chip and display fails: check the display's plug, then have it \
             repaired",
        ),
        ClockChip::NotTaken => {
            Some("the clock chip does not keep the time it is given: have it replaced")
        }
    }
}

/// Where an uncertainty comes from.
#[must_use]
pub const fn source(source: Source) -> &'static str {
    match source {
        Source::Meter => "known voltage",
        Source::Scatter => "scatter of the known voltages",
        Source::Closure => "closure of the gains",
        Source::Temperature => "temperature, 15 K",
        Source::Year => "a year",
        Source::Converter => "converter, 15 K",
        Source::Resistors => "known resistors",
        Source::DriveNoise => "noise of the drive",
    }
}
