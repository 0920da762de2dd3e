//! Models of the chips on the tester's buses, as strict as their datasheets: what a
//! driver must not do is recorded, never forgiven.

pub mod adc;
mod bus;
pub mod nor;
pub mod side_bus;

pub use bus::BusError;
