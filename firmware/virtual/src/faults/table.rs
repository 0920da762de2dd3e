//! The table: every place, every failure, every closing that it can lead to; the worst of each.

use super::by_construction;
use super::design::Design;
use super::fault::Fault;
use super::network::{self, Network};
use super::parts::{Closings, Parts};
use super::place::Place;
use crate::circuit::CircuitError;
use crate::house::{Gfci, Tripping};
use slotwise_core::units::Amperes;
use std::time::Duration;

/// The interlocks of the firmware, as its design states them.
const PROBE_GROUND_MOST: f64 = 5.0;
const PROBE_DRIVE_MOST: f64 = 150.0;
const DRIVE_MOST: f64 = 3.0;
const OFF_MOST: f64 = 2.0;

/// What the firmware is taken to do.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Firmware {
    /// It keeps its interlocks, as long as nothing has failed that blinds them.
    Right,
    /// It closes every relay at any time: it is no protection.
    Wrong,
}

/// One place with one failure, at the closing of relays that is worst for it.
#[derive(Clone, Debug)]
pub struct Row {
    /// Where.
    pub place: Place,
    /// What has failed.
    pub fault: Option<Fault>,
    /// Which relays are commanded.
    pub closings: Closings,
    /// Out of ground hole and clip, by the solver.
    pub into_ground: Amperes,
    /// Through the person, by the solver.
    pub through_person: Amperes,
    /// Out of ground hole and clip, by construction.
    pub by_construction: Amperes,
    /// Whether that is a bound: two paths of the drive closed and a limiter at its limit.
    pub is_bound: bool,
    design: Design,
}

impl Row {
    /// `design` with `fault` in it at `place`, these relays commanded.
    ///
    /// # Errors
    /// [`CircuitError`] when the network has no solution.
    pub fn new(
        design: &Design,
        fault: Option<Fault>,
        place: Place,
        closings: Closings,
    ) -> Result<Self, CircuitError> {
        let parts = Parts::new(design, fault, closings);
        let currents = network::currents(&place, &parts)?;
        let by_hand = by_construction::into_ground(&place, &parts);
        Ok(Self {
            place,
            fault,
            closings,
            into_ground: Amperes::new(currents.into_ground as f32),
            through_person: Amperes::new(currents.through_person as f32),
            by_construction: Amperes::new(by_hand.amperes as f32),
            is_bound: by_hand.is_bound,
            design: *design,
        })
    }

    /// The larger of the currents into ground and through the person.
    #[must_use]
    pub fn worst(&self) -> Amperes {
        if self.into_ground >= self.through_person {
            self.into_ground
        } else {
            self.through_person
        }
    }

    /// What a class A interrupter does at it.
    #[must_use]
    pub fn tripping(&self) -> Tripping {
        Gfci::ClassA.trips(self.worst())
    }

    /// UL 943's curve at it.
    #[must_use]
    pub fn curve(&self) -> Duration {
        Gfci::ClassA.curve(self.worst())
    }

    /// The line's network of the row, its limiters settled: for another solver.
    ///
    /// # Errors
    /// [`CircuitError`] when the network has no solution.
    pub fn network(&self) -> Result<Network, CircuitError> {
        let parts = Parts::new(&self.design, self.fault, self.closings);
        network::settled(&self.place, &parts)
    }

    /// The line's share of [`Self::into_ground`], without the drive's.
    ///
    /// # Errors
    /// [`CircuitError`] when the network has no solution.
    pub fn line_into_ground(&self) -> Result<Amperes, CircuitError> {
        let mut parts = Parts::new(&self.design, self.fault, self.closings);
        parts.level = 0.0;
        let currents = network::currents(&self.place, &parts)?;
        Ok(Amperes::new(currents.into_ground as f32))
    }
}

/// Every place with nothing failed and each part of `design` failed in turn: the worst closing
/// of each that the firmware and the logic let pass.
///
/// # Errors
/// [`CircuitError`] when a network has no solution.
pub fn table(design: &Design, firmware: Firmware) -> Result<Vec<Row>, CircuitError> {
    let mut rows = Vec::new();
    let faults = core::iter::once(None).chain(Fault::all(design).into_iter().map(Some));
    for fault in faults {
        for place in Place::all() {
            let mut worst: Option<Row> = None;
            for closings in allowed(design, firmware, fault, &place)? {
                let row = Row::new(design, fault, place, closings)?;
                if worst
                    .as_ref()
                    .is_none_or(|worst| row.worst() > worst.worst())
                {
                    worst = Some(row);
                }
            }
            rows.extend(worst);
        }
    }
    Ok(rows)
}

/// Every place with every relay open and nothing failed: what flows as long as it is plugged in.
///
/// # Errors
/// [`CircuitError`] when a network has no solution.
pub fn at_rest(design: &Design) -> Result<Vec<Row>, CircuitError> {
    Place::all()
        .into_iter()
        .map(|place| Row::new(design, None, place, Closings::NONE))
        .collect()
}

/// What the firmware may command there.
fn allowed(
    design: &Design,
    firmware: Firmware,
    fault: Option<Fault>,
    place: &Place,
) -> Result<Vec<Closings>, CircuitError> {
    if firmware == Firmware::Wrong || fault.is_some_and(|fault| fault.blinds()) {
        return Ok(Closings::all().to_vec());
    }
    let at_rest = Parts::new(design, fault, Closings::NONE);
    let [narrow_wide, ground_wide, narrow_ground, clip_wide] = network::voltages(place, &at_rest)?;
    let is_off = [narrow_wide, ground_wide, narrow_ground]
        .iter()
        .all(|&volts| volts <= OFF_MOST);
    let asked = [
        (true, Closings::NONE),
        (
            ground_wide < PROBE_GROUND_MOST && narrow_ground <= PROBE_DRIVE_MOST,
            Closings::PROBE,
        ),
        (ground_wide < DRIVE_MOST, Closings::TO_GROUND),
        (is_off && clip_wide < DRIVE_MOST, Closings::TO_CLIP),
    ];
    Ok(asked
        .into_iter()
        .filter(|(may, _)| *may)
        .map(|(_, closings)| closings)
        .collect())
}
