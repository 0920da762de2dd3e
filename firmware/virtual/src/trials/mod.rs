//! Random houses, random testers, and what such a tester would have as evidence there: the
//! generator of the Monte Carlo. It shares no code with the judge.
//!
//! At phasor level: a trial solves the house, takes the pins' phasors through the drawn
//! strings and converter, adds the noise that the estimators are known to leave, and states the
//! uncertainties that they state. Windows, frames and the test sequence are not in it; the
//! virtual board is for those.
//!
//! Priors (wire lengths, joints, loads, strays, noise) are judgement, each beside its constant
//! in `draw`, `observe` and `currents`. A trial depends on its seed alone.

mod currents;
mod draw;
mod fault;
mod observe;
mod plugged;

pub use draw::Draw;
pub use fault::TesterFault;
pub use observe::{Means, Trial, observe};
