//! What is left of the parts with one of them failed and these relays closed.

use super::design::Design;
use super::fault::{Failure, Fault, PATHS, Part, Stage};
use slotwise_core::slots::{LEADS, Lead};
use slotwise_core::stimulus::DrivePath;

/// Resistance that stands for a short; nothing in parallel to it matters.
pub(super) const SHORT: f64 = 1e-3;

/// Which relays the firmware commands.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Closings {
    /// Both relays of P1.
    pub probe: bool,
    /// P2 to ground.
    pub to_ground: bool,
    /// P2 to the clip.
    pub to_clip: bool,
}

impl Closings {
    /// None.
    pub const NONE: Self = Self {
        probe: false,
        to_ground: false,
        to_clip: false,
    };
    /// P1.
    pub const PROBE: Self = Self {
        probe: true,
        ..Self::NONE
    };
    /// P2 to ground.
    pub const TO_GROUND: Self = Self {
        to_ground: true,
        ..Self::NONE
    };
    /// P2 to the clip.
    pub const TO_CLIP: Self = Self {
        to_clip: true,
        ..Self::NONE
    };

    /// Every combination.
    #[must_use]
    pub fn all() -> [Self; 8] {
        core::array::from_fn(|bits| Self {
            probe: bits & 1 != 0,
            to_ground: bits & 2 != 0,
            to_clip: bits & 4 != 0,
        })
    }

    /// What the logic lets pass: P1 opens the drive to ground, that opens the one to the clip,
    /// and in a design that keeps them apart P1 opens both.
    const fn passed(self, design: &Design, logic: bool) -> Self {
        if !logic {
            return self;
        }
        let to_ground = self.to_ground && !self.probe;
        let to_clip = self.to_clip && !to_ground && !(design.apart && self.probe);
        Self {
            probe: self.probe,
            to_ground,
            to_clip,
        }
    }

    /// Its name in a table.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match (self.probe, self.to_ground, self.to_clip) {
            (false, false, false) => "at rest",
            (true, false, false) => "P1",
            (false, true, false) => "P2 to ground",
            (false, false, true) => "P2 to clip",
            (true, false, true) => "P1, P2 to clip",
            (true, true, false) => "P1, P2 to ground",
            (false, true, true) => "P2 to both",
            (true, true, true) => "all",
        }
    }
}

/// A stage of the drive, or none: then it has next to no resistance and no limit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Limb {
    pub(super) closed: bool,
    pub(super) ohms: f64,
    /// Amperes that it lets pass; infinite without a limiter.
    pub(super) limit: f64,
}

/// Effective values, ohms and volts; infinite is open.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Parts {
    pub(super) strings: [f64; LEADS],
    pub(super) reference: f64,
    pub(super) probe: f64,
    pub(super) probe_closed: bool,
    /// In common; to ground; to the clip.
    pub(super) limbs: [Limb; 3],
    pub(super) level: f64,
    pub(super) star_earthed: bool,
}

impl Parts {
    /// `design` with `fault` in it and `commanded` relays.
    pub(super) fn new(design: &Design, fault: Option<Fault>, commanded: Closings) -> Self {
        let failure = |part: Part| fault.filter(|fault| fault.part == part).map(|f| f.failure);
        let ohms = |part: Part, nominal: f64| match failure(part) {
            Some(Failure::Short) => 0.0,
            Some(Failure::Open) => f64::INFINITY,
            _ => nominal,
        };
        // Closed or not, after a contact or its driver has failed.
        let contact = |parts: [Part; 2], lit: bool| match parts.map(failure) {
            [Some(Failure::Short), _] | [_, Some(Failure::Short)] => true,
            [Some(Failure::Open), _] | [_, Some(Failure::Open)] => false,
            _ => lit,
        };
        let value = |ohms: slotwise_core::units::Ohms| f64::from(ohms.get());
        let passed = commanded.passed(design, failure(Part::Logic).is_none());

        let strings = Lead::ALL.map(|lead| {
            let chain: f64 = (0..3)
                .map(|place| ohms(Part::StringResistor(lead, place), value(design.string)))
                .sum();
            chain + ohms(Part::StringFoot(lead), value(design.foot))
        });
        let [a, b] = [false, true].map(|second| {
            contact(
                [Part::ProbeContact(second), Part::ProbeDriver(second)],
                passed.probe,
            )
        });
        let probe = (0..3)
            .map(|place| ohms(Part::ProbeResistor(place), value(design.probe)))
            .sum();
        let stage = |stage: Stage, closed: bool| {
            let whole = failure(Part::Limiter(stage)).is_none();
            let ohms = ohms(Part::Source(stage), value(design.source))
                + ohms(Part::Limiter(stage), value(design.limiter));
            Limb {
                closed,
                ohms: ohms.max(SHORT),
                limit: if whole {
                    f64::from(design.limit.get())
                } else {
                    f64::INFINITY
                },
            }
        };
        let own = |path: DrivePath, lit: bool| {
            let closed = contact([Part::DriveContact(path), Part::DriveDriver(path)], lit);
            stage(Stage::Own(path), closed)
        };
        let common = if design.common {
            stage(Stage::Common, true)
        } else {
            Limb {
                closed: true,
                ohms: SHORT,
                limit: f64::INFINITY,
            }
        };
        let [ground, clip] = PATHS;
        let limbs = [
            common,
            own(ground, passed.to_ground),
            own(clip, passed.to_clip),
        ];
        let level = match failure(Part::Supply) {
            None => design.level,
            Some(_) => design.level_failed,
        };
        Self {
            strings,
            reference: ohms(Part::Reference, value(design.reference)).max(SHORT),
            probe,
            probe_closed: a && b,
            limbs,
            level: f64::from(level.get()),
            star_earthed: failure(Part::Barrier).is_some(),
        }
    }
}
