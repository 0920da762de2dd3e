//! The judgement: evidence and limits in, verdict out. Doubt never reads as good.
//!
//! A ladder. The first rung that does not hold decides the outcome:
//! 1. the tester is fit to answer,
//! 2. the windows are steady and the frequency is that of a utility,
//! 3. no metal is live (looked at before rung 2 ends the ladder: danger outranks doubt),
//! 4. the slots read as a sound receptacle,
//! 5. the supply is in its band,
//! 6. the earth path is a low resistance,
//! 7. the load steps say that the ground is a conductor of its own,
//! 8. an independent earth says which blade is hot.
//!
//! All eight: proven. Rungs 6 to 8 not measured: no fault found, and what is not yet proven is
//! named. The same code judges in the tester and, later, on a record.

mod appliance;
mod climb;
mod ladder;
mod pattern;
mod rungs;

pub use ladder::{failed_self_test, judge};
