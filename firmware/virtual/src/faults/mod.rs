//! What flows into ground or through a person with any one part of the tester failed.
//!
//! ```text
//!  narrow, wide, inner ground, clip: each ──[string]── star
//!
//!  narrow ──[P1 x 3]──A──B──────────────────────┐
//!  wide ──(E)──[common stage]─┬─o/o──[stage]── inner ground ──[R_cal]── ground hole
//!                             └─o/o──[stage]── clip
//! ```
//!
//! [`Place`] says where it is plugged in and who holds what, [`Fault`] what has failed,
//! [`Design`] the values; [`table`] gives the worst closing of relays for each, by the circuit
//! solver and by construction beside it, and what UL 943 says of it.
//!
//! Two readings of "any one part". With [`Firmware::Right`] the program keeps its interlocks
//! unless it is what failed, or a string failed that it measures with. With [`Firmware::Wrong`]
//! it closes whatever the logic of the relays lets pass, beside the failed part: a shorted
//! limiter is never noticed, so it may be there when the program fails.
//!
//! What the table found (bound: 4 mA, below which a class A interrupter does not trip):
//! - [`Design::DRAWN`], without a common stage, fails with the firmware alone wrong, on a ground
//!   slot on the other leg with the clip on the frame: P1 and the drive to the clip together. The
//!   logic must keep them apart, as it does P1 and the drive to ground; the sheet of the relays
//!   now has it so that only one of P1, drive to ground and drive to clip can be closed.
//! - [`Design::APART`] holds for every single failure, by a hair in one: with one relay of the
//!   drive shorted and the clip on the frame, both paths carry 2 mA each. It does not hold with
//!   the firmware wrong as well: one limiter shorted leaves 2.4 kohm on 264 V, and one resistor
//!   of P1 shorted 60 kohm.
//! - [`Design::PROPOSED`], a common stage and 3 x 36 kohm, holds for that too, but for a relay
//!   of the drive that is stuck closed, or the logic failed, and the program wrong as well: P1
//!   and the drive together, 5.9 mA, where a class A interrupter may trip and need not. A stuck
//!   relay shows itself: the tone is on the path while nothing is commanded. A self-test has to
//!   look for it.
//! - A person who holds the frame of an open ground stands at earth, so no interlock sees
//!   anything wrong: 1.5 mA of the probe in pulses or 1.7 mA of the drive go through the body
//!   with nothing failed. It is above what is felt (0.5 mA) and below what startles (5 mA).
//!
//! Limits: nominal values (1 % parts move the currents by 1 %), resistive conductors, no stray
//! capacitance, no heat. A person on a frame that the wiring itself makes live gets the line's
//! current whatever the tester does: those places have the ground hole on a hot conductor and no
//! person. Voltages of parts are not looked at here.

mod by_construction;
mod design;
mod fault;
mod network;
mod parts;
mod place;
mod table;

pub use design::Design;
pub use fault::{Failure, Fault, Part, Stage};
pub use network::Network;
pub use parts::Closings;
pub use place::{Clip, Place, Pole};
pub use table::{Firmware, Row, at_rest, table};
