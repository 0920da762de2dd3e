//! What the fuzzer calls. Each target is a plain function of bytes that panics where a promise
//! is broken, so the main test suite can drive it too.

pub mod calibration;
pub mod flash;
pub mod items;
pub mod journal;
pub mod link;
