//! cargo-fuzz target: see `src/calibration.rs`.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| slotwise_fuzz::calibration::run(bytes));
