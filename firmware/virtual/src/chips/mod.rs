//! Models of the chips on the tester's two buses, as strict as their datasheets: what a
//! driver must not do is recorded, never forgiven.

pub mod adc;
mod bus;
pub mod nor;

pub use bus::BusError;
