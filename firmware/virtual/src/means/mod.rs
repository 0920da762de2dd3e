//! The tester's other means, at phasor level: what each would read at a receptacle, and where
//! its interlock refuses.
//!
//! Each means is added to the solved house circuit as the part it is (probe resistor, drive,
//! load, earth lead) and the reading is taken by the formula of the measurement, without noise:
//! fundamental only, tester with nominal strings, reference resistor exact. What a built tester
//! adds is noise and tolerance; the atlas sets them against the differences found here.
//!
//! ```text
//!  narrow ──[90k]──┐ probe P1             wide ──(85 Hz)──┐ drive P2
//!  wide   ──[90k]──┤ P1 from wide                         │
//!                  inner ground ──[R_cal 10]── ground hole      ... or [10]── clip
//! ```
//!
//! Interlocks: P1 wants less than 5 V between ground and the other blade and less than 150 V
//! to drive; P2 wants less than 3 V between wide and ground, or the clip. A person may hold an ungrounded
//! frame, so a means that is not sure of its ground is not used.

mod drive;
mod load_step;
mod probe;

pub use drive::{earth_ohms, loop_ohms};
pub use load_step::{STEP, Step, load_step};
pub use probe::{Blade, earth_path_ohms, imbalance_while_probed};

use crate::circuit::Phasor;
use crate::house::{HouseError, Receptacle, Supply, Truth};
use crate::tester::Specimen;
use slotwise_core::slots::{ClipTarget, LEADS};
use slotwise_core::units::{Hertz, Volts};

/// Above this a path is open.
const OPEN: f64 = 100_000.0;

/// A voltage across which P1 is not switched on.
const PROBE_INTERLOCK: f64 = 5.0;
/// A voltage beyond which P1 is not switched on.
const PROBE_MOST: f64 = 150.0;
/// Below this P1 drives too little to be read: at 20 V it makes 2.2 mV over R_cal, of which a
/// window's noise of 0.095 mV is 4 %.
const PROBE_LEAST: f64 = 20.0;
/// Below this P1 drives nothing at all, 11 nA: its formula would divide by what the solver
/// rounds.
const PROBE_NOTHING: f64 = 1e-3;
/// A voltage across which P2 is not closed.
const DRIVE_INTERLOCK: f64 = 3.0;
/// Without this between the blades no load comes on; a lost service neutral leaves some 72 V.
const STEP_LEAST: f64 = 50.0;
/// A slot whose lead draws less than this share of the largest string current is open.
const OPEN_SHARE: f64 = 0.25;

/// What a means says.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Reading {
    /// A number, in the unit of the means.
    Value(f64),
    /// The path is open: beyond 100 kohm.
    Open,
    /// The interlock does not let it be used here.
    Refused,
    /// Nothing to measure it with.
    NotMeasurable,
}

impl Reading {
    /// The number, if it is one.
    #[must_use]
    pub const fn value(self) -> Option<f64> {
        match self {
            Self::Value(value) => Some(value),
            _ => None,
        }
    }

    fn ohms(ohms: f64) -> Self {
        if ohms.abs() > OPEN {
            Self::Open
        } else {
            Self::Value(ohms)
        }
    }
}

/// What every means reads at one receptacle.
#[derive(Clone, Debug, PartialEq)]
pub struct Signature {
    /// RMS volts narrow-wide, ground-wide, narrow-ground; clip free.
    pub slots: [f64; 3],
    /// Ohms of the earth path by P1 from narrow, R_cal taken out.
    pub p1: Reading,
    /// Ohms by P1 from wide.
    pub p1_wide: Reading,
    /// Ohms of neutral and ground by P2.
    pub p2: Reading,
    /// Real part of the load-step ratio.
    pub rho: Reading,
    /// RMS volts of wide against the clip on an independent earth.
    pub clip: f64,
}

/// What every means reads, and the states it was taken from.
#[derive(Clone, Debug)]
pub struct Survey {
    /// The readings.
    pub signature: Signature,
    /// Clip free.
    pub free: Truth,
    /// Clip on an independent earth.
    pub earthed: Truth,
    /// Ohms from wide to that earth by P2. No part of the signature: it is asked for to know that
    /// the clip is on something, and tells no wirings apart that its voltage does not.
    pub to_earth: Reading,
    /// The load step, where there is one.
    pub step: Option<Step>,
}

