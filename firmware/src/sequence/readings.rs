//! What the tester's own currents have given in one test, until its record is made.

use slotwise_core::evidence::{Evidence, Measured, Missing};
use slotwise_core::stimulus::DrivePath;
use slotwise_core::units::Ohms;

/// What the paths have given in this test.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Readings {
    pub(super) earth_path: Measured<Ohms>,
    pub(super) hot_and_ground: Measured<Ohms>,
    pub(super) neutral_and_ground: Measured<Ohms>,
    pub(super) neutral_to_clip: Measured<Ohms>,
}

/// A path that has not come up in this test.
pub(super) const NOT_ASKED: Measured<Ohms> = Measured::Missing(Missing::NotAsked);

impl Readings {
    /// Nothing yet.
    pub(super) const NONE: Self = Self {
        earth_path: NOT_ASKED,
        hot_and_ground: NOT_ASKED,
        neutral_and_ground: NOT_ASKED,
        neutral_to_clip: NOT_ASKED,
    };

    /// Adds what is known of the paths.
    pub(super) const fn add_to(&self, evidence: &mut Evidence) {
        evidence.earth_path = self.earth_path;
        evidence.hot_and_ground = self.hot_and_ground;
        evidence.neutral_and_ground = self.neutral_and_ground;
        evidence.neutral_to_clip = self.neutral_to_clip;
    }

    /// What the drive found on one of its paths, or why nothing.
    pub(super) const fn keep_drive(&mut self, path: DrivePath, found: Measured<Ohms>) {
        match path {
            DrivePath::WideToGround => self.neutral_and_ground = found,
            DrivePath::WideToClip => self.neutral_to_clip = found,
        }
    }

    /// The probe gave nothing, for this reason.
    pub(super) const fn probe_gave_none(&mut self, reason: Missing) {
        self.earth_path = Measured::Missing(reason);
        self.hot_and_ground = Measured::Missing(reason);
    }
}
