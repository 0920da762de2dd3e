//! Every sentence that the program says about a receptacle, in plain words of the trade.
//!
//! Only this room and `report` hold sentences. The matches are exhaustive, so a new finding,
//! wiring or check of the core does not compile until it has its words.

pub mod cautions;
pub mod checks;
pub mod findings;
pub mod lamps;
pub mod outcomes;
pub mod values;
pub mod wiring;
