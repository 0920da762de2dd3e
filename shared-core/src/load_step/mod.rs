//! Load steps: where the sag is.
//!
//! ```text
//!  source ──Zs──┬──Zh── narrow ──┐
//!               │                load, its current unknown
//!        panel ─┼──Zn── wide ────┘
//!               └──Zg── ground hole      carries nothing: it is a conductor of its own
//! ```
//!
//! A load on this branch comes on and draws I: `dv_nw = -I (Zh + Zn + Zs)`, and
//! `dv_gw = -I Zn`, so the unknown current drops out of
//!
//! `rho = Re(sum dv_gw conj(dv_nw)) / sum |dv_nw|^2 = Zn / (Zh + Zn + Zs)`.
//!
//! Where neutral and ground are joined near the receptacle `dv_gw` is only what falls along the
//! joint, and rho is near zero. The rule on rho is the judge's.
//!
//! # From where the phasors come
//!
//! From the windows of 800 frames that are measured anyhow, five a second ([`Beat`]): 12 cycles
//! of 60 Hz, the basic interval of IEC 61000-4-30 (from memory), with a noise of 0.1 mV against
//! steps of 0.4 V and up, and harmonics below 6e-6. So the sampling path does nothing more than
//! before: it has no cycles a frame to give away, and a sum of its own every few cycles would
//! only be noisier. What is lost is time within 200 ms; the course of `v_nw` inside a window is
//! kept from its frequency blocks, 25 ms apart, which are there anyhow as well. On an emulated
//! Cortex-M0+ a beat takes 85 000 cycles, a quiet change 350 000 every third window: 1 % of
//! 125 MHz together.
//!
//! # A step
//!
//! A change of `|v_nw|` between the medians of five windows before and five after, with the
//! window in the middle left out (`finder`). Inrush of a motor up to 0.4 s does not move the
//! medians; longer inrush and ramps move both voltages alike, so they cost size and not ratio.
//! The turn of `v_nw`, which a motor's lagging current makes, is the part of its phase that an
//! evenly drifting line frequency does not explain (`turn`); without it the quadrature part of
//! rho would be that of the load.
//!
//! # Limits of validity
//!
//! - A load elsewhere in the house moves `v_nw` by the drop of the service, and `v_gw` not at
//!   all, since neutral and ground have the service in common. Seen from this receptacle that is
//!   **exactly** what a joined receptacle does with a load of its own, so such a step is never
//!   thrown away for not being followed: that would choose the steps by the answer. It stays in
//!   the sum, where its small sag has little weight, and the scatter of the steps about rho is
//!   part of the stated uncertainty: steps that disagree end in "cannot tell". A house in which
//!   *only* such steps happen reads as joined; what contradicts it is the drive's resistance of
//!   neutral and ground together, which the judge has beside it.
//! - Unrest of the supply in the steps' own seconds makes `|dv_nw|^2` larger and so rho smaller:
//!   a sound branch goes towards doubt, a joined one stays joined; a weak neutral may be missed,
//!   which probe and drive show without a load.
//! - Steps are looked for from 4.2 s after the first window on, and after every gap.
//! - The load is taken to draw from this branch beyond the receptacle or at it.

mod beat;
mod finder;
mod level;
mod split;
mod turn;

pub use beat::Beat;
use finder::Finder;
pub use finder::{Change, Found, POINTS, POINTS_BEFORE, Point};
pub use level::Level;
pub use split::SagSplit;

use crate::evidence::{LoadStep, Missing};
use crate::limits::WatchLimits;

/// Finds load steps among the beats and splits the sag.
#[derive(Clone, Debug)]
pub struct LoadSteps {
    finder: Finder,
    split: SagSplit,
}

impl LoadSteps {
    /// No beat taken yet.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            finder: Finder::new(),
            split: SagSplit::new(),
        }
    }

    /// Takes the beat of a window; gives the step that it brought to an end, two to three seconds
    /// after it happened. A beat that does not follow the one before at once starts over: no
    /// step is looked for across the gap.
    pub fn push(&mut self, beat: &Beat, limits: &WatchLimits) -> Option<Found> {
        let found = self.finder.push(beat, limits);
        if let Some(quiet) = self.finder.quiet() {
            self.split.quiet(&quiet);
        }
        self.keep(found)
    }

    /// No more beats will come: gives the step that was still being looked at.
    pub fn finish(&mut self) -> Option<Found> {
        let found = self.finder.finish();
        self.keep(found)
    }

    fn keep(&mut self, found: Option<Found>) -> Option<Found> {
        if let Some(found) = &found {
            self.split.add(&found.change);
        }
        found
    }

    /// Change between two quiet seconds without a step between, where the beat pushed last
    /// completed one: what a step would have read though nothing happened.
    #[must_use]
    pub const fn quiet(&self) -> Option<Change> {
        self.finder.quiet()
    }

    /// The sag and its split.
    ///
    /// # Errors
    /// As [`SagSplit::load_step`].
    pub fn load_step(&self) -> Result<LoadStep, Missing> {
        self.split.load_step()
    }

    /// Steps found so far.
    #[must_use]
    pub const fn steps(&self) -> u16 {
        self.split.steps()
    }
}

impl Default for LoadSteps {
    fn default() -> Self {
        Self::new()
    }
}
