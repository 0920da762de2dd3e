//! cargo-fuzz target: see `src/link.rs`.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| slotwise_fuzz::link::run(bytes));
