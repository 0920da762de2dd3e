//! The atlas of wirings, as the core names them: what is behind each computed receptacle of
//! the enumeration, and the evidence that a tester would gather there.

mod evidence;
mod table;
mod truth;

pub use evidence::{Taken, evidence};
pub use table::{Class, Member, Table, table};
pub use truth::{topology, wiring};

pub use slotwise_virtual::atlas::{Atlas, Means, Page};
pub use slotwise_virtual::means::{Reading, Signature};