/// Whether the interlocks are kept.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Interlocks {
    /// As in the tester.
    Kept,
    /// What the formulas would read if nothing refused: for comparison with tables of formula
    /// values only. No tester does this.
    Ignored,
}

/// Takes every reading at `receptacle` with a tester of nominal parts. What is plugged in
/// there draws current all the time.
///
/// # Errors
/// [`HouseError`] when the supply is none or the network has no solution.
pub fn survey(receptacle: &Receptacle) -> Result<Survey, HouseError> {
    survey_with(receptacle, Interlocks::Kept)
}

/// As [`survey`], with or without interlocks.
///
/// # Errors
/// [`HouseError`] when the supply is none or the network has no solution.
pub fn survey_with(receptacle: &Receptacle, interlocks: Interlocks) -> Result<Survey, HouseError> {
    let supply = Supply {
        harmonics: Vec::new(),
        ..receptacle.supply.clone()
    };
    let bare = receptacle
        .clone()
        .with_supply(supply)
        .with_clip(ClipTarget::NotConnected);
    let specimen = Specimen::nominal(1);
    let free = bare.solve(&specimen, true)?.truth;
    let earthed = bare
        .clone()
        .with_clip(ClipTarget::IndependentEarth)
        .solve(&specimen, true)?
        .truth;
    let [nw, gw, ng] = [free.nw, free.gw, free.ng].map(Phasor::norm);

    let kept = interlocks == Interlocks::Kept;
    let p1 = match probe_interlock(gw, ng).filter(|_| kept) {
        Some(reading) => reading,
        None if ng < PROBE_NOTHING => Reading::NotMeasurable,
        None => Reading::ohms(earth_path_ohms(&bare, &specimen, Blade::Narrow)?),
    };
    let p1_wide = match probe_interlock(ng, gw).filter(|_| kept) {
        Some(reading) => reading,
        None if gw < PROBE_NOTHING => Reading::NotMeasurable,
        None => Reading::ohms(earth_path_ohms(&bare, &specimen, Blade::Wide)?),
    };
    let p2 = if kept && gw >= DRIVE_INTERLOCK {
        Reading::Refused
    } else {
        Reading::ohms(loop_ohms(&bare, &specimen)?)
    };
    let to_earth = if kept && earthed.cw.norm() >= DRIVE_INTERLOCK {
        Reading::Refused
    } else {
        Reading::ohms(earth_ohms(&bare, &specimen)?)
    };
    let step = if nw < STEP_LEAST || open_slots(&free).contains(&true) {
        None
    } else {
        load_step(&bare, &specimen)?
    };
    let rho = step.map_or(Reading::NotMeasurable, |step| Reading::Value(step.rho.re));
    let signature = Signature {
        slots: [nw, gw, ng],
        p1,
        p1_wide,
        p2,
        rho,
        clip: earthed.cw.norm(),
    };
    Ok(Survey {
        signature,
        free,
        earthed,
        to_earth,
        step,
    })
}

/// What P1 says without being switched on, if anything: `rest` stands between ground and the
/// other blade, `drive` between ground and the blade it is fed from.
fn probe_interlock(rest: f64, drive: f64) -> Option<Reading> {
    if rest >= PROBE_INTERLOCK || drive >= PROBE_MOST {
        Some(Reading::Refused)
    } else if drive < PROBE_LEAST {
        Some(Reading::NotMeasurable)
    } else {
        None
    }
}

/// Which of narrow, wide and ground are open, by their string currents.
#[must_use]
pub fn open_slots(truth: &Truth) -> [bool; 3] {
    let currents: [f64; LEADS] = truth.lead_currents.map(Phasor::norm);
    let largest = currents[..3].iter().copied().fold(0.0, f64::max);
    [0, 1, 2].map(|lead| currents[lead] <= largest * OPEN_SHARE)
}

/// The same receptacle with the utility dead: its windings and wires are still there.
fn dead(receptacle: &Receptacle) -> Receptacle {
    let hertz: Hertz = receptacle.supply.frequency;
    receptacle
        .clone()
        .with_supply(Supply::pure(Volts::ZERO, hertz))
}
