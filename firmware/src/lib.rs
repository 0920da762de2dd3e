//! Portable firmware of the Slotwise tester: everything that runs on the board and needs no
//! particular chip.
//!
//! Drivers are generic over the `embedded-hal` 1.0 traits and own their peripheral. Nothing
//! here reads a clock: the time of the call is an argument, so the same code runs on the
//! board, on the virtual board and in a test. No allocation, and no panic on any data that
//! comes from a wire.
#![cfg_attr(not(test), no_std)]

pub mod adc;
pub mod block;
pub mod board;
pub mod button;
pub mod byte_queue;
mod calendar;
mod calibrating;
pub mod calibration_store;
pub mod clock_chip;
pub mod display;
pub mod journal;
mod keeper;
pub mod lamps;
pub mod last_words;
pub mod link;
pub mod nor;
pub mod self_test;
pub mod sequence;
pub mod side_bus;
pub mod stimulator;
pub mod tester;

#[cfg(test)]
mod strict_nor;
