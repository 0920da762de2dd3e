//! core
#![cfg_attr(not(test), no_std)]
pub mod sample;
pub mod slots;
pub mod units;
