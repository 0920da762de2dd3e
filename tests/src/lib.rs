//! Tools of the whole-system tests.

pub mod measured;
pub mod rules;
