//! The parts that can fail, one at a time, and how.

use super::design::Design;
use core::fmt;
use slotwise_core::slots::Lead;
use slotwise_core::stimulus::DrivePath;

/// A part, or what stands for several that fail alike.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Part {
    /// One of the three high resistors of a string.
    StringResistor(Lead, u8),
    /// The foot of a string.
    StringFoot(Lead),
    /// The reference resistor.
    Reference,
    /// One of the three resistors of P1.
    ProbeResistor(u8),
    /// Contact of relay A of P1 (false) or B (true).
    ProbeContact(bool),
    /// What lights the lamp of relay A or B: charge pump, gate, pull-down.
    ProbeDriver(bool),
    /// Resistor of a stage of P2.
    Source(Stage),
    /// Limiter of a stage of P2: any of its transistors or sense resistors, taken as the whole
    /// limiter in both directions.
    Limiter(Stage),
    /// Contact of a relay of P2.
    DriveContact(DrivePath),
    /// What lights its lamp.
    DriveDriver(DrivePath),
    /// Regulator and bridge of P2.
    Supply,
    /// The logic that keeps relays apart.
    Logic,
    /// The isolation barrier: the star on an earthed computer.
    Barrier,
    /// The program, or the processor that runs it.
    Firmware,
}

/// A stage of P2: resistor and limiter.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Stage {
    /// Before the relays.
    Common,
    /// Behind the relay of one path.
    Own(DrivePath),
}

impl Stage {
    /// The stages that `design` has.
    pub(super) fn all(design: &Design) -> impl Iterator<Item = Self> {
        let common = design.common.then_some(Self::Common);
        common.into_iter().chain(PATHS.map(Self::Own))
    }
}

/// How it fails.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Failure {
    /// No resistance; a contact or driver that stays closed.
    Short,
    /// No connection; a contact or driver that stays open.
    Open,
    /// It does what it should not: a level too high, relays not kept apart, a program that
    /// closes relays whatever it measures.
    Wrong,
}

/// One failed part.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Fault {
    /// The part.
    pub part: Part,
    /// How it fails.
    pub failure: Failure,
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let letter = |second: bool| if second { "B" } else { "A" };
        let to = |path: DrivePath| match path {
            DrivePath::WideToGround => "to ground",
            DrivePath::WideToClip => "to clip",
        };
        let at = |stage: Stage| match stage {
            Stage::Common => "common",
            Stage::Own(path) => to(path),
        };
        match self.part {
            Part::StringResistor(lead, place) => {
                write!(f, "string {lead:?} resistor {}", place + 1)?;
            }
            Part::StringFoot(lead) => write!(f, "string {lead:?} foot")?,
            Part::Reference => f.write_str("reference resistor")?,
            Part::ProbeResistor(place) => write!(f, "P1 resistor {}", place + 1)?,
            Part::ProbeContact(second) => write!(f, "P1 relay {}", letter(second))?,
            Part::ProbeDriver(second) => write!(f, "P1 driver {}", letter(second))?,
            Part::Source(stage) => write!(f, "P2 {} resistor", at(stage))?,
            Part::Limiter(stage) => write!(f, "P2 {} limiter", at(stage))?,
            Part::DriveContact(path) => write!(f, "P2 relay {}", to(path))?,
            Part::DriveDriver(path) => write!(f, "P2 driver {}", to(path))?,
            Part::Supply => f.write_str("P2 regulator")?,
            Part::Logic => f.write_str("relay logic")?,
            Part::Barrier => f.write_str("isolation barrier")?,
            Part::Firmware => f.write_str("firmware")?,
        }
        f.write_str(match self.failure {
            Failure::Short => ", short",
            Failure::Open => ", open",
            Failure::Wrong => ", wrong",
        })
    }
}

/// Both paths of the drive.
pub(super) const PATHS: [DrivePath; 2] = [DrivePath::WideToGround, DrivePath::WideToClip];

impl Fault {
    /// Every part of `design`, every way it fails.
    #[must_use]
    pub fn all(design: &Design) -> Vec<Self> {
        let mut parts = Vec::new();
        for lead in Lead::ALL {
            parts.extend((0..3).map(|place| Part::StringResistor(lead, place)));
            parts.push(Part::StringFoot(lead));
        }
        parts.push(Part::Reference);
        parts.extend((0..3).map(Part::ProbeResistor));
        for second in [false, true] {
            parts.extend([Part::ProbeContact(second), Part::ProbeDriver(second)]);
        }
        for stage in Stage::all(design) {
            parts.extend([Part::Source(stage), Part::Limiter(stage)]);
        }
        for path in PATHS {
            parts.extend([Part::DriveContact(path), Part::DriveDriver(path)]);
        }
        let mut all: Vec<Self> = parts
            .into_iter()
            .flat_map(|part| [Failure::Short, Failure::Open].map(|failure| Self { part, failure }))
            .collect();
        all.extend([
            Self {
                part: Part::Barrier,
                failure: Failure::Short,
            },
            Self {
                part: Part::Supply,
                failure: Failure::Wrong,
            },
            Self {
                part: Part::Logic,
                failure: Failure::Wrong,
            },
            Self {
                part: Part::Firmware,
                failure: Failure::Wrong,
            },
        ]);
        all
    }

    /// Whether the tester may measure wrong with it, so that its interlocks are worth nothing.
    #[must_use]
    pub const fn blinds(&self) -> bool {
        matches!(
            self.part,
            Part::StringResistor(..)
                | Part::StringFoot(_)
                | Part::Reference
                | Part::Barrier
                | Part::Firmware
        )
    }
}
