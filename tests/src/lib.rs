//! Tools of the whole-system tests.

pub mod rules;
