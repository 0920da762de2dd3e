//! Tools of the whole-system tests.

pub mod emulator;
pub mod measured;
pub mod outside;
pub mod rules;
